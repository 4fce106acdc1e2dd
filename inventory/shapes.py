"""The shape of a sheet as a person gives it: width x height, or all corners.

In: words. Out: an outline in mm, sheet frame. Raises RackFault where the words make no shape.
"""

from __future__ import annotations

from nesting.faults import RackFault
from nesting.model import Point


def rectangle(width_mm: float, height_mm: float) -> tuple[Point, ...]:
    """Counter-clockwise from the origin. Raises RackFault if a side is below 0."""
    for side in (width_mm, height_mm):
        if side < 0:
            raise RackFault(f"a side of {side:g} mm cannot be", mend="give width and height above 0, in mm")
    return (0.0, 0.0), (width_mm, 0.0), (width_mm, height_mm), (0.0, height_mm)


def two_lengths(text: str) -> Point:
    """`600x400` as a pair of mm. Raises RackFault."""
    try:
        width, height = text.lower().replace("×", "x").split("x")
        return float(width), float(height)
    except ValueError:
        raise RackFault(f"{text!r} is no size", mend="give width x height in mm, e.g. 600x400") from None


def corner_list(text: str, mm: float = 1.0) -> tuple[Point, ...]:
    """`0,0 600,0 600,200`: x and y of each corner, a space between corners, times `mm`. Raises RackFault."""
    try:
        return tuple((float(x) * mm, float(y) * mm) for x, y in (corner.split(",") for corner in text.split()))
    except ValueError:
        raise RackFault(f"{text[:40]!r} is no list of corners", mend='give them as "0,0 600,0 600,400"') from None
