"""Leftovers: what remains of a sheet after the pieces, its largest rectangle, and whether it is worth keeping.

In: parts of a sheet (sheet frame), laid pieces, kerf. Out: Leftovers. Pure.
Method: the remainder by exact difference; the largest rectangle on a grid of free cells (largest rectangle under a
histogram, row by row), then grown side by side to the true edge.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import ROUND_DOWN, Decimal

import numpy as np
import shapely
from shapely.geometry import Polygon

from nesting.curves import polygons
from nesting.model import Leftover, Point, Rates, Rect
from nesting.placing import Laid

CELLS = 64
"""Grid cells along the longer side when the largest rectangle is looked for."""
ROUND_MM = 0.3
"""A leftover's outline stays this far from cuts, so that it may be told with fewer corners."""
CENT = Decimal("0.01")


def leftovers(
    parts: Iterable[Polygon], laid: Sequence[Laid], kerf_mm: float, price_per_mm2: Decimal, rates: Rates
) -> tuple[Leftover, ...]:
    """One leftover for each connected remainder whose largest rectangle is worth keeping; the rest is one scrap line.

    A remainder is worth keeping when its largest rectangle is at least `rates.keep_mm`, either way round.
    """
    taken = shapely.union_all([one.solid.buffer(kerf_mm + ROUND_MM, quad_segs=4) for one in laid])
    found = []
    for part in parts:
        for rest in polygons(part.difference(taken).buffer(-ROUND_MM / 2).simplify(ROUND_MM / 2)):
            rect = largest_rectangle(rest) if worth_keeping(rest.bounds, rates) else None
            if rect is not None and worth_keeping(rect, rates):
                found.append(_kept(rest, rect, price_per_mm2, rates))
    return tuple(sorted(found, key=lambda left: (-left.credit, left.usable_mm)))


def _kept(rest: Polygon, rect: Rect, price_per_mm2: Decimal, rates: Rates) -> Leftover:
    holes = tuple(_points(ring) for ring in rest.interiors)
    return Leftover(_points(rest.exterior), holes, True, rect, credit(rect, price_per_mm2, rates))


def credit(rect: Rect, price_per_mm2: Decimal, rates: Rates) -> Decimal:
    """What a kept leftover with this largest rectangle is worth to the shop."""
    area = Decimal(str(round((rect[2] - rect[0]) * (rect[3] - rect[1]), 3)))
    return (area * price_per_mm2 * Decimal(str(rates.leftover_credit))).quantize(CENT, ROUND_DOWN)


def worth_keeping(rect: Rect, rates: Rates) -> bool:
    """Whether it is at least the shop's smallest keepable rectangle, either way round."""
    short, long = sorted((rect[2] - rect[0], rect[3] - rect[1]))
    return short >= min(rates.keep_mm) and long >= max(rates.keep_mm)


def _points(ring: shapely.LinearRing) -> tuple[Point, ...]:
    return tuple((float(x), float(y)) for x, y in shapely.get_coordinates(ring)[:-1].round(3))


def largest_rectangle(shape: Polygon) -> Rect | None:
    """A large axis-parallel rectangle inside the polygon, holes avoided; None where no grid cell is free."""
    x0, y0, x1, y1 = shape.bounds
    cell = max(x1 - x0, y1 - y0) / CELLS
    if cell <= 0:
        return None
    xs = np.linspace(x0, x1, max(2, round((x1 - x0) / cell) + 1))
    ys = np.linspace(y0, y1, max(2, round((y1 - y0) / cell) + 1))
    shapely.prepare(shape)
    free = shapely.contains(shape, shapely.box(xs[None, :-1], ys[:-1, None], xs[None, 1:], ys[1:, None]))
    best = _largest_in_grid(free, xs, ys)
    return None if best is None else _grown(shape, best, cell)


def _largest_in_grid(
    free: np.ndarray[tuple[int, ...], np.dtype[np.bool_]],
    xs: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    ys: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
) -> Rect | None:
    heights = [0] * free.shape[1]
    best: tuple[float, Rect] | None = None
    for row in range(free.shape[0]):
        heights = [h + 1 if ok else 0 for h, ok in zip(heights, free[row].tolist(), strict=True)]
        stack: list[tuple[int, int]] = []
        for column, height in enumerate([*heights, 0]):
            start = column
            while stack and stack[-1][1] >= height:
                start, tall = stack.pop()
                rect = (float(xs[start]), float(ys[row + 1 - tall]), float(xs[column]), float(ys[row + 1]))
                size = (rect[2] - rect[0]) * (rect[3] - rect[1])
                if tall and (best is None or size > best[0] + 1e-6):
                    best = size, rect
            stack.append((start, height))
    return None if best is None else best[1]


def _grown(shape: Polygon, rect: Rect, cell: float) -> Rect:
    """Push each side out in turn by halves of a cell while the rectangle stays inside."""
    sides = list(rect)
    for side in range(4):
        step = cell if side >= 2 else -cell
        for _ in range(8):
            tried = [*sides]
            tried[side] += step
            if shape.contains(shapely.box(tried[0], tried[1], tried[2], tried[3])):
                sides = tried
            step /= 2
    low, high = (np.ceil(np.array(sides[:2]) * 1e3) / 1e3), (np.floor(np.array(sides[2:]) * 1e3) / 1e3)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])
