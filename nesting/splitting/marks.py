"""Marks and fixings of a split piece, shared out among its parts.

In: the piece, its seams, its parts. Out: marks and fixings of each part, piece frame. Pure.
Method: a mark that a joint crosses is cut there; each stretch goes to the part that holds its middle.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from shapely.geometry import LineString
from shapely.geometry import Point as ShapelyPoint

from nesting import curves
from nesting.model import Chain, Piece, Point
from nesting.splitting.parts import Part, Seam


def shared_out(piece: Piece, seams: Sequence[Seam], parts: Sequence[Part]) -> list[tuple[list[Chain], list[Point]]]:
    """For each part its marks and its fixings."""
    stretches = list(piece.marks)
    for seam in seams:
        stretches = [part for chain in stretches for part in _cut(chain, seam)]
    areas = [curves.polygon(part.outline, part.holes) for part in parts]
    found: list[tuple[list[Chain], list[Point]]] = [([], []) for _ in parts]
    for chain in stretches:
        middle = ShapelyPoint(curves.middle(chain))
        found[min(range(len(areas)), key=lambda i: areas[i].distance(middle))][0].append(chain)
    for fixing in piece.fixings:
        spot = ShapelyPoint(fixing)
        found[min(range(len(areas)), key=lambda i: areas[i].distance(spot))][1].append(fixing)
    return found


def _cut(chain: Chain, seam: Seam) -> list[Chain]:
    """The chain cut where it crosses the straight of a joint; whole if it does not."""
    flat = [segment.point(share / 8) for segment in curves.segments(chain, closed=False) for share in range(9)]
    if not LineString(flat).intersects(LineString([seam.a, seam.b])):
        return [chain]
    angle = math.degrees(math.atan2(seam.b[1] - seam.a[1], seam.b[0] - seam.a[0]))
    ((_, level, _),) = curves.moved([(*seam.a, 0.0)], 0.0, 0.0, -angle)
    level_chain = curves.moved(chain, 0.0, 0.0, -angle)
    return [curves.moved(part, 0.0, 0.0, angle) for part in curves.split_at(level_chain, False, [(1, level)])]
