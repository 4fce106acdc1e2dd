"""Pieces with all edges on one square lattice, laid on it by an exact search: tiles, panels, letters made of squares.

In: a task. Out: spots for all its shapes, to begin from where moving them apart freely did not do. Every cell of a
sheet is covered once at most, or exactly once where there is no waste: a model for the solver (exact cover, Knuth 2000,
arXiv:cs/0011047). On a sheet with holes the lattice is stretched so that it ends at the sheet's edges; spots may then
overlap by a little.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from nesting.layout.asked import QUARTERS
from nesting.layout.outlines import laid, polygon_of
from nesting.layout.search import Task
from nesting.layout.terms import Spot
from nesting.solving import NoAnswer, solved

EFFORT = 4.0
"""Of the solver, in its own seconds."""
MOST_COVERED = 1_000_000
"""With more cells covered, all places of all pieces together, no search is made."""
NEAR = 1e-6
"""So small a share of a length is none."""

Cells = NDArray[np.bool_]
"""Rows and columns of a lattice, from the lower left corner."""


@dataclass(frozen=True, slots=True)
class _Sort:
    """Pieces just alike: outline (well-known binary), turns (None: any), mirroring, the grounds they may lie on."""

    outline: bytes
    turns_deg: tuple[float, ...] | None
    mirror: bool
    allowed: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class _Way:
    """A piece turned and mirrored: its cells, and the lower left corner of these from its own origin."""

    turn_deg: float
    mirrored: bool
    cells: Cells
    corner: tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Grid:
    """A ground's lattice: its corner, how far its lines are apart, which cells are free."""

    corner: tuple[float, float]
    step: tuple[float, float]
    free: Cells


@dataclass(frozen=True, slots=True)
class _Choice:
    """A piece of some sort at some place, chosen or not: the cells it covers there, by number over all grounds."""

    sort: int
    spot: Spot
    covered: tuple[int, ...]


def spots_on_lattice(task: Task) -> list[Spot]:
    """Spots for all shapes; none where they share no lattice, or too fine a one, or nothing was found on it, or grounds
    have reaches or zones."""
    if len(task.places) != len(task.grounds):
        return []
    sorts = [
        _Sort(shape.polygon.wkb, shape.turns_deg, shape.mirror, tuple(allowed))
        for shape, allowed in zip(task.shapes, task.allowed.astype(bool).tolist(), strict=True)
    ]
    stacks = defaultdict[_Sort, list[Spot]](list)
    for sort, spot in _found(tuple(Counter(sorts).items()), tuple(p.area for p in task.places), task.gap_mm / 2):
        stacks[sort].append(spot)
    if not stacks:
        return []
    return [replace(stacks[sort].pop(), id=shape.id) for shape, sort in zip(task.shapes, sorts, strict=True)]


@lru_cache(maxsize=64)
def _found(
    sorts: tuple[tuple[_Sort, int], ...], areas: tuple[Polygon | MultiPolygon, ...], half_gap: float
) -> tuple[tuple[_Sort, Spot], ...]:
    """Spots, each of a sort; kept, since the same sheets are tried again and again."""
    grown = [_grown(sort.outline, half_gap) for sort, _ in sorts]
    module = _module(grown)
    if module is None or sum(area.area for area in areas) > MOST_COVERED * module**2:
        return ()
    grids = [_grid(area, module) for area in areas]
    choices, covered = list[_Choice](), 0
    for number, ((sort, _), outline) in enumerate(zip(sorts, grown, strict=True)):
        for choice in _choices(number, sort, list(_ways(sort, outline, module)), grids):
            choices.append(choice)
            covered += len(choice.covered)
            if covered > MOST_COVERED:
                return ()
    wanted = [count for _, count in sorts]
    return tuple((sorts[choice.sort][0], choice.spot) for choice in _chosen(choices, wanted, grids))


def _grown(outline: bytes, half_gap: float) -> Polygon:
    grown = polygon_of(outline).buffer(half_gap, join_style="mitre")
    assert isinstance(grown, Polygon)
    return grown


def _module(outlines: Sequence[Polygon]) -> float | None:
    """The largest length that all edges are multiples of; None where an edge lies aslant."""
    module = 0.0
    for outline in outlines:
        for ring in (outline.exterior, *outline.interiors):
            steps = np.abs(np.diff(shapely.get_coordinates(ring), axis=0))
            if steps.min(axis=1).max() > NEAR * steps.max():
                return None
            for length in steps.max(axis=1).tolist():
                module = _common(module, length)
    return module


def _common(one: float, other: float) -> float:
    """The largest length that both are multiples of (Euclid), within what rounding leaves."""
    none = NEAR * max(one, other)
    while other > none:
        one, other = other, abs(math.remainder(one, other))
    return one


def _grid(area: Polygon | MultiPolygon, module: float) -> _Grid:
    x0, y0, x1, y1 = area.bounds
    columns, rows = (math.floor((to - at) / module + NEAR) for at, to in ((x0, x1), (y0, y1)))
    plain = area.area >= (1.0 - NEAR) * (x1 - x0) * (y1 - y0)
    step = (module, module) if plain or not columns * rows else ((x1 - x0) / columns, (y1 - y0) / rows)
    x, y = np.meshgrid(x0 + np.arange(columns) * step[0], y0 + np.arange(rows) * step[1])
    room = area.buffer(2 * NEAR * module, join_style="mitre")
    return _Grid((x0, y0), step, shapely.covers(room, shapely.box(x, y, x + step[0], y + step[1])))


def _ways(sort: _Sort, outline: Polygon, module: float) -> Iterator[_Way]:
    """All that differ in their cells."""
    seen = set[tuple[tuple[int, ...], bytes]]()
    turns = [turn for turn in sort.turns_deg or QUARTERS if turn % 90.0 == 0.0]
    for mirrored in (False, True) if sort.mirror else (False,):
        for turn in turns:
            lies = laid(outline, Spot("", 0.0, 0.0, turn, mirrored))
            x0, y0, x1, y1 = lies.bounds
            x, y = (at + (np.arange(round((to - at) / module)) + 0.5) * module for at, to in ((x0, x1), (y0, y1)))
            cells: Cells = np.asarray(shapely.contains_xy(lies, *np.meshgrid(x, y)))
            if (cells.shape, cells.tobytes()) not in seen:
                seen.add((cells.shape, cells.tobytes()))
                yield _Way(turn, mirrored, cells, (x0, y0))


def _choices(number: int, sort: _Sort, ways: Sequence[_Way], grids: Sequence[_Grid]) -> Iterator[_Choice]:
    """A piece of this sort everywhere that all its cells are free."""
    first = 0
    for ground, grid in enumerate(grids):
        rows, columns = grid.free.shape
        for way in ways if sort.allowed[ground] else ():
            high, wide = way.cells.shape
            if high > rows or wide > columns:
                continue
            free = (sliding_window_view(grid.free, (high, wide)) | ~way.cells).all(axis=(2, 3))
            covered = np.flatnonzero(np.pad(way.cells, ((0, 0), (0, columns - wide))))
            for row, column in np.argwhere(free).tolist():
                x, y = (
                    c + n * s - o for c, n, s, o in zip(grid.corner, (column, row), grid.step, way.corner, strict=True)
                )
                spot = Spot("", x, y, way.turn_deg, way.mirrored, ground)
                yield _Choice(number, spot, tuple((covered + first + row * columns + column).tolist()))
        first += grid.free.size


def _chosen(choices: Sequence[_Choice], wanted: Sequence[int], grids: Sequence[_Grid]) -> list[_Choice]:
    """As many of every sort as are wanted, no cell covered twice; none where that was not found."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    chosen = [model.new_bool_var("") for _ in choices]
    of_sort, over = defaultdict[int, list[int]](list), defaultdict[int, list[int]](list)
    for number, choice in enumerate(choices):
        of_sort[choice.sort].append(number)
        for cell in choice.covered:
            over[cell].append(number)
    for sort, count in enumerate(wanted):
        model.add(sum(chosen[number] for number in of_sort[sort]) == count)
    need = sum(count * len(choices[of_sort[sort][0]].covered) for sort, count in enumerate(wanted) if of_sort[sort])
    tight = need == sum(int(grid.free.sum()) for grid in grids)
    for numbers in over.values():
        (model.add_exactly_one if tight else model.add_at_most_one)(chosen[number] for number in numbers)
    try:
        solver = solved(model, EFFORT)
    except NoAnswer:
        return []
    return [choice for choice, here in zip(choices, chosen, strict=True) if solver.value(here)]
