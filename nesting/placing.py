"""Pieces laid on a sheet: contours moved from the piece frame to the sheet frame.

In: Piece, Placement. Out: Laid, for passes, leftovers, drawings and pictures. Pure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry import Polygon

from nesting import curves
from nesting.model import Chain, Piece, Placement, Rect, Ring, Share


@dataclass(frozen=True, slots=True)
class Laid:
    """A piece where it lies, sheet frame; `solid` is its area, outline never shrunk, holes never grown."""

    piece: Piece
    blank: str
    outline: Ring
    holes: tuple[Ring, ...]
    marks: tuple[Chain, ...]
    bounds: Rect
    solid: Polygon

    @property
    def rings(self) -> tuple[Ring, ...]:
        """Holes before the outline: inner cuts come first."""
        return (*self.holes, self.outline)

    def contour(self, share: Share) -> Chain:
        """What a share is a share of, as it lies: an outline or a hole, closed, or a mark, open."""
        contours = {"outline": (self.outline,), "hole": self.holes, "mark": self.marks}
        return contours[share.kind][share.number - 1]


def lay(piece: Piece, spot: Placement) -> Laid:
    """Move a piece to its placement; a mirrored ring is run the other way so that its material stays on the left."""

    def move(ring: Ring) -> Ring:
        there = curves.moved(ring, spot.x_mm, spot.y_mm, spot.turn_deg, spot.mirrored)
        return curves.reversed_ring(there) if spot.mirrored else there

    outline, holes = move(piece.outline), tuple(move(hole) for hole in piece.holes)
    marks = tuple(curves.moved(mark, spot.x_mm, spot.y_mm, spot.turn_deg, spot.mirrored) for mark in piece.marks)
    solid = curves.polygon(outline, holes)
    return Laid(piece, spot.blank, outline, holes, marks, curves.bounds([outline]), solid)


def inside_of(laid: Sequence[Laid]) -> dict[str, str]:
    """For each piece that lies in a hole of another: the id of the innermost such piece."""
    found: dict[str, str] = {}
    points = [one.solid.representative_point() for one in laid]
    for one, point in zip(laid, points, strict=True):
        around = [
            other
            for other in laid
            if other is not one and other.holes and shapely.contains(Polygon(other.solid.exterior), point)
        ]
        if around:
            found[one.piece.id] = min(around, key=lambda other: Polygon(other.solid.exterior).area).piece.id
    return found
