"""What each pass cuts, in cutting order, read off a finished plan: for drawings, times and pictures.

In: Plan, PlannedSheet, Pass. Out: Cuts (sheet frame) and bed-frame layers. Pure.
Order: pieces in others' holes first; of each piece marks, then holes, then the outline; shared outlines last.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from nesting import curves
from nesting.model import Pass, Piece, PlannedSheet, Point, Vertex
from nesting.passes.joins import Stretch, stretches
from nesting.passes.lineup import MARK_MM
from nesting.placing import Laid, lay


@dataclass(frozen=True, slots=True)
class Cut:
    """One stretch the head runs, sheet frame: of which piece, and what it is of it."""

    piece: str
    kind: str
    stretch: Stretch


def laid_on(sheet: PlannedSheet, pieces: Mapping[str, Piece]) -> dict[str, Laid]:
    """All pieces of a sheet where they lie, by id."""
    return {spot.piece: lay(pieces[spot.piece], spot) for spot in sheet.placements}


def cuts_of(sheet: PlannedSheet, run: Pass, laid: Mapping[str, Laid]) -> tuple[Cut, ...]:
    """All cuts and marks of one pass in cutting order."""
    whole = [cut for piece in run.whole for cut in _whole(laid[piece])]
    shared = [cut for piece in run.part for cut in _shared(sheet, run, laid[piece])]
    last = [cut for cut in shared if cut.kind == "outline"]
    return (*(cut for cut in shared if cut.kind == "mark"), *whole, *(c for c in shared if c.kind == "hole"), *last)


def _whole(one: Laid) -> Iterator[Cut]:
    piece = one.piece.id
    yield from (Cut(piece, "mark", Stretch(mark, False)) for mark in one.marks)
    yield from (Cut(piece, "hole", Stretch(hole, True)) for hole in one.holes)
    yield Cut(piece, "outline", Stretch(one.outline, True))


def _shared(sheet: PlannedSheet, run: Pass, one: Laid) -> Iterator[Cut]:
    on_blank = [other for other in sheet.passes if other.blank == run.blank]
    before = [other.region_mm for other in on_blank if other.order < run.order]
    after = [other.region_mm for other in on_blank if other.order > run.order]
    for kind, closed, chains in (
        ("mark", False, one.marks),
        ("hole", True, one.holes),
        ("outline", True, (one.outline,)),
    ):
        for chain in chains:
            for stretch in stretches(chain, closed, run.region_mm, before, after):
                yield Cut(one.piece.id, kind, stretch)


def to_bed(run: Pass, vertices: tuple[Vertex, ...]) -> tuple[Vertex, ...]:
    """Sheet frame to the pass's bed frame."""
    return curves.moved(vertices, *run.shift_mm, run.turn_deg)


def cross(at: Point) -> tuple[Stretch, Stretch]:
    """The two arms of a line-up mark."""
    (x, y), arm = at, MARK_MM / 2
    return (
        Stretch(((x - arm, y, 0.0), (x + arm, y, 0.0)), False),
        Stretch(((x, y - arm, 0.0), (x, y + arm, 0.0)), False),
    )
