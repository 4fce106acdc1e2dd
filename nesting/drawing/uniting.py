"""Filled areas of rings that may cross, touch or overlap: outlines and holes, arcs kept.

In: rings of one figure. Out: for every connected area its outline and holes. Pure.
Method: the rings as dense polygons are noded and cut into faces; a face is kept by its winding number, summed over
the rings at one inner point; kept faces are united. Between two vertices of the drawing, or a vertex and a new
crossing, the boundary still runs on one line or arc, which is fitted back exactly.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import Polygon

from nesting.curves import oriented, polygons
from nesting.drawing.fitting import Points, dense, fitted
from nesting.drawing.near import refuse_tangles
from nesting.model import Ring, Vertex

Rule = Literal["nonzero", "evenodd"]

REFIT_MM = 0.003
"""How far an arc that is found back may lie from its samples."""
SPECK_MM2 = 1e-3
"""Areas and holes smaller than this are dust from crossing lines."""

Area = tuple[Ring, tuple[Ring, ...]]
"""An outline, counter-clockwise, and its holes, clockwise."""


def filled(rings: Sequence[Ring], rule: Rule = "nonzero") -> list[Area]:
    """The areas that the fill rule leaves filled, from left to right, then from bottom to top."""
    loops = [dense(ring, closed=True) for ring in rings]
    loops = [loop for loop in loops if len(np.unique(loop, axis=0)) > 2]
    if not loops:
        return []
    refuse_tangles(loops)
    whole = shapely.union_all([face for face in _faces(loops) if _is_filled(face, loops, rule)])
    corners = {(float(v[0]), float(v[1])) for ring in rings for v in ring}
    smooth = {(float(x), float(y)) for loop in loops for x, y in loop} - corners
    areas = [part for part in polygons(whole) if part.area > SPECK_MM2]
    areas.sort(key=lambda part: part.bounds[:2])
    return [_area(part, smooth) for part in areas]


def _faces(loops: Sequence[Points]) -> list[Polygon]:
    lines = shapely.union_all([shapely.LinearRing(loop) for loop in loops])
    return polygons(shapely.polygonize([lines]))


def _is_filled(face: Polygon, loops: Sequence[Points], rule: Rule) -> bool:
    inside = face.representative_point()
    turns = sum(winding(loop, inside.x, inside.y) for loop in loops)
    return turns % 2 == 1 if rule == "evenodd" else turns != 0


def winding(loop: Points, x: float, y: float) -> int:
    """How often the loop runs round the point, + counter-clockwise. Source: crossings of a ray to the right."""
    ax, ay = loop[:, 0] - x, loop[:, 1] - y
    bx, by = np.roll(ax, -1), np.roll(ay, -1)
    left = ax * by - ay * bx
    return int(((ay <= 0) & (by > 0) & (left > 0)).sum()) - int(((ay > 0) & (by <= 0) & (left < 0)).sum())


def _area(part: Polygon, smooth: set[tuple[float, float]]) -> Area:
    outline = oriented(_ring(part.exterior, smooth), True)
    kept = [hole for hole in part.interiors if Polygon(hole).area > SPECK_MM2]
    return outline, tuple(oriented(_ring(hole, smooth), False) for hole in kept)


def _ring(loop: shapely.LinearRing, smooth: set[tuple[float, float]]) -> Ring:
    """The loop with each stretch between corners fitted by the line or arc it came from."""
    points = shapely.get_coordinates(loop)[:-1]
    corners = [i for i, (x, y) in enumerate(points) if (float(x), float(y)) not in smooth] or [0]
    points = np.roll(points, -corners[0], axis=0)
    stops = [i - corners[0] for i in corners] + [len(points)]
    points = np.concatenate([points, points[:1]])
    ring: list[Vertex] = []
    for start, stop in itertools.pairwise(stops):
        ring += fitted(points[start : stop + 1], REFIT_MM)[:-1]
    return tuple(ring)
