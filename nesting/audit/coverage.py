"""Is every contour cut exactly once, and nothing else?

In: SheetScenes. Out: SheetCovers, for other rules too; Checks `cut lines`, `coverage`, `marks`, `joins meet`, `joins
listed`.
Method: each cut is laid along the contour it follows and becomes a stretch of it, from station to station. The
stretches of a contour must tile it: what lies between two neighbours is uncut (+) or cut twice (-).
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from shapely import STRtree
from shapely.geometry import Point

from nesting.audit import linework
from nesting.audit.checks import Check, Flaw, Reading, at_most, none_wrong
from nesting.audit.records import JoinRecord
from nesting.audit.scene import Contour, Cut, Run, SheetScene

OFF_MM = 0.02
"""How far a cut may run beside its contour."""
MEET_MM = 0.01
"""How far two cuts may miss each other where they meet."""
LISTED_MM = 0.05
"""How far a listed coordinate may be from the place it names."""
NEAR_MM = 0.5
"""A cut is tried against every contour this near to its middle."""


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """The part of a contour that one cut covers: stations, `end` above `start`, past the length where it goes round."""

    cut: Cut
    contour: Contour
    start: float
    end: float
    off_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Meeting:
    """Where one stretch ends and the next begins: `gap_mm` uncut (+) or cut twice (-), `miss_mm` from end to end."""

    contour: Contour
    before: Stretch | None
    after: Stretch | None
    station: float
    gap_mm: float
    miss_mm: float

    @property
    def point(self) -> tuple[float, float]:
        x, y = self.contour.trace.at(np.array([self.station]))[0]
        return float(x), float(y)

    @property
    def passes(self) -> frozenset[int]:
        return frozenset(stretch.cut.moment[0] for stretch in (self.before, self.after) if stretch)


@dataclass(frozen=True, slots=True, eq=False)
class Cover:
    """How one layer of a sheet's passes covers the contours it should."""

    stretches: tuple[Stretch, ...]
    strays: tuple[tuple[Cut, float], ...]
    meetings: tuple[Meeting, ...]

    @property
    def joins(self) -> list[Meeting]:
        """Where one pass hands a contour over to another."""
        return [meeting for meeting in self.meetings if len(meeting.passes) > 1]


@dataclass(frozen=True, slots=True, eq=False)
class SheetCover:
    """What the passes of one sheet cut and mark, contour by contour."""

    sheet: SheetScene
    cuts: Cover
    marks: Cover

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        return (*self.cuts.stretches, *self.marks.stretches)

    def last_moments(self) -> dict[int, tuple[int, int]]:
        """For each contour (by identity) cut at all: when the last of it is cut; a closed one then comes free."""
        last: dict[int, tuple[int, int]] = {}
        for stretch in self.stretches:
            key = id(stretch.contour)
            last[key] = max(last.get(key, stretch.cut.moment), stretch.cut.moment)
        return last


def cover_sheet(sheet: SheetScene) -> SheetCover:
    """Layer CUT against outlines and holes, layer MARK against marks."""
    contours = [contour for placed in sheet.placed for contour in placed.contours]
    marks = [mark for placed in sheet.placed for mark in placed.marks]
    return SheetCover(sheet, cover(contours, sheet.cuts("CUT")), cover(marks, sheet.cuts("MARK")))


def cover(contours: Sequence[Contour], cuts: Sequence[Cut]) -> Cover:
    """Lay every cut along the contour it fits best, on its own blank, and see what they leave."""
    stretches: list[Stretch] = []
    strays: list[tuple[Cut, float]] = []
    for blank in sorted({*(contour.blank for contour in contours), *(cut.blank for cut in cuts)}):
        here = [contour for contour in contours if contour.blank == blank]
        tree = STRtree([contour.trace.line for contour in here])
        for cut in (cut for cut in cuts if cut.blank == blank):
            best = _best_stretch(cut, here, tree)
            if best is not None and best.off_mm <= OFF_MM:
                stretches.append(best)
            else:
                strays.append((cut, best.off_mm if best else cut.trace.length))
    return Cover(tuple(stretches), tuple(strays), tuple(_all_meetings(contours, stretches)))


def _best_stretch(cut: Cut, contours: Sequence[Contour], tree: STRtree) -> Stretch | None:
    middle = Point(cut.trace.at(np.array([cut.trace.length / 2]))[0])
    near = [int(i) for i in tree.query(middle, predicate="dwithin", distance=NEAR_MM)]
    if not near and contours:
        near = [int(tree.nearest(middle))]
    tries = (
        _stretch(cut, contours[i], first, sense)
        for i in near
        for first in _may_start(cut, contours[i].trace)
        for sense in (1, -1)
    )
    return min(tries, key=lambda stretch: stretch.off_mm, default=None)


def _may_start(cut: Cut, ideal: linework.Trace) -> Iterator[float]:
    """Stations where a cut may begin: a mark that ends where it starts, as a circle does, has two of them there."""
    yield ideal.station_of(cut.trace.points[0])
    if not ideal.closed and math.dist(ideal.points[0], ideal.points[-1]) <= MEET_MM:
        yield from (0.0, ideal.length)


def _stretch(cut: Cut, contour: Contour, first: float, sense: int) -> Stretch:
    off = linework.deviation(cut.trace, contour.trace, first, sense)
    start = first if sense > 0 else first - cut.trace.length
    if contour.trace.closed:
        start %= contour.trace.length
    return Stretch(cut, contour, start, start + cut.trace.length, off)


def _all_meetings(contours: Sequence[Contour], stretches: Sequence[Stretch]) -> Iterator[Meeting]:
    by_contour: dict[int, list[Stretch]] = defaultdict(list)
    for stretch in stretches:
        by_contour[id(stretch.contour)].append(stretch)
    for contour in contours:
        yield from _meetings(contour, sorted(by_contour[id(contour)], key=lambda stretch: stretch.start))


def _meetings(contour: Contour, stretches: Sequence[Stretch]) -> Iterator[Meeting]:
    """Between neighbours, and round the end of a ring; an open contour also at its two ends."""
    length = contour.trace.length
    if not stretches:
        yield Meeting(contour, None, None, 0.0, length, length)
        return
    for before, after in itertools.pairwise(stretches):
        yield _meeting(contour, before, after, after.start)
    first, last = stretches[0], stretches[-1]
    if contour.trace.closed:
        yield _meeting(contour, last, first, first.start + length)
    else:
        yield Meeting(contour, None, first, 0.0, first.start, first.start)
        yield Meeting(contour, last, None, length, length - last.end, length - last.end)


def _meeting(contour: Contour, before: Stretch, after: Stretch, after_start: float) -> Meeting:
    ends = (_end(before, before.end), _end(after, after.start))
    miss = math.dist(*ends)
    return Meeting(contour, before, after, (before.end + after_start) / 2, after_start - before.end, miss)


def _end(stretch: Stretch, station: float) -> tuple[float, float]:
    """The end of the cut itself (not of the contour) that lies nearer to a station of the contour."""
    ideal = stretch.contour.trace.at(np.array([station]))[0]
    ends = stretch.cut.trace.points[[0, -1]]
    x, y = ends[int(np.argmin(np.hypot(*(ends - ideal).T)))]
    return float(x), float(y)


# ── checks ───────────────────────────────────────────────────────────────────────────────────────────────────


def coverage_checks(covers: Sequence[SheetCover], join_overlap_mm: float) -> list[Check]:
    """All checks of this module; where passes overlap at a join, up to `join_overlap_mm` is meant."""
    cuts = [(found.sheet, found.cuts) for found in covers]
    marks = [(found.sheet, found.marks) for found in covers]
    astray = [*_beside(marks), *_uncovered(marks, join_overlap_mm)]
    return [
        at_most("cut lines", OFF_MM, "mm", _beside(cuts), "a cut beside the contour it follows"),
        at_most("coverage", MEET_MM, "mm", _uncovered(cuts, join_overlap_mm), "contour uncut or cut twice"),
        at_most("marks", OFF_MM, "mm", astray, "a mark astray, left out or twice"),
        at_most("joins meet", MEET_MM, "mm", _missed(cuts, join_overlap_mm), "two passes missing each other at a join"),
        none_wrong("joins listed", _join_flaws(covers), "joins listed in both passes, where they are"),
    ]


Covers = Sequence[tuple[SheetScene, Cover]]


def _beside(covers: Covers) -> Iterator[Reading]:
    for sheet, found in covers:
        for stretch in found.stretches:
            yield Reading(stretch.off_mm, sheet.where(stretch.contour.where))
        for cut, off in found.strays:
            x, y = cut.trace.points[0]
            yield Reading(off, sheet.where(cut.file), f"{cut.layer} line from ({x:.2f}, {y:.2f}) follows no contour")


def _uncovered(covers: Covers, overlap_mm: float) -> Iterator[Reading]:
    for sheet, found in covers:
        for meeting in found.meetings:
            twice = -meeting.gap_mm - (overlap_mm if len(meeting.passes) > 1 else 0.0)
            words = "not cut" if meeting.gap_mm > 0 else "cut twice"
            yield Reading(max(meeting.gap_mm, twice), sheet.where(meeting.contour.where), words)


def _missed(covers: Covers, overlap_mm: float) -> Iterator[Reading]:
    for sheet, found in covers:
        for meeting in found.joins:
            x, y = meeting.point
            miss = meeting.miss_mm - overlap_mm if meeting.gap_mm < 0 else meeting.miss_mm
            yield Reading(max(miss, 0.0), sheet.where(meeting.contour.where), f"at ({x:.2f}, {y:.2f}) on the sheet")


def _join_flaws(covers: Sequence[SheetCover]) -> Iterator[Flaw]:
    """Joins of outlines and holes must be listed; those of marks may be."""
    for found in covers:
        yield from _unlisted(found.sheet, found.cuts.joins)
        for run in found.sheet.runs:
            yield from _wrongly_listed(found.sheet, run, [*found.cuts.joins, *found.marks.joins])
        yield from _number_flaws(found.sheet)


def _unlisted(sheet: SheetScene, joins: Sequence[Meeting]) -> Iterator[Flaw]:
    """A join that one of its passes does not list."""
    for meeting in joins:
        for run in runs_at(sheet, meeting):
            if not listed_at(run, meeting):
                x, y = meeting.point
                yield Flaw(sheet.where(run.record.file), f"join at ({x:.2f}, {y:.2f}) on the sheet is not listed")


def runs_at(sheet: SheetScene, meeting: Meeting) -> list[Run]:
    """The passes that meet there."""
    on_blank = (run for run in sheet.runs if run.record.blank == meeting.contour.blank)
    return [run for run in on_blank if run.record.order in meeting.passes]


def listed_at(run: Run, meeting: Meeting) -> list[JoinRecord]:
    """The joins that a pass lists at a meeting."""
    return [j for j in run.record.joins if j.piece == meeting.contour.piece and _at(meeting, j.sheet_mm)]


def _wrongly_listed(sheet: SheetScene, run: Run, places: Sequence[Meeting]) -> Iterator[Flaw]:
    """A listed join that is none, or whose bed coordinates are not those of its sheet coordinates."""
    pose = run.record
    here = [m for m in places if m.contour.blank == pose.blank and pose.order in m.passes]
    for join in pose.joins:
        where = sheet.where(f"{pose.file} > join {join.number}")
        if not any(m.contour.piece == join.piece and _at(m, join.sheet_mm) for m in here):
            yield Flaw(where, "no contour is joined there")
        bed = linework.to_bed(np.array([join.sheet_mm]), pose.turn_deg, pose.shift_mm, pose.flipped)[0]
        if math.dist(bed, join.bed_mm) > LISTED_MM:
            yield Flaw(where, f"its bed coordinates should be ({bed[0]:.2f}, {bed[1]:.2f})")


def _number_flaws(sheet: SheetScene) -> Iterator[Flaw]:
    """One number is one join: the same piece and place in each pass that lists it, and at least two of those."""
    listed = defaultdict(list)
    for run in sheet.runs:
        for join in run.record.joins:
            listed[run.record.blank, join.number].append(join)
    for (blank, number), joins in listed.items():
        where = sheet.where(f"{blank} > join {number}")
        if len(joins) < 2:
            yield Flaw(where, "is listed in one pass only")
        elif any(j.piece != joins[0].piece or math.dist(j.sheet_mm, joins[0].sheet_mm) > LISTED_MM for j in joins):
            yield Flaw(where, "one number stands for two joins")


def _at(meeting: Meeting, sheet_mm: tuple[float, float]) -> bool:
    return math.dist(meeting.point, sheet_mm) <= LISTED_MM + abs(meeting.gap_mm)
