"""Passes: from pieces laid on a blank to runs of the machine, their joins and their line-up marks.

In: a sheet with its blank, laid pieces, machine, rates. Out: Pass records in running order. Pure.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Literal

import shapely
from shapely.geometry.base import BaseGeometry

from nesting.faults import within
from nesting.model import Blank, Join, LineUpMark, Machine, Pass, Point, Rates, Rect
from nesting.passes.choose import Run, choose_runs
from nesting.passes.joins import regions, stretches
from nesting.passes.lineup import line_up_points, mismatch_mm
from nesting.passes.reach import Reach, overlap, reaches
from nesting.placing import Laid

__all__ = ["minutes", "plan_passes", "unmarked"]

TurnName = Literal["none", "half", "quarter", "shift"]
Meet = tuple[int, str, Point]
"""A join: its number through the blank, the piece, the point in the sheet frame."""
Pair = tuple[int, int]
"""Two passes of a blank by their place in the running order, the earlier one first."""


def plan_passes(
    sheet_id: str, sheet: shapely.Polygon, blank: Blank, laid: Sequence[Laid], machine: Machine, rates: Rates
) -> tuple[Pass, ...]:
    """Passes in running order. Raises ReachFault where no passes cover the pieces."""
    with within(f"sheet {sheet_id}"):
        runs = choose_runs(laid, reaches(machine, blank.rect_mm), machine, rates)
    areas = regions(runs)
    meets = _meeting_points(runs, areas)
    between = _meeting_passes(meets)
    # A trimmed edge is an edge like the sheet's own: marks keep clear of it.
    ground = sheet.intersection(shapely.box(*blank.rect_mm))
    marks = _marks(runs, sorted(set(between.values())), ground, laid, machine)
    return tuple(
        Pass(
            order=k + 1,
            blank=blank.id,
            turn_deg=run.reach.turn_deg,
            shift_mm=run.reach.shift_mm,
            turn_before=turn_between(runs[k - 1].reach, run.reach) if k else "none",
            file=f"{sheet_id}-{blank.id}-pass{k + 1}.dxf",
            region_mm=areas[k],
            whole=tuple(one.piece.id for one in run.whole),
            part=tuple(one.piece.id for one in run.part if _cuts(one, k, areas)),
            joins=tuple(_join(run, meet, marks.get(between[meet[0]], ()), machine) for meet in meets.get(k, ())),
            lineup=_lineup(k, runs, marks),
        )
        for k, run in enumerate(runs)
    )


def unmarked(passes: Sequence[Pass]) -> list[tuple[Pass, Pass]]:
    """Passes that meet in a contour but found no waste for line-up marks."""
    return [
        (a, b)
        for a, b in itertools.combinations(passes, 2)
        if a.blank == b.blank
        and {join.number for join in a.joins} & {join.number for join in b.joins}
        and not {mark.number for mark in a.lineup} & {mark.number for mark in b.lineup}
    ]


def minutes(passes: Sequence[Pass], machine: Machine) -> tuple[Decimal, Decimal]:
    """Minutes of setting up and of turning for the passes of one blank."""
    turns = sum(p.turn_before != "none" for p in passes)
    setups = Decimal(str(machine.setup_min)) if passes else Decimal(0)
    return setups, turns * Decimal(str(machine.turn_min))


def turn_between(before: Reach, after: Reach) -> TurnName:
    """What the operator does between two passes."""
    turned = (after.turn_deg - before.turn_deg) % 360
    names: dict[int, TurnName] = {0: "shift", 180: "half"}
    return names.get(turned, "quarter")


def _marks(
    runs: Sequence[Run], pairs: Sequence[Pair], ground: BaseGeometry, laid: Sequence[Laid], machine: Machine
) -> dict[Pair, tuple[Point, ...]]:
    """Line-up points for each pair of passes that meet, where waste that both reach holds them."""
    found = {}
    for first, second in pairs:
        band = overlap(runs[first].reach.rect_mm, runs[second].reach.rect_mm)
        if band and (points := line_up_points(band, ground, laid, machine.gap_mm)):
            found[first, second] = points
    return found


def _lineup(k: int, runs: Sequence[Run], marks: dict[Pair, tuple[Point, ...]]) -> tuple[LineUpMark, ...]:
    """Marks found from earlier passes and marks cut for later ones; numbered through the blank."""
    listed = []
    number = 0
    for (first, second), points in sorted(marks.items()):
        for point in points:
            number += 1
            if k in (first, second):
                listed.append(LineUpMark(number, point, runs[k].reach.to_bed(point), cut_here=k == first))
    return tuple(listed)


def _cuts(one: Laid, k: int, areas: Sequence[Rect]) -> bool:
    """Whether pass `k` cuts anything of a shared piece: its reach may touch the piece's bounds and no contour."""
    chains = ((ring, True) for ring in one.rings), ((mark, False) for mark in one.marks)
    return any(
        True
        for chain, closed in itertools.chain(*chains)
        for _ in stretches(chain, closed, areas[k], areas[:k], areas[k + 1 :])
    )


def _meeting_points(runs: Sequence[Run], areas: Sequence[Rect]) -> dict[int, tuple[Meet, ...]]:
    """For each pass its joins."""
    numbers: dict[tuple[str, Point], int] = {}
    found: dict[int, list[Meet]] = {}
    for k, run in enumerate(runs):
        for one in run.part:
            for ring in one.rings:
                for stretch in stretches(ring, True, areas[k], areas[:k], areas[k + 1 :]):
                    for x, y in stretch.ends:
                        point = round(x, 4) + 0.0, round(y, 4) + 0.0
                        number = numbers.setdefault((one.piece.id, point), len(numbers) + 1)
                        found.setdefault(k, []).append((number, one.piece.id, point))
    return {k: tuple(sorted(set(listed))) for k, listed in found.items()}


def _meeting_passes(meets: Mapping[int, Sequence[Meet]]) -> dict[int, Pair]:
    """For each join, by number, the passes that meet there."""
    passes: dict[int, list[int]] = {}
    for k in sorted(meets):
        for number, _, _ in meets[k]:
            passes.setdefault(number, []).append(k)
    return {number: (listed[0], listed[-1]) for number, listed in passes.items()}


def _join(run: Run, meet: Meet, marks: Sequence[Point], machine: Machine) -> Join:
    number, piece, point = meet
    # Without marks the join ends themselves are lined up: each within the error, no lever.
    expected = mismatch_mm(point, marks, machine.lineup_error_mm) if marks else machine.lineup_error_mm
    return Join(number, piece, point, run.reach.to_bed(point), round(expected, 3))
