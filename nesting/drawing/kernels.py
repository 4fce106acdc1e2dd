"""Compiled: the few loops that a drawing of twenty thousand curves spends its time in. Arrays and figures only.

In: points (n, 2), float64, mm, sampled densely along one smooth stretch. Out: indices and bulges. See `fitting`.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

STRAIGHT_MM = 0.001
"""A stretch no further than this from its chord is a line, not an arc of huge radius."""
MOST_BULGE = 1.001
"""Half a circle, and a little for the figures' last digits."""


@njit(cache=True)
def bulge_of(points: NDArray[np.float64], start: int, end: int, tolerance: float) -> float:
    """Bulge of the line or arc (at most half a circle) from point `start` to point `end` that passes all between them
    within the tolerance; NaN if there is none.

    Circles through both ends have their centre at (0, k) in the chord's frame: u² + v² - c² = 2 k v, linear in k.
    """
    ax, ay, bx, by = points[start, 0], points[start, 1], points[end, 0], points[end, 1]
    length = math.hypot(bx - ax, by - ay)
    if not length >= 1e-9:
        return math.nan
    ex, ey, half = (bx - ax) / length, (by - ay) / length, length / 2
    before, total, top, bottom, straight = -half, 0.0, 0.0, 0.0, True
    for i in range(start + 1, end):
        dx, dy = points[i, 0] - (ax + bx) / 2, points[i, 1] - (ay + by) / 2
        u, v = dx * ex + dy * ey, dy * ex - dx * ey
        if not u - before >= -1e-6 * length:
            return math.nan
        before = u
        straight = straight and abs(v) <= STRAIGHT_MM
        total += v
        top += (u * u + v * v - half * half) * v
        bottom += v * v
    if half - before < -1e-6 * length:
        return math.nan
    if straight:
        return 0.0
    k = top / (2 * bottom)
    radius = math.hypot(half, k)
    side = -1.0 if total < 0 else 1.0
    for i in range(start + 1, end):
        dx, dy = points[i, 0] - (ax + bx) / 2, points[i, 1] - (ay + by) / 2
        u, v = dx * ex + dy * ey, dy * ex - dx * ey
        if not (abs(math.hypot(u, v - k) - radius) <= tolerance and -side * v <= tolerance):
            return math.nan
    bulge = (radius - k) / half if side < 0 else -(radius + k) / half
    return bulge if abs(bulge) <= MOST_BULGE else math.nan


@njit(cache=True)
def fit(points: NDArray[np.float64], tolerance: float) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Where each line or arc starts, and its bulge: from each start the longest that serves, to a twelfth.

    The length of the one before is tried first, then more or less: curvature changes slowly.
    """
    last = len(points) - 1
    starts, bulges = np.empty(last + 1, dtype=np.int64), np.empty(last + 1)
    count, start, guess = 0, 0, last
    while start < last:
        good, bulge, bad = start + 1, 0.0, last + 1
        tried = min(start + max(guess, 1), last)
        while good < last and bad - good > max(1, (good - start) // 12):
            found = bulge_of(points, start, tried, tolerance)
            if math.isnan(found):
                bad = tried
            else:
                good, bulge = tried, found
            tried = min(good + (good - start) // 3 + 1, last) if bad > last else (good + bad) // 2
        starts[count], bulges[count] = start, bulge
        count, guess, start = count + 1, good - start, good
    return starts[:count], bulges[:count]
