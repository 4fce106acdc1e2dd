"""Runs of short chords, as many programs export curves, back to arcs: a circle burnt as 400 chords stutters.

In: rings. Out: rings with few arcs where many chords were, every chord within `FIT_MM` of its arc, corners kept.
"""

from __future__ import annotations

import itertools
import math

import numpy as np

from nesting.drawing import kernels
from nesting.drawing.fitting import FIT_MM, Points, fitted
from nesting.model import Ring, Vertex

LEAST_CHORDS = 8
"""Fewer straight sides in a row are meant as sides."""
MOST_TURN_RAD = math.radians(20.0)
"""Sides that turn more than this at a corner are meant as a corner."""


def smoothed(ring: Ring) -> Ring:
    """The ring, its runs of chords fitted with arcs where that needs at most half as many segments."""
    if len(ring) < LEAST_CHORDS:
        return ring
    points = np.array([v[:2] for v in ring])
    corners = _corners(ring, points)
    if len(corners) == len(ring):
        return ring
    turn = corners[0] if corners else 0
    turned = [*ring[turn:], *ring[:turn], ring[turn]]
    stops = [*(c - turn for c in corners), len(ring)] if corners else [0, len(ring)]
    chain: list[Vertex] = []
    for start, stop in itertools.pairwise(stops):
        chain += _run(turned[start : stop + 1])
    return tuple(chain) if len(chain) < len(ring) else ring


def _run(vertices: list[Vertex]) -> list[Vertex]:
    """One stretch between corners, without its last vertex."""
    if len(vertices) <= LEAST_CHORDS:
        return vertices[:-1]
    points = np.array([v[:2] for v in vertices])
    both = np.empty((2 * len(points) - 1, 2))
    both[::2], both[1::2] = points, (points[:-1] + points[1:]) / 2
    chain = fitted(both, FIT_MM)
    return chain[:-1] if 2 * len(chain) <= len(vertices) else vertices[:-1]


def _corners(ring: Ring, points: Points) -> list[int]:
    """Vertices where the ring turns sharply, or where an arc starts or ends."""
    turns = kernels.turns(points).tolist()
    return [k for k, v in enumerate(ring) if turns[k] > MOST_TURN_RAD or v[2] != 0 or ring[k - 1][2] != 0]
