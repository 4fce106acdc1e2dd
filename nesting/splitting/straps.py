"""Backing straps: strips of stock that lap a butt joint from behind.

In: joints of a piece, its area, what straps keep off. Out: straps as pieces of their own, and where they belong. Pure.
Method: a strip along each joint, as long as the material behind it allows; where a hole or a fixing is in its way, it
is parted. Widths and the set-back from the edge are common practice, no source (30 to 50 mm wide, set back 5 mm).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import shapely
from shapely.affinity import affine_transform
from shapely.geometry import Polygon

from nesting import curves
from nesting.model import Piece, Point, Seat
from nesting.splitting.chords import is_small

SET_BACK_MM = 5.0
"""From any edge that is seen, and from a hole."""
FIXING_MM = 15.0
"""From a fixing's middle: room for its head and a spanner."""
LEAST_MM = 20.0
"""Shorter straps hold nothing."""


@dataclass(frozen=True, slots=True)
class Strap:
    """A strap as a piece, and its seat in the parent."""

    piece: Piece
    seat: Seat


def strap_width_mm(thickness_mm: float) -> float:
    """Eight times the thickness, 30 to 50 mm."""
    return min(50.0, max(30.0, 8.0 * thickness_mm))


def straps(parent: Piece, joints: Sequence[tuple[Point, Point]]) -> list[Strap]:
    """All straps of a piece's joints."""
    allowed = _allowed(parent)
    wide = strap_width_mm(parent.thickness_mm)
    found = [
        (a, b, start, end) for a, b in joints for start, end in _free(allowed, a, b, wide) if end - start >= LEAST_MM
    ]
    return [_strap(parent, number, wide, *where) for number, where in enumerate(found, start=1)]


def _allowed(parent: Piece) -> shapely.Geometry:
    small = [hole for hole in parent.holes if is_small(hole)]
    solid = curves.polygon(parent.outline, [hole for hole in parent.holes if hole not in small])
    holes = [Polygon(curves.flattened(curves.reversed_ring(hole))).buffer(SET_BACK_MM) for hole in small]
    fixings = [shapely.Point(point).buffer(FIXING_MM) for point in parent.fixings]
    return solid.buffer(-SET_BACK_MM).difference(shapely.union_all([*holes, *fixings]))


def _free(allowed: shapely.Geometry, a: Point, b: Point, wide: float) -> Iterator[Point]:
    """Stretches of the joint along which nothing is in the way of a strip so wide; whole millimetres."""
    long = math.dist(a, b)
    cos, sin = (b[0] - a[0]) / long, (b[1] - a[1]) / long
    level = affine_transform(allowed, [cos, sin, -sin, cos, -cos * a[0] - sin * a[1], sin * a[0] - cos * a[1]])
    strip = shapely.box(0.0, -wide / 2, long, wide / 2)
    taken = sorted((part.bounds[0], part.bounds[2]) for part in shapely.get_parts(strip.difference(level)).tolist())
    at = 0.0
    for start, end in [*taken, (long, long)]:
        if start > at:
            yield float(math.ceil(at)), float(math.floor(start))
        at = max(at, end)


def _strap(parent: Piece, number: int, wide: float, a: Point, b: Point, start: float, end: float) -> Strap:
    long = math.dist(a, b)
    ux, uy = (b[0] - a[0]) / long, (b[1] - a[1]) / long
    stock = parent.strap or parent.stock
    piece = Piece(
        id=f"{parent.id}.s{number}",
        name=f"{parent.name}, strap {number}",
        copy=parent.copy,
        material=stock.material,
        colour=stock.colour,
        thickness_mm=stock.thickness_mm,
        outline=curves.ring_of([(0, 0), (end - start, 0), (end - start, wide), (0, wide)]),
        segment_of=parent.id,
    )
    x, y = a[0] + start * ux + wide / 2 * uy, a[1] + start * uy - wide / 2 * ux
    return Strap(piece, Seat(piece.id, x, y, math.degrees(math.atan2(uy, ux))))
