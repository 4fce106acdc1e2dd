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
    """One way to lay the blank: mirror the sheet in x if it is `flipped`, face down; rotate it by `turn_deg`; add
    `shift_mm`; the head then reaches `rect_mm`.

    `left_mm` is where the blank's left edge then lies, bed frame: the side stop is set there.
    """

    turn_deg: int
    shift_mm: Point
    rect_mm: Rect
    left_mm: float
    flipped: bool = False

    def to_bed(self, point: Point) -> Point:
        """Sheet frame to bed frame."""
        cos, sin = rotation(self.turn_deg)
        x, y = -point[0] if self.flipped else point[0], point[1]
        return cos * x - sin * y + self.shift_mm[0], sin * x + cos * y + self.shift_mm[1]


def turned_rect(rect: Rect, turn_deg: int, flipped: bool = False) -> Rect:
    """Bounding rectangle of a rectangle, mirrored in x if flipped, then turned about the origin by quarter turns."""
    cos, sin = rotation(turn_deg)
    flip = -1.0 if flipped else 1.0
    corners = ((cos * flip * x - sin * y, sin * flip * x + cos * y) for x in rect[::2] for y in rect[1::2])
    xs, ys = zip(*corners, strict=True)
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
        for flipped in ((False, True) if machine.face_down else (False,))
        for turn in (0, 180, 90, 270)
        for x in _places_across(machine, *_size(blank, turn)[:1])
        for y in _places_along(machine, _size(blank, turn)[1])
        if (reach := _reach(machine, blank, turn, (x, y), flipped)) is not None
    ]
    kept: list[Reach] = []
    for reach in sorted(found, key=lambda r: (r.flipped, -_area(r.rect_mm))):
        if not any(_makes_idle(other, reach) for other in kept):
            kept.append(reach)
    return tuple(sorted(kept, key=lambda r: (r.flipped, r.turn_deg, r.shift_mm)))


def _makes_idle(other: Reach, reach: Reach) -> bool:
    """Whether `other` reaches all that `reach` does; what it reaches with the side stop elsewhere must be more."""
    if reach.flipped and not other.flipped:
        return holds(other.rect_mm, reach.rect_mm)
    if abs(other.left_mm - reach.left_mm) > EPS and holds(reach.rect_mm, other.rect_mm):
        return False
    return holds(other.rect_mm, reach.rect_mm)


def _size(rect: Rect, turn_deg: int) -> Point:
    width, depth = rect[2] - rect[0], rect[3] - rect[1]
    return (width, depth) if turn_deg % 180 == 0 else (depth, width)


def _area(rect: Rect) -> float:
    return (rect[2] - rect[0]) * (rect[3] - rect[1])


def _places_across(machine: Machine, width: float) -> list[float]:
    """Bed x of the blank's left edge: at the datum; over the middle of the travel where it is wider; none if too wide.

    Where the travel misses more than the margins, also as far to either side as the table lets it lie.
    """
    (travel_left, _, travel_right, _), (left, _, right, _) = machine.travel_rect, machine.table_rect
    if width > right - left + EPS:
        return []
    if width <= travel_right - travel_left + EPS:
        return [travel_right - width if "right" in machine.datum else travel_left]
    low, high = max(left, travel_right - width), min(travel_left, right - width)
    middle = (travel_left + travel_right - width) / 2
    if width - 2 * machine.margin_mm <= travel_right - travel_left + EPS and low - EPS <= middle <= high + EPS:
        return [middle]
    return sorted({low, min(max(low, middle), high), high})


def _places_along(machine: Machine, depth: float) -> list[float]:
    """Bed y of the blank's front edge: windows that the open or closed ends allow."""
    (_, front, _, travel_back), wall = machine.travel_rect, machine.table_rect[3]
    travel = machine.travel_mm[1]
    if depth <= travel + EPS:
        return [travel_back - depth if "back" in machine.datum else front]
    if machine.open_front and machine.open_back:
        count = max(2, math.ceil((depth - EPS - OVERLAP_MM) / (travel - OVERLAP_MM)))
        step = (depth - travel) / (count - 1)
        return [front - i * step for i in range(count)]
    if machine.open_front:
        return sorted({travel_back - depth, wall - depth})
    if machine.open_back:
        return [front]
    return sorted({front, wall - depth}) if depth <= wall - front + EPS else []


def _reach(machine: Machine, blank: Rect, turn_deg: int, corner: Point, flipped: bool) -> Reach | None:
    laid = turned_rect(blank, turn_deg, flipped)
    dx, dy = shift = corner[0] - laid[0] + 0.0, corner[1] - laid[1] + 0.0
    x0, y0, x1, y1 = machine.travel_rect
    back = turned_rect((x0 - dx, y0 - dy, x1 - dx, y1 - dy), -turn_deg)
    rect = overlap(turned_rect(back, 0, flipped), blank)
    if rect is None:
        return None
    x0, y0, x1, y1 = rect
    return Reach(turn_deg, shift, (x0 + 0.0, y0 + 0.0, x1, y1), corner[0], flipped)
