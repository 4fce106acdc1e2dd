"""Mirror symmetry of a piece.

In: a Piece. Out: the axis it is mirrored at, if there is one. Pure.
Method: an axis goes through the centre of area, along or across a main axis of inertia, the sheet or a long edge; the
mirrored area must lie on itself. Turned and mirrored with the piece, its fixings and holes count too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import shapely
from shapely.affinity import affine_transform
from shapely.geometry import MultiPoint

from nesting import curves
from nesting.model import Piece, Point
from nesting.splitting.chords import straight_angles

ALIKE_MM = 0.1
"""Mean distance of the mirrored contour from the contour, at most."""


@dataclass(frozen=True, slots=True)
class Axis:
    """A line that the piece is mirrored at."""

    through: Point
    angle_deg: float

    def mirrored(self, point: Point) -> Point:
        """The point on the other side."""
        a, b, d, e, x, y = self.matrix
        return a * point[0] + b * point[1] + x, d * point[0] + e * point[1] + y

    @property
    def matrix(self) -> tuple[float, float, float, float, float, float]:
        """As shapely's affine_transform takes it."""
        turn = 2 * math.radians(self.angle_deg)
        cos, sin = math.cos(turn), math.sin(turn)
        x, y = self.through
        return cos, sin, sin, -cos, x - cos * x - sin * y, y - sin * x + cos * y

    def mirrored_angle(self, angle_deg: float) -> float:
        """Of a line's direction, 0 to below 180 degrees."""
        return round((2 * self.angle_deg - angle_deg) % 180.0, 9) % 180.0


def mirror_axis(piece: Piece) -> Axis | None:
    """The upright axis first, then a level one, then any other; None if the piece is not mirrored at one."""
    area = curves.polygon(piece.outline, piece.holes, 0.01)
    centre = area.centroid
    edges = straight_angles([piece.outline])
    angles = [90.0, 0.0, *(turn for angle in edges for turn in (angle, (angle + 90.0) % 180.0)), *_halfway(edges)]
    fixings = MultiPoint(piece.fixings)
    for angle in dict.fromkeys(angles):
        axis = Axis((centre.x, centre.y), angle)
        there = affine_transform(area, list(axis.matrix))
        if area.symmetric_difference(there).area > ALIKE_MM * area.length:
            continue
        if not piece.fixings or shapely.hausdorff_distance(fixings, affine_transform(fixings, list(axis.matrix))) < 0.5:
            return axis
    return None


def _halfway(angles: list[float]) -> list[float]:
    """Bisectors of the straight edges' directions: a chevron or a star is mirrored at one of them."""
    turns = [(one + other) / 2 for i, one in enumerate(angles) for other in angles[:i]]
    return [round(angle % 180.0, 6) for turn in turns for angle in (turn, turn + 90.0)]
