"""Passes: from pieces laid on a blank to runs of the machine, their joins and their line-up marks.

In: a sheet with its blank, laid pieces, machine, rates. Out: Pass records in running order. Pure.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
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


def plan_passes(
    sheet_id: str, sheet: shapely.Polygon, blank: Blank, laid: Sequence[Laid], machine: Machine, rates: Rates
) -> tuple[Pass, ...]:
    """Passes in running order. Raises ReachFault where no passes cover the pieces."""
    with within(f"sheet {sheet_id}"):
        runs = choose_runs(laid, reaches(machine, blank.rect_mm), machine, rates)
    areas = regions(runs)
    # A trimmed edge is an edge like the sheet's own: marks keep clear of it.
    marks = _marks(runs, sheet.intersection(shapely.box(*blank.rect_mm)), laid, machine)
    meets = _meeting_points(runs, areas)
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
            part=tuple(one.piece.id for one in run.part),
            joins=_joins(run, meets.get(k, ()), marks.get((0, k), marks.get((k, k + 1), ())), machine),
            lineup=_lineup(k, runs, marks),
        )
        for k, run in enumerate(runs)
    )


def unmarked(passes: Sequence[Pass]) -> list[tuple[Pass, Pass]]:
    """Neighbouring passes that share contours but found no waste for line-up marks."""
    pairs = itertools.pairwise(passes)
    return [(a, b) for a, b in pairs if a.blank == b.blank and set(a.part) & set(b.part) and not b.lineup]


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
    runs: Sequence[Run], sheet: BaseGeometry, laid: Sequence[Laid], machine: Machine
) -> dict[tuple[int, int], tuple[Point, ...]]:
    """Line-up points for each pass and the next, where contours are shared between them and waste holds them."""
    found = {}
    for k in range(1, len(runs)):
        band = overlap(runs[k - 1].reach.rect_mm, runs[k].reach.rect_mm)
        if band and runs[k].part and (points := line_up_points(band, sheet, laid, machine.gap_mm)):
            found[(k - 1, k)] = points
    return found


def _lineup(k: int, runs: Sequence[Run], marks: dict[tuple[int, int], tuple[Point, ...]]) -> tuple[LineUpMark, ...]:
    """Marks found from the pass before, then marks cut for the pass after; numbered through the blank."""
    listed = []
    number = 0
    for (first, second), points in sorted(marks.items()):
        for point in points:
            number += 1
            if k in (first, second):
                listed.append(LineUpMark(number, point, runs[k].reach.to_bed(point), cut_here=k == first))
    return tuple(listed)


def _meeting_points(runs: Sequence[Run], areas: Sequence[Rect]) -> dict[int, tuple[tuple[int, str, Point], ...]]:
    """For each pass its joins: number through the blank, piece, point in the sheet frame."""
    numbers: dict[tuple[str, Point], int] = {}
    found: dict[int, list[tuple[int, str, Point]]] = {}
    for k, run in enumerate(runs):
        for one in run.part:
            for ring in one.rings:
                for stretch in stretches(ring, True, areas[k], areas[:k], areas[k + 1 :]):
                    for x, y in stretch.ends:
                        point = round(x, 4) + 0.0, round(y, 4) + 0.0
                        number = numbers.setdefault((one.piece.id, point), len(numbers) + 1)
                        found.setdefault(k, []).append((number, one.piece.id, point))
    return {k: tuple(sorted(set(listed))) for k, listed in found.items()}


def _joins(
    run: Run, meets: Sequence[tuple[int, str, Point]], marks: Sequence[Point], machine: Machine
) -> tuple[Join, ...]:
    def expected(point: Point) -> float:
        # Without marks the join ends themselves are lined up: each within the error, no lever.
        return mismatch_mm(point, marks, machine.lineup_error_mm) if marks else machine.lineup_error_mm

    return tuple(
        Join(number, piece, point, run.reach.to_bed(point), round(expected(point), 3)) for number, piece, point in meets
    )
