"""Can the stock be trimmed as written, cut after cut, edge to edge, and does that free the blanks?

In: Scene. Out: Checks `trims edge to edge`, `trims in order`, `blanks freed`, `machine trims`, `trim table`.
Method: the sheet is cut up along the trims in their order, each parting the one part it crosses (guillotine cuts,
Gilmore & Gomory 1965) and taking its kerf from the far side; what is left in the end must be the blanks.
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
from nesting.audit.scene import Box, Scene, SheetScene, TrimRun

EDGE_MM = 0.05
"""How far inside an edge a cut may end and still go edge to edge."""


@dataclass(frozen=True, slots=True)
class Trimmed:
    """What the trims of a sheet left, what was wrong on the way, and the part each trim was made in."""

    parts: list[Polygon]
    misses: list[Reading] = field(default_factory=list)
    flaws: list[Flaw] = field(default_factory=list)
    made_in: list[tuple[TrimRun, Polygon]] = field(default_factory=list)


def trim_checks(scene: Scene) -> list[Check]:
    """All checks of this module, over all sheets."""
    trimmed = [(sheet, trim_sheet(sheet)) for sheet in scene.sheets]
    misses = [reading for _, result in trimmed for reading in result.misses]
    flaws = [flaw for _, result in trimmed for flaw in result.flaws]
    return [
        at_most("trims edge to edge", EDGE_MM, "mm", misses, "from the end of a trim cut to the edge it should reach"),
        none_wrong("trims in order", flaws, "each trim cut parts what the cuts before it left, and no piece"),
        none_wrong("blanks freed", _held_blanks(trimmed), "after the trims each blank is a part by itself"),
        none_wrong("machine trims", _machine_flaws(scene), "each machine trim's drawing holds that cut and no more"),
        at_most("trim table", BED_MM, "mm", _beyond_table(scene, trimmed), "a part to be trimmed beyond the table"),
    ]


def trim_sheet(sheet: SheetScene) -> Trimmed:
    """Cut the sheet up along its trims, in their order."""
    result = Trimmed([sheet.shape])
    for trim in sheet.trims:
        line = LineString([trim.record.from_mm, trim.record.to_mm])
        where = sheet.where(f"trim {trim.record.order}")
        held = max(range(len(result.parts)), key=lambda i: result.parts[i].intersection(line).length)
        part = result.parts.pop(held)
        result.made_in.append((trim, part))
        result.misses.extend(_end_misses(part, line, where))
        result.flaws.extend(_trim_flaws(sheet, line, result.parts, where))
        result.flaws.extend(_edge_flaws(sheet, trim, where))
        new = _parted(part, line, trim.record.kerf_mm)
        if len(new) < 2:
            result.flaws.append(Flaw(where, "does not part what it is made in"))
        result.parts.extend(new)
    return result


def _end_misses(part: Polygon, line: LineString, where: str) -> Iterator[Reading]:
    """How far inside the part each end of a cut stops; beyond its edge there is nothing to cut."""
    for end in (Point(at) for at in line.coords):
        off = part.boundary.distance(end) if part.contains(end) else 0.0
        yield Reading(off, where, f"its end ({end.x:.2f}, {end.y:.2f})")


def _trim_flaws(sheet: SheetScene, line: LineString, others: Sequence[Polygon], where: str) -> Iterator[Flaw]:
    if any(part.buffer(-EDGE_MM).intersects(line) for part in others):
        yield Flaw(where, "runs on into another part")
    for placed in sheet.placed:
        if placed.solid.intersects(line) and placed.solid.buffer(-EDGE_MM).intersects(line):
            yield Flaw(where, f"cuts into {placed.id}")


def _edge_flaws(sheet: SheetScene, trim: TrimRun, where: str) -> Iterator[Flaw]:
    """An edge trim comes before all other cuts, along the edge that it names."""
    edge = trim.record.edge
    if edge is None:
        return
    if any(other.record.edge is None and other.record.order < trim.record.order for other in sheet.trims):
        yield Flaw(where, "makes an edge of the sheet true, yet comes after other cuts")
    at = "DABC".index(edge)
    side, opposite = sheet.shape.bounds[at], sheet.shape.bounds[at - 2]
    ends = trim.record.from_mm[at % 2], trim.record.to_mm[at % 2]
    if any(abs(end - side) > abs(end - opposite) for end in ends):
        yield Flaw(where, f"is to make edge {edge} of the sheet true, yet does not run along it")


def _parted(part: Polygon, line: LineString, kerf_mm: float) -> list[Polygon]:
    """The polygons a part falls into along a line, drawn out so that it meets the edges it ends at, less the kerf."""
    if line.length < EDGE_MM:
        return [part]
    (x0, y0), (x1, y1) = line.coords
    dx, dy = (x1 - x0) * EDGE_MM / line.length, (y1 - y0) * EDGE_MM / line.length
    knife = LineString([(x0 - dx, y0 - dy), (x1 + dx, y1 + dy)])
    faces = shapely.get_parts(shapely.polygonize([shapely.union(part.boundary, knife)])).tolist()
    # The far side, towards higher x or y, is on the left of a line that runs more to the right than up.
    kerf = knife.buffer(kerf_mm if dx >= dy else -kerf_mm, single_sided=True) if kerf_mm > 0 else Polygon()
    kept = [face.difference(kerf) for face in faces if part.contains(face.representative_point())]
    return [piece for piece in shapely.get_parts(kept).tolist() if isinstance(piece, Polygon) and piece.area > 0]


# ── blanks ───────────────────────────────────────────────────────────────────────────────────────────────────


def _held_blanks(trimmed: Sequence[tuple[SheetScene, Trimmed]]) -> Iterator[Flaw]:
    for sheet, result in trimmed:
        left = shapely.union_all(result.parts)
        for blank in sheet.record.blanks:
            where = sheet.where(f"blank {blank.id}")
            part = max(result.parts, key=lambda part: part.intersection(box(*blank.rect_mm)).area)
            beyond = _beyond(part, blank.rect_mm)
            if beyond > EDGE_MM:
                yield Flaw(where, f"is still held: the part it is in reaches {beyond:.2f} mm beyond it")
            lost = box(*blank.rect_mm).intersection(sheet.shape).difference(left)
            if lost.area > EDGE_MM * lost.length / 2:
                yield Flaw(where, "is not all there: a trim's kerf takes some of it away")
            for placed in sheet.placed:
                if placed.placement.blank == blank.id and part.distance(placed.outline.trace.line) > 0.0:
                    yield Flaw(where, f"does not hold {placed.id}, which is to be cut from it")


def _beyond(part: Polygon, rect: Box) -> float:
    x0, y0, x1, y1 = part.bounds
    return float(max(rect[0] - x0, rect[1] - y0, x1 - rect[2], y1 - rect[3]))


# ── by machine ───────────────────────────────────────────────────────────────────────────────────────────────


def _machine_flaws(scene: Scene) -> Iterator[Flaw]:
    for sheet in scene.sheets:
        for trim in sheet.trims:
            where = sheet.where(f"trim {trim.record.order}")
            if trim.record.method == "machine":
                yield from _drawn_flaws(trim, where)
            elif trim.record.file is not None or max(trim.record.uncut_ends_mm) > 0:
                yield Flaw(where, f"is made by {trim.record.method}, yet has a drawing or uncut ends")


def _drawn_flaws(trim: TrimRun, where: str) -> Iterator[Flaw]:
    """The drawing must hold one straight cut: the trim less its uncut ends."""
    record = trim.record
    if record.file is None:
        yield Flaw(where, "has no drawing")
    elif len(trim.cuts) != 1 or trim.cuts[0].layer != "CUT" or len(trim.cuts[0].trace.points) != 2:
        yield Flaw(where, f"{record.file} does not hold one straight cut on layer CUT")
    else:
        start, end = np.array(record.from_mm), np.array(record.to_mm)
        along = (end - start) / max(math.dist(start, end), EDGE_MM)
        wanted = np.array((start + along * record.uncut_ends_mm[0], end - along * record.uncut_ends_mm[1]))
        drawn = trim.cuts[0].trace.points
        off = min(np.abs(drawn - wanted).max(), np.abs(drawn[::-1] - wanted).max())
        if off > EDGE_MM:
            yield Flaw(where, f"the cut in {record.file} is {off:.2f} mm off the trim less its uncut ends")


def _beyond_table(scene: Scene, trimmed: Sequence[tuple[SheetScene, Trimmed]]) -> Iterator[Reading]:
    for sheet, result in trimmed:
        for trim, part in result.made_in:
            if trim.record.method == "machine":
                off = beyond_table(scene.machine, part, trim.record.turn_deg, trim.record.shift_mm)
                yield Reading(off, sheet.where(f"trim {trim.record.order}"))
