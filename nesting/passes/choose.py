"""Which passes: the fewest ways to lay the blank that together reach every contour, weighed in money.

In: pieces laid on a blank, the blank's reaches. Out: Runs (a reach, the pieces it cuts whole, those it shares).
Method: a covering model in OR-Tools CP-SAT; the numbers (P1) to (P4) are those of docs/model.md.
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
from nesting.placing import Laid, inside_of
from nesting.solving import solved


@dataclass(frozen=True, slots=True)
class Run:
    """One pass to be: the reach, the pieces it cuts from start to end, and those it shares with other passes."""

    reach: Reach
    whole: tuple[Laid, ...]
    part: tuple[Laid, ...]


def choose_runs(laid: Sequence[Laid], reaches: Sequence[Reach], machine: Machine, rates: Rates) -> tuple[Run, ...]:
    """The cheapest passes that cover all pieces. Raises ReachFault naming the piece that no passes cover."""
    covers = [_covers(one, reaches) for one in laid]
    chosen, shared = _solve(laid, reaches, covers, machine, rates)
    return _runs(laid, [reaches[i] for i in chosen], shared)


@dataclass(frozen=True, slots=True)
class _Cover:
    """For one piece: the reaches that hold it whole; for each stretch of its contours, the reaches that cut it."""

    whole: tuple[int, ...]
    stretches: tuple[tuple[int, ...], ...]


def _covers(one: Laid, reaches: Sequence[Reach]) -> _Cover:
    whole = tuple(i for i, reach in enumerate(reaches) if holds(reach.rect_mm, one.bounds))
    if whole:
        return _Cover(whole, ())
    stretches = set()
    for ring in one.rings:
        for chain, reached in reached_by(ring, reaches):
            if not reached:
                x, y = curves.middle(chain)
                raise ReachFault(
                    f"no pass reaches the contour of {one.piece.name} at ({x:.1f}, {y:.1f}) mm on the sheet",
                    mend="allow it to be split (one_piece = false), or lay it on a smaller blank",
                )
            stretches.add(reached)
    return _Cover((), tuple(sorted(stretches)))


def _solve(
    laid: Sequence[Laid], reaches: Sequence[Reach], covers: Sequence[_Cover], machine: Machine, rates: Rates
) -> tuple[list[int], frozenset[str]]:
    shared = frozenset(one.piece.id for one, cover in zip(laid, covers, strict=True) if not cover.whole)
    everywhere = [i for i in range(len(reaches)) if all(i in cover.whole for cover in covers)]
    if everywhere:
        return everywhere[:1], shared
    model = cp_model.CpModel()
    use = [model.new_bool_var(f"use_{i}") for i in range(len(reaches))]
    for cover in covers:
        if cover.whole:
            model.add_bool_or(use[i] for i in cover.whole)  # (P2) held whole by one pass
        for stretch in cover.stretches:
            model.add_bool_or(use[i] for i in stretch)  # (P3) every stretch reached
    turn_cents = int(Decimal(str(machine.turn_min)) * rates.labour_per_hour / 60 * 100) or 1
    model.minimize(sum(turn_cents * 1000 * var + i * var for i, var in enumerate(use)))  # (P1), ties by order
    solver = solved(model, effort=2.0)
    return [i for i, var in enumerate(use) if solver.value(var)], shared


def _runs(laid: Sequence[Laid], reaches: Sequence[Reach], shared: frozenset[str]) -> tuple[Run, ...]:
    """Most whole pieces first; a piece in another's hole goes with that piece, so that it never falls out uncut."""

    def count_whole(reach: Reach) -> int:
        return sum(holds(reach.rect_mm, one.bounds) for one in laid)

    order = sorted(reaches, key=lambda reach: (-count_whole(reach), reach.turn_deg, reach.shift_mm))
    around = inside_of(laid)
    depth = {one.piece.id: _depth(one.piece.id, around) for one in laid}
    home: dict[str, int] = {}
    for one in sorted(laid, key=lambda one: depth[one.piece.id]):
        if one.piece.id not in shared:
            first = next(k for k, reach in enumerate(order) if holds(reach.rect_mm, one.bounds))
            home[one.piece.id] = home.get(around.get(one.piece.id, ""), first)
    inmost_first = sorted(laid, key=lambda one: (-depth[one.piece.id], one.bounds[1], one.bounds[0], one.piece.id))
    return tuple(
        Run(
            reach,
            tuple(one for one in inmost_first if home.get(one.piece.id) == k),
            tuple(one for one in inmost_first if one.piece.id in shared and overlap(reach.rect_mm, one.bounds)),
        )
        for k, reach in enumerate(order)
    )


def _depth(piece_id: str, around: dict[str, str]) -> int:
    depth = 0
    while piece_id in around:
        piece_id = around[piece_id]
        depth += 1
    return depth
