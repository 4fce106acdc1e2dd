"""The plan laid out: every piece on its sheet, every cut brought back from the bed to the sheet it was made on.

In: PlanRecord and Drawings. Out: Scene, sheet frame, mm, for the rules. Placements and passes that name what is not
there are left out; `references` reports them.
Method: placement and pass transforms as the plan states them; the cuts are what the drawings hold, nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from nesting.audit import linework
from nesting.audit.drawings import NOTE_LAYERS, RUN_LAYERS, Drawing
from nesting.audit.linework import Floats, Trace
from nesting.audit.records import (
    Corners,
    MachineRecord,
    PassRecord,
    PieceRecord,
    PlacementRecord,
    PlanRecord,
    Ring,
    SheetRecord,
    TrimRecord,
)
from nesting.faults import PlanFault

Box = tuple[float, float, float, float]

POINTS_MAX = 10_000_000
"""Most points that contours and cuts are followed by: some thousand large letters."""


@dataclass(frozen=True, slots=True, eq=False)
class Contour:
    """One thing a piece wants cut or marked, sheet frame."""

    piece: str
    blank: str
    kind: str
    trace: Trace

    @property
    def where(self) -> str:
        return f"{self.piece} > {self.kind}"


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A piece where it lies; `solid` is its material, outline less holes, and `unsound` why that is no proper area."""

    piece: PieceRecord
    placement: PlacementRecord
    outline: Contour
    holes: tuple[Contour, ...]
    marks: tuple[Contour, ...]
    solid: BaseGeometry
    unsound: str

    @property
    def id(self) -> str:
        return self.piece.id

    @property
    def contours(self) -> tuple[Contour, ...]:
        return (self.outline, *self.holes)


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """One chain of a pass drawing, in both frames; `moment` orders all cuts of a sheet in time."""

    file: str
    blank: str
    layer: str
    moment: tuple[int, int]
    bed: Trace
    trace: Trace


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """A pass, what its drawing cuts, marks and lines up, and what it notes for the person."""

    record: PassRecord
    blank_box: Box
    cuts: tuple[Cut, ...]
    notes: tuple[Cut, ...]

    def on(self, layer: str) -> list[Cut]:
        return [cut for cut in self.cuts if cut.layer == layer]


@dataclass(frozen=True, slots=True, eq=False)
class TrimRun:
    """A trim and, if the machine makes it, what its drawing cuts."""

    record: TrimRecord
    cuts: tuple[Cut, ...]


@dataclass(frozen=True, slots=True, eq=False)
class SheetScene:
    """One sheet with all that lies on it; `shape` is its outline less its holes."""

    record: SheetRecord
    shape: Polygon
    placed: tuple[Placed, ...]
    runs: tuple[Run, ...]
    trims: tuple[TrimRun, ...]

    @property
    def id(self) -> str:
        return self.record.id

    def where(self, place: str) -> str:
        return f"{self.id} > {place}"

    def cuts(self, layer: str) -> list[Cut]:
        return [cut for run in self.runs for cut in run.on(layer)]


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """The whole plan, laid out."""

    plan: PlanRecord
    drawings: Mapping[str, Drawing]
    sheets: tuple[SheetScene, ...]

    @property
    def machine(self) -> MachineRecord:
        return self.plan.machine


def lay_out(plan: PlanRecord, drawings: Mapping[str, Drawing]) -> Scene:
    """All sheets of the plan. Raises PlanFault if a sheet's outline is no polygon, or if there is too much on them."""
    pieces = {piece.id: piece for piece in plan.pieces}
    pencil = _Pencil()
    return Scene(plan, drawings, tuple(_sheet(sheet, pieces, drawings, pencil) for sheet in plan.sheets))


class _Pencil:
    """Traces chains, and refuses to go on where a plan has more of them than any sign."""

    def __init__(self) -> None:
        self.points = 0

    def trace(self, vertices: Floats, closed: bool) -> Trace:
        found = linework.trace(vertices, closed)
        self.points += len(found.points)
        if self.points > POINTS_MAX:
            raise PlanFault("more contours than can be audited", where=("plan.json",), mend="plan the job in parts")
        return found


def _sheet(
    sheet: SheetRecord, pieces: Mapping[str, PieceRecord], drawings: Mapping[str, Drawing], pencil: _Pencil
) -> SheetScene:
    boxes = {blank.id: blank.rect_mm for blank in sheet.blanks}
    placed = [_placed(pieces[p.piece], p, pencil) for p in sheet.placements if p.piece in pieces and p.blank in boxes]
    runs = [
        Run(
            run,
            boxes[run.blank],
            tuple(_cuts(run, run.blank, drawings[run.file], RUN_LAYERS, pencil)),
            tuple(_cuts(run, run.blank, drawings[run.file], NOTE_LAYERS, pencil)),
        )
        for run in sorted(sheet.passes, key=lambda run: run.order)
        if run.blank in boxes
    ]
    trims = [
        TrimRun(trim, tuple(_cuts(trim, "", drawings[trim.file], RUN_LAYERS, pencil)) if trim.file else ())
        for trim in sorted(sheet.trims, key=lambda trim: trim.order)
    ]
    return SheetScene(sheet, _sheet_shape(sheet), tuple(placed), tuple(runs), tuple(trims))


def _sheet_shape(sheet: SheetRecord) -> Polygon:
    shape = polygon(sheet.outline_mm, sheet.holes_mm)
    if not shape.is_valid or shape.area <= 0:
        raise PlanFault(
            "the sheet's outline and holes are no sound polygon",
            where=("plan.json", f"sheet {sheet.id}"),
            mend="measure the sheet, and plan the job again",
        )
    return shape


def _cuts(
    held: PassRecord | TrimRecord, blank: str, drawing: Drawing, layers: tuple[str, ...], pencil: _Pencil
) -> Iterator[Cut]:
    """The chains of a drawing, moved back from the bed to the sheet as the pass or trim says it was held."""
    for chain in drawing.chains:
        if chain.layer in layers:
            flipped = isinstance(held, PassRecord) and held.flipped
            back = linework.to_sheet(chain.vertices, held.turn_deg, held.shift_mm, flipped)
            bed, sheet = (pencil.trace(vertices, chain.closed) for vertices in (chain.vertices, back))
            yield Cut(drawing.name, blank, chain.layer, (held.order, chain.index), bed, sheet)


def _placed(piece: PieceRecord, placement: PlacementRecord, pencil: _Pencil) -> Placed:
    def contour(ring: Ring, kind: str, closed: bool = True) -> Contour:
        return Contour(piece.id, placement.blank, kind, pencil.trace(_moved(ring, placement), closed))

    outline = contour(piece.outline, "outline")
    holes = tuple(contour(hole, f"hole {number}") for number, hole in enumerate(piece.holes, 1))
    marks = tuple(contour(mark, f"mark {number}", closed=False) for number, mark in enumerate(piece.marks, 1))
    solid = polygon(outline.trace.points, [hole.trace.points for hole in holes])
    unsound = "" if solid.is_valid and solid.area > 0 else shapely.is_valid_reason(solid)
    return Placed(piece, placement, outline, holes, marks, shapely.make_valid(solid), unsound)


def _moved(ring: Ring, placement: PlacementRecord) -> Floats:
    return linework.placed(
        np.array(ring, dtype=float), placement.x_mm, placement.y_mm, placement.turn_deg, placement.mirrored
    )


def polygon(outline: Corners | Floats, holes: tuple[Corners, ...] | list[Floats]) -> Polygon:
    """A polygon for measuring; a ring of two corners encloses nothing."""
    return Polygon(outline, [hole for hole in holes if len(hole) >= 3]) if len(outline) >= 3 else Polygon()
