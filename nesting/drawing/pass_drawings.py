"""What goes into each file a machine runs: a pass or a machine trim, in the bed frame.

In: Plan. Out: layers of chains in running order, by file name. Pure.
`CUT`, `MARK` and `LINEUP` are run; `NOTE_SHEET` (the blank's edge), `NOTE_REACH` (the travel) and `NOTE_FIND` (line-up
marks of an earlier pass, to be found again) are for reference only.
"""

from __future__ import annotations

from collections.abc import Mapping

import shapely
from shapely.geometry import Polygon

from nesting import curves
from nesting.drawing.shapes import DrawnChain
from nesting.model import Machine, Pass, Plan, PlannedSheet, Point, Rect, Trim, Vertex
from nesting.passes.cuts import cross, cuts_of, laid_on, to_bed
from nesting.placing import Laid

Layers = dict[str, list[DrawnChain]]


def drawings(plan: Plan) -> dict[str, Layers]:
    """All drawings of a plan: file name to layers."""
    pieces = {piece.id: piece for piece in plan.pieces}
    files: dict[str, Layers] = {}
    for sheet in plan.sheets:
        for part, trim in zip(trimmed_parts(sheet), sheet.trims, strict=True):
            if trim.file:
                files[trim.file] = _trim_layers(sheet, part, trim, plan.machine)
        laid = laid_on(sheet, pieces)
        for run in sheet.passes:
            files[run.file] = _pass_layers(sheet, run, laid, plan.machine)
    return files


def trimmed_parts(sheet: PlannedSheet) -> list[Rect]:
    """For each trim, in order, the rectangular part of the sheet that it cuts across."""
    points = sheet.outline_mm
    parts: list[Rect] = [
        (min(x for x, _ in points), min(y for _, y in points), max(x for x, _ in points), max(y for _, y in points))
    ]
    cut = []
    for trim in sheet.trims:
        axis = 0 if trim.from_mm[0] == trim.to_mm[0] else 1
        part = next(part for part in parts if _crosses(part, trim, axis))
        parts.remove(part)
        low, high = list(part), list(part)
        low[axis + 2] = high[axis] = trim.from_mm[axis]
        parts += [(low[0], low[1], low[2], low[3]), (high[0], high[1], high[2], high[3])]
        cut.append(part)
    return cut


def _crosses(part: Rect, trim: Trim, axis: int) -> bool:
    level, across = trim.from_mm[axis], 1 - axis
    middle = (trim.from_mm[across] + trim.to_mm[across]) / 2
    return part[axis] < level < part[axis + 2] and part[across] < middle < part[across + 2]


def _pass_layers(sheet: PlannedSheet, run: Pass, laid: Mapping[str, Laid], machine: Machine) -> Layers:
    cuts = cuts_of(sheet.passes, run, laid, machine)
    blank = next(blank for blank in sheet.blanks if blank.id == run.blank)

    def drawn(vertices: tuple[Vertex, ...], closed: bool) -> DrawnChain:
        return DrawnChain(to_bed(run, vertices), closed)

    mark_arms = [arm for mark in run.lineup if mark.cut_here for arm in cross(mark.sheet_mm)]
    found_arms = [arm for mark in run.lineup if not mark.cut_here for arm in cross(mark.sheet_mm)]
    return {
        "LINEUP": [drawn(arm.vertices, False) for arm in mark_arms],
        "MARK": [drawn(cut.stretch.vertices, cut.stretch.closed) for cut in cuts if cut.kind == "mark"],
        "CUT": [drawn(cut.stretch.vertices, cut.stretch.closed) for cut in cuts if cut.kind != "mark"],
        "NOTE_SHEET": [drawn(ring, True) for ring in _edges(sheet, blank.rect_mm)],
        "NOTE_FIND": [drawn(arm.vertices, False) for arm in found_arms],
        "NOTE_REACH": [_travel(machine)],
    }


def _trim_layers(sheet: PlannedSheet, part: Rect, trim: Trim, machine: Machine) -> Layers:
    """The line as far as the machine runs it; what is uncut at its ends is snapped."""
    start, end = _between(trim)
    line = curves.moved(((*start, 0.0), (*end, 0.0)), *trim.shift_mm, trim.turn_deg)
    edges = [curves.moved(ring, *trim.shift_mm, trim.turn_deg) for ring in _edges(sheet, part)]
    return {
        "CUT": [DrawnChain(line, False)],
        "NOTE_SHEET": [DrawnChain(ring, True) for ring in edges],
        "NOTE_REACH": [_travel(machine)],
    }


def _between(trim: Trim) -> tuple[Point, Point]:
    """The trim's line without its uncut ends."""
    axis = 0 if trim.from_mm[1] == trim.to_mm[1] else 1
    start, end = list(trim.from_mm), list(trim.to_mm)
    start[axis] += trim.uncut_ends_mm[0]
    end[axis] -= trim.uncut_ends_mm[1]
    return (start[0], start[1]), (end[0], end[1])


def _edges(sheet: PlannedSheet, rect: Rect) -> list[tuple[Vertex, ...]]:
    """The sheet's edges within a rectangle: outline and holes, straight segments."""
    inside = Polygon(sheet.outline_mm, sheet.holes_mm).intersection(shapely.box(*rect))
    return [
        curves.ring_of(ring.coords) for part in curves.polygons(inside) for ring in (part.exterior, *part.interiors)
    ]


def _travel(machine: Machine) -> DrawnChain:
    x0, y0, x1, y1 = machine.travel_rect
    return DrawnChain(curves.ring_of([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]), True)
