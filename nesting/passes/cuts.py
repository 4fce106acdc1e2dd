"""What each pass cuts, in cutting order, read off a finished plan: for drawings, times and pictures.

In: the passes of a sheet, pieces where they lie. Out: Cuts, sheet frame. Pure.
Order: what stays held at its ends first, while the sheet is stiff; then whole pieces, those in others' holes before
their hosts, of each piece marks, then holes, then the outline; last the shared contours that this pass closes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from nesting import curves
from nesting.model import Machine, Pass, Piece, PlannedSheet, Point, Share, Vertex
from nesting.passes.lineup import MARK_MM
from nesting.passes.reach import holds
from nesting.placing import Laid, lay

MEET_MM = 1e-4
"""Stations nearer than this are one place of a contour."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A run of contour cut in one go: a closed ring or an open chain, sheet frame."""

    vertices: tuple[Vertex, ...]
    closed: bool


@dataclass(frozen=True, slots=True)
class Cut:
    """One stretch the head runs, sheet frame: of which piece, and what it is of it."""

    piece: str
    kind: str
    stretch: Stretch


def laid_on(sheet: PlannedSheet, pieces: Mapping[str, Piece]) -> dict[str, Laid]:
    """All pieces of a sheet where they lie, by id."""
    return {spot.piece: lay(pieces[spot.piece], spot) for spot in sheet.placements}


def cuts_of(passes: Sequence[Pass], run: Pass, laid: Mapping[str, Laid], machine: Machine) -> tuple[Cut, ...]:
    """All cuts and marks of one of the passes, in cutting order."""
    on_blank = [other for other in passes if other.blank == run.blank]
    before = [share for other in on_blank if other.order < run.order for share in other.shares]
    after = {_contour(share) for other in on_blank if other.order > run.order for share in other.shares}
    whole = [cut for piece in run.whole for cut in _whole(laid[piece])]
    marked: list[Cut] = []
    held: list[Cut] = []
    freed: list[Cut] = []
    for share in run.shares:
        earlier = [other for other in before if _contour(other) == _contour(share)]
        cut = _shared(share, earlier, run, laid[share.piece], machine)
        (marked if share.kind == "mark" else held if _contour(share) in after else freed).append(cut)
    return (*marked, *held, *whole, *freed)


def _contour(share: Share) -> tuple[str, str, int]:
    return share.piece, share.kind, share.number


def _whole(one: Laid) -> Iterator[Cut]:
    piece = one.piece.id
    yield from (Cut(piece, "mark", Stretch(mark, False)) for mark in one.marks)
    yield from (Cut(piece, "hole", Stretch(hole, True)) for hole in one.holes)
    yield Cut(piece, "outline", Stretch(one.outline, True))


def _shared(share: Share, earlier: Sequence[Share], run: Pass, one: Laid, machine: Machine) -> Cut:
    chain, closed = one.contour(share), share.kind != "mark"
    length = curves.length(chain, closed)
    start, end = share.start_mm, share.end_mm
    if closed and end - start > length - MEET_MM:
        return Cut(share.piece, share.kind, Stretch(chain, True))
    for other in earlier if closed and machine.join_overlap_mm > 0 else ():
        over = min(machine.join_overlap_mm, (other.end_mm - other.start_mm) / 2)
        lead = _between(chain, share.start_mm - over, share.start_mm, length)
        if _same(other.end_mm, share.start_mm, length) and _reached(lead, run, machine):
            start = share.start_mm - over
        tail = _between(chain, share.end_mm, share.end_mm + over, length)
        if _same(other.start_mm, share.end_mm, length) and _reached(tail, run, machine):
            end = share.end_mm + over
    stretch = _between(chain, start, end, length) if closed else curves.stretch(chain, False, start, end)
    return Cut(share.piece, share.kind, Stretch(stretch, False))


def _between(ring: Sequence[Vertex], start: float, end: float, length: float) -> tuple[Vertex, ...]:
    """The stretch of a ring from station to station, wherever round it these are counted."""
    back = length * (start // length)
    return curves.stretch(ring, True, start - back, end - back)


def _same(station: float, other: float, length: float) -> bool:
    """Whether two stations of a ring are one place."""
    away = (station - other) % length
    return min(away, length - away) < MEET_MM


def _reached(chain: tuple[Vertex, ...], run: Pass, machine: Machine) -> bool:
    return holds(machine.travel_rect, curves.bounds([to_bed(run, chain)], closed=False))


def to_bed(run: Pass, vertices: tuple[Vertex, ...]) -> tuple[Vertex, ...]:
    """Sheet frame to the pass's bed frame."""
    return curves.moved(vertices, *run.shift_mm, run.turn_deg, run.flipped)


def cross(at: Point) -> tuple[Stretch, Stretch]:
    """The two arms of a line-up mark."""
    (x, y), arm = at, MARK_MM / 2
    return (
        Stretch(((x - arm, y, 0.0), (x + arm, y, 0.0)), False),
        Stretch(((x, y - arm, 0.0), (x, y + arm, 0.0)), False),
    )
