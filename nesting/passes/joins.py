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

from nesting import curves
from nesting.curves import Segment
from nesting.model import Point, Rect, Ring, Vertex
from nesting.passes.choose import Run
from nesting.passes.reach import EPS, holds

STEP_MM = 1.0
"""Join lines are tried this far apart."""
CLEAR_MM = 10.0
"""A join nearer than this to a corner is charged."""
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
    axis = _axis(rects)
    if len(rects) < 2 or not shared or axis is None:
        return tuple(rects)
    rings = [ring for one in shared.values() for ring in one.rings]
    order = sorted(range(len(rects)), key=lambda i: rects[i][axis])
    bounded = [list(rect) for rect in rects]
    for low, high in itertools.pairwise(order):
        if rects[high][axis] > rects[low][axis + 2] + EPS:
            continue
        level = _best_level(rings, axis, rects[high][axis], rects[low][axis + 2])
        bounded[low][axis + 2] = level
        bounded[high][axis] = level
    return tuple((r[0], r[1], r[2], r[3]) for r in bounded)


def _axis(rects: Sequence[Rect]) -> int | None:
    """The axis along which the reaches follow each other, None where they do not line up."""
    for axis in (1, 0):
        across = 1 - axis
        if all(
            abs(r[across] - rects[0][across]) < EPS and abs(r[across + 2] - rects[0][across + 2]) < EPS for r in rects
        ):
            return axis
    return None


def _best_level(rings: Sequence[Ring], axis: int, low: float, high: float) -> float:
    count = max(1, int((high - low) / STEP_MM))
    levels = [low + (high - low) * i / count for i in range(count + 1)] if high - low > EPS else [low]
    middle = (low + high) / 2
    return min(levels, key=lambda level: (round(_harm(rings, axis, level), 3), abs(level - middle), level))


def _harm(rings: Sequence[Ring], axis: int, level: float) -> float:
    """What a join line costs: each crossing counts 1, more where it is oblique or near a corner."""
    total = 0.0
    for ring in rings:
        parts = list(curves.segments(ring, closed=True))
        corners = _corners(parts)
        for part in parts:
            for share in part.crossings(axis, level):
                along = abs(part.direction(share)[axis])
                near = min((math.dist(part.point(share), corner) for corner in corners), default=CLEAR_MM)
                total += 1.0 + 3.0 * (1.0 - along) + 2.0 * max(0.0, 1.0 - near / CLEAR_MM)
        # A vertex on the line itself is a join on a corner, or a contour that runs along the line.
        total += 10.0 * sum(abs(part.a[axis] - level) < 0.5 for part in parts)
    return total


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
