"""Compiled kernels for sliding: which convex parts of pieces are near each other, and the edges that part them.

In and out: arrays in the engine's frame, as in `kernels`. No objects, no exceptions; the GIL is released. What
is made of them: `compaction`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from nesting.layout.kernels import F64, FAR, I64, X0, X1, Y0, Y1, called, inner


class Parts(NamedTuple):
    """Convex parts of pieces, about each piece's reference point: part k has the vertices start[k] .. start[k + 1],
    counter-clockwise, piece i the parts first[i] .. first[i + 1]."""

    vertex: F64  # (vertices, 2)
    edge: F64  # (vertices, 3) of the edge from each vertex: outward normal, and how far the part reaches along it
    box: F64  # (parts, 4)
    start: I64
    first: I64


@inner
def _parted(vertex: F64, edge: F64, start: I64, a: int, b: int, dx: float, dy: float, best: float, found: F64) -> float:
    """How far part b, shifted by (dx, dy), lies beyond that edge of part a which it lies farthest beyond, if by more
    than the best so far; the edge's normal into found[2:4]."""
    for e in range(start[a], start[a + 1]):
        nx, ny, least = edge[e, 0], edge[e, 1], FAR
        for q in range(start[b], start[b + 1]):
            along = nx * vertex[q, 0] + ny * vertex[q, 1]
            least = along if along < least else least
        apart = least + nx * dx + ny * dy - edge[e, 2]
        if apart > best:
            best, found[2], found[3] = apart, nx, ny
    return best


@called
def partings(parts: Parts, x: F64, y: F64, box: F64, trust: float, near: F64) -> int:
    """Which parts of pieces at x, y, with boxes (pieces, 8), could meet if each slid by `trust`: rows of i, j, the
    normal (from i to j) of the edge that parts them best, and how far apart they are along it (negative: they overlap).
    Returns how many there are; no more are written than `near` has room for."""
    reach, found = 2.0 * math.sqrt(2.0) * trust, 0
    for i in range(len(x)):
        for j in range(i):
            if (box[i, X0] > box[j, X1] + reach) | (box[j, X0] > box[i, X1] + reach):
                continue
            if (box[i, Y0] > box[j, Y1] + reach) | (box[j, Y0] > box[i, Y1] + reach):
                continue
            dx, dy = x[j] - x[i], y[j] - y[i]
            for a in range(parts.first[i], parts.first[i + 1]):
                p = parts.box[a]
                for b in range(parts.first[j], parts.first[j + 1]):
                    q = parts.box[b]
                    if (p[0] > q[2] + dx + reach) | (q[0] + dx > p[2] + reach):
                        continue
                    if (p[1] > q[3] + dy + reach) | (q[1] + dy > p[3] + reach):
                        continue
                    line = near[min(found, len(near) - 1)]
                    forward = _parted(parts.vertex, parts.edge, parts.start, a, b, dx, dy, -FAR, line)
                    apart = _parted(parts.vertex, parts.edge, parts.start, b, a, -dx, -dy, forward, line)
                    if apart > forward:
                        line[2], line[3] = -line[2], -line[3]
                    if apart < reach:
                        line[0], line[1], line[4] = i, j, apart
                        found += 1
    return found
