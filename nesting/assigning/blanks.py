"""Blanks: straight cuts, edge to edge, that bring a sheet onto the bed.

In: a rectangular part of a sheet (sheet frame), the size wanted, machine, rates. Out: Trims, the blank, the parts left.
Each cut crosses the whole part it is made in (guillotine; Gilmore and Gomory 1965, doi 10.1287/opre.13.1.94). Pure.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable
from dataclasses import dataclass

import shapely

from nesting.model import Machine, Point, Rates, Rect, Trim
from nesting.passes.reach import EPS, Reach, reaches
from nesting.patterns import Part, Want, best_pattern

SNAP_TAB_MM = 20.0
"""An uncut end of a machine trim longer than this is not snapped by hand (common practice, no source)."""
HANDLING_MM2 = 10_000
"""Of two ways to cut a sheet up: so much reached is worth one blank less to handle (common practice, no source)."""
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


@dataclass(frozen=True, slots=True)
class Cutting:
    """How a part is cut up: it is a blank, or is cut in two at `level` of coordinate `axis`, or is neither: waste."""

    rect: Rect
    blank: bool = False
    axis: int = 0
    level: float = 0.0
    parts: tuple[Cutting, ...] = ()

    @property
    def blanks(self) -> int:
        """How many there are in it."""
        return self.blank + sum(part.blanks for part in self.parts)

    def part(self, rect: Rect) -> Cutting | None:
        """The part of it with this rectangle."""
        if self.rect == rect:
            return self
        return next((found for part in self.parts if (found := part.part(rect))), None)


@functools.lru_cache(maxsize=1024)
def cut_up(rect: Rect, sizes: tuple[Point, ...], machine: Machine, rates: Rates, thickness_mm: float) -> Cutting | None:
    """The sheet cut up into blanks of these sizes, so that passes reach most of it, in the stages that the shop allows.

    None where fewer than two blanks come of it. The pattern is the best there is (`nesting.patterns`); a blank may come
    out larger by the width of a saw cut that the machine or a score saved.
    """
    kerf = 0.0 if thickness_mm <= min(rates.snap_max_mm, SCORE_LIMIT_MM) else rates.saw_kerf_mm
    wants = [Want((_tenths(w), _tenths(d)), _worth(machine, (w, d))) for w, d in sizes]
    whole = math.floor((rect[2] - rect[0]) * 10 + EPS), math.floor((rect[3] - rect[1]) * 10 + EPS)
    pattern = best_pattern(whole, wants, cut=_tenths(kerf), stages=rates.trim_stages)
    cutting = _cutting(pattern.root, rect, machine, rates, thickness_mm)
    return cutting if cutting.blanks > 1 else None


def _tenths(length_mm: float) -> int:
    return math.ceil(length_mm * 10 - EPS)


def _worth(machine: Machine, size: Point) -> int:
    """What passes reach of a blank within its margins, mm2, less what a blank's handling is worth."""
    margin = machine.margin_mm
    inner = shapely.box(margin, margin, size[0] - margin, size[1] - margin)
    reached = shapely.union_all([shapely.box(*reach.rect_mm) for reach in reaches(machine, (0.0, 0.0, *size))])
    return max(0, int(reached.intersection(inner).area) - HANDLING_MM2)


def _cutting(node: Part, rect: Rect, machine: Machine, rates: Rates, thickness_mm: float) -> Cutting:
    """The pattern's tree on the sheet, with the width that each cut truly takes away."""
    if node.axis is None:
        return Cutting(rect, node.want is not None and bool(reaches(machine, rect)))
    level = rect[node.axis] + node.parts[0].size[node.axis] / 10
    kerf = trim_at(rect, node.axis, level, machine, rates, thickness_mm, 1).kerf_mm
    low, high = _divide(rect, node.axis, level, kerf)
    parts = [_cutting(node.parts[0], low, machine, rates, thickness_mm)]
    if high is not None:
        parts.append(_cutting(node.parts[1], high, machine, rates, thickness_mm))
    return Cutting(rect, False, node.axis, level, tuple(parts))


def free_next(cutting: Cutting, machine: Machine, rates: Rates, thickness_mm: float, first: int) -> Freed | None:
    """The first blank of a part that is to be cut up; trims are numbered from `first`. None if it holds none."""
    trims: list[Trim] = []
    rest: list[Rect] = []
    while not cutting.blank:
        at = next((k for k, part in enumerate(cutting.parts) if part.blanks), None)
        if at is None:
            return None
        axis, level = cutting.axis, cutting.level
        trims.append(trim_at(cutting.rect, axis, level, machine, rates, thickness_mm, first + len(trims)))
        rest += [part.rect for k, part in enumerate(cutting.parts) if k != at]
        cutting = cutting.parts[at]
    return Freed(cutting.rect, tuple(trims), tuple(rest))


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
    snaps = thickness_mm <= min(rates.snap_max_mm, SCORE_LIMIT_MM)
    return cut_at(part, axis, level, _measure(part, axis, level), machine, rates, order, snaps)


def cut_at(
    part: Rect, axis: int, level: float, words: str, machine: Machine, rates: Rates, order: int, snaps: bool = False
) -> Trim:
    """The same, measured in these words; where no machine reaches, it is sawn unless it `snaps`."""
    across = 1 - axis
    start = [0.0, 0.0]
    start[axis], start[across] = level, part[across]
    end = list(start)
    end[across] = part[across + 2]
    from_mm, to_mm = (start[0], start[1]), (end[0], end[1])
    found = _by_machine(reaches(machine, part), part, axis, level)
    if found is not None:
        reach, ends = found
        if max(ends) > EPS:
            words += f"; the machine leaves {ends[0]:.1f} mm and {ends[1]:.1f} mm uncut at the ends: snap them"
        return Trim(order, from_mm, to_mm, "machine", words, ends, reach.turn_deg, reach.shift_mm)
    if snaps:
        return Trim(order, from_mm, to_mm, "snap", f"{words}; score and snap")
    how = f"saw on the far side of the line (kerf {rates.saw_kerf_mm:g} mm)"
    return Trim(order, from_mm, to_mm, "saw", f"{words}; {how}", kerf_mm=rates.saw_kerf_mm)


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
