"""Will the operator find the line-up marks again?

In: Scene and SheetCovers. Out: Checks `line-up marks`, `line-up in waste`, `line-up in reach`.
Method: what layer LINEUP holds, brought back to the sheet, against what the passes list; distances to pieces and edges.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon, box

from nesting.audit import linework
from nesting.audit.checks import Check, Flaw, Reading, at_least, at_most, none_wrong
from nesting.audit.coverage import SheetCover
from nesting.audit.passes import BED_MM, beyond
from nesting.audit.records import LineUpRecord
from nesting.audit.scene import Cut, Run, Scene, SheetScene

LISTED_MM = 0.05
"""How far a mark may be from where it is listed."""
CLEAR_MM = 0.05
"""Least distance from a mark's lines to a piece, an edge or a hole of the sheet."""


@dataclass(frozen=True, slots=True)
class Listing:
    """One mark as one pass lists it."""

    run: Run
    mark: LineUpRecord


def lineup_checks(scene: Scene, covers: Sequence[SheetCover]) -> list[Check]:
    """All checks of this module, over all sheets."""
    travel = (0.0, 0.0, *scene.machine.travel_mm)
    return [
        none_wrong("line-up marks", _flaws(covers), "each mark cut once, found again later, listed where it is"),
        at_least("line-up in waste", CLEAR_MM, "mm", _clearances(scene), "from a line-up mark to a piece or an edge"),
        at_most("line-up in reach", BED_MM, "mm", _beyond_reach(scene, travel), "a line-up mark beyond the travel"),
    ]


def _listings(sheet: SheetScene) -> dict[tuple[str, int], list[Listing]]:
    """All listings of each mark, by blank and number, in the order of the passes."""
    found: dict[tuple[str, int], list[Listing]] = defaultdict(list)
    for run in sheet.runs:
        for mark in run.record.lineup:
            found[run.record.blank, mark.number].append(Listing(run, mark))
    return found


def _lines(run: Run, mark: LineUpRecord) -> list[Cut]:
    """What the pass's drawing burns for a mark: the lines whose middle is where the mark is listed."""
    return [cut for cut in run.on("LINEUP") if math.dist(_middle(cut), mark.bed_mm) <= LISTED_MM]


def _middle(cut: Cut) -> tuple[float, float]:
    x, y = (cut.bed.points.min(axis=0) + cut.bed.points.max(axis=0)) / 2
    return float(x), float(y)


def _flaws(covers: Sequence[SheetCover]) -> Iterator[Flaw]:
    for found in covers:
        for (blank, number), listings in _listings(found.sheet).items():
            where = found.sheet.where(f"{blank} > mark {number}")
            yield from _sequence_flaws(where, listings)
            yield from _place_flaws(where, listings)
            yield from _loose_flaws(where, listings, found)
        for run in found.sheet.runs:
            yield from _stray_flaws(found.sheet, run)


def _sequence_flaws(where: str, listings: Sequence[Listing]) -> Iterator[Flaw]:
    cut = [listing.mark.cut_here for listing in listings]
    if len(cut) < 2:
        yield Flaw(where, "is listed in one pass only")
    if cut != [True] + [False] * (len(cut) - 1):
        yield Flaw(where, "must be cut in the first pass that lists it and in no other")


def _place_flaws(where: str, listings: Sequence[Listing]) -> Iterator[Flaw]:
    for listing in listings:
        pose, mark = listing.run.record, listing.mark
        bed = linework.to_bed(np.array([mark.sheet_mm]), pose.turn_deg, pose.shift_mm)[0]
        if math.dist(bed, mark.bed_mm) > LISTED_MM:
            yield Flaw(where, f"in pass {pose.order} its bed coordinates should be ({bed[0]:.2f}, {bed[1]:.2f})")
        if math.dist(mark.sheet_mm, listings[0].mark.sheet_mm) > LISTED_MM:
            yield Flaw(where, f"pass {pose.order} has it at another place on the sheet")
        if mark.cut_here and not _lines(listing.run, mark):
            yield Flaw(where, f"is not in {pose.file}")


def _loose_flaws(where: str, listings: Sequence[Listing], found: SheetCover) -> Iterator[Flaw]:
    """A mark in the waste of a hole is gone once that hole has come free."""
    last = found.last_moments()
    x, y = listings[0].mark.sheet_mm
    needed = listings[-1].run.record.order
    for hole in (hole for placed in found.sheet.placed for hole in placed.holes):
        if id(hole) in last and last[id(hole)][0] < needed and shapely.contains_xy(Polygon(hole.trace.points), x, y):
            yield Flaw(where, f"lies in {hole.where}, which falls out before pass {needed}")


def _stray_flaws(sheet: SheetScene, run: Run) -> Iterator[Flaw]:
    listed = {id(cut) for mark in run.record.lineup if mark.cut_here for cut in _lines(run, mark)}
    for cut in run.on("LINEUP"):
        if id(cut) not in listed:
            x, y = _middle(cut)
            yield Flaw(sheet.where(run.record.file), f"a LINEUP line at ({x:.2f}, {y:.2f}) is no mark cut in this pass")


def _clearances(scene: Scene) -> Iterator[Reading]:
    """From each mark's lines to the nearest piece or edge; 0 or less where it lies in a piece or off the blank."""
    for sheet in scene.sheets:
        solids = np.array([placed.solid for placed in sheet.placed])
        for run in sheet.runs:
            ground = sheet.shape.intersection(box(*run.blank_box))
            for cut in run.on("LINEUP"):
                line = LineString(cut.trace.points)
                inside = ground.boundary.distance(line) if ground.contains(line) else -line.difference(ground).length
                yield Reading(float(min([inside, *shapely.distance(solids, line)])), sheet.where(cut.file))


def _beyond_reach(scene: Scene, travel: tuple[float, float, float, float]) -> Iterator[Reading]:
    """Each mark's lines, as cut and wherever they must be found again."""
    for sheet in scene.sheets:
        for listings in _listings(sheet).values():
            drawn = [cut for listing in listings if listing.mark.cut_here for cut in _lines(listing.run, listing.mark)]
            for listing in listings:
                pose = listing.run.record
                for cut in drawn:
                    bed = linework.to_bed(cut.trace.points, pose.turn_deg, pose.shift_mm)
                    yield Reading(beyond(bed, travel), sheet.where(f"{pose.file} > mark {listing.mark.number}"))
