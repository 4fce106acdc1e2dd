"""Compiled: the few loops that a drawing of twenty thousand curves spends its time in. Arrays and figures only.

In: points (n, 2), float64, mm, sampled densely along one smooth stretch; or chains and splines as arrays. Out: indices
and bulges; or points. See `fitting` and `dxf_entities`.
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


@njit(cache=True)
def dense(chain: NDArray[np.float64], closed: bool, sagitta: float, most: int) -> NDArray[np.float64]:
    """Points (m, 2) along a chain (n, 3) of x, y, bulge: chords lie within `sagitta` of their arcs, an arc has at most
    `most`. A closed chain comes without its first point repeated."""
    count = len(chain) if closed else len(chain) - 1
    chords = np.ones(count, dtype=np.int64)
    for i in range(count):
        bulge, j = chain[i, 2], (i + 1) % len(chain)
        if bulge != 0.0:
            length = math.hypot(chain[j, 0] - chain[i, 0], chain[j, 1] - chain[i, 1])
            radius = length * (1 + bulge * bulge) / (4 * abs(bulge))
            step = 2 * math.acos(max(0.0, 1 - sagitta / max(radius, sagitta)))
            chords[i] = min(most, max(2, math.ceil(abs(4 * math.atan(bulge)) / min(step, math.pi / 8))))
    points = np.empty((chords.sum() + (0 if closed else 1), 2))
    at = 0
    for i in range(count):
        j = (i + 1) % len(chain)
        _chords(points[at : at + chords[i]], chain[i], chain[j])
        at += chords[i]
    if not closed:
        points[at] = chain[-1, :2]
    return points


@njit(cache=True)
def _chords(points: NDArray[np.float64], a: NDArray[np.float64], b: NDArray[np.float64]) -> None:
    """Fill in evenly spread points of the line or arc from vertex `a` to vertex `b`, `b` itself left out."""
    points[0] = a[:2]
    bulge = a[2]
    if bulge == 0.0:
        return
    lift = (1 - bulge * bulge) / (4 * bulge)
    cx, cy = (a[0] + b[0]) / 2 + lift * (a[1] - b[1]), (a[1] + b[1]) / 2 + lift * (b[0] - a[0])
    dx, dy, turn = a[0] - cx, a[1] - cy, 4 * math.atan(bulge) / len(points)
    for k in range(1, len(points)):
        cos, sin = math.cos(k * turn), math.sin(k * turn)
        points[k, 0], points[k, 1] = cx + cos * dx - sin * dy, cy + sin * dx + cos * dy


@njit(cache=True)
def spline_points(
    parameters: NDArray[np.float64], knots: NDArray[np.float64], control: NDArray[np.float64], span: int
) -> NDArray[np.float64]:
    """Points (m, 2) of a spline between knot `span` and the next. `control` (n, 3) holds x w, y w, w.

    Method: de Boor's algorithm; its triangle has `degree` = knots - controls - 1 rows.
    """
    degree = len(knots) - len(control) - 1
    points = np.empty((len(parameters), 2))
    for i in range(len(parameters)):
        left = control[span - degree : span + 1].copy()
        for row in range(1, degree + 1):
            for j in range(degree, row - 1, -1):
                low, high = knots[span - degree + j], knots[span + 1 + j - row]
                share = (parameters[i] - low) / (high - low)
                left[j] = (1 - share) * left[j - 1] + share * left[j]
        points[i] = left[degree, :2] / left[degree, 2]
    return points


@njit(cache=True)
def most_sagitta(points: NDArray[np.float64]) -> float:
    """How far every second point (2 n + 1, 2) lies from the middle of its two neighbours, at most; NaN if unknown."""
    most = 0.0
    for i in range(1, len(points) - 1, 2):
        x, y = (points[i - 1, 0] + points[i + 1, 0]) / 2, (points[i - 1, 1] + points[i + 1, 1]) / 2
        off = math.hypot(points[i, 0] - x, points[i, 1] - y)
        if not off <= most:
            most = off
    return most


@njit(cache=True)
def turns(ring: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far a closed polygon (n, 2) turns at each corner, radians, 0 to half a turn."""
    count = len(ring)
    turned = np.empty(count)
    ax, ay = ring[0, 0] - ring[-1, 0], ring[0, 1] - ring[-1, 1]
    for i in range(count):
        bx, by = ring[(i + 1) % count, 0] - ring[i, 0], ring[(i + 1) % count, 1] - ring[i, 1]
        turned[i] = abs(math.atan2(ax * by - ay * bx, ax * bx + ay * by))
        ax, ay = bx, by
    return turned
