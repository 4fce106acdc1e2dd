"""Line-up marks: two small crosses in waste that both passes reach, as far apart as can be.

In: the band both passes reach, the pieces. Out: mark centres (sheet frame) and the mismatch to expect.
Method of the mismatch: rigid fit on two marks, sd at distance r from their midpoint s·sqrt(1 + 2 r²/d²) (root mean
square of both axes); Fitzpatrick, West, Maurer, IEEE Trans. Med. Imaging 17 (1998) 694, plane case, from memory.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from nesting.model import Distance, Join, LineUp, LineUpMark, Pass, Point, Rect
from nesting.passes.reach import EPS, Reach, overlap
from nesting.placing import Laid

Pair = tuple[int, int]
"""Two passes of a blank by their place in the running order, the earlier one first."""
Marks = Mapping[Pair, Sequence[Point]]

MARK_MM = 6.0
"""Arm to arm of a cross."""
GRID_MM = 4.0
SPARE_MM = 1.5
"""A mark stays this much within the travel where it can: there is no running to its very end."""
CLEAR_MM = 1.0
"""Least room between a cross and a piece or an edge, however small the gap between pieces: it must be found again."""
EDGE_MM = 0.01
"""An edge of the sheet this near to where it should be is there."""


def pair_marks(
    pairs: Sequence[Pair], rects: Sequence[Rect], ground: BaseGeometry, laid: Sequence[Laid], clear_mm: float
) -> dict[Pair, tuple[Point, ...]]:
    """Mark centres for each pair of passes that meet, where waste that both reach holds them."""
    found = {}
    for first, second in pairs:
        band = overlap(rects[first], rects[second])
        if band and (points := line_up_points(band, ground, laid, clear_mm)):
            found[first, second] = points
    return found


def listed(k: int, reach: Reach, marks: Marks) -> tuple[LineUpMark, ...]:
    """Marks that pass `k` finds from earlier passes and marks it cuts for later ones; numbered through the blank."""
    numbered = enumerate(((pair, point) for pair, points in sorted(marks.items()) for point in points), start=1)
    return tuple(
        LineUpMark(number, point, reach.to_bed(point), cut_here=k == pair[0])
        for number, (pair, point) in numbered
        if k in pair
    )


def lined_up(
    run: Pass,
    passes: Sequence[Pass],
    rects: Sequence[Rect],
    ground: BaseGeometry,
    points: Sequence[Point],
    error_mm: float,
) -> tuple[LineUp, ...]:
    """What the pass is lined up on with each earlier one that it meets; `points` of what it cuts tell the worst."""
    found = []
    for before in passes[: run.order - 1]:
        joins = [join for join in run.joins if join.number in {other.number for other in before.joins}]
        marks = [mark for mark in run.lineup if mark.number in {other.number for other in before.lineup}]
        if joins and marks:
            at = [mark.sheet_mm for mark in marks]
            worst = round(max((mismatch_mm(point, at, error_mm) for point in points), default=error_mm), 3)
            found.append(LineUp(before.order, "marks", worst, _mark_distances(marks, ground)))
        elif joins:
            lined = _without_marks(before.order, joins, rects[before.order - 1], rects[run.order - 1], ground)
            found.append(replace(lined, worst_mm=error_mm))
    return tuple(found)


def _without_marks(order: int, joins: Sequence[Join], one: Rect, other: Rect, ground: BaseGeometry) -> LineUp:
    band = overlap(one, other)
    ends = max(
        itertools.combinations(joins, 2), key=lambda pair: math.dist(pair[0].sheet_mm, pair[1].sheet_mm), default=None
    )
    # Less than a mark in common is an edge to both: there is nothing to bring the pointer to.
    if ends is None or band is None or min(band[2] - band[0], band[3] - band[1]) < MARK_MM - EPS:
        return LineUp(order, "edge", 0.0, _edge_distances(ground))
    a, b = ends
    return LineUp(order, "joins", 0.0, (_distance(f"J{a.number}", f"J{b.number}", math.dist(a.sheet_mm, b.sheet_mm)),))


def _distance(start: str, end: str, mm: float) -> Distance:
    return Distance(start, end, round(mm, 2))


def _mark_distances(marks: Sequence[LineUpMark], ground: BaseGeometry) -> tuple[Distance, ...]:
    """From mark to mark, and from each to the nearest straight edges it can be measured from."""
    first, second = marks[:2]
    apart = math.dist(first.sheet_mm, second.sheet_mm)
    found = [_distance(f"L{first.number}", f"L{second.number}", apart)]
    x0, y0, x1, y1 = ground.bounds
    for mark in (first, second):
        x, y = mark.sheet_mm
        for options in ((("A", (x, y0)), ("C", (x, y1))), (("D", (x0, y)), ("B", (x1, y)))):
            edge, foot = min(options, key=lambda option: math.dist(option[1], (x, y)))
            if ground.boundary.distance(shapely.Point(foot)) < EDGE_MM:
                found.append(_distance(f"L{mark.number}", f"edge {edge}", math.dist(foot, (x, y))))
    return tuple(found)


def _edge_distances(ground: BaseGeometry) -> tuple[Distance, ...]:
    """Length and depth of the blank, edge to edge."""
    x0, y0, x1, y1 = ground.bounds
    return _distance("edge A", "edge C", y1 - y0), _distance("edge D", "edge B", x1 - x0)


def line_up_points(band: Rect, sheet: BaseGeometry, laid: Sequence[Laid], clear_mm: float) -> tuple[Point, ...]:
    """Two mark centres in waste, farthest apart; () where no two fit at least a tenth of the band apart.

    A mark keeps `clear_mm`, at least CLEAR_MM, from pieces and from the sheet's edge, its arms included. Never in a
    counter: that waste falls out.
    """
    reach = max(clear_mm, CLEAR_MM) + MARK_MM / 2
    x0, y0, x1, y1 = band
    if min(x1 - x0, y1 - y0) < MARK_MM - EPS:
        return ()
    # A little off the end of the travel, where the band is deeper than a mark.
    inset_x, inset_y = (MARK_MM / 2 + min(SPARE_MM, max(0.0, room - MARK_MM) / 4) for room in (x1 - x0, y1 - y0))
    inner = (x0 + inset_x, y0 + inset_y, x1 - inset_x, y1 - inset_y)
    solids = [shapely.Polygon(one.solid.exterior).buffer(reach, quad_segs=8) for one in laid]
    waste = sheet.buffer(-reach).difference(shapely.union_all(solids))
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
