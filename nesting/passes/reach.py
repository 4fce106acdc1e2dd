"""Reach: where a blank can lie in the machine, and what of it the head can reach there.

In: Machine and a blank's rectangle (sheet frame). Out: Reaches. Pure. Nothing is special-cased: a closed back, an open
front or a table wider than the travel only change where the blank's corner may be put.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from nesting import curves
from nesting.curves import rotation
from nesting.model import Chain, Machine, Point, Rect, Ring

OVERLAP_MM = 20.0
"""How far two neighbouring windows overlap when a sheet is slid through an open machine."""
EPS = 1e-3
"""Millimetres that are forgiven: more than the layout engine's own tolerance, far less than a machine can do."""


@dataclass(frozen=True, slots=True)
class Reach:
    """One way to lay the blank: rotate the sheet by `turn_deg`, add `shift_mm`; the head then reaches `rect_mm`.

    `left_mm` is where the blank's left edge then lies, bed frame: the side stop is set there.
    """

    turn_deg: int
    shift_mm: Point
    rect_mm: Rect
    left_mm: float

    def to_bed(self, point: Point) -> Point:
        """Sheet frame to bed frame."""
        cos, sin = rotation(self.turn_deg)
        x, y = point[:2]
        return cos * x - sin * y + self.shift_mm[0], sin * x + cos * y + self.shift_mm[1]


def turned_rect(rect: Rect, turn_deg: int) -> Rect:
    """Bounding rectangle of a rectangle turned about the origin by a quarter turn or several."""
    cos, sin = rotation(turn_deg)
    xs, ys = zip(*((cos * x - sin * y, sin * x + cos * y) for x in rect[::2] for y in rect[1::2]), strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def overlap(a: Rect, b: Rect) -> Rect | None:
    """The rectangle that two share, None where it is empty."""
    shared = max(a[0], b[0]), max(a[1], b[1]), min(a[2], b[2]), min(a[3], b[3])
    return shared if shared[2] - shared[0] > EPS and shared[3] - shared[1] > EPS else None


def holds(outer: Rect, inner: Rect) -> bool:
    """Whether `inner` lies in `outer`, rounding forgiven."""
    low = outer[0] <= inner[0] + EPS and outer[1] <= inner[1] + EPS
    return low and outer[2] >= inner[2] - EPS and outer[3] >= inner[3] - EPS


def reached_by(ring: Ring, reaches: Sequence[Reach]) -> list[tuple[Chain, tuple[int, ...]]]:
    """The ring cut at all edges of the reaches: each stretch with the reaches that hold it."""
    levels = sorted({(k % 2, reach.rect_mm[k]) for reach in reaches for k in range(4)})
    stretches = curves.split_at(ring, True, levels)
    boxes = [curves.bounds([chain], closed=False) for chain in stretches]
    return [
        (chain, tuple(i for i, reach in enumerate(reaches) if holds(reach.rect_mm, box)))
        for chain, box in zip(stretches, boxes, strict=True)
    ]


@functools.lru_cache(maxsize=4096)
def reaches(machine: Machine, blank: Rect) -> tuple[Reach, ...]:
    """All ways to lay the blank that reach something no other way reaches as well; () if it does not lie flat.

    What is reached with the side stop at one place may be reached again with it at another.
    """
    found = [
        reach
        for turn in (0, 180, 90, 270)
        for x in _places_across(machine, *_size(blank, turn)[:1])
        for y in _places_along(machine, _size(blank, turn)[1])
        if (reach := _reach(machine, blank, turn, (x, y))) is not None
    ]
    kept: list[Reach] = []
    for reach in sorted(found, key=lambda r: -_area(r.rect_mm)):
        if not any(_makes_idle(other, reach) for other in kept):
            kept.append(reach)
    return tuple(sorted(kept, key=lambda r: (r.turn_deg, r.shift_mm)))


def _makes_idle(other: Reach, reach: Reach) -> bool:
    """Whether `other` reaches all that `reach` does; what it reaches with the side stop elsewhere must be more."""
    if abs(other.left_mm - reach.left_mm) > EPS and holds(reach.rect_mm, other.rect_mm):
        return False
    return holds(other.rect_mm, reach.rect_mm)


def _size(rect: Rect, turn_deg: int) -> Point:
    width, depth = rect[2] - rect[0], rect[3] - rect[1]
    return (width, depth) if turn_deg % 180 == 0 else (depth, width)


def _area(rect: Rect) -> float:
    return (rect[2] - rect[0]) * (rect[3] - rect[1])


def _places_across(machine: Machine, width: float) -> list[float]:
    """Bed x of the blank's left edge: at the datum; centred where it is wider than the travel; none if too wide.

    Where the travel misses more than the margins, also as far to either side as the table lets it lie.
    """
    travel, table = machine.travel_mm[0], machine.table_mm[0]
    if width > table + EPS:
        return []
    if width <= travel + EPS:
        return [0.0]
    centred = (travel - width) / 2
    if width - 2 * machine.margin_mm <= travel + EPS:
        return [centred]
    aside = min(-centred, (table - width) / 2)
    return sorted({centred - aside, centred, centred + aside})


def _places_along(machine: Machine, depth: float) -> list[float]:
    """Bed y of the blank's front edge: windows that the open or closed ends allow."""
    travel, wall = machine.travel_mm[1], machine.table_mm[1]
    if depth <= travel + EPS:
        return [0.0]
    if machine.open_front and machine.open_back:
        count = math.ceil((depth - OVERLAP_MM) / (travel - OVERLAP_MM) - EPS)
        step = (depth - travel) / (count - 1)
        return [-i * step for i in range(count)]
    if machine.open_front:
        return sorted({travel - depth, wall - depth})
    if machine.open_back:
        return [0.0]
    return sorted({0.0, wall - depth}) if depth <= wall + EPS else []


def _reach(machine: Machine, blank: Rect, turn_deg: int, corner: Point) -> Reach | None:
    laid = turned_rect(blank, turn_deg)
    shift = corner[0] - laid[0] + 0.0, corner[1] - laid[1] + 0.0
    (travel_x, travel_y), (dx, dy) = machine.travel_mm, shift
    travel = (-dx, -dy, travel_x - dx, travel_y - dy)
    rect = overlap(turned_rect(travel, -turn_deg), blank)
    if rect is None:
        return None
    x0, y0, x1, y1 = rect
    return Reach(turn_deg, shift, (x0 + 0.0, y0 + 0.0, x1, y1), corner[0])
