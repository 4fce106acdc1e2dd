"""Joins: which pass cuts which stretch of a contour that no single pass reaches whole.

In: a piece where it lies, the rectangles that passes reach, in running order. Out: Shares, each with its pass. Pure.
Method: every contour is divided where reaches begin and end, finely where several passes reach it; the cheapest way
round it is found by dynamic programming (Bellman 1957), fewest joins first, then the least harm at each. So each
contour has its joins where they suit it, not where one straight line across the sheet would cut it. Arcs stay arcs.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from nesting import curves
from nesting.model import Rect, Ring, Share, Vertex
from nesting.passes.reach import EPS, holds
from nesting.placing import Laid

Floats = NDArray[np.float64]

STEP_MM = 1.0
"""Joins are tried this far apart along a contour."""
CLEAR_MM = 10.0
"""A join nearer than this to a corner or another contour, or on a web thinner than this, is charged."""
GENTLE_MM = 50.0
"""A join on an arc of a smaller radius is charged."""
JOIN = 1000.0
"""What a join costs beside its harm: fewest joins first."""
HAIR_MM = 1e-4
"""Stations nearer than this are one."""
SMOOTH_RAD = math.radians(5.0)
"""Two segments that meet at less than this make no corner."""


def shares_of(one: Laid, rects: Sequence[Rect]) -> tuple[tuple[int, Share], ...]:
    """What each pass, by its place in the running order, cuts of a piece; holes and marks no later than the outline."""
    passes = tuple(rects)
    outline = _dealt(one.outline, True, passes, one.rings)
    last = max(k for k, _, _ in outline)
    found = [(k, Share(one.piece.id, "outline", 1, start, end)) for k, start, end in outline]
    for number, hole in enumerate(one.holes, start=1):
        dealt = _dealt(hole, True, passes[: last + 1], one.rings) or _dealt(hole, True, passes, one.rings)
        found += [(k, Share(one.piece.id, "hole", number, start, end)) for k, start, end in dealt]
    for number, mark in enumerate(one.marks, start=1):
        dealt = _dealt(mark, False, passes[: last + 1], one.rings) or _dealt(mark, False, passes, one.rings)
        found += [(k, Share(one.piece.id, "mark", number, start, end)) for k, start, end in dealt]
    return tuple(found)


Stretches = tuple[tuple[int, float, float], ...]
"""Pass, and the stations from and to which it cuts a contour."""


@functools.lru_cache(maxsize=1024)
def _dealt(chain: tuple[Vertex, ...], closed: bool, rects: tuple[Rect, ...], around: tuple[Ring, ...]) -> Stretches:
    """The stretches of a contour with their passes, in order along it; () where some of it is out of reach."""
    spans = list(_spans(chain, closed, rects))
    if not all(span.held for span in spans):
        return ()
    everywhere = set.intersection(*(set(span.held) for span in spans))
    if everywhere:
        # The last that can: what it frees keeps the sheet stiff until then.
        return ((max(everywhere), 0.0, round(curves.length(chain, closed), 6)),)
    steps = [step for span in spans for step in span.steps()]
    allowed = np.zeros((len(steps), len(rects)), dtype=bool)
    for i, step in enumerate(steps):
        allowed[i, list(step.held)] = True
    harms = _harms(chain, closed, [step.start_mm for step in steps], rects, around)
    return _merged(steps, _cheapest(allowed, harms, closed), closed)


# ── along a contour ──────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class _Span:
    """A stretch of a contour, by stations, and the passes that reach all of it."""

    start_mm: float
    end_mm: float
    held: tuple[int, ...]

    def steps(self) -> list[_Span]:
        """In steps where there is a choice of passes."""
        count = max(1, math.ceil((self.end_mm - self.start_mm) / STEP_MM)) if len(self.held) > 1 else 1
        stops = np.linspace(self.start_mm, self.end_mm, count + 1).tolist()
        return [_Span(a, b, self.held) for a, b in itertools.pairwise(stops)]


def _spans(chain: tuple[Vertex, ...], closed: bool, rects: Sequence[Rect]) -> Iterator[_Span]:
    """The contour divided where it crosses the edge of a reach; a ring's last span goes on to its first."""
    lines = sorted({(k % 2, rect[k]) for rect in rects for k in range(4)})
    length = curves.length(chain, closed)
    stops = set() if closed else {0.0, length}
    station = 0.0
    for part in curves.segments(chain, closed):
        shares = [t for axis, level in lines for t in part.crossings(axis, level)]
        if any(abs(part.a[axis] - level) < EPS for axis, level in lines):
            shares.append(0.0)
        stops |= {round(station + t * part.length, 6) for t in shares}
        station += part.length
    ordered = sorted(stops) or [0.0]
    if closed:
        ordered.append(ordered[0] + length)
    # Two stops a hair apart are one, a vertex on the line; the first and the last stay where they are.
    inner = [b for a, b in itertools.pairwise(ordered[:-1]) if b - a > HAIR_MM and ordered[-1] - b > HAIR_MM]
    for start, end in itertools.pairwise([ordered[0], *inner, ordered[-1]]):
        box = curves.bounds([curves.stretch(chain, closed, start, end)], closed=False)
        yield _Span(start, end, tuple(k for k, rect in enumerate(rects) if holds(rect, box)))


def _cheapest(allowed: NDArray[np.bool_], harms: Floats, closed: bool) -> list[int]:
    """The pass of each step: allowed (n, p); harms (n, p, p): what it costs to change passes where a step begins."""
    count, passes = allowed.shape
    # cost[s, p]: the cheapest way to pass p here, having begun in pass s; a ring must end as it began.
    cost = np.full((passes, passes), np.inf)
    np.fill_diagonal(cost, np.where(allowed[0], 0.0, np.inf))
    came = np.zeros((count, passes, passes), dtype=np.int64)
    for i in range(1, count):
        ways = cost[:, :, None] + harms[i][None, :, :]
        came[i] = ways.argmin(axis=1)
        cost = np.where(allowed[i][None, :], ways.min(axis=1), np.inf)
    total = cost + harms[0].T if closed else cost
    start, last = (int(k) for k in np.unravel_index(int(total.argmin()), total.shape))
    taken = [last]
    for i in range(count - 1, 0, -1):
        taken.append(int(came[i, start, taken[-1]]))
    return taken[::-1]


def _merged(steps: Sequence[_Span], taken: Sequence[int], closed: bool) -> Stretches:
    """Neighbouring steps of one pass as one stretch; a ring's last is joined to its first."""
    runs: list[tuple[int, float, float]] = []
    for step, k in zip(steps, taken, strict=True):
        if runs and runs[-1][0] == k:
            runs[-1] = k, runs[-1][1], step.end_mm
        else:
            runs.append((k, step.start_mm, step.end_mm))
    if closed and len(runs) > 1 and runs[0][0] == runs[-1][0]:
        length = steps[-1].end_mm - steps[0].start_mm
        runs[0] = runs[0][0], runs.pop()[1], runs[0][2] + length
    return tuple((k, round(start, 6), round(end, 6)) for k, start, end in runs)


# ── harm ─────────────────────────────────────────────────────────────────────────────────────────────────────


def _harms(
    chain: tuple[Vertex, ...], closed: bool, stations: Sequence[float], rects: Sequence[Rect], around: Sequence[Ring]
) -> Floats:
    """What it costs to go from pass q to pass p at each station: (n, q, p); 0 to stay, inf where they never meet."""
    spots = curves.spots_at(chain, closed, stations)
    points = np.array([spot.point for spot in spots])
    headings = np.array([spot.heading for spot in spots])
    plain = JOIN + _closeness(chain, points, headings, around)
    plain += np.array([max(0.0, 1.0 - spot.radius_mm / GENTLE_MM) for spot in spots])
    harms = np.zeros((len(stations), len(rects), len(rects)))
    for q, p in itertools.permutations(range(len(rects)), 2):
        harms[:, q, p] = plain + _skew(points, headings, rects[q], rects[p])
    return harms


def _skew(points: Floats, headings: Floats, a: Rect, b: Rect) -> Floats:
    """How far from square to the band that two passes share; a little for every step away from its middle."""
    low = np.maximum(a[:2], b[:2])
    room = np.minimum(a[2:], b[2:]) - low
    if room.min() < -EPS:
        return np.full(len(points), np.inf)
    across = int(np.argmin(room))
    aside = np.abs(points[:, across] - low[across] - room[across] / 2) / max(room[across], EPS)
    return np.asarray(3.0 * (1.0 - np.abs(headings[:, across])) + 0.01 * aside)


def _closeness(chain: tuple[Vertex, ...], points: Floats, headings: Floats, around: Sequence[Ring]) -> Floats:
    """Charges for corners, other contours and thin webs nearer than CLEAR_MM."""
    here = shapely.points(points)
    corners = [corner for ring in around for corner in curves.corners(ring, SMOOTH_RAD)]
    to_corner = shapely.distance(here, shapely.MultiPoint(corners)) if corners else np.full(len(points), np.inf)
    others = _lines([ring for ring in around if ring != chain])
    to_other = shapely.distance(here, others) if not others.is_empty else np.full(len(points), np.inf)
    web = _web(points, headings, _lines(around))
    near = sum(np.clip(1.0 - away / CLEAR_MM, 0.0, 1.0) for away in (to_corner, to_other, web))
    return np.asarray(2.0 * near + 10.0 * (to_corner < 0.5))


def _lines(rings: Sequence[Ring]) -> BaseGeometry:
    return shapely.MultiLineString([shapely.LinearRing(curves.flattened(ring)) for ring in rings])


def _web(points: Floats, headings: Floats, lines: BaseGeometry) -> Floats:
    """How much material lies behind the contour: to its left, up to the next contour or CLEAR_MM."""
    inwards = np.stack([-headings[:, 1], headings[:, 0]], axis=1)
    rays = shapely.linestrings(np.stack([points + 0.1 * inwards, points + CLEAR_MM * inwards], axis=1))
    hits = shapely.intersection(rays, lines)
    return np.asarray(np.nan_to_num(shapely.distance(shapely.points(points), hits), nan=CLEAR_MM))
