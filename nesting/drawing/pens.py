"""Drawn paths, command by command, to strokes.

In: the pen protocol of the font library (its SVG path parser and HarfBuzz both drive it), points in the drawing's own
units. Out: subpaths as strokes in mm, each open or closed. Curves are mapped first and sampled after, so that they are
as fine as mm ask for whatever the units.
Source of the elliptic arc: SVG 2, appendix B.2.4, from end points to centre.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from nesting.curves import Segment
from nesting.drawing.fitting import Points, sampled
from nesting.drawing.tracing import Affine, Stroke, arc_strokes, traced
from nesting.model import Chain, Point


@dataclass
class OutlinePen:
    """Keeps what is drawn as `subpaths`: chains in mm with whether they were closed."""

    affine: Affine
    subpaths: list[tuple[Chain, bool]] = field(default_factory=list)
    _strokes: list[Stroke] = field(default_factory=list)
    _start: Point = (0.0, 0.0)
    _here: Point = (0.0, 0.0)

    def moveTo(self, p: Point) -> None:  # noqa: N802 (the pen protocol's own names)
        self._finish(False)
        self._start = self._here = p

    def lineTo(self, p: Point) -> None:  # noqa: N802
        if p != self._here:
            self._add(Segment(self._here, p, 0.0))
        self._here = p

    def qCurveTo(self, *points: Point) -> None:  # noqa: N802
        self._curve(points)

    def curveTo(self, *points: Point) -> None:  # noqa: N802
        self._curve(points)

    def arcTo(  # noqa: N802
        self, rx: float, ry: float, rotation: float, large: bool, sweep: bool, to: Point
    ) -> None:
        if to == self._here:
            return
        if rx == 0 or ry == 0:
            self.lineTo(to)
            return
        for stroke in elliptic_arc(self._here, to, abs(rx), abs(ry), rotation, bool(large), bool(sweep)):
            self._add(stroke)
        self._here = to

    def closePath(self) -> None:  # noqa: N802
        self.lineTo(self._start)
        self._finish(True)

    def endPath(self) -> None:  # noqa: N802
        self._finish(False)

    def _curve(self, points: Sequence[Point]) -> None:
        controls = [self.affine.point(p) for p in (self._here, *points)]
        if any(math.dist(controls[0], p) > 1e-9 for p in controls[1:]):
            self._strokes.append(sampled(bezier(controls), 0.0, 1.0))
        self._here = points[-1]

    def _add(self, stroke: Stroke) -> None:
        self._strokes.append(self.affine.stroke(stroke))

    def _finish(self, closed: bool) -> None:
        if self._strokes:
            chain = traced(self._strokes)
            chain = chain[:-1] if closed else chain
            if len(chain) > 1:
                self.subpaths.append((chain, closed))
        self._strokes = []


def bezier(controls: Sequence[Point]) -> Callable[[Points], Points]:
    """A Bézier curve of any degree as a function of its parameter, in Bernstein form."""
    degree = len(controls) - 1
    corners = np.array(controls, dtype=float)

    def curve(t: Points) -> Points:
        weights = np.stack([math.comb(degree, k) * (1 - t) ** (degree - k) * t**k for k in range(degree + 1)], axis=1)
        points: Points = weights @ corners
        return points

    return curve


def elliptic_arc(
    start: Point, end: Point, rx: float, ry: float, rotation_deg: float, large: bool, sweep: bool
) -> list[Stroke]:
    """The arc of an ellipse between two points; of a circle as exact arcs. Radii too small are enlarged to reach."""
    cos, sin = math.cos(math.radians(rotation_deg)), math.sin(math.radians(rotation_deg))
    dx, dy = (start[0] - end[0]) / 2, (start[1] - end[1]) / 2
    # To a frame in which the ellipse is a circle of radius 1 round its centre.
    u, v = (cos * dx + sin * dy) / rx, (-sin * dx + cos * dy) / ry
    reach = math.hypot(u, v)
    stretch = max(1.0, reach)
    rx, ry, u, v = rx * stretch, ry * stretch, u / stretch, v / stretch
    square = u * u + v * v
    lift = math.sqrt(max(0.0, 1.0 / square - 1.0)) * (-1.0 if large == sweep else 1.0)
    cu, cv = lift * v, -lift * u
    first, last = math.atan2(v - cv, u - cu), math.atan2(-v - cv, -u - cu)
    turn = (last - first) % math.tau if sweep else -((first - last) % math.tau)
    to_user = Affine(cos * rx, -sin * ry, sin * rx, cos * ry, (start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    parts = [to_user.stroke(stroke) for stroke in arc_strokes((cu, cv), 1.0, first, turn)]
    if all(isinstance(part, Segment) for part in parts):
        parts[0] = Segment(start, parts[0].b, parts[0].bulge)  # type: ignore[union-attr]
        parts[-1] = Segment(parts[-1].a, end, parts[-1].bulge)  # type: ignore[union-attr]
    return parts
