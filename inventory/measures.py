"""Sizes and areas of sheets and pieces, without a geometry library that a list of the rack would have to wait for.

In: corners in mm, sheet frame; rings with bulges, piece frame. Out: numbers. Pure.
Method: shoelace formula; an arc adds its circular segment, r²/2 (sweep - sin sweep).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from nesting.model import Piece, Point, Ring


def size_mm(outline_mm: Sequence[Point]) -> Point:
    """Width and height of the bounding rectangle."""
    xs, ys = zip(*outline_mm, strict=True)
    return max(xs) - min(xs), max(ys) - min(ys)


def area_mm2(outline_mm: Sequence[Point], holes_mm: Iterable[Sequence[Point]] = ()) -> float:
    """What there is of a sheet, holes taken off."""
    return abs(signed_area_mm2(outline_mm)) - sum(abs(signed_area_mm2(hole)) for hole in holes_mm)


def signed_area_mm2(corners: Sequence[Point]) -> float:
    """+ counter-clockwise. Taken about the first corner: far from the origin no digits are lost."""
    x0, y0 = corners[0]
    near = [(x - x0, y - y0) for x, y in corners]
    return sum(ax * by - bx * ay for (ax, ay), (bx, by) in zip(near, near[1:] + near[:1], strict=True)) / 2


def piece_area_mm2(piece: Piece) -> float:
    """What there is of a piece, its holes taken off."""
    return abs(ring_area_mm2(piece.outline)) - sum(abs(ring_area_mm2(hole)) for hole in piece.holes)


def ring_area_mm2(ring: Ring) -> float:
    """+ counter-clockwise; the arcs counted as arcs."""
    chords = signed_area_mm2([(x, y) for x, y, _ in ring])
    return chords + sum(_segment_area(*pair) for pair in zip(ring, ring[1:] + ring[:1], strict=True))


def ring_length_mm(ring: Ring) -> float:
    """All the way round, along the arcs."""
    return sum(_length(*pair) for pair in zip(ring, ring[1:] + ring[:1], strict=True))


def _segment_area(a: tuple[float, float, float], b: tuple[float, float, float]) -> float:
    sweep, radius = _arc(a, b)
    return radius**2 / 2 * (sweep - math.sin(sweep))


def _length(a: tuple[float, float, float], b: tuple[float, float, float]) -> float:
    sweep, radius = _arc(a, b)
    return radius * abs(sweep) if sweep else math.dist(a[:2], b[:2])


def _arc(a: tuple[float, float, float], b: tuple[float, float, float]) -> tuple[float, float]:
    """Sweep in radians and radius in mm; both 0 for a straight line."""
    bulge = a[2]
    if bulge == 0:
        return 0.0, 0.0
    return 4 * math.atan(bulge), math.dist(a[:2], b[:2]) * (1 + bulge**2) / (4 * abs(bulge))
