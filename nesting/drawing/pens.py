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
from nesting.drawing.tracing import Affine, Traceable, arc_strokes, traced
from nesting.model import Chain, Point


@dataclass
class OutlinePen:
    """Keeps what is drawn as `subpaths`: chains in mm with whether they were closed."""

    affine: Affine
    subpaths: list[tuple[Chain, bool]] = field(default_factory=list)
    _strokes: list[Traceable] = field(default_factory=list)
    _start: Point = (0.0, 0.0)
    _here: Point = (0.0, 0.0)

    def moveTo(self, p: Point) -> None:  # noqa: N802 (the pen protocol's own names)
        self._finish(False)
        self._start = self._here = p

    def lineTo(self, p: Point) -> None:  # noqa: N802
        if p != self._here:
            self._strokes.append(self.affine.stroke(Segment(self._here, p, 0.0)))
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
        arcs, frame = elliptic_arc(self._here, to, abs(rx), abs(ry), rotation, bool(large), bool(sweep))
        mapped = [frame.then(self.affine).stroke(arc) for arc in arcs]
        self._strokes += _between(mapped, self.affine.point(self._here), self.affine.point(to))
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
) -> tuple[list[Segment], Affine]:
    """The arc of an ellipse between two points, as arcs of the unit circle and the map from its frame to theirs.

    Radii too small to reach are enlarged.
    """
    cos, sin = math.cos(math.radians(rotation_deg)), math.sin(math.radians(rotation_deg))
    dx, dy = (start[0] - end[0]) / 2, (start[1] - end[1]) / 2
    u, v = (cos * dx + sin * dy) / rx, (-sin * dx + cos * dy) / ry
    stretch = max(1.0, math.hypot(u, v))
    rx, ry, u, v = rx * stretch, ry * stretch, u / stretch, v / stretch
    square = u * u + v * v
    lift = math.sqrt(max(0.0, 1.0 / square - 1.0)) * (-1.0 if large == sweep else 1.0)
    cu, cv = lift * v, -lift * u
    first, last = math.atan2(v - cv, u - cu), math.atan2(-v - cv, -u - cu)
    turn = (last - first) % math.tau if sweep else -((first - last) % math.tau)
    frame = Affine(cos * rx, -sin * ry, sin * rx, cos * ry, (start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    return arc_strokes((cu, cv), 1.0, first, turn), frame


def _between(strokes: list[Traceable], start: Point, end: Point) -> list[Traceable]:
    """The strokes with exact arcs held to the very points they were drawn between."""
    held = list(strokes)
    if isinstance(held[0], Segment):
        held[0] = Segment(start, held[0].b, held[0].bulge)
    if isinstance(held[-1], Segment):
        held[-1] = Segment(held[-1].a, end, held[-1].bulge)
    return held
