"""The lower bound made sharper once an answer is known: what a sheet can hold of what pieces are worth to it.

In: candidates, kinds that are upright rectangles, the columns made, the bound so far. Out: money. Whatever pieces are
said to be worth, no layout puts more of it on a sheet than can be packed: (B9) of docs/model.md. The worths are the
duals of a linear program over all columns so far, and over the packings that the proofs turn up (Pisinger and Sigurd
2005, doi 10.1016/j.disopt.2005.01.002, price so; Gilmore and Gomory 1961, doi 10.1287/opre.9.6.849). Pure.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence, Sized
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import numpy.typing as npt
from ortools.sat.python import cp_model

from nesting.assigning.bound import MostHeld, lower_bound, room_in_units, upright_sides
from nesting.assigning.columns import Column, Kind, Shop
from nesting.assigning.stock import Candidate
from nesting.layout import packing
from nesting.layout.scales import fitted_shares, in_parts, strongest_shares
from nesting.solving import NoAnswer, relaxed, tried

EFFORT = 2.0
"""For each round of effort asked for."""
MOST_EFFORT = 0.25
"""Of that for packing one sheet once; less where there are many, so that each is packed twice at least."""
WORK = 50_000_000
"""What packing a sheet exactly does in one unit of effort."""
ROUNDS = 80
"""Times that pieces are valued and all sheets packed, at most."""
VAIN = 3
"""Times that no packing turned up which pays, before no more are looked for; each time twice as long."""
CLOSE = 0.999
"""Worths are left as they are once they come to so much of what the linear program costs."""
BEST = 6
"""Ways to value pieces that the bound is made from at most, those by which all pieces come to most."""
SHARES = 8
"""Ways of seeing the pieces as shares of a sheet, by their number and by what they are worth."""
WORTH = 1_000_000
"""What a sheet costs, in units of worth; pieces' worths are rounded down to units."""
MOST_FITTED = 24
"""With more kinds of pieces no shares are fitted to them: that takes longer than it brings."""


@dataclass(frozen=True, slots=True)
class _Packed:
    """The most that a sheet can hold, in units of worth; a packing that is worth more than the sheet costs; the effort
    that took."""

    most: int
    counts: tuple[int, ...] | None
    effort: float = 0.0


def sharper_bound(
    found: Sequence[Candidate],
    kinds: Sequence[Kind],
    shop: Shop,
    columns: Sequence[Column],
    least: Decimal,
    reached: Decimal,
    effort: int,
    stop: Sized = (),
    tell: Callable[[Decimal], None] = lambda least: None,
) -> Decimal:
    """Proven, and no less than `least`; `least` itself where pieces are not all upright rectangles.

    Nothing more is looked for once the bound is at `reached`, what the answer costs, or `stop` holds something; `tell`
    is told the bound after the first round, then after all: the bound itself takes longest."""
    sides = upright_sides(kinds, shop.machine)
    if not all(map(min, sides)) or not all(map(_is_rectangle, kinds)):
        return least
    wanted = [len(kind.pieces) for kind in kinds]
    fitted = _fitted_rows(found, sides, wanted, shop)
    if fitted:
        least = max(least, lower_bound(found, kinds, shop, fitted))
    valued = _Valued(found, [room_in_units(one, shop.machine) for one in found], sides, wanted, columns, effort, stop)
    if least < reached and valued.improve():
        least = max(least, lower_bound(found, kinds, shop, [*fitted, *valued.strongest()]))
    tell(least)
    return least


class _Valued:
    """Ways to value pieces, and what sheets hold of them: more and more of these, while effort is left."""

    def __init__(
        self,
        found: Sequence[Candidate],
        rooms: Sequence[tuple[int, int]],
        sides: Sequence[tuple[int, int]],
        wanted: Sequence[int],
        columns: Sequence[Column],
        effort: int,
        stop: Sized,
    ) -> None:
        self._sheets = [_Sheet(sides, wanted, room) for room in rooms]
        self._wanted, self._stop = wanted, stop
        self._left = EFFORT * effort
        self._each = min(MOST_EFFORT * effort, self._left / 2 / len(found))
        self._cheapest = [_least_cents(one, columns) for one in found]
        self._holds = [column.counts for column in columns]
        self._costs = [float(column.cents) for column in columns]
        self._scale = WORTH / max(1.0, *self._cheapest)
        self._rows: list[tuple[float, MostHeld]] = []
        """With what all pieces come to by them, made so small that no sheet holds more than it costs, in cents."""
        self._centre: npt.NDArray[np.float64] | None = None
        """The worths by which pieces come to most, made so small (Wentges 1997, doi 10.1016/S0969-6016(97)00001-4)."""

    def strongest(self) -> list[MostHeld]:
        """Those by which all pieces come to most."""
        return [row for _, row in sorted(self._rows, key=lambda known: -known[0])[:BEST]]

    def improve(self) -> bool:
        """Value the pieces anew until they come to no more, as far as effort goes; False where they were not at all."""
        vain = 0
        while self._left > 0 and len(self._rows) < ROUNDS and vain < VAIN and not self._stop:
            try:
                duals = relaxed(self._holds, self._costs, self._wanted, ()).duals
            except NoAnswer:
                break
            worths = np.maximum(0.0, duals)
            best = max((value for value, _ in self._rows), default=0.0)
            if best >= CLOSE * float(worths @ self._wanted):
                break
            # Halfway to the best worths so far, until these turn up no packing that pays.
            valued = worths if self._centre is None or vain else (worths + self._centre) / 2
            turned_up = self._pack(valued, self._each * 2**vain)
            vain = 0 if turned_up else vain + 1
        return bool(self._rows)

    def _pack(self, worths: npt.NDArray[np.float64], effort: float) -> bool:
        """Pack each sheet with pieces so valued; whether a packing turned up that is worth more than its sheet."""
        units = [math.floor(worth * self._scale) for worth in worths]
        most: list[int | None] = []
        over, known = 1.0, len(self._holds)
        for sheet, cents in zip(self._sheets, self._cheapest, strict=True):
            if self._stop:
                return False
            least = int(cents * self._scale)
            packed = sheet.packed(units, least, effort)
            self._left -= packed.effort
            most.append(packed.most)
            over = max(over, packed.most / max(1, least))
            if packed.counts is not None:
                self._holds.append(packed.counts)
                self._costs.append(cents)
        value = float(worths @ self._wanted) / over
        if value > max((known for known, _ in self._rows), default=0.0):
            self._centre = worths / over
        self._rows.append((value, MostHeld(tuple(units), tuple(most))))
        return len(self._holds) > known


def _fitted_rows(
    found: Sequence[Candidate], sides: Sequence[tuple[int, int]], wanted: Sequence[int], shop: Shop
) -> list[MostHeld]:
    """(B10) for each sheet, of the functions that hold for these pieces alone, those that ask for most of it."""
    if len(sides) > MOST_FITTED:
        return []
    rows = []
    for one in found:
        small, room = _in_steps(sides, room_in_units(one, shop.machine))
        (shares,) = in_parts(fitted_shares(small, wanted, room, wanted)[None], WORTH)
        rows.append(MostHeld(tuple(shares), tuple(WORTH if other is one else None for other in found)))
    return rows


def _is_rectangle(kind: Kind) -> bool:
    x0, y0, x1, y1 = kind.polygon.bounds
    return abs((x1 - x0) * (y1 - y0) - kind.polygon.area) <= 1e-6 * kind.polygon.area


def _least_cents(candidate: Candidate, columns: Sequence[Column]) -> float:
    """What the sheet costs in the cheapest way it is used so far."""
    used = [float(column.cents) for column in columns if column.candidate.id == candidate.id and any(column.counts)]
    return min(used, default=float(candidate.price) * 100)


class _Sheet:
    """What a sheet holds of pieces, however they are valued."""

    def __init__(self, sides: Sequence[tuple[int, int]], wanted: Sequence[int], room: tuple[int, int]) -> None:
        self._sides, self._room = _in_steps(sides, room)
        self._wanted = wanted
        width, depth = self._room
        self._copies = [min(n, (width // w) * (depth // d)) for (w, d), n in zip(self._sides, wanted, strict=True)]
        self._shares = self._strongest(wanted)
        self._exact: packing.Room | None = None
        # Otherwise only areas and shares are looked at, not how pieces lie.
        if packing.holds_few(width * depth, [w * d for w, d in self._sides], wanted):
            scales = [[*share, WORTH] for share in self._shares]
            self._exact = packing.Room(self._sides, self._copies, [False] * len(sides), self._room, scales)

    def packed(self, units: Sequence[int], least: int, effort: float) -> _Packed:
        """The most that pieces can be worth that lie in the room without overlap; `least` where it is no more.

        units: what each is worth. Stopped early, it is still a bound.
        """
        if self._exact is not None:
            exact = self._exact.most_valuable(units, least, int(effort * WORK))
            return _Packed(exact.most, exact.counts if exact.spots else None, exact.work / WORK)
        return self._by_shares(units, least, effort)

    def _by_shares(self, units: Sequence[int], least: int, effort: float) -> _Packed:
        """As if pieces were liquid, on every scale."""
        most = sum(unit * n for unit, n in zip(units, self._copies, strict=True))
        if most <= least:
            return _Packed(least, None)
        model = cp_model.CpModel()
        held = [model.new_int_var(0, n if unit else 0, "") for n, unit in zip(self._copies, units, strict=True)]
        areas = [w * d for w, d in self._sides]
        model.add(sum(area * var for area, var in zip(areas, held, strict=True)) <= self._room[0] * self._room[1])
        for row in [*self._shares, *self._by_worth(units)]:
            model.add(sum(share * var for share, var in zip(row, held, strict=True)) <= WORTH)
        worth = sum(unit * var for unit, var in zip(units, held, strict=True))
        model.add(worth >= least + 1)
        model.maximize(worth)
        solver, status = tried(model, effort)
        spent = solver.response_proto.deterministic_time
        if status == cp_model.INFEASIBLE:
            return _Packed(least, None, spent)
        most = max(least, min(most, math.floor(solver.best_objective_bound + 1e-6)))
        return _Packed(most, None if status == cp_model.UNKNOWN else tuple(map(solver.value, held)), spent)

    def _strongest(self, weights: Sequence[int]) -> list[list[int]]:
        """What pieces take of the sheet at least, seen in the ways that ask for most of them."""
        return in_parts(strongest_shares(self._sides, weights, self._room, SHARES), WORTH)

    def _by_worth(self, units: Sequence[int]) -> list[list[int]]:
        """The same for what they are worth."""
        weighed = [n * unit for n, unit in zip(self._wanted, units, strict=True)]
        rows = self._strongest(weighed)
        if len(self._sides) <= MOST_FITTED:
            rows += in_parts(fitted_shares(self._sides, weighed, self._room, self._wanted)[None], WORTH)
        return rows


def _in_steps(sides: Sequence[tuple[int, int]], room: tuple[int, int]) -> tuple[list[tuple[int, int]], tuple[int, int]]:
    """The sides and the room in the largest unit of which all are multiples."""
    step = math.gcd(*room, *(side for pair in sides for side in pair))
    return [(w // step, d // step) for w, d in sides], (room[0] // step, room[1] // step)
