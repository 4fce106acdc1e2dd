"""Line-up marks: two small crosses in waste that both passes reach, as far apart as can be.

In: the band both passes reach, the pieces. Out: mark centres (sheet frame) and the mismatch to expect.
Method of the mismatch: rigid fit on two marks, sd at distance r from their midpoint s·sqrt(1 + 2 r²/d²) (root mean
square of both axes); Fitzpatrick, West, Maurer, IEEE Trans. Med. Imaging 17 (1998) 694, plane case, from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from nesting.model import Point, Rect
from nesting.placing import Laid

MARK_MM = 6.0
"""Arm to arm of a cross."""
GRID_MM = 4.0
CLEAR_MM = 1.0
"""Least room between a cross and a piece or an edge, however small the gap between pieces: it must be found again."""


def line_up_points(band: Rect, sheet: BaseGeometry, laid: Sequence[Laid], clear_mm: float) -> tuple[Point, ...]:
    """Two mark centres in waste, farthest apart; () where no two fit at least a tenth of the band apart.

    A mark keeps `clear_mm`, at least CLEAR_MM, from pieces and from the sheet's edge, its arms included. Never in a
    counter: that waste falls out.
    """
    reach = max(clear_mm, CLEAR_MM) + MARK_MM / 2
    x0, y0, x1, y1 = band
    inner = (x0 + MARK_MM / 2, y0 + MARK_MM / 2, x1 - MARK_MM / 2, y1 - MARK_MM / 2)
    if inner[2] <= inner[0] or inner[3] <= inner[1]:
        return ()
    solids = [shapely.Polygon(one.solid.exterior).buffer(reach, quad_segs=8) for one in laid]
    waste = sheet.buffer(-reach).intersection(shapely.box(*inner)).difference(shapely.union_all(solids))
    points = _grid(inner)
    free = points[shapely.intersects_xy(waste, points[:, 0], points[:, 1])]
    if len(free) < 2:
        return ()
    pair = _farthest(free)
    return pair if math.dist(*pair) >= max(x1 - x0, y1 - y0) / 10 else ()


def _grid(rect: Rect) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    x0, y0, x1, y1 = rect
    xs = np.linspace(x0, x1, max(2, int((x1 - x0) / GRID_MM) + 1))
    ys = np.linspace(y0, y1, max(2, int((y1 - y0) / GRID_MM) + 1))
    return np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)


def _farthest(points: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> tuple[Point, Point]:
    """The two points farthest apart: both are corners of the convex hull."""
    hull = shapely.MultiPoint(points).convex_hull
    corners = [(float(x), float(y)) for x, y in shapely.get_coordinates(hull).round(3)]
    pairs = ((a, b) for i, a in enumerate(corners) for b in corners[i + 1 :])
    a, b = max(pairs, key=lambda pair: (round(math.dist(*pair), 6), pair))
    return min(a, b), max(a, b)


def mismatch_mm(at: Point, marks: Sequence[Point], error_mm: float) -> float:
    """Root mean square step to expect at a point after lining up on two marks, each found within `error_mm` an axis."""
    (ax, ay), (bx, by) = marks
    apart = math.dist((ax, ay), (bx, by))
    away = math.dist(at, ((ax + bx) / 2, (ay + by) / 2))
    return error_mm * math.sqrt(1.0 + 2.0 * (away / apart) ** 2)
