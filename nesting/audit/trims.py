"""Can the stock be trimmed as written, cut after cut, edge to edge, and does that free the blanks?

In: Scene. Out: Checks `trims edge to edge`, `trims in order`, `blanks freed`, `machine trims`, `trim reach`.
Method: the sheet is cut up along the trims in their order, each parting the one part it crosses (guillotine cuts,
Gilmore & Gomory 1965); what is left in the end must be the blanks. Trim lines are taken as having no width here;
`blanks freed` allows for the kerf of the tool.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon, box

from nesting.audit.checks import Check, Flaw, Reading, at_most, none_wrong
from nesting.audit.passes import BED_MM, beyond_table
from nesting.audit.scene import Scene, SheetScene, TrimRun

EDGE_MM = 0.05
"""How far from an edge a cut may end and still go edge to edge."""
KERF_MM = {"saw": 5.0, "machine": 0.5, "snap": 0.5}
"""Widest cut of each tool: how far a part may reach beyond its blank, or a later cut end short of an earlier one."""


@dataclass(frozen=True, slots=True)
class Trimmed:
    """What the trims of a sheet left: its parts, how far each cut missed an edge, the part each cut was made in."""

    parts: list[Polygon]
    misses: list[Reading] = field(default_factory=list)
    flaws: list[Flaw] = field(default_factory=list)
    cut_in: list[tuple[TrimRun, Polygon]] = field(default_factory=list)


def trim_checks(scene: Scene) -> list[Check]:
    """All checks of this module, over all sheets."""
    trimmed = [(sheet, trim_sheet(sheet)) for sheet in scene.sheets]
    misses = [reading for _, result in trimmed for reading in result.misses]
    flaws = [flaw for _, result in trimmed for flaw in result.flaws]
    return [
        at_most("trims edge to edge", EDGE_MM, "mm", misses, "a trim cut ending short of an edge or past it"),
        none_wrong("trims in order", flaws, "each trim cut parts what the cuts before it left, and no piece"),
        none_wrong("blanks freed", _held_blanks(trimmed), "after the trims each blank is a part by itself"),
        none_wrong("machine trims", _machine_flaws(trimmed), "each machine trim's drawing holds that cut and no more"),
        at_most("trim reach", BED_MM, "mm", _trim_reach(scene, trimmed), "what is trimmed beyond the table"),
    ]


def trim_sheet(sheet: SheetScene) -> Trimmed:
    """Cut the sheet up along its trims, in their order."""
    result = Trimmed([sheet.shape])
    slack = EDGE_MM
    for trim in sheet.trims:
        line = LineString([trim.record.from_mm, trim.record.to_mm])
        where = sheet.where(f"trim {trim.record.order}")
        held = max(range(len(result.parts)), key=lambda i: result.parts[i].intersection(line).length)
        part = result.parts[held]
        result.cut_in.append((trim, part))
        result.misses.extend(_end_misses(part, line, slack, where))
        result.flaws.extend(_crossed_pieces(sheet, line, where))
        pieces = _parted(part, line, slack)
        if len(pieces) < 2:
            result.flaws.append(Flaw(where, "does not part what it is made in"))
        result.parts[held : held + 1] = pieces
        slack = max(slack, KERF_MM[trim.record.method] if trim.record.method == "saw" else EDGE_MM)
    return result


def _end_misses(part: Polygon, line: LineString, slack: float, where: str) -> Iterator[Reading]:
    """How far each end of a cut is from the edge of the part; up to a saw's kerf of an earlier cut is none."""
    if line.length < EDGE_MM:
        yield Reading(part.length, where, "the cut has no length")
    for x, y in line.coords:
        off = part.boundary.distance(Point(x, y))
        inside = part.contains(Point(x, y))
        yield Reading(off if inside or off > slack else 0.0, where, f"its end ({x:.2f}, {y:.2f})")


def _crossed_pieces(sheet: SheetScene, line: LineString, where: str) -> Iterator[Flaw]:
    for placed in sheet.placed:
        if placed.solid.distance(line) <= 0.0:
            yield Flaw(where, f"cuts into {placed.id}")


def _parted(part: Polygon, line: LineString, slack: float) -> list[Polygon]:
    """The polygons a part falls into along a line, drawn out a little so that it meets the edges it ends at."""
    (x0, y0), (x1, y1) = line.coords
    if line.length == 0:
        return [part]
    out = (slack + EDGE_MM) / line.length
    knife = LineString([(x0 - out * (x1 - x0), y0 - out * (y1 - y0)), (x1 + out * (x1 - x0), y1 + out * (y1 - y0))])
    faces = shapely.get_parts(shapely.polygonize([shapely.union(part.boundary, knife)]))
    return [face for face in faces.tolist() if part.contains(face.representative_point())]


# ── blanks ───────────────────────────────────────────────────────────────────────────────────────────────────


def _held_blanks(trimmed: Sequence[tuple[SheetScene, Trimmed]]) -> Iterator[Flaw]:
    for sheet, result in trimmed:
        allowed = max((KERF_MM[trim.record.method] for trim in sheet.trims), default=EDGE_MM)
        for blank in sheet.record.blanks:
            rect = box(*blank.rect_mm)
            where = sheet.where(f"blank {blank.id}")
            part = max(result.parts, key=lambda part: part.intersection(rect).area)
            beyond = _beyond(part, blank.rect_mm)
            if beyond > allowed:
                yield Flaw(where, f"is still held: the part with it reaches {beyond:.2f} mm beyond it")
            for placed in sheet.placed:
                if placed.placement.blank == blank.id and not part.contains(Point(placed.outline.trace.points[0])):
                    yield Flaw(where, f"{placed.id} lies in another part of the sheet")


def _beyond(part: Polygon, rect: tuple[float, float, float, float]) -> float:
    x0, y0, x1, y1 = part.bounds
    return float(max(rect[0] - x0, rect[1] - y0, x1 - rect[2], y1 - rect[3]))


# ── by machine ───────────────────────────────────────────────────────────────────────────────────────────────


def _machine_flaws(trimmed: Sequence[tuple[SheetScene, Trimmed]]) -> Iterator[Flaw]:
    for sheet, _ in trimmed:
        for trim in sheet.trims:
            where = sheet.where(f"trim {trim.record.order}")
            if trim.record.method == "machine":
                yield from _drawn_flaws(trim, where)
            elif trim.record.file is not None or max(trim.record.uncut_ends_mm) > 0:
                yield Flaw(where, f"is made by {trim.record.method}: it has no drawing and no uncut ends")


def _drawn_flaws(trim: TrimRun, where: str) -> Iterator[Flaw]:
    """The drawing must hold one straight cut: the trim less its uncut ends."""
    record = trim.record
    if record.file is None:
        yield Flaw(where, "has no drawing")
        return
    start, end = np.array(record.from_mm), np.array(record.to_mm)
    along = (end - start) / max(math.dist(start, end), 1e-9)
    wanted = np.array((start + along * record.uncut_ends_mm[0], end - along * record.uncut_ends_mm[1]))
    if len(trim.cuts) != 1 or trim.cuts[0].layer != "CUT" or len(trim.cuts[0].trace.points) != 2:
        yield Flaw(where, f"{record.file} does not hold one straight cut on layer CUT")
        return
    drawn = trim.cuts[0].trace.points
    off = min(np.abs(drawn - wanted).max(), np.abs(drawn[::-1] - wanted).max())
    if off > EDGE_MM:
        yield Flaw(where, f"the cut in {record.file} is {off:.2f} mm off the trim less its uncut ends")


def _trim_reach(scene: Scene, trimmed: Sequence[tuple[SheetScene, Trimmed]]) -> Iterator[Reading]:
    for sheet, result in trimmed:
        for trim, part in result.cut_in:
            if trim.record.method == "machine":
                off = beyond_table(scene.machine, part, trim.record.turn_deg, trim.record.shift_mm)
                yield Reading(
                    off, sheet.where(f"trim {trim.record.order}"), "what is trimmed does not lie on the table"
                )
