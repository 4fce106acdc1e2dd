"""Joins: which pass cuts which stretch of a contour that no single pass reaches whole.

In: Runs (passes to be) and their shared pieces. Out: a region of the sheet for each pass, and the stretches it cuts.
Ours: where two reaches overlap, the line between them is moved to where it crosses few contours, nearly square to
them and away from corners. Arcs are cut as arcs. Pure.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import shapely

from nesting import curves
from nesting.curves import Segment
from nesting.model import Point, Rect, Ring, Vertex
from nesting.passes.choose import Run
from nesting.passes.reach import EPS, holds

STEP_MM = 1.0
"""Join lines are tried this far apart."""
CLEAR_MM = 10.0
"""A join nearer than this to a corner is charged."""
ARC_MM = 0.05
"""More than an arc's polygon is off the arc."""
SMOOTH_RAD = math.radians(5.0)
"""Two segments that meet at less than this make no corner."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A run of contour cut in one go: a closed ring or an open chain, sheet frame."""

    vertices: tuple[Vertex, ...]
    closed: bool

    @property
    def ends(self) -> tuple[Point, ...]:
        """Where another pass takes over; none of a closed ring."""
        return () if self.closed else (self.vertices[0][:2], self.vertices[-1][:2])


def regions(runs: Sequence[Run]) -> tuple[Rect, ...]:
    """For each run the rectangle in which it cuts shared contours; neighbours meet in the best join line."""
    rects = [run.reach.rect_mm for run in runs]
    shared = {one.piece.id: one for run in runs for one in run.part}
    if len(rects) < 2 or not shared:
        return tuple(rects)
    rings = [ring for one in shared.values() for ring in one.rings]
    axis = _axis(rects)
    return _pulled_in(rects, rings) if axis is None else _in_a_row(rects, rings, axis)


def _axis(rects: Sequence[Rect]) -> int | None:
    """The axis along which the reaches follow each other, None where they do not line up."""
    for axis in (1, 0):
        across = 1 - axis
        if all(
            abs(r[across] - rects[0][across]) < EPS and abs(r[across + 2] - rects[0][across + 2]) < EPS for r in rects
        ):
            return axis
    return None


def _in_a_row(rects: Sequence[Rect], rings: Sequence[Ring], axis: int) -> tuple[Rect, ...]:
    """Reaches that follow each other: each two neighbours share the best line of their overlap."""
    order = sorted(range(len(rects)), key=lambda i: rects[i][axis])
    bounded = list(rects)
    for low, high in itertools.pairwise(order):
        if rects[high][axis] > rects[low][axis + 2] + EPS:
            continue
        level = _best_level(rings, axis, rects[high][axis], rects[low][axis + 2])
        bounded[low] = _with_edge(bounded[low], axis + 2, level)
        bounded[high] = _with_edge(bounded[high], axis, level)
    return tuple(bounded)


def _pulled_in(rects: Sequence[Rect], rings: Sequence[Ring]) -> tuple[Rect, ...]:
    """Reaches side by side and one above another: pass by pass, each edge of a region is pulled in to the best line.

    No further than what no other pass cuts. The last pass cuts what is left within its reach.
    """
    lines = shapely.union_all([curves.polygon(ring).exterior for ring in rings])
    bounded = list(rects)
    for i in range(len(rects) - 1):
        others = shapely.union_all([shapely.box(*rect) for rect in bounded[:i] + bounded[i + 1 :]])
        alone = lines.intersection(shapely.box(*rects[i])).difference(others.buffer(EPS))
        for side in range(4) if not alone.is_empty else ():
            edge = rects[i][side]
            # The outermost contour that is this pass's alone, the arcs' approximation allowed for.
            alone_to = min(alone.bounds[side] + ARC_MM, edge) if side >= 2 else max(alone.bounds[side] - ARC_MM, edge)
            level = _best_level(rings, side % 2, min(alone_to, edge), max(alone_to, edge))
            bounded[i] = _with_edge(bounded[i], side, level)
    return tuple(bounded)


def _with_edge(rect: Rect, side: int, level: float) -> Rect:
    edges = [*rect[:side], level, *rect[side + 1 :]]
    return edges[0], edges[1], edges[2], edges[3]


def _best_level(rings: Sequence[Ring], axis: int, low: float, high: float) -> float:
    """The line of least harm among those that cross the contours no more often than the middle one does."""
    count = max(1, int((high - low) / STEP_MM))
    middle = (low + high) / 2
    levels = [middle, *(low + (high - low) * i / count for i in range(count + 1))] if high - low > EPS else [low]
    harms = {level: _harm(rings, axis, level) for level in levels}
    most = harms[levels[0]][0]
    few = [level for level in levels if harms[level][0] <= most]
    return min(few, key=lambda level: (round(harms[level][1], 3), abs(level - middle), level))


def _harm(rings: Sequence[Ring], axis: int, level: float) -> tuple[int, float]:
    """Crossings of a join line, and what they cost: each 1, more where it is oblique or near a corner."""
    crossings, total = 0, 0.0
    for ring in rings:
        parts = list(curves.segments(ring, closed=True))
        corners = _corners(parts)
        for part in parts:
            for share in part.crossings(axis, level):
                along = abs(part.direction(share)[axis])
                near = min((math.dist(part.point(share), corner) for corner in corners), default=CLEAR_MM)
                crossings += 1
                total += 1.0 + 3.0 * (1.0 - along) + 2.0 * max(0.0, 1.0 - near / CLEAR_MM)
        # A vertex on the line itself is a join on a corner, or a contour that runs along the line.
        total += 10.0 * sum(abs(part.a[axis] - level) < 0.5 for part in parts)
        crossings += sum(abs(part.a[axis] - level) < EPS for part in parts)
    return crossings, total


def _corners(parts: Sequence[Segment]) -> list[Point]:
    corners = []
    for before, after in zip([parts[-1], *parts[:-1]], parts, strict=True):
        (ux, uy), (vx, vy) = before.direction(1.0), after.direction(0.0)
        if abs(math.atan2(ux * vy - uy * vx, ux * vx + uy * vy)) > SMOOTH_RAD:
            corners.append(after.a)
    return corners


def stretches(
    vertices: Sequence[Vertex], closed: bool, own: Rect, before: Sequence[Rect], after: Sequence[Rect]
) -> Iterator[Stretch]:
    """The stretches of a ring or chain that the pass with region `own` cuts: in `own` and in no region `before` it."""
    ordered = [*before, own, *after]
    levels = sorted({(k % 2, rect[k]) for rect in ordered for k in range(4)})
    chains = curves.split_at(vertices, closed, levels)
    owners = [_owner(ordered, curves.bounds([chain], closed=False)) for chain in chains]
    if closed and len(set(owners)) == 1:
        if owners[0] == len(before):
            yield Stretch(tuple(vertices), True)
        return
    runs = [
        [(owner, chain) for owner, chain in group]
        for _, group in itertools.groupby(zip(owners, chains, strict=True), key=lambda pair: pair[0])
    ]
    if closed and len(runs) > 1 and runs[0][0][0] == runs[-1][0][0]:
        runs[0] = runs.pop() + runs[0]
    for run in runs:
        if run[0][0] == len(before):
            joined = [segment for _, chain in run for segment in curves.segments(chain, closed=False)]
            yield Stretch(curves.chain_of(joined), False)


def _owner(ordered: Sequence[Rect], box: Rect) -> int:
    for i, rect in enumerate(ordered):
        if holds(rect, box):
            return i
    return len(ordered)
