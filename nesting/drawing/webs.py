"""Strokes and counters too narrow for the thickness: where a piece would burn away, warp or break.

In: a shape, the least width in mm. Out: places. Pure.
Method: the material is eroded by half the width; what is left are cores. A rest that holds two cores together, parts a
hole from another edge, or is long, is narrower than asked. A counter is too narrow if nothing of it is left.
Least web: the thickness, never under 1 mm (guidance for school workshops, cutting services); the shop may know better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from nesting.curves import polygons
from nesting.drawing.fitting import area_of
from nesting.drawing.shapes import DrawnShape
from nesting.model import Point

SAGITTA_MM = 0.02
REST_SHARE = 2.0
"""A rest larger than this, in squares of the width, is a thin stroke and not the tip of a corner."""


@dataclass(frozen=True, slots=True)
class Narrow:
    """One place narrower than asked: of the material (`web`) or of a hole (`counter`)."""

    what: str
    at_mm: Point


def least_web_mm(thickness_mm: float) -> float:
    """The least width of material between two cuts."""
    return max(thickness_mm, 1.0)


def narrow_places(shape: DrawnShape, least_mm: float) -> list[Narrow]:
    """Webs of the material first, then counters."""
    body = area_of(shape.outline, shape.holes, SAGITTA_MM)
    holes = map(Polygon, body.interiors)
    return [
        *(Narrow("web", _place(rest)) for rest in _thin_parts(body, least_mm)),
        *(Narrow("counter", _place(hole)) for hole in holes if hole.buffer(-least_mm / 2).is_empty),
    ]


def _thin_parts(body: Polygon, least_mm: float) -> list[Polygon]:
    cores = polygons(body.buffer(-least_mm / 2))
    if not cores:
        return [body]
    grown = [core.buffer(least_mm / 2 * 1.01) for core in cores]
    rests = polygons(body.difference(shapely.union_all(grown)))
    edges = [body.exterior, *body.interiors]
    return [
        rest
        for rest in rests
        if rest.area > REST_SHARE * least_mm**2 or _touched(rest, grown) > 1 or _touched(rest, edges) > 1
    ]


def _touched(rest: Polygon, others: Sequence[BaseGeometry]) -> int:
    """How many cores the rest holds together, or how many edges it parts."""
    return sum(other.distance(rest) < 1e-3 for other in others)


def _place(part: Polygon) -> Point:
    at = part.representative_point()
    return at.x, at.y
