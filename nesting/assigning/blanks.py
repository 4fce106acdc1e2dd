"""Blanks: straight cuts, edge to edge, that bring a sheet onto the bed.

In: a rectangular part of a sheet (sheet frame), the size wanted, machine, rates. Out: Trims, the blank, the parts left.
Each cut crosses the whole part it is made in (guillotine; Gilmore and Gomory 1965, doi 10.1287/opre.13.1.94). Pure.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from nesting.model import Machine, Point, Rates, Rect, Trim, TrimMethod
from nesting.passes.reach import EPS, Reach, reaches

SNAP_TAB_MM = 20.0
"""An uncut end of a machine trim longer than this is not snapped by hand (common practice, no source)."""
SCORE_LIMIT_MM = 6.0
"""Never score and snap above this thickness (a fabricator's limit)."""


@dataclass(frozen=True, slots=True)
class Freed:
    """A blank, the trims that free it in order, and the parts of the sheet that they leave."""

    blank: Rect
    trims: tuple[Trim, ...]
    rest: tuple[Rect, ...]


def free_blank(part: Rect, size: Point, machine: Machine, rates: Rates, thickness_mm: float, first: int) -> Freed:
    """Trim `part` to a blank of at most `size` at its lower left corner; trims are numbered from `first`.

    The cut that leaves the larger undivided part is made first.
    """
    x0, y0, x1, y1 = part
    wanted = min(size[0], x1 - x0), min(size[1], y1 - y0)
    rest_right, rest_top = (x1 - x0 - wanted[0]) * (y1 - y0), (y1 - y0 - wanted[1]) * (x1 - x0)
    trims: list[Trim] = []
    rest: list[Rect] = []
    for axis in (0, 1) if rest_right >= rest_top else (1, 0):
        level = part[axis] + wanted[axis]
        if level > part[axis + 2] - EPS:
            continue
        trim = trim_at(part, axis, level, machine, rates, thickness_mm, first + len(trims))
        kerf = rates.saw_kerf_mm if trim.method == "saw" else 0.0
        kept, dropped = _divide(part, axis, level, kerf)
        trims.append(trim)
        if dropped is not None:
            rest.append(dropped)
        part = kept
    return Freed(part, tuple(trims), tuple(rest))


def _divide(part: Rect, axis: int, level: float, kerf: float) -> tuple[Rect, Rect | None]:
    low, high = list(part), list(part)
    low[axis + 2] = level
    high[axis] = level + kerf
    dropped = (high[0], high[1], high[2], high[3])
    return (low[0], low[1], low[2], low[3]), dropped if high[axis] < part[axis + 2] - EPS else None


def trim_at(
    part: Rect, axis: int, level: float, machine: Machine, rates: Rates, thickness_mm: float, order: int
) -> Trim:
    """The cut across `part` where coordinate `axis` equals `level`: by machine where it reaches, else snap or saw."""
    across = 1 - axis
    start = [0.0, 0.0]
    start[axis], start[across] = level, part[across]
    end = list(start)
    end[across] = part[across + 2]
    from_mm, to_mm = (start[0], start[1]), (end[0], end[1])
    words = _measure(part, axis, level)
    found = _by_machine(reaches(machine, part), part, axis, level)
    if found is not None:
        reach, ends = found
        if max(ends) > EPS:
            words += f"; the machine leaves {ends[0]:.1f} mm and {ends[1]:.1f} mm uncut at the ends: snap them"
        return Trim(order, from_mm, to_mm, "machine", words, ends, reach.turn_deg, reach.shift_mm)
    snaps = thickness_mm <= min(rates.snap_max_mm, SCORE_LIMIT_MM)
    how = "score and snap" if snaps else f"saw on the far side of the line (kerf {rates.saw_kerf_mm:g} mm)"
    method: TrimMethod = "snap" if snaps else "saw"
    return Trim(order, from_mm, to_mm, method, f"{words}; {how}", kerf_mm=0.0 if snaps else rates.saw_kerf_mm)


def _measure(part: Rect, axis: int, level: float) -> str:
    edge, along = ("left", "bottom and top") if axis == 0 else ("bottom", "left and right")
    return f"{level - part[axis]:.1f} mm from the {edge} edge, marked at the {along} edges; straight across"


def _by_machine(found: Iterable[Reach], part: Rect, axis: int, level: float) -> tuple[Reach, Point] | None:
    """The reach in which the line can be run with the shortest uncut ends, None where none can."""
    across = 1 - axis
    options = []
    for reach in (reach for reach in found if not reach.flipped):
        rect = reach.rect_mm
        ends = rect[across] - part[across] + 0.0, part[across + 2] - rect[across + 2] + 0.0
        if rect[axis] - EPS <= level <= rect[axis + 2] + EPS and max(ends) <= SNAP_TAB_MM:
            options.append((max(ends), reach.turn_deg, reach.shift_mm, reach, ends))
    if not options:
        return None
    *_, reach, ends = min(options, key=lambda option: option[:3])
    return reach, (max(0.0, ends[0]), max(0.0, ends[1]))
