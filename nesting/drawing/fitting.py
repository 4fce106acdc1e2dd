"""Smooth curves to few lines and arcs.

In: points sampled densely along a smooth stretch, or a parametric curve to sample. Out: chains of the model, every
sampled point within the tolerance of its line or arc. Pure.
Method: from each point the longest stretch that one line or arc still serves, found by growing and halving; the arc
runs through the stretch's two ends, its bulge is the least-squares one in the chord's frame.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

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
    points = curve(_even(start, end, 2 * count))
    while count < MOST_SAMPLES:
        # Half a step has a quarter of the sagitta.
        excess = kernels.most_sagitta(points) / (4 * SAMPLE_MM)
        if not excess > 1:
            break
        count = min(MOST_SAMPLES, max(count + 4, math.ceil(1.02 * count * math.sqrt(min(excess, MOST_SAMPLES**2)))))
        points = curve(_even(start, end, 2 * count))
    return points


def _even(start: float, end: float, count: int) -> Points:
    """`count` even steps, the ends exact."""
    stops = start + (end - start) / count * np.arange(count + 1, dtype=np.float64)
    stops[-1] = end
    return stops


def dense(chain: Sequence[Vertex], closed: bool, sagitta: float = SAMPLE_MM) -> Points:
    """Points along a chain; a closed one comes without its first point repeated."""
    return kernels.dense(np.array(chain, dtype=np.float64), closed, sagitta, MOST_SAMPLES)


def area_of(outline: Sequence[Vertex], holes: Iterable[Sequence[Vertex]], sagitta: float) -> Polygon:
    """What lies within an outline and not in its holes, mm, all closed; chords lie within `sagitta` of their arcs."""
    return Polygon(dense(outline, True, sagitta), [dense(hole, True, sagitta) for hole in holes])


def fitted(points: Points, tolerance: float = FIT_MM) -> list[Vertex]:
    """An open chain through the first and last of densely sampled points of one smooth stretch.

    The samples themselves may lie `SAMPLE_MM` off the curve between them; that is taken from the tolerance.
    """
    starts, bulges = kernels.fit(np.ascontiguousarray(points, dtype=np.float64), tolerance - SAMPLE_MM)
    firsts = points[starts].tolist()
    last_x, last_y = points[-1].tolist()
    return [*((x, y, bulge) for (x, y), bulge in zip(firsts, bulges.tolist(), strict=True)), (last_x, last_y, 0.0)]
