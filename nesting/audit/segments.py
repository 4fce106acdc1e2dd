"""Do the segments of a split piece make it up again?

In: PlanRecord. Out: Checks `segments` (who belongs where), `segments add up`, `segments meet`, `straps`.
Method: every segment is moved to its seat in its parent; areas traced to 0.002 mm are united and compared (shapely).
What keyed joints leave open is no wider than their clearance.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from nesting.audit import linework
from nesting.audit.checks import Check, Flaw, Reading, at_most, none_wrong
from nesting.audit.records import PieceRecord, PlanRecord, Point, Ring, SeatRecord, SplitRecord

FIT_MM = 0.02
"""Widest gap or overlap that rounding and tracing may leave where edges meet."""
MEET_MM = 0.01
BESIDE_MM = 5.0
"""A strap may stand off the middle of its joint by less."""


def segment_checks(plan: PlanRecord) -> list[Check]:
    """All checks of this module."""
    pieces = {piece.id: piece for piece in plan.pieces}
    return [
        none_wrong("segments", _place_flaws(plan, pieces), "every segment has one seat in its parent, of its stock"),
        at_most(
            "segments add up", FIT_MM, "mm", _sums(plan, pieces), "lost of a parent or twice in it, beside clearance"
        ),
        at_most(
            "segments meet", MEET_MM, "mm", _joints(plan, pieces), "between the two sides of a joint in its parent"
        ),
        none_wrong("straps", _strap_flaws(plan, pieces), "straps lie behind their parent, across a joint"),
    ]


def _place_flaws(plan: PlanRecord, pieces: Mapping[str, PieceRecord]) -> Iterator[Flaw]:
    seated = Counter(seat.piece for split in plan.splits for seat in (*split.seats, *split.straps))
    parents = {split.parent.id: split for split in plan.splits}
    for piece in plan.pieces:
        if piece.segment_of is not None and (seated[piece.id] != 1 or piece.segment_of not in parents):
            yield Flaw(piece.id, f"is a segment of {piece.segment_of} and has {seated[piece.id]} seats in it")
    for name, times in Counter(split.parent.id for split in plan.splits).items():
        if times > 1 or name in pieces:
            yield Flaw(name, "is split twice, or whole in the plan as well")
    for split in plan.splits:
        yield from _seat_flaws(split, pieces)


def _seat_flaws(split: SplitRecord, pieces: Mapping[str, PieceRecord]) -> Iterator[Flaw]:
    parent = split.parent
    if len(split.seats) < split.at_least:
        yield Flaw(
            parent.id, f"has {len(split.seats)} segments, though at least {split.at_least} are said to be needed"
        )
    for seat in (*split.seats, *split.straps):
        piece = pieces.get(seat.piece)
        if piece is None:
            if seat.piece not in split.made_before:
                yield Flaw(parent.id, f"its segment {seat.piece} is not in the plan")
        elif piece.segment_of != parent.id:
            yield Flaw(seat.piece, f"has a seat in {parent.id}, but is no segment of it")
    for piece in (pieces[seat.piece] for seat in split.seats if seat.piece in pieces):
        for key in ("material", "colour", "thickness_mm", "turn", "mirror"):
            if getattr(piece, key) != getattr(parent, key):
                yield Flaw(piece.id, f"its {key} is not that of {parent.id}")


# ── areas ────────────────────────────────────────────────────────────────────────────────────────────────────


def _sums(plan: PlanRecord, pieces: Mapping[str, PieceRecord]) -> Iterator[Reading]:
    for split in plan.splits:
        whole = _area(split.parent.outline, split.parent.holes)
        seated = _seated(split.seats, pieces)
        where = split.parent.id
        united = shapely.union_all([area for _, area in seated])
        yield Reading(_thickness(united.difference(whole)), where, "a segment sticks out of it")
        for (one, a), (other, b) in itertools.combinations(seated, 2):
            yield Reading(_thickness(a.intersection(b)), f"{one} - {other}", "two segments hold the same")
        if not split.made_before:
            lost = _thickness(whole.difference(united))
            yield Reading(max(0.0, lost - split.clearance_mm), where, "some of it is in no segment")


def _thickness(area: BaseGeometry) -> float:
    """How thick an area is at its thickest, about: of slivers twice their area over their length."""
    parts = [part for part in shapely.get_parts(area).tolist() if isinstance(part, Polygon) and part.area > 1e-6]
    return max((2.0 * part.area / part.length for part in parts), default=0.0)


def _seated(seats: Sequence[SeatRecord], pieces: Mapping[str, PieceRecord]) -> list[tuple[str, BaseGeometry]]:
    return [
        (seat.piece, _area(pieces[seat.piece].outline, pieces[seat.piece].holes, seat))
        for seat in seats
        if seat.piece in pieces
    ]


def _area(outline: Ring, holes: Sequence[Ring], seat: SeatRecord | None = None) -> BaseGeometry:
    outer, *inner = (linework.trace(_moved(ring, seat), closed=True).points for ring in (outline, *holes))
    return shapely.make_valid(Polygon(outer, inner))


def _moved(ring: Ring, seat: SeatRecord | None) -> linework.Floats:
    vertices = np.array(ring, dtype=float)
    return vertices if seat is None else linework.placed(vertices, seat.x_mm, seat.y_mm, seat.turn_deg, False)


# ── joints and straps ────────────────────────────────────────────────────────────────────────────────────────


def _joints(plan: PlanRecord, pieces: Mapping[str, PieceRecord]) -> Iterator[Reading]:
    for split in plan.splits:
        sides: dict[str, list[tuple[Point, Point]]] = defaultdict(list)
        for label, ends in _joint_ends(split, pieces):
            sides[label].append(ends)
        for label, found in sides.items():
            for (a, b), (c, d) in itertools.combinations(found, 2):
                apart = min(max(math.dist(a, c), math.dist(b, d)), max(math.dist(a, d), math.dist(b, c)))
                yield Reading(apart, f"{split.parent.id} > joint {label}")


def _joint_ends(split: SplitRecord, pieces: Mapping[str, PieceRecord]) -> Iterator[tuple[str, tuple[Point, Point]]]:
    for seat in split.seats:
        for joint in pieces[seat.piece].joints if seat.piece in pieces else ():
            a, b = _moved(((*joint.start_mm, 0.0), (*joint.end_mm, 0.0)), seat)[:, :2].tolist()
            yield joint.label, ((a[0], a[1]), (b[0], b[1]))


def _strap_flaws(plan: PlanRecord, pieces: Mapping[str, PieceRecord]) -> Iterator[Flaw]:
    for split in plan.splits:
        whole = _area(split.parent.outline, ()).buffer(FIT_MM)
        lines = [LineString(ends) for _, ends in _joint_ends(split, pieces)]
        for name, area in _seated(split.straps, pieces):
            if not whole.contains(area):
                yield Flaw(name, f"shows beyond the edge of {split.parent.id}")
            if not any(line.distance(area.centroid) < BESIDE_MM for line in lines) and not split.made_before:
                yield Flaw(name, f"lies across no joint of {split.parent.id}")
