"""Smooth curves to few lines and arcs.

In: points sampled densely along a smooth stretch, or a parametric curve to sample. Out: chains of the model, every
sampled point within the tolerance of its line or arc. Pure.
Method: from each point the longest stretch that one line or arc still serves, found by growing and halving; the arc
runs through the stretch's two ends, its bulge is the least-squares one in the chord's frame.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from nesting.drawing import kernels
from nesting.model import Vertex

Points = NDArray[np.float64]
"""(n, 2), mm."""

FIT_MM = 0.02
"""How far a fitted line or arc may lie from the drawn curve."""
SAMPLE_MM = 0.001
"""How far a chord between two samples may lie from the curve."""
MOST_SAMPLES = 8192


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
    starts, bulges = kernels.fit(np.ascontiguousarray(points, dtype=np.float64), tolerance - SAMPLE_MM)
    firsts = points[starts].tolist()
    last_x, last_y = points[-1].tolist()
    return [*((x, y, bulge) for (x, y), bulge in zip(firsts, bulges.tolist(), strict=True)), (last_x, last_y, 0.0)]
