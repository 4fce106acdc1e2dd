"""Smooth curves to few lines and arcs.

In: points sampled densely along a smooth stretch, or a parametric curve to sample. Out: chains of the model, every
sampled point within the tolerance of its line or arc. Pure.
Method: from each point the longest stretch that one line or arc still serves, found by doubling and halving; the arc
runs through the stretch's two ends, its bulge is the least-squares one in the chord's frame.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from nesting.model import Vertex

Points = NDArray[np.float64]
"""(n, 2), mm."""

FIT_MM = 0.02
"""How far a fitted line or arc may lie from the drawn curve."""
SAMPLE_MM = 0.001
"""How far a chord between two samples may lie from the curve."""
STRAIGHT_MM = 0.001
"""A stretch no further than this from its chord is a line, not an arc of huge radius."""
MOST_SAMPLES = 8192
MOST_BULGE = 1.001
"""Half a circle, and a little for the figures' last digits."""


def sampled(curve: Callable[[Points], Points], start: float, end: float) -> Points:
    """Points of a parametric curve, so dense that chords lie within `SAMPLE_MM` of it; both ends included.

    `curve` takes parameters (n,) and returns points (n, 2).
    """
    count = 8
    points = curve(np.linspace(start, end, 2 * count + 1))
    while count < MOST_SAMPLES:
        chords = (points[:-2:2] + points[2::2]) / 2
        sagittas = np.hypot(*(points[1:-1:2] - chords).T)
        # Half a step has a quarter of the sagitta.
        if not sagittas.max() > 4 * SAMPLE_MM:
            break
        count *= 2
        points = curve(np.linspace(start, end, 2 * count + 1))
    return points


def arc_points(a: Sequence[float], b: Sequence[float], bulge: float, sagitta: float = SAMPLE_MM) -> Points:
    """Points along one line or arc, both ends included."""
    ends = np.array([a[:2], b[:2]], dtype=float)
    if bulge == 0.0:
        return ends
    chord = math.dist(a[:2], b[:2])
    radius = chord * (1 + bulge * bulge) / (4 * abs(bulge))
    sweep = 4 * math.atan(bulge)
    step = 2 * math.acos(max(0.0, 1 - sagitta / max(radius, sagitta)))
    count = min(MOST_SAMPLES, max(2, math.ceil(abs(sweep) / min(step, math.pi / 8))))
    lift = (1 - bulge * bulge) / (4 * bulge)
    centre = ends.mean(axis=0) + lift * np.array([ends[0, 1] - ends[1, 1], ends[1, 0] - ends[0, 0]])
    turns = np.linspace(0.0, sweep, count + 1)
    cos, sin = np.cos(turns), np.sin(turns)
    dx, dy = ends[0] - centre
    points = np.column_stack([centre[0] + cos * dx - sin * dy, centre[1] + sin * dx + cos * dy])
    points[0], points[-1] = ends
    return points


def dense(chain: Sequence[Vertex], closed: bool, sagitta: float = SAMPLE_MM) -> Points:
    """Points along a chain; a closed one comes without its first point repeated."""
    following = [*chain[1:], chain[0]] if closed else chain[1:]
    runs = [arc_points(v, w, v[2], sagitta)[:-1] for v, w in zip(chain, following, strict=False)]
    if not closed:
        runs.append(np.array([chain[-1][:2]], dtype=float))
    return np.concatenate(runs)


def fitted(points: Points, tolerance: float = FIT_MM) -> list[Vertex]:
    """An open chain through the first and last of densely sampled points of one smooth stretch.

    The samples themselves may lie `SAMPLE_MM` off the curve between them; that is taken from the tolerance.
    """
    inner = tolerance - SAMPLE_MM
    chain: list[Vertex] = []
    start, last = 0, len(points) - 1
    while start < last:
        end, bulge = _longest(points, start, last, inner)
        chain.append((float(points[start, 0]), float(points[start, 1]), bulge))
        start = end
    chain.append((float(points[last, 0]), float(points[last, 1]), 0.0))
    return chain


def _longest(points: Points, start: int, last: int, tolerance: float) -> tuple[int, float]:
    """End index and bulge of the longest stretch from `start` that one line or arc serves."""
    good, bulge, step = start + 1, 0.0, 2
    bad = last + 1
    while good < last:
        tried = min(start + step, last)
        found = bulge_of(points[start : tried + 1], tolerance)
        if found is None:
            bad = tried
            break
        good, bulge, step = tried, found, step * 2
    while bad - good > 1 and good < last:
        tried = (good + bad) // 2
        found = bulge_of(points[start : tried + 1], tolerance)
        if found is None:
            bad = tried
        else:
            good, bulge = tried, found
    return good, bulge


def bulge_of(points: Points, tolerance: float) -> float | None:
    """Bulge of the line or arc (at most half a circle) from the first to the last point that passes all others
    within the tolerance; None if there is none."""
    chord = points[-1] - points[0]
    length = math.hypot(*chord)
    if length < 1e-9:
        return None
    along = chord / length
    offset = points - (points[0] + points[-1]) / 2
    u = offset @ along
    v = offset[:, 1] * along[0] - offset[:, 0] * along[1]
    if np.diff(u).min() < -1e-6 * length:
        return None
    if np.abs(v).max() <= STRAIGHT_MM:
        return 0.0
    # Circles through both ends have their centre at (0, k): u² + v² - c² = 2 k v, linear in k.
    half = length / 2
    k = float(((u * u + v * v - half * half) * v).sum() / (2 * (v * v).sum()))
    radius = math.hypot(half, k)
    if np.abs(np.hypot(u, v - k) - radius).max() > tolerance:
        return None
    right = v.sum() < 0
    if (v if right else -v).max() > tolerance:
        return None
    bulge = (radius - k) / half if right else -(radius + k) / half
    return bulge if abs(bulge) <= MOST_BULGE else None
