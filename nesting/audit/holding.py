"""Is what a person holds the blank by, measures and watches told as it is?

In: Scene and SheetCovers. Out: Checks `rule distances`, `frames`, `stops`, `shares`.
Method: marks, joins and edges where the plan and the drawings have them, measured again; boxes of what is drawn.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from shapely.geometry import box

from nesting.audit import linework
from nesting.audit.checks import Check, Flaw, Reading, at_most, none_wrong
from nesting.audit.coverage import SheetCover
from nesting.audit.records import MachineRecord, Point
from nesting.audit.scene import Box, Run, Scene, SheetScene

TOLD_MM = 0.05
"""How far a measure may be off."""
EDGES = {"edge A": (1, 1), "edge B": (0, 2), "edge C": (1, 3), "edge D": (0, 0)}
"""Of each edge the coordinate it holds still, and which of the blank's bounds that is."""
UNKNOWN_MM = 1e6


def holding_checks(scene: Scene, covers: Sequence[SheetCover]) -> list[Check]:
    """All checks of this module, over all sheets."""
    overlap = scene.machine.join_overlap_mm
    return [
        at_most("rule distances", TOLD_MM, "mm", _distances(scene), "a distance to check with a rule"),
        at_most("frames", TOLD_MM, "mm", _frames(scene), "the frame of a pass, and what it leaves to spare"),
        none_wrong("stops", _stop_flaws(scene), "edges to hold against lie where the pass has them, on the table"),
        at_most("shares", TOLD_MM, "mm", _shares(covers, overlap), "what a pass is said to cut of a shared contour"),
    ]


# ── distances ────────────────────────────────────────────────────────────────────────────────────────────────


def _distances(scene: Scene) -> Iterator[Reading]:
    for sheet in scene.sheets:
        for run in sheet.runs:
            named = _named(run)
            bounds = sheet.shape.intersection(box(*run.blank_box)).bounds
            for lined in run.record.lines_up:
                where = sheet.where(f"{run.record.file} > lined up on pass {lined.with_pass}")
                if not lined.distances:
                    yield Reading(UNKNOWN_MM, where, "no distance to check")
                for at in lined.distances:
                    real = _apart(at.start, at.end, named, bounds)
                    yield Reading(
                        abs(real - at.mm), where, f"{at.start} to {at.end}: {at.mm:.2f} told, {real:.2f} real"
                    )


def _named(run: Run) -> dict[str, Point]:
    marks = {f"L{mark.number}": mark.sheet_mm for mark in run.record.lineup}
    return marks | {f"J{join.number}": join.sheet_mm for join in run.record.joins}


def _apart(start: str, end: str, named: Mapping[str, Point], bounds: Box) -> float:
    """Between two points, a point and an edge, or two edges that lie opposite; UNKNOWN_MM where a name is none."""
    if start in named and end in named:
        return math.dist(named[start], named[end])
    if end not in EDGES:
        return UNKNOWN_MM
    axis, bound = EDGES[end]
    if start in named:
        return abs(named[start][axis] - bounds[bound])
    if start not in EDGES or EDGES[start][0] != axis:
        return UNKNOWN_MM
    return abs(bounds[EDGES[start][1]] - bounds[bound])


# ── frames, stops ────────────────────────────────────────────────────────────────────────────────────────────


def _frames(scene: Scene) -> Iterator[Reading]:
    for sheet in scene.sheets:
        for run in sheet.runs:
            where, frame, spare = sheet.where(run.record.file), run.record.frame_mm, run.record.spare_mm
            if not run.cuts:
                continue
            if frame is None or spare is None:
                yield Reading(UNKNOWN_MM, where, "no frame to run round")
                continue
            points = np.vstack([cut.bed.points for cut in run.cuts])
            drawn = np.concatenate([points.min(axis=0), points.max(axis=0)])
            yield Reading(float(np.abs(drawn - frame).max()), where, "the frame is not that of the drawing")
            yield Reading(float(np.abs(_spare(scene.machine, drawn) - spare).max()), where, "not so much to spare")


def _spare(machine: MachineRecord, frame: linework.Floats) -> linework.Floats:
    (x0, y0, x1, y1), travel = frame, machine.travel_box
    return np.array([x0 - travel[0], travel[2] - x1, y0 - travel[1], travel[3] - y1])


def _stop_flaws(scene: Scene) -> Iterator[Flaw]:
    for sheet in scene.sheets:
        for run in sheet.runs:
            for stop in run.record.stops:
                letter, at = _on_side(run, stop.side)
                where = sheet.where(run.record.file)
                if letter != stop.edge:
                    yield Flaw(where, f"edge {letter} lies at the {stop.side}, not edge {stop.edge}")
                elif abs(at - stop.at_mm) > TOLD_MM:
                    yield Flaw(where, f"edge {letter} lies at {at:.2f} mm, not at {stop.at_mm:.2f}")
                elif not _on_table(scene.machine, stop.side, at):
                    yield Flaw(where, f"edge {letter} hangs out at the {stop.side}: nothing can hold it there")
            if not {"left", "right"} & {stop.side for stop in run.record.stops}:
                yield Flaw(sheet.where(run.record.file), "no edge to hold against at either side")


def _on_side(run: Run, side: str) -> tuple[str, float]:
    """The letter of the blank's edge that lies on a side of the bed, and where."""
    x0, y0, x1, y1 = run.blank_box
    middles = {
        "A": ((x0 + x1) / 2, y0),
        "B": (x1, (y0 + y1) / 2),
        "C": ((x0 + x1) / 2, y1),
        "D": (x0, (y0 + y1) / 2),
    }
    pose = run.record
    lying = {
        letter: linework.to_bed(np.array([middle]), pose.turn_deg, pose.shift_mm, pose.flipped)[0]
        for letter, middle in middles.items()
    }
    axis, sign = {"left": (0, 1), "right": (0, -1), "front": (1, 1), "back": (1, -1)}[side]
    letter = min(lying, key=lambda name: sign * lying[name][axis])
    return letter, float(lying[letter][axis])


def _on_table(machine: MachineRecord, side: str, at: float) -> bool:
    if side in ("left", "right"):
        return True
    return machine.table_box[1] - TOLD_MM <= at <= machine.table_box[3] + TOLD_MM


# ── shares ───────────────────────────────────────────────────────────────────────────────────────────────────


def _shares(covers: Sequence[SheetCover], overlap_mm: float) -> Iterator[Reading]:
    """Length told against length drawn, contour by contour and pass by pass; overlaps at joins are drawn, not told."""
    for found in covers:
        drawn: dict[tuple[str, int, str], list[float]] = defaultdict(list)
        for stretch in found.stretches:
            contour = stretch.contour
            drawn[contour.blank, stretch.cut.moment[0], contour.where].append(stretch.end - stretch.start)
        told: dict[tuple[str, int, str], list[float]] = defaultdict(list)
        for run in found.sheet.runs:
            for share in run.record.shares:
                name = "outline" if share.kind == "outline" else f"{share.kind} {share.number}"
                key = run.record.blank, run.record.order, f"{share.piece} > {name}"
                told[key].append(share.end_mm - share.start_mm)
        yield from _lengths_off(found.sheet, drawn, told, overlap_mm)


def _lengths_off(
    sheet: SheetScene,
    drawn: Mapping[tuple[str, int, str], Sequence[float]],
    told: Mapping[tuple[str, int, str], Sequence[float]],
    overlap_mm: float,
) -> Iterator[Reading]:
    for run in sheet.runs:
        keys = [key for key in {**drawn, **told} if key[:2] == (run.record.blank, run.record.order)]
        for key in keys:
            if key[2].split(" > ")[0] in run.record.part:
                off = math.fsum(drawn.get(key, ())) - math.fsum(told.get(key, ()))
                room = 2 * overlap_mm * len(drawn.get(key, ()))
                yield Reading(max(-off, off - room, 0.0), sheet.where(f"{run.record.file} > {key[2]}"))
