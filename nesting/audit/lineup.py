"""Will the operator find the line-up marks again?

In: Scene and SheetCovers. Out: Checks `line-up marks`, `line-up in waste`, `line-up in reach`, `joins lined up`,
`mismatch`.
Method: what layer LINEUP holds, brought back to the sheet, against what the passes list; distances to pieces and edges.
Root mean square step at distance r from the middle of two marks d apart, each found within s an axis:
s sqrt(1 + 2 r² / d²), the plane case of Fitzpatrick, West, Maurer, IEEE Trans. Med. Imaging 17 (1998) 694, from memory.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon, box

from nesting.audit import linework
from nesting.audit.checks import Check, Flaw, Reading, at_least, at_most, none_wrong
from nesting.audit.coverage import SheetCover, listed_at, runs_at
from nesting.audit.passes import BED_MM, beyond
from nesting.audit.records import LineUpRecord, Point
from nesting.audit.scene import Cut, Run, Scene, SheetScene

LISTED_MM = 0.05
"""How far a mark may be from where it is listed."""
CLEAR_MM = 0.05
"""Least distance from a mark's lines to a piece, an edge or a hole of the sheet."""
WORST_MM = 0.01
"""How far the worst displacement told may be off besides: it is looked for point by point."""
TOLD_MM = 0.01
"""How far the mismatch told at a join may be from the one to expect."""


@dataclass(frozen=True, slots=True)
class Listing:
    """One mark as one pass lists it."""

    run: Run
    mark: LineUpRecord


def lineup_checks(scene: Scene, covers: Sequence[SheetCover]) -> list[Check]:
    """All checks of this module, over all sheets."""
    travel = scene.machine.travel_box
    return [
        none_wrong("line-up marks", _flaws(covers), "each mark cut once, found again later, listed where it is"),
        at_least("line-up in waste", CLEAR_MM, "mm", _clearances(scene), "from a line-up mark to a piece or an edge"),
        at_most("line-up in reach", BED_MM, "mm", _beyond_reach(scene, travel), "a line-up mark beyond the travel"),
        none_wrong("joins lined up", _unmarked(scene, covers), "passes that meet share two marks, or say what serves"),
        at_most("mismatch", TOLD_MM, "mm", _mistold(scene, covers), "mismatch told at a join off the one to expect"),
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
        bed = linework.to_bed(np.array([mark.sheet_mm]), pose.turn_deg, pose.shift_mm, pose.flipped)[0]
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
                    bed = linework.to_bed(cut.trace.points, pose.turn_deg, pose.shift_mm, pose.flipped)
                    yield Reading(beyond(bed, travel), sheet.where(f"{pose.file} > mark {listing.mark.number}"))


# ── joins ────────────────────────────────────────────────────────────────────────────────────────────────────


def _shared_marks(sheet: SheetScene, blank: str, passes: Collection[int]) -> list[Point]:
    """Where the marks are, on the sheet, that all of these passes list."""
    return [
        listings[0].mark.sheet_mm
        for (on, _), listings in _listings(sheet).items()
        if on == blank and set(passes) <= {listing.run.record.order for listing in listings}
    ]


def _unmarked(scene: Scene, covers: Sequence[SheetCover]) -> Iterator[Flaw]:
    for found in covers:
        for blank, passes in sorted({(m.contour.blank, tuple(sorted(m.passes))) for m in found.cuts.joins}):
            yield from _told_flaws(found, blank, passes, scene.plan.warnings)
        yield from _idle_flaws(found)


def _told_flaws(found: SheetCover, blank: str, passes: Sequence[int], warnings: Sequence[str]) -> Iterator[Flaw]:
    """The later pass says by what it is lined up on the earlier: marks if they share two, else it is warned of."""
    first, later = passes[0], passes[-1]
    between, where = f"passes {first} and {later}", found.sheet.where(blank)
    told = [
        lined.by
        for run in found.sheet.runs
        if (run.record.blank, run.record.order) == (blank, later)
        for lined in run.record.lines_up
        if lined.with_pass == first
    ]
    marked = len(_shared_marks(found.sheet, blank, passes)) >= 2
    if len(told) != 1:
        yield Flaw(where, f"{between} meet, and `lines_up` says {len(told)} times by what they are lined up")
    elif marked != (told[0] == "marks"):
        yield Flaw(where, f"{between} {'share' if marked else 'meet without'} two marks, and are lined up by {told[0]}")
    elif not marked and not any(w.startswith(f"{found.sheet.id}-{blank}: ") and between in w for w in warnings):
        yield Flaw(where, f"{between} meet without two marks in common, and the plan does not warn")


def _idle_flaws(found: SheetCover) -> Iterator[Flaw]:
    """A pass is lined up only on passes that it meets."""
    meets = {(m.contour.blank, max(m.passes), min(m.passes)) for m in found.cuts.joins}
    for run in found.sheet.runs:
        for lined in run.record.lines_up:
            if (run.record.blank, run.record.order, lined.with_pass) not in meets:
                where = found.sheet.where(run.record.file)
                yield Flaw(where, f"is lined up on pass {lined.with_pass}, which it does not meet")


def _mistold(scene: Scene, covers: Sequence[SheetCover]) -> Iterator[Reading]:
    for found in covers:
        yield from _worst_mistold(found, scene.machine.lineup_error_mm)
        for meeting in found.cuts.joins:
            marks = _shared_marks(found.sheet, meeting.contour.blank, meeting.passes)
            expected = _mismatch(meeting.point, marks, scene.machine.lineup_error_mm)
            for run in runs_at(found.sheet, meeting):
                for join in listed_at(run, meeting):
                    words = f"{join.mismatch_mm:.3f} told, {expected:.3f} to expect"
                    where = found.sheet.where(f"{run.record.file} > join {join.number}")
                    yield Reading(abs(join.mismatch_mm - expected), where, words)


def _worst_mistold(found: SheetCover, error_mm: float) -> Iterator[Reading]:
    """The largest displacement told for a pass against what its marks leave along all it cuts of shared pieces."""
    for run in found.sheet.runs:
        shared = [
            stretch.cut.trace.points
            for stretch in found.cuts.stretches
            if stretch.cut.file == run.record.file and stretch.contour.piece in run.record.part
        ]
        points = np.vstack(shared) if shared else np.zeros((0, 2))
        for lined in run.record.lines_up:
            marks = _shared_marks(found.sheet, run.record.blank, (lined.with_pass, run.record.order))
            expected = max((_mismatch((x, y), marks, error_mm) for x, y in points.tolist()), default=error_mm)
            where = found.sheet.where(f"{run.record.file} > lined up on pass {lined.with_pass}")
            words = f"at worst {lined.worst_mm:.3f} told, {expected:.3f} to expect"
            yield Reading(max(0.0, abs(lined.worst_mm - expected) - WORST_MM), where, words)


def _mismatch(at: Point, marks: Sequence[Point], error_mm: float) -> float:
    """Millimetres; where there are no two marks the ends themselves are lined up, each within the error."""
    if len(marks) < 2 or math.dist(marks[0], marks[1]) == 0:
        return error_mm
    (ax, ay), (bx, by) = marks[:2]
    away = math.dist(at, ((ax + bx) / 2, (ay + by) / 2))
    return error_mm * math.sqrt(1.0 + 2.0 * (away / math.dist(marks[0], marks[1])) ** 2)
