"""The lower bound made sharper once an answer is known: what a sheet can hold of what pieces are worth to it.

In: candidates, kinds that are upright rectangles, the columns made, the bound so far. Out: money. Whatever pieces are
said to be worth, no layout puts more of it on a sheet than can be packed: (B9) of docs/model.md. The worths are the
duals of a linear program over all columns so far, and over the packings that the proofs turn up (Pisinger and Sigurd
2005, doi 10.1016/j.disopt.2005.01.002, price so; Gilmore and Gomory 1961, doi 10.1287/opre.9.6.849). Pure.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence, Sized
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import numpy.typing as npt
from ortools.sat.python import cp_model

from nesting.assigning.bound import MostHeld, lower_bound, room_in_units, upright_sides
from nesting.assigning.columns import Column, Kind, Shop
from nesting.assigning.scales import fitted_shares, strongest_shares
from nesting.assigning.stock import Candidate
from nesting.solving import NoAnswer, relaxed, tried

EFFORT = 2.0
"""For each round of effort asked for."""
MOST_EFFORT = 0.25
"""Of that for packing one sheet once; less where there are many, so that each is packed twice at least."""
ROUNDS = 6
"""Times that pieces are valued and all sheets packed, at most."""
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
BOXES = 40
"""With more pieces on a sheet, packing it counts for more effort: the solver does not count what pairs take."""
MOST_BOXES = 120
"""With more pieces that may lie on a sheet, only their areas and shares are looked at, not how they lie."""
MOST_AT_ONCE = 16
"""The same where a sheet has the area of more usual pieces: about how so many lie nothing is proven in fair time."""


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
    for most in (1, ROUNDS):
        if least >= reached or stop or not valued.went_on(most):
            break
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
        self._rooms, self._sides, self._wanted, self._stop = rooms, sides, wanted, stop
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

    def went_on(self, most: int) -> bool:
        """Value the pieces anew, so often at most, until they come to no more; False where they did not at once."""
        rounds = 0
        while rounds < most and self._go_on():
            rounds += 1
        return rounds > 0

    def _go_on(self) -> bool:
        """Value the pieces anew until they come to more than before; False where they do not any longer."""
        before = max((value for value, _ in self._rows), default=0.0)
        while self._left > 0 and len(self._rows) < ROUNDS and not self._stop:
            try:
                duals = relaxed(self._holds, self._costs, self._wanted, ()).duals
            except NoAnswer:
                return False
            worths = np.maximum(0.0, duals)
            if before >= CLOSE * float(worths @ self._wanted):
                return False
            if self._pack(worths if self._centre is None else (worths + self._centre) / 2) > before * (2 - CLOSE):
                return True
        return False

    def _pack(self, worths: npt.NDArray[np.float64]) -> float:
        """Pack each sheet with pieces so valued; what all pieces come to, so valued, as above."""
        units = [math.floor(worth * self._scale) for worth in worths]
        most: list[int | None] = []
        over = 1.0
        for room, cents in zip(self._rooms, self._cheapest, strict=True):
            if self._stop:
                return 0.0
            least = int(cents * self._scale)
            packed = _most_held(self._sides, self._wanted, units, room, least, self._each)
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
        return value


def _fitted_rows(
    found: Sequence[Candidate], sides: Sequence[tuple[int, int]], wanted: Sequence[int], shop: Shop
) -> list[MostHeld]:
    """(B10) for each sheet, of the functions that hold for these pieces alone, those that ask for most of it."""
    if len(sides) > MOST_FITTED:
        return []
    rows = []
    for one in found:
        small, room = _in_steps(sides, room_in_units(one, shop.machine))
        shares = _in_units(fitted_shares(small, wanted, room, wanted).tolist())
        rows.append(MostHeld(tuple(shares), tuple(WORTH if other is one else None for other in found)))
    return rows


def _is_rectangle(kind: Kind) -> bool:
    x0, y0, x1, y1 = kind.polygon.bounds
    return abs((x1 - x0) * (y1 - y0) - kind.polygon.area) <= 1e-6 * kind.polygon.area


def _least_cents(candidate: Candidate, columns: Sequence[Column]) -> float:
    """What the sheet costs in the cheapest way it is used so far."""
    used = [float(column.cents) for column in columns if column.candidate.id == candidate.id and any(column.counts)]
    return min(used, default=float(candidate.price) * 100)


def _most_held(
    sides: Sequence[tuple[int, int]],
    wanted: Sequence[int],
    units: Sequence[int],
    room: tuple[int, int],
    least: int,
    effort: float,
) -> _Packed:
    """The most that pieces can be worth that lie in the room without overlap; `least` where it is no more than that.

    sides, room: whole units of length, (n, 2) and 2; units: what each is worth. Stopped early, it is still a bound.
    """
    small, (width, depth) = _in_steps(sides, room)
    model = cp_model.CpModel()
    boxes = [
        [model.new_bool_var("") for _ in range(min(n, (width // w) * (depth // d)) if unit else 0)]
        for (w, d), n, unit in zip(small, wanted, units, strict=True)
    ]
    for copies in boxes:
        for one, other in itertools.pairwise(copies):
            model.add_implication(other, one)
    usual = sum(w * d * n for (w, d), n in zip(small, wanted, strict=True)) / sum(wanted)
    if sum(map(len, boxes)) <= MOST_BOXES and width * depth <= MOST_AT_ONCE * usual:
        _keep_apart(model, boxes, small, (width, depth))
    model.add(sum(w * d * box for (w, d), copies in zip(small, boxes, strict=True) for box in copies) <= width * depth)
    for row in _shares(small, wanted, units, (width, depth)):
        model.add(sum(share * box for share, copies in zip(row, boxes, strict=True) for box in copies) <= WORTH)
    worth = sum(unit * box for unit, copies in zip(units, boxes, strict=True) for box in copies)
    model.add(worth >= least + 1)
    model.maximize(worth)
    return _answer(model, boxes, least, sum(u * len(c) for u, c in zip(units, boxes, strict=True)), effort)


def _answer(
    model: cp_model.CpModel, boxes: Sequence[Sequence[cp_model.IntVar]], least: int, all_of_it: int, effort: float
) -> _Packed:
    if all_of_it <= least:
        return _Packed(least, None)
    counts_for = max(1.0, sum(map(len, boxes)) / BOXES)
    solver, status = tried(model, effort / counts_for)
    spent = solver.response_proto.deterministic_time * counts_for
    if status == cp_model.INFEASIBLE:
        return _Packed(least, None, spent)
    most = max(least, min(all_of_it, math.floor(solver.best_objective_bound + 1e-6)))
    if status == cp_model.UNKNOWN:
        return _Packed(most, None, spent)
    return _Packed(most, tuple(sum(solver.value(box) for box in copies) for copies in boxes), spent)


def _keep_apart(
    model: cp_model.CpModel,
    boxes: Sequence[Sequence[cp_model.IntVar]],
    sides: Sequence[tuple[int, int]],
    room: tuple[int, int],
) -> None:
    """No two overlap; copies are told apart by where they lie."""
    spans: tuple[list[cp_model.IntervalVar], list[cp_model.IntervalVar]] = [], []
    for (w, d), copies in zip(sides, boxes, strict=True):
        places = []
        for box in copies:
            x, y = model.new_int_var(0, room[0] - w, ""), model.new_int_var(0, room[1] - d, "")
            spans[0].append(model.new_optional_fixed_size_interval_var(x, w, box, ""))
            spans[1].append(model.new_optional_fixed_size_interval_var(y, d, box, ""))
            places.append(x * (room[1] + 1) + y)
        for one, other, box in zip(places, places[1:], copies[1:], strict=False):
            model.add(one <= other).only_enforce_if(box)
    model.add_no_overlap_2d(*spans)


def _shares(
    sides: Sequence[tuple[int, int]], wanted: Sequence[int], units: Sequence[int], room: tuple[int, int]
) -> list[list[int]]:
    """What pieces take of the sheet at least, seen in the ways that ask for most of all and of those worth most."""
    weighed = [n * unit for n, unit in zip(wanted, units, strict=True)]
    rows = [row for by in (wanted, weighed) for row in strongest_shares(sides, by, room, SHARES).tolist()]
    if len(sides) <= MOST_FITTED:
        rows.append(fitted_shares(sides, weighed, room, wanted).tolist())
    return [_in_units(row) for row in rows]


def _in_units(shares: Sequence[float]) -> list[int]:
    return [math.floor(share * WORTH * (1.0 - 1e-9)) for share in shares]


def _in_steps(sides: Sequence[tuple[int, int]], room: tuple[int, int]) -> tuple[list[tuple[int, int]], tuple[int, int]]:
    """The sides and the room in the largest unit of which all are multiples."""
    step = math.gcd(*room, *(side for pair in sides for side in pair))
    return [(w // step, d // step) for w, d in sides], (room[0] // step, room[1] // step)
