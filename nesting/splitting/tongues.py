"""Keyed joints: both sides interlock by a tongue that is wider at its tip than at its root, all curves tangent.

In: the length of a joint, the material's thickness, the clearance. Out: the edges of both sides. Pure.
Form: our own. From the straight joint an arc turns into a flank that leans outwards by `FLARE_DEG`, a second arc of the
same radius into the flat tip, and the same way back. The tongue's side is as measured, the socket's is wider all round
by the clearance; beside the tongue both sides meet on the straight line, which sets the depth.
Sizes (common practice, no source): twice as deep as the material is thick, 8 to 24 mm; as much beside it as it is deep.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from nesting.model import Chain, Point, Vertex

FLARE_DEG = 12.0
_TURN = math.radians(90.0 + FLARE_DEG)
_FLARE = math.radians(FLARE_DEG)


@dataclass(frozen=True, slots=True)
class Tongue:
    """Millimetres: how far it reaches over the joint, how wide its tip is between the arcs, their radius."""

    depth: float
    tip: float
    radius: float

    @property
    def half_width(self) -> float:
        """From its middle to where it leaves the straight line, or to its widest place if that is farther out."""
        return self.tip / 2 + max(self.rise, self.radius)

    @property
    def flank(self) -> float:
        """Length of the straight between the two arcs of a side."""
        return (self.depth - 2 * self.radius * (1 + math.sin(_FLARE))) / math.cos(_FLARE)

    @property
    def rise(self) -> float:
        """How far along the joint a side runs from the straight line to the flat of the tip."""
        return 2 * self.radius * math.cos(_FLARE) - self.flank * math.sin(_FLARE)

    def widened(self, clearance: float) -> Tongue:
        """The socket for it: as much wider at each flank, square to it, and deeper."""
        # The corner where flank and tip would meet moves outwards along both.
        out = clearance * (math.cos(_FLARE) + math.tan(_FLARE) * (1 + math.sin(_FLARE)))
        return Tongue(self.depth + clearance, self.tip + 2 * out, self.radius)

    def edge(self, length: float) -> Chain:
        """Its contour in the middle of a joint from (0, 0) to (length, 0), reaching to positive y."""
        x = length / 2 - self.tip / 2 - self.rise
        arc = math.tan(_TURN / 4)
        radius, flare = self.radius, _FLARE
        dx, dy = radius * math.cos(flare), radius * (1 + math.sin(flare))
        lean, up = self.flank * math.sin(flare), self.flank * math.cos(flare)
        left: list[Vertex] = [
            (x, 0.0, arc),
            (x + dx, dy, 0.0),
            (x + dx - lean, dy + up, -arc),
            (x + self.rise, self.depth, 0.0),
        ]
        points = [(length - px, py) for px, py, _ in reversed(left)]
        right: list[Vertex] = [(*point, bulge) for point, bulge in zip(points, [-arc, 0.0, arc, 0.0], strict=True)]
        return ((0.0, 0.0, 0.0), *left, *right, (length, 0.0, 0.0))


def tongue_for(length: float, thickness_mm: float) -> Tongue | None:
    """The tongue for a joint; None where the joint is too short for one."""
    depth = min(24.0, max(8.0, 2 * thickness_mm), length / 4)
    tongue = Tongue(depth, 0.9 * depth, depth / 5)
    spare = length / 2 - tongue.half_width
    return tongue if depth >= 8.0 and spare >= 0.8 * depth else None


def room_of(tongue: Tongue, a: Point, b: Point, beyond_mm: float) -> tuple[Point, ...]:
    """Corners of the rectangle, on both sides of a joint from a to b, that a tongue takes up with so much round it."""
    long = math.dist(a, b)
    ux, uy = (b[0] - a[0]) / long, (b[1] - a[1]) / long
    mx, my = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
    half, deep = tongue.half_width + beyond_mm, tongue.depth + beyond_mm
    return tuple(
        (mx + s * half * ux - t * deep * uy, my + s * half * uy + t * deep * ux)
        for s, t in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    )


def laid_along(edge: Chain, a: Point, b: Point) -> Chain:
    """The contour moved from its own joint onto the one from a to b; its ends exactly there."""
    long = math.dist(a, b)
    ux, uy = (b[0] - a[0]) / long, (b[1] - a[1]) / long
    inner = ((a[0] + x * ux - y * uy, a[1] + x * uy + y * ux, bulge) for x, y, bulge in edge[1:-1])
    return ((*a, 0.0), *inner, (*b, 0.0))
