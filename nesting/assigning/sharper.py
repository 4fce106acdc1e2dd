"""The lower bound made sharper once an answer is known: what a sheet can hold of what pieces are worth to it.

In: candidates, kinds that are upright rectangles, the columns made, the bound so far. Out: money. Whatever pieces are
said to be worth, no layout puts more of it on a sheet than can be packed: (B9) of docs/model.md. The worths are the
duals of a linear program over all columns so far, and over the packings that the proofs turn up (Pisinger and Sigurd
2005, doi 10.1016/j.disopt.2005.01.002, price so; Gilmore and Gomory 1961, doi 10.1287/opre.9.6.849). Pure.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from ortools.sat.python import cp_model

from nesting.assigning.bound import MostHeld, lower_bound, room_in_units, upright_sides
from nesting.assigning.columns import Column, Kind, Shop
from nesting.assigning.scales import strongest_shares
from nesting.assigning.stock import Candidate
from nesting.solving import NoAnswer, relaxed, tried

EFFORT = 0.25
"""For one sheet, for each round of effort asked for."""
ROUNDS = 4
"""Times that pieces are valued and sheets packed."""
SHARES = 8
"""Ways of seeing the pieces as shares of a sheet, by their number and by what they are worth."""
WORTH = 1_000_000
"""What a sheet costs, in units of worth; pieces' worths are rounded down to units."""
MOST_BOXES = 120
"""With more pieces that may lie on a sheet, only their areas and shares are looked at, not how they lie."""


@dataclass(frozen=True, slots=True)
class _Packed:
    """The most that a sheet can hold, in units of worth; and a packing that is worth more than the sheet costs."""

    most: int
    counts: tuple[int, ...] | None


def sharper_bound(
    found: Sequence[Candidate],
    kinds: Sequence[Kind],
    shop: Shop,
    columns: Sequence[Column],
    least: Decimal,
    effort: int,
) -> Decimal:
    """Proven, and no less than `least`; `least` itself where pieces are not all upright rectangles."""
    sides = upright_sides(kinds, shop.machine)
    if not all(map(min, sides)) or not all(map(_is_rectangle, kinds)):
        return least
    wanted = [len(kind.pieces) for kind in kinds]
    cheapest = {one.id: _least_cents(one, columns) for one in found}
    holds, costs = [column.counts for column in columns], [float(column.cents) for column in columns]
    rows: list[MostHeld] = []
    for _ in range(ROUNDS):
        try:
            worths = [max(0.0, dual) for dual in relaxed(holds, costs, wanted, ()).duals]
        except NoAnswer:
            break
        scale = WORTH / max(1.0, *cheapest.values())
        units = [math.floor(worth * scale) for worth in worths]
        packed = [
            _most_held(sides, wanted, units, room_in_units(one, shop.machine), int(cheapest[one.id] * scale), effort)
            for one in found
        ]
        rows.append(MostHeld(tuple(units), tuple(one.most for one in packed)))
        least = max(least, lower_bound(found, kinds, shop, rows))
        better = [(one, pack.counts) for one, pack in zip(found, packed, strict=True) if pack.counts is not None]
        if not better:
            break
        holds += [counts for _, counts in better]
        costs += [cheapest[one.id] for one, _ in better]
    return least


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
    effort: int,
) -> _Packed:
    """The most that pieces can be worth that lie in the room without overlap; `least` where it is no more than that.

    sides, room: whole units of length, (n, 2) and 2; units: what each is worth. Stopped early, it is still a bound.
    """
    step = math.gcd(*room, *(side for pair in sides for side in pair))
    width, depth = room[0] // step, room[1] // step
    small = [(w // step, d // step) for w, d in sides]
    model = cp_model.CpModel()
    boxes = [
        [model.new_bool_var("") for _ in range(min(n, (width // w) * (depth // d)) if unit else 0)]
        for (w, d), n, unit in zip(small, wanted, units, strict=True)
    ]
    for copies in boxes:
        for one, other in itertools.pairwise(copies):
            model.add_implication(other, one)
    if sum(map(len, boxes)) <= MOST_BOXES:
        _keep_apart(model, boxes, small, (width, depth))
    model.add(sum(w * d * box for (w, d), copies in zip(small, boxes, strict=True) for box in copies) <= width * depth)
    for row in _shares(small, wanted, units, (width, depth)):
        model.add(sum(share * box for share, copies in zip(row, boxes, strict=True) for box in copies) <= WORTH)
    worth = sum(unit * box for unit, copies in zip(units, boxes, strict=True) for box in copies)
    model.add(worth >= least + 1)
    model.maximize(worth)
    return _answer(model, boxes, least, sum(u * len(c) for u, c in zip(units, boxes, strict=True)), EFFORT * effort)


def _answer(
    model: cp_model.CpModel, boxes: Sequence[Sequence[cp_model.IntVar]], least: int, all_of_it: int, effort: float
) -> _Packed:
    if all_of_it <= least:
        return _Packed(least, None)
    solver, status = tried(model, effort)
    if status == cp_model.INFEASIBLE:
        return _Packed(least, None)
    most = max(least, min(all_of_it, math.floor(solver.best_objective_bound + 1e-6)))
    if status == cp_model.UNKNOWN:
        return _Packed(most, None)
    return _Packed(most, tuple(sum(solver.value(box) for box in copies) for copies in boxes))


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
    return [[math.floor(share * WORTH * (1.0 - 1e-9)) for share in row] for row in rows]
