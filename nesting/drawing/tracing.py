"""Strokes to chains: what a reader met along one path becomes one chain of lines and arcs.

In: strokes, end to start: exact lines and arcs, and sampled curves. Out: a chain of the model. Pure.
Lines and arcs are kept as they are; sampled curves that run smoothly into each other are fitted as one.
Also here: plane affine maps, under which arcs stay arcs only if the map keeps shapes (a similarity).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from nesting.curves import Segment
from nesting.drawing.fitting import Points, fitted, sampled
from nesting.model import Chain, Point, Vertex


@dataclass(frozen=True, slots=True)
class Curve:
    """A smooth parametric curve, not yet sampled: parameters (n,) to points (n, 2), from `start` to `end`."""

    at: Callable[[Points], Points]
    start: float
    end: float


Stroke = Segment | Points | Curve
"""A line, an arc, points sampled along a smooth curve, or such a curve."""
Traceable = Segment | Points
"""Strokes in mm."""

KINK_RAD = math.radians(1.0)
"""Two curves that meet with less than this turn run smoothly into each other."""


@dataclass(frozen=True, slots=True)
class Affine:
    """x' = a x + b y + e, y' = c x + d y + f."""

    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 1.0
    e: float = 0.0
    f: float = 0.0

    def point(self, p: Sequence[float]) -> Point:
        x, y = p[0], p[1]
        return self.a * x + self.b * y + self.e, self.c * x + self.d * y + self.f

    def points(self, points: Points) -> Points:
        matrix, shift = self._arrays()
        mapped: Points = points @ matrix + shift
        return mapped

    def _arrays(self) -> tuple[Points, Points]:
        return np.array([[self.a, self.c], [self.b, self.d]]), np.array([self.e, self.f])

    def then(self, other: Affine) -> Affine:
        """This map first, the other after it."""
        e, f = other.point((self.e, self.f))
        return Affine(
            other.a * self.a + other.b * self.c,
            other.a * self.b + other.b * self.d,
            other.c * self.a + other.d * self.c,
            other.c * self.b + other.d * self.d,
            e,
            f,
        )

    @property
    def determinant(self) -> float:
        return self.a * self.d - self.b * self.c

    @property
    def flattens(self) -> bool:
        """Whether areas are mapped to lines."""
        return abs(self.determinant) <= 1e-9 * (self.a**2 + self.b**2 + self.c**2 + self.d**2)

    @property
    def keeps_shapes(self) -> bool:
        """Circles stay circles: equal scale along both axes, and square to each other."""
        along, across = self.a**2 + self.c**2, self.b**2 + self.d**2
        size = max(along, across)
        return abs(along - across) <= 1e-9 * size and abs(self.a * self.b + self.c * self.d) <= 1e-9 * size

    def stroke(self, stroke: Stroke) -> Traceable:
        """The mapped stroke; curves, and arcs drawn out of shape, are sampled after mapping: as fine as mm ask."""
        if isinstance(stroke, np.ndarray):
            return self.points(stroke)
        if isinstance(stroke, Curve):
            if self == IDENTITY:
                return sampled(stroke.at, stroke.start, stroke.end)
            matrix, shift = self._arrays()
            return sampled(lambda t: stroke.at(t) @ matrix + shift, stroke.start, stroke.end)
        if stroke.bulge == 0.0 or self.keeps_shapes:
            bulge = stroke.bulge if self.determinant > 0 else -stroke.bulge
            return Segment(self.point(stroke.a), self.point(stroke.b), bulge or 0.0)
        return self.stroke(arc_curve(stroke))


IDENTITY = Affine()


def arc_curve(arc: Segment) -> Curve:
    """An arc by its angle."""
    (cx, cy), radius = arc.centre, arc.radius
    start = math.atan2(arc.a[1] - cy, arc.a[0] - cx)

    def at(t: Points) -> Points:
        return np.column_stack([cx + radius * np.cos(t), cy + radius * np.sin(t)])

    return Curve(at, start, start + arc.sweep)


def arc_strokes(centre: Point, radius: float, start_rad: float, sweep_rad: float) -> list[Segment]:
    """An arc, counter-clockwise for a positive sweep; more than half a turn in two, so that no bulge grows large."""
    parts = 2 if abs(sweep_rad) > math.pi + 1e-9 else 1
    stops = [start_rad + sweep_rad * i / parts for i in range(parts + 1)]
    points = [(centre[0] + radius * math.cos(t), centre[1] + radius * math.sin(t)) for t in stops]
    if abs(abs(sweep_rad) - math.tau) < 1e-12:
        points[-1] = points[0]
    bulge = math.tan(sweep_rad / parts / 4)
    return [Segment(a, b, bulge) for a, b in itertools.pairwise(points)]


def traced(strokes: Sequence[Traceable]) -> Chain:
    """One open chain along strokes that follow each other end to start; a closed path ends where it starts."""
    chain: list[Vertex] = []
    end: Point = (0.0, 0.0)
    waiting: list[Points] = []
    for stroke in strokes:
        if isinstance(stroke, np.ndarray):
            if waiting and _kinked(waiting[-1], stroke):
                chain += fitted(_joined(waiting))[:-1]
                waiting = []
            waiting.append(stroke)
            end = (float(stroke[-1, 0]), float(stroke[-1, 1]))
            continue
        if waiting:
            chain += fitted(_joined(waiting))[:-1]
            waiting = []
        if stroke.a != stroke.b:
            chain.append((*stroke.a, stroke.bulge))
        end = stroke.b
    if waiting:
        chain += fitted(_joined(waiting))[:-1]
    return (*chain, (*end, 0.0))


def _joined(runs: Sequence[Points]) -> Points:
    return np.concatenate([runs[0], *(run[1:] for run in runs[1:])])


def _kinked(before: Points, after: Points) -> bool:
    """Whether the path turns sharply where two sampled curves meet; end tangents to second order."""
    (ax, ay), (bx, by) = _end_tangent(before[-1:-4:-1].tolist()), _end_tangent(after[:3].tolist())
    return abs(math.atan2(ay * bx - ax * by, -ax * bx - ay * by)) > KINK_RAD


def _end_tangent(points: Sequence[Sequence[float]]) -> Point:
    """Direction in which two or three evenly sampled points leave the first of them."""
    (x0, y0), (x1, y1) = points[0], points[1]
    if len(points) == 2:
        return x1 - x0, y1 - y0
    x2, y2 = points[2]
    return 4 * x1 - 3 * x0 - x2, 4 * y1 - 3 * y0 - y2
