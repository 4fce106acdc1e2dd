"""Which passes: the ways to lay the blank that together reach every contour, cheapest in money, and their order.

In: pieces laid on a blank, the blank's reaches. Out: reaches in running order, and which pieces several of them share.
Method: a covering model in OR-Tools CP-SAT; the numbers (P1) to (P5) are those of docs/model.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from ortools.sat.python import cp_model

from nesting import curves
from nesting.faults import ReachFault
from nesting.model import Machine, Rates
from nesting.passes.reach import Reach, holds, overlap, reached_by
from nesting.placing import Laid
from nesting.solving import solved

Around = tuple[tuple[int, ...], ...]
"""A contour's stretches in order round it, each as the reaches that hold it."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """Reaches in running order; the pieces that no single one of all reaches holds, by id."""

    reaches: tuple[Reach, ...]
    shared: frozenset[str]


def choose_runs(laid: Sequence[Laid], reaches: Sequence[Reach], machine: Machine, rates: Rates) -> Chosen:
    """The cheapest passes that cover all pieces. Raises ReachFault naming the piece that no passes cover."""
    covers = [_cover(one, reaches) for one in laid]
    shared = frozenset(one.piece.id for one, cover in zip(laid, covers, strict=True) if not cover.whole)
    chosen = [reaches[i] for i in _solve(reaches, covers, machine, rates)]
    return Chosen(_ordered(laid, chosen, shared), shared)


@dataclass(frozen=True, slots=True)
class _Cover:
    """For one piece: the reaches that hold it whole; else, for each of its contours, what reaches it along it."""

    whole: tuple[int, ...]
    contours: tuple[Around, ...]


def _cover(one: Laid, reaches: Sequence[Reach]) -> _Cover:
    whole = tuple(i for i, reach in enumerate(reaches) if holds(reach.rect_mm, one.bounds))
    if whole:
        return _Cover(whole, ())
    contours = []
    for ring in one.rings:
        stretches = reached_by(ring, reaches)
        for chain, reached in stretches:
            if not reached:
                x, y = curves.middle(chain)
                raise ReachFault(
                    f"no pass reaches the contour of {one.piece.name} at ({x:.1f}, {y:.1f}) mm on the sheet",
                    mend="allow it to be split (one_piece = false), or lay it on a smaller blank",
                )
        contours.append(tuple(reached for _, reached in stretches))
    return _Cover((), tuple(contours))


def _solve(reaches: Sequence[Reach], covers: Sequence[_Cover], machine: Machine, rates: Rates) -> list[int]:
    everywhere = [i for i in range(len(reaches)) if all(i in cover.whole for cover in covers)]
    if everywhere:
        return everywhere[:1]
    model = cp_model.CpModel()
    use = [model.new_bool_var(f"use_{i}") for i in range(len(reaches))]
    for cover in covers:
        if cover.whole:
            model.add_bool_or(use[i] for i in cover.whole)  # (P2) held whole by one pass
    joins = [join for cover in covers for around in cover.contours for join in _joins_of(model, use, around)]
    turn = _cents(Decimal(str(machine.turn_min)) * rates.labour_per_hour / 60)
    join = _cents(rates.join_cost)
    places = _side_stops(model, use, reaches)
    # (P1) in millionths of a cent, so that equals are told apart
    flips = [var for var, reach in zip(use, reaches, strict=True) if reach.flipped]
    least = 1_000_000 * (turn * sum(use) + join * sum(joins)) + 50_000 * sum(flips) + 1000 * sum(places)
    model.minimize(least + sum(i * var for i, var in enumerate(use)))
    solver = solved(model, effort=2.0)
    return [i for i, var in enumerate(use) if solver.value(var)]


def _side_stops(
    model: cp_model.CpModel, use: Sequence[cp_model.IntVar], reaches: Sequence[Reach]
) -> list[cp_model.IntVar]:
    """Variables that are 1 for every place that the side stop must be set to."""
    places = {round(reach.left_mm, 3): model.new_bool_var("") for reach in reaches}
    for var, reach in zip(use, reaches, strict=True):
        model.add_implication(var, places[round(reach.left_mm, 3)])
    return list(places.values())


def _cents(money: Decimal) -> int:
    """At least one: a turn or a join that costs nothing is still to be avoided."""
    return max(1, int(money * 100))


def _joins_of(model: cp_model.CpModel, use: Sequence[cp_model.IntVar], around: Around) -> list[cp_model.IntVar]:
    """Variables that are 1 where one pass hands the contour on to another."""
    merged = [held for i, held in enumerate(around) if held != around[i - 1]] or [around[0]]
    cuts = [{i: model.new_bool_var("") for i in held} for held in merged]
    joins = []
    for before, after in zip([cuts[-1], *cuts[:-1]], cuts, strict=True):
        model.add_exactly_one(after.values())  # (P3) every stretch is cut by one pass that reaches it
        for i, var in after.items():
            model.add_implication(var, use[i])  # (P4) which is then made
        if len(cuts) > 1:
            joins.append(model.new_bool_var(""))
            for i, var in after.items():  # (P5) a join, unless the same pass cut the stretch before
                model.add_bool_or(var.negated(), joins[-1], *([before[i]] if i in before else []))
    return joins


def _ordered(laid: Sequence[Laid], chosen: Sequence[Reach], shared: frozenset[str]) -> tuple[Reach, ...]:
    """What frees most comes last, so that the sheet stays stiff; before all others, passes that share no outline."""

    def shares(reach: Reach) -> bool:
        return any(one.piece.id in shared and overlap(reach.rect_mm, one.bounds) for one in laid)

    def alone(reach: Reach) -> int:
        others = [other for other in chosen if other is not reach]
        return sum(
            holds(reach.rect_mm, one.bounds) and not any(holds(other.rect_mm, one.bounds) for other in others)
            for one in laid
        )

    return tuple(
        sorted(chosen, key=lambda reach: (shares(reach), alone(reach), reach.flipped, reach.turn_deg, reach.shift_mm))
    )
