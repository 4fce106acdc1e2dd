"""How pieces alike lie densest: in rows that repeat, each as it is or every other one turned by half.

In: a grown outline. Out: `Rows`, the densest first. Any number of copies moved along two vectors keeps clear of one
another; with copies turned by half between them that is a double lattice, Kuperberg, Kuperberg (1990), Discrete
Comput. Geom. 5, 389-397. Ours: how they are found. Rows run in many directions, along long edges among them; how
close a row comes to itself, and to the next one at every shift, is read off profiles cut into cells, never too close;
the best are refined, and then measured exactly.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache
from operator import itemgetter

import numpy as np
import shapely
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from nesting.curves import polygons
from nesting.layout.outlines import HAIR_MM, SIMPLER, Outline, edges_of, turned

Point = tuple[float, float]
F64 = NDArray[np.float64]

DIRECTIONS, LONG_EDGES, HEIGHTS = 12, 12, 12
"""Directions of rows that are tried, besides those of long edges, and heights at which a piece lies beside its turned
neighbour."""
COARSE, FINE = 48, 192
"""Cells of a period at first, and for refining."""
REFINED, HALVINGS = 12, 6
"""How many are refined, by steps halved so many times."""
MANY_EDGES = 96
"""Of an outline with more edges a slightly larger one with fewer is laid."""
APART_DEG = 0.5
"""Directions closer together are one."""


@dataclass(frozen=True, slots=True)
class Rows:
    """Copies of an outline that fill the plane: `cell` has turn (degrees) and reference point of one or two, all others
    are these moved along the vectors `along` a row and `up` to the next; `area` is the plane's for each copy. mm."""

    cell: tuple[tuple[float, float, float], ...]
    along: Point
    up: Point
    area: float


class _Way(Enum):
    """All alike; every other row turned by half; every other piece of a row turned by half."""

    PLAIN, ROWS, PIECES = range(3)


@dataclass(frozen=True, slots=True)
class _Plan:
    """Rows run in a direction (degrees); a turned neighbour in the row lies so much higher."""

    way: _Way
    direction: float
    height: float


@dataclass(frozen=True, slots=True)
class _Row:
    """The edges (n, 4) of what repeats along the x axis with this period; where its turned piece lies, if it has one
    beside the first."""

    edges: F64
    period: float
    beside: Point | None = None


@lru_cache(maxsize=256)
def densest(outline: Outline, by_half: bool) -> tuple[Rows, ...]:
    """The densest rows found, best first; `by_half`: pieces may be turned by half."""
    edges = _few_edges(outline)
    best: dict[tuple[_Way, float], tuple[float, _Plan]] = {}
    for plan in _plans(edges, by_half):
        key, area = (plan.way, plan.direction), _area(edges, plan, COARSE)
        if key not in best or area < best[key][0]:
            best[key] = area, plan
    ranked = sorted(best.values(), key=itemgetter(0))
    found = [_measured(edges, _refined(edges, plan)) for _, plan in ranked[:REFINED]]
    return tuple(sorted(found, key=lambda rows: rows.area))


def _few_edges(outline: Outline) -> F64:
    """The outer edges, (n, 4), of an outline, or, if those are many, of one that is a little larger all round."""
    whole = _without_holes(outline.polygon)
    little = SIMPLER * math.sqrt(whole.area)
    edges, _ = edges_of(whole)
    while len(edges) > MANY_EDGES:
        little *= 2.0
        edges, _ = edges_of(_without_holes(whole.buffer(little, join_style="mitre").simplify(little)))
    return edges


def _without_holes(shape: shapely.Geometry) -> MultiPolygon:
    return MultiPolygon([Polygon(part.exterior) for part in polygons(shape)])


def _plans(edges: F64, by_half: bool) -> Iterator[_Plan]:
    for direction in _directions(edges):
        yield _Plan(_Way.PLAIN, direction, 0.0)
        if by_half:
            yield _Plan(_Way.ROWS, direction, 0.0)
            y = _spun(edges, direction)[:, 1]
            for part in np.linspace(0.0, 1.0, HEIGHTS, endpoint=False) + 0.5 / HEIGHTS:
                # Between where it would only just touch from below, and from above.
                yield _Plan(_Way.PIECES, direction, 2.0 * float(y.min() + part * np.ptp(y)))


def _directions(edges: F64) -> list[float]:
    """Even steps of half a turn, and the long edges'."""
    found = [180.0 * step / DIRECTIONS for step in range(DIRECTIONS)]
    span = edges[:, 2:] - edges[:, :2]
    for dx, dy in span[np.argsort(-np.hypot(*span.T), kind="stable")][:LONG_EDGES].tolist():
        angle = math.degrees(math.atan2(dy, dx)) % 180.0
        if all(APART_DEG < abs(angle - other) < 180.0 - APART_DEG for other in found):
            found.append(angle)
    return found


# ── rows along the x axis ────────────────────────────────────────────────────────────────────────────────────


def _spun(edges: F64, direction: float) -> F64:
    """Edges turned so that the direction becomes that of the x axis."""
    return np.hstack([turned(edges[:, :2], -direction, False), turned(edges[:, 2:], -direction, False)])


def _moved(edges: F64, x: float, y: float) -> F64:
    moved: F64 = edges + np.array((x, y, x, y))
    return moved


def _rows(edges: F64, plan: _Plan) -> list[_Row]:
    """The rows that repeat upwards: one, or one and the same turned by half."""
    one = _spun(edges, plan.direction)
    alone = _clear(one, one)
    if plan.way is _Way.PLAIN:
        return [_Row(one, alone)]
    if plan.way is _Way.ROWS:
        return [_Row(one, alone), _Row(-one, alone)]
    other = _moved(-one, 0.0, plan.height)
    there, back = _clear(one, other), _clear(other, one)
    period = max(there + back, alone)
    at = there + (period - there - back) / 2 if there > -math.inf else 0.0
    return [_Row(np.vstack([one, _moved(other, at, 0.0)]), period, (at, plan.height))]


def _area(edges: F64, plan: _Plan, cells: int) -> float:
    """Area of the plane for each piece, at most so much: profiles are cut into so many cells."""
    rows = _rows(edges, plan)
    rise = sum(float(_rises(low, high, cells).min()) for low, high in _above(rows))
    return rows[0].period * rise / (1 if plan.way is _Way.PLAIN else 2)


def _above(rows: list[_Row]) -> list[tuple[_Row, _Row]]:
    return list(zip(rows, rows[1:] + rows[:1], strict=True))


def _rises(low: _Row, high: _Row, cells: int) -> F64:
    """How far a row must lie above another, for every shift by whole cells, (cells,)."""
    top, bottom = _profile(low.edges, low.period, cells), _profile(_flipped(high.edges), high.period, cells)
    shifted = sliding_window_view(np.concatenate((bottom, bottom)), cells)[cells:0:-1]
    rises: F64 = (top + shifted).max(axis=1)
    return rises


def _flipped(edges: F64) -> F64:
    flipped: F64 = edges * np.array((1.0, -1.0, 1.0, -1.0))
    return flipped


def _profile(edges: F64, period: float, cells: int) -> F64:
    """The highest point of a row within each cell of its period, (cells,)."""
    width, x = period / cells, edges[:, ::2]
    first, end = math.floor(x.min() / width), math.floor(x.max() / width) + 1
    profile = np.full(cells, -np.inf)
    np.maximum.at(profile, np.arange(first, end) % cells, _highest(edges, np.arange(first, end + 1) * width))
    return profile


def _highest(edges: F64, bounds: F64) -> F64:
    """The highest point of the edges between neighbouring bounds, (len(bounds) - 1,)."""
    rightward = np.where(edges[:, :1] <= edges[:, 2:3], edges, edges[:, [2, 3, 0, 1]])
    ax, ay, bx, by = (column[:, None] for column in rightward.T)
    low, high = np.maximum(ax, bounds[:-1]), np.minimum(bx, bounds[1:])
    upright = bx == ax
    slope = np.where(upright, 0.0, (by - ay) / np.where(upright, 1.0, bx - ax))
    start = np.where(upright, np.maximum(ay, by), ay)
    over = start + np.maximum(slope * (low - ax), slope * (high - ax))
    highest: F64 = np.where(low <= high, over, -np.inf).max(axis=0)
    return highest


def _clear(left: F64, right: F64) -> float:
    """How far the right edges must move along x to lie clear of the left ones, exactly, and a hair; -inf where they
    pass one another."""
    return max(_lead(left[:, :2], right, 1.0), _lead(right[:, :2], left, -1.0)) + HAIR_MM


def _lead(points: F64, edges: F64, sign: float) -> float:
    """By how much points lie further along x than edges at the same height do, or (sign -1) less far."""
    x, y = points[:, :1], points[:, 1:]
    ax, ay, bx, by = edges.T
    level = ay == by
    part = np.where(level, 0.0, (y - ay) / np.where(level, 1.0, by - ay))
    at = ax + part * (bx - ax)
    lead = np.maximum(sign * (x - at), sign * (x - np.where(level, bx, at)))
    return float(np.where((np.minimum(ay, by) <= y) & (y <= np.maximum(ay, by)), lead, -np.inf).max())


# ── the best of them ─────────────────────────────────────────────────────────────────────────────────────────


def _refined(edges: F64, plan: _Plan) -> _Plan:
    """Direction and height in steps that get smaller."""
    best = _area(edges, plan, FINE)
    turn, rise = 90.0 / DIRECTIONS, float(np.ptp(_spun(edges, plan.direction)[:, 1])) / HEIGHTS
    for _ in range(HALVINGS):
        for dt, dh in ((turn, 0.0), (-turn, 0.0), (0.0, rise), (0.0, -rise)):
            other = _Plan(plan.way, plan.direction + dt, plan.height + dh)
            if (dt or plan.way is _Way.PIECES) and (area := _area(edges, other, FINE)) < best * (1.0 - 1e-9):
                best, plan = area, other
        turn, rise = turn / 2, rise / 2
    return plan


def _measured(edges: F64, plan: _Plan) -> Rows:
    """The rows of a plan, with exact distances."""
    rows = _rows(edges, plan)
    period = rows[0].period
    up = [_nearest(low, high) for low, high in _above(rows)]
    places: list[Point] = [(0.0, 0.0)]
    if plan.way is not _Way.PLAIN:
        places.append(rows[0].beside or up[0])
    end = (sum(x for x, _ in up), sum(y for _, y in up))

    def back(at: Point) -> Point:
        x, y = turned(np.array(at), plan.direction, False).tolist()
        return x, y

    cell = tuple((180.0 * k, *back(at)) for k, at in enumerate(places))
    return Rows(cell, back((period, 0.0)), back(end), period * end[1] / len(cell))


def _nearest(low: _Row, high: _Row) -> Point:
    """The move that brings a row closest above another."""

    def rise(shift: float) -> float:
        return _clear(_upright(_beneath(low, high, shift)), _upright(_moved(high.edges, shift, 0.0)))

    cell = low.period / FINE
    shift = float(np.argmin(_rises(low, high, FINE))) * cell
    best, step = rise(shift), cell
    for _ in range(HALVINGS):
        for other in (shift + step, shift - step):
            if (higher := rise(other)) < best:
                best, shift = higher, other
        step /= 2
    return shift, best


def _beneath(row: _Row, high: _Row, shift: float) -> F64:
    """All copies of a row's edges that reach beneath what lies above it."""
    x, over = row.edges[:, ::2], high.edges[:, ::2] + shift
    first, last = math.floor((over.min() - x.max()) / row.period), math.ceil((over.max() - x.min()) / row.period)
    return np.vstack([_moved(row.edges, copy * row.period, 0.0) for copy in range(first, last + 1)])


def _upright(edges: F64) -> F64:
    return edges[:, [1, 0, 3, 2]]
