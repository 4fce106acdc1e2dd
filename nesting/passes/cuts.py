"""What each pass cuts, in cutting order, read off a finished plan: for drawings, times and pictures.

In: Plan, PlannedSheet, Pass. Out: Cuts (sheet frame) and bed-frame layers. Pure.
Order: pieces in others' holes first; of each piece marks, then holes, then the outline; shared outlines last.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from nesting import curves
from nesting.model import Chain, Machine, Pass, Piece, PlannedSheet, Point, Vertex
from nesting.passes.joins import Stretch, stretches
from nesting.passes.lineup import MARK_MM
from nesting.passes.reach import EPS, holds
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


def cuts_of(sheet: PlannedSheet, run: Pass, laid: Mapping[str, Laid], machine: Machine) -> tuple[Cut, ...]:
    """All cuts and marks of one pass in cutting order."""
    whole = [cut for piece in run.whole for cut in _whole(laid[piece])]
    shared = [cut for piece in run.part for cut in _shared(sheet, run, laid[piece], machine)]
    last = [cut for cut in shared if cut.kind == "outline"]
    return (*(cut for cut in shared if cut.kind == "mark"), *whole, *(c for c in shared if c.kind == "hole"), *last)


def _whole(one: Laid) -> Iterator[Cut]:
    piece = one.piece.id
    yield from (Cut(piece, "mark", Stretch(mark, False)) for mark in one.marks)
    yield from (Cut(piece, "hole", Stretch(hole, True)) for hole in one.holes)
    yield Cut(piece, "outline", Stretch(one.outline, True))


def _shared(sheet: PlannedSheet, run: Pass, one: Laid, machine: Machine) -> Iterator[Cut]:
    on_blank = sorted((other for other in sheet.passes if other.blank == run.blank), key=lambda other: other.order)
    areas = [other.region_mm for other in on_blank]
    here = on_blank.index(run)
    for kind, closed, chains in (
        ("mark", False, one.marks),
        ("hole", True, one.holes),
        ("outline", True, (one.outline,)),
    ):
        for chain in chains:
            shares = [list(stretches(chain, closed, areas[k], areas[:k], areas[k + 1 :])) for k in range(here + 1)]
            done = [stretch for share in shares[:-1] for stretch in share]
            for stretch in shares[-1]:
                over = kind != "mark" and not stretch.closed and machine.join_overlap_mm > 0
                yield Cut(one.piece.id, kind, _run_over(stretch, done, run, machine) if over else stretch)


def _run_over(stretch: Stretch, done: Sequence[Stretch], run: Pass, machine: Machine) -> Stretch:
    """The stretch, run on into those cut already at both ends by the machine's overlap; not where the travel ends."""
    first, last = stretch.ends
    parts = list(curves.segments(stretch.vertices, closed=False))
    for other in (other for other in done if not other.closed):
        near = min(machine.join_overlap_mm, curves.length(other.vertices, closed=False) / 2)
        if math.dist(other.ends[1], first) < EPS:
            lead = curves.reversed_chain(curves.beginning(curves.reversed_chain(other.vertices), near))
            parts = [*curves.segments(lead, closed=False), *parts] if _reached(lead, run, machine) else parts
        if math.dist(other.ends[0], last) < EPS:
            tail = curves.beginning(other.vertices, near)
            parts = [*parts, *curves.segments(tail, closed=False)] if _reached(tail, run, machine) else parts
    return Stretch(curves.chain_of(parts), False)


def _reached(chain: Chain, run: Pass, machine: Machine) -> bool:
    return holds((0.0, 0.0, *machine.travel_mm), curves.bounds([to_bed(run, chain)], closed=False))


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
