"""Can each pass be run as written: does it lie flat, stay within reach, come in an order that holds?

In: Scene. Out: Checks `travel`, `table`, `notes`, `pass lists`, `cut order`.
Method: boxes in the bed frame; moments (pass, place in the file) of the last stretch of every contour.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPoint, Polygon, box
from shapely.geometry.base import BaseGeometry

from nesting.audit import linework
from nesting.audit.checks import Check, Flaw, Reading, at_most, none_wrong
from nesting.audit.coverage import SheetCover
from nesting.audit.linework import Floats
from nesting.audit.records import MachineRecord, PassRecord
from nesting.audit.scene import Box, Contour, Placed, Run, Scene, SheetScene

BED_MM = 0.01
"""Rounding allowed in the bed frame."""
NOTE_MM = 0.05
"""How far the edges noted for the person may be off."""
NEVER = (1_000_000_000, 0)
"""A moment after all others: what is never cut."""


def pass_checks(scene: Scene, covers: Sequence[SheetCover]) -> list[Check]:
    """All checks of this module; `covers` tell which contour each cut of layer CUT or MARK follows."""
    return [
        at_most("travel", BED_MM, "mm", _beyond_travel(scene), "a cut beyond the travel"),
        at_most("table", BED_MM, "mm", _beyond_table(scene), "a blank beyond the table or the back wall"),
        none_wrong("notes", _note_flaws(scene), "each drawing notes the edges of its blank and of the travel"),
        none_wrong("pass lists", _list_flaws(covers), "each pass lists the pieces it cuts and the turn before it"),
        none_wrong(
            "cut order", _order_flaws(covers), "holes, and what lies in them, before the outline that frees them"
        ),
    ]


# ── reach ────────────────────────────────────────────────────────────────────────────────────────────────────


def _beyond_travel(scene: Scene) -> Iterator[Reading]:
    for sheet in scene.sheets:
        for cut in (*(cut for run in sheet.runs for cut in run.cuts), *(cut for t in sheet.trims for cut in t.cuts)):
            yield Reading(beyond(cut.bed.points, scene.machine.travel_box), sheet.where(cut.file))


def beyond(points: Floats, bounds: Box) -> float:
    """How far the points stick out of the box, 0 if they do not."""
    low, high = points.min(axis=0), points.max(axis=0)
    off = (0.0, bounds[0] - low[0], bounds[1] - low[1], high[0] - bounds[2], high[1] - bounds[3])
    return float(max(off))


def table_box(machine: MachineRecord) -> Box:
    """Where a blank may lie, bed frame; an open end lets it stick out without limit."""
    left, front, right, back = machine.table_box
    return left, -math.inf if machine.open_front else front, right, math.inf if machine.open_back else back


def beyond_table(
    machine: MachineRecord, area: Polygon, turn_deg: float, shift_mm: tuple[float, float], flipped: bool = False
) -> float:
    """How far an area (sheet frame), held so, sticks out of the table where it must not; 0 if it lies well."""
    corners = np.array(area.exterior.coords)[:, :2]
    return beyond(linework.to_bed(corners, turn_deg, shift_mm, flipped), table_box(machine))


def _beyond_table(scene: Scene) -> Iterator[Reading]:
    for sheet in scene.sheets:
        for run in sheet.runs:
            pose = run.record
            off = beyond_table(scene.machine, box(*run.blank_box), pose.turn_deg, pose.shift_mm, pose.flipped)
            yield Reading(off, sheet.where(run.record.file), f"blank {run.record.blank} does not lie on the table")


def _note_flaws(scene: Scene) -> Iterator[Flaw]:
    """What a person lays the blank by, and finds the marks by, must be where the pass has it."""
    travel = box(*scene.machine.travel_box).boundary
    for sheet in scene.sheets:
        for run in sheet.runs:
            edges = sheet.shape.intersection(box(*run.blank_box)).boundary
            marks = MultiPoint([mark.bed_mm for mark in run.record.lineup if not mark.cut_here])
            arms = [line.interpolate(0.5, normalized=True) for line in _noted(run, "NOTE_FIND")]
            yield from _layer_flaws(sheet, run, "NOTE_SHEET", _noted(run, "NOTE_SHEET"), _on_bed(run, edges))
            yield from _layer_flaws(sheet, run, "NOTE_REACH", _noted(run, "NOTE_REACH"), travel)
            yield from _layer_flaws(sheet, run, "NOTE_FIND", arms, marks)


def _noted(run: Run, layer: str) -> list[LineString]:
    return [note.bed.line for note in run.notes if note.layer == layer]


def _on_bed(run: Run, shape: BaseGeometry) -> BaseGeometry:
    return shapely.transform(
        shape, lambda at: linework.to_bed(at, run.record.turn_deg, run.record.shift_mm, run.record.flipped)
    )


def _layer_flaws(
    sheet: SheetScene, run: Run, layer: str, drawn: Sequence[BaseGeometry], wanted: BaseGeometry
) -> Iterator[Flaw]:
    where = sheet.where(run.record.file)
    if bool(drawn) == wanted.is_empty:
        yield Flaw(where, f"layer {layer} {'should be empty' if drawn else 'is empty'}")
    elif drawn and (off := shapely.hausdorff_distance(shapely.union_all(drawn), wanted)) > NOTE_MM:
        yield Flaw(where, f"layer {layer} is {off:.2f} mm off what it should show")


# ── lists ────────────────────────────────────────────────────────────────────────────────────────────────────


def _list_flaws(covers: Sequence[SheetCover]) -> Iterator[Flaw]:
    for found in covers:
        sheet, passes_of = found.sheet, defaultdict(set)
        for stretch in found.stretches:
            passes_of[stretch.contour.blank, stretch.contour.piece].add(stretch.cut.moment[0])
        for run in sheet.runs:
            yield from _contents_flaws(sheet, run.record, passes_of)
        yield from _turn_flaws(sheet)


def _contents_flaws(
    sheet: SheetScene, record: PassRecord, passes_of: Mapping[tuple[str, str], set[int]]
) -> Iterator[Flaw]:
    here = {piece: orders for (blank, piece), orders in passes_of.items() if blank == record.blank}
    cut = {piece: len(orders) for piece, orders in here.items() if record.order in orders}
    whole = sorted(piece for piece, passes in cut.items() if passes == 1)
    part = sorted(piece for piece, passes in cut.items() if passes > 1)
    for name, listed, real in (("whole", record.whole, whole), ("part", record.part, part)):
        wrong = sorted({*listed} ^ {*real}) or [piece for piece in real if listed.count(piece) > 1]
        if wrong:
            yield Flaw(sheet.where(record.file), f"`{name}` is wrong about {', '.join(wrong[:3])}")


def _turn_flaws(sheet: SheetScene) -> Iterator[Flaw]:
    """`turn_before` says how the blank gets there from the pass before; for the first pass it is laid, not turned."""
    turns = {0: "shift", 90: "quarter", 180: "half", 270: "quarter"}
    held: dict[str, PassRecord] = {}
    for run in sheet.runs:
        record = run.record
        before = held.get(record.blank)
        right = "none" if before is None else turns[(record.turn_deg - before.turn_deg) % 360]
        if before is not None and before.flipped != record.flipped:
            right = "flip"
        if record.turn_before != right:
            yield Flaw(sheet.where(record.file), f"`turn_before` is `{record.turn_before}`, should be `{right}`")
        held[record.blank] = record
        if record.flipped and not sheet.record.both_faces_alike:
            yield Flaw(sheet.where(record.file), "lies face down, and the faces of the sheet are not known to be alike")
        if record.flipped and run.on("MARK"):
            yield Flaw(sheet.where(record.file), "marks the back of the sheet, which lies face down")


# ── order ────────────────────────────────────────────────────────────────────────────────────────────────────


def _order_flaws(covers: Sequence[SheetCover]) -> Iterator[Flaw]:
    """Nothing is cut of a piece, or of a piece that lies in its hole, once the contour that frees it has closed."""
    for found in covers:
        last = found.last_moments()
        for placed in found.sheet.placed:
            freed = last.get(id(placed.outline), NEVER)
            for inner in (*placed.holes, *placed.marks):
                if _later(last.get(id(inner)), freed, inner):
                    yield Flaw(found.sheet.where(inner.where), "is cut after its piece has come free")
            for hole, guest in _guests(found.sheet, placed):
                if last.get(id(guest.outline), NEVER) > last.get(id(hole), NEVER):
                    yield Flaw(found.sheet.where(guest.id), f"lies in {hole.where}, which comes free before it")


def _later(moment: tuple[int, int] | None, freed: tuple[int, int], inner: Contour) -> bool:
    """A hole counts by its place in the file, a mark by its pass alone: the machine runs layer by layer."""
    if moment is None:
        return False
    return moment[0] > freed[0] if inner.kind.startswith("mark") else moment > freed


def _guests(sheet: SheetScene, host: Placed) -> Iterator[tuple[Contour, Placed]]:
    """The pieces that lie in a hole of `host`, each with that hole."""
    starts = np.array([placed.outline.trace.points[0] for placed in sheet.placed])
    for hole in host.holes:
        inside = shapely.contains_xy(Polygon(hole.trace.points), starts[:, 0], starts[:, 1])
        yield from ((hole, sheet.placed[i]) for i in np.flatnonzero(inside) if sheet.placed[i] is not host)
