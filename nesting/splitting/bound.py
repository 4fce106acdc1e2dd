"""How many segments a piece needs at least, wherever its joints may lie, and why.

In: the piece's area and the rooms. Out: a number and the reason in words. Pure.
Method: points of the piece of which no two (or no three) fit into one room: as many segments as it takes to share them
out, by CP-SAT; and the area. Numbers as in docs/model.md.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from ortools.sat.python import cp_model
from shapely.geometry import Polygon

from nesting.solving import solved, tried
from nesting.splitting.chords import Floats
from nesting.splitting.columns import Fitting

MOST_POINTS = 26
STEPS = 360
"""Angles from 0 to 90 degrees at which sets of points are tried; what lies between is allowed for."""
SLACK_MM = 0.02
Apart = tuple[int, ...]
"""Points that no segment can hold together."""


@dataclass(frozen=True, slots=True)
class Least:
    """No way to split a piece gives fewer segments, because."""

    segments: int
    why: str


def least_segments(area: Polygon, fitting: Fitting, may_turn: bool) -> Least:
    """The best of the bounds (S4) and (S5)."""
    by_area = _by_area(area, fitting)
    points = _far_points(area)
    apart = _apart(points, fitting, may_turn)
    clique = _most_apart(len(points), {pair for pair in apart if len(pair) == 2})
    shared = _least_shares(len(points), apart, len(clique))
    if by_area.segments > max(len(clique), shared):
        return by_area
    places = ", ".join(f"({round(points[i][0])}, {round(points[i][1])})" for i in clique)
    if shared > len(clique):
        return Least(shared, f"{len(points)} points of its outline cannot be shared out among {shared - 1} segments")
    return Least(len(clique), f"the {len(clique)} points {places} lie so far apart that no segment holds two of them")


def _by_area(area: Polygon, fitting: Fitting) -> Least:
    largest = max(x * y for x, y in fitting.rooms)
    count = math.ceil(area.area / largest - 1e-9)
    return Least(count, f"its {area.area / 1e6:.3f} m² fill {count - 1} segments of {largest / 1e6:.3f} m² and more")


def _far_points(area: Polygon) -> Floats:
    """Points of the outline, each as far as can be from those before it."""
    every = max(5.0, area.exterior.length / 400)
    points = shapely.get_coordinates(shapely.segmentize(area.exterior.simplify(0.1), every))[:-1]
    chosen = [int(np.argmin(points @ np.array([1.0, 0.01])))]
    nearest = np.hypot(*(points - points[chosen[0]]).T)
    while len(chosen) < MOST_POINTS and nearest.max() > 1.0:
        chosen.append(int(np.argmax(nearest)))
        nearest = np.minimum(nearest, np.hypot(*(points - points[chosen[-1]]).T))
    return points[chosen]


def _apart(points: Floats, fitting: Fitting, may_turn: bool) -> list[Apart]:
    """Pairs, and triples without such a pair, that fit no room at any angle."""
    pairs = [
        pair for pair in itertools.combinations(range(len(points)), 2) if not _fit(points, pair, fitting, may_turn)
    ]
    bad = set(pairs)
    triples = [
        three
        for three in itertools.combinations(range(len(points)), 3)
        if not any(pair in bad for pair in itertools.combinations(three, 2))
        and not _fit(points, three, fitting, may_turn)
    ]
    return [*pairs, *triples]


_RADIANS = np.linspace(0.0, np.pi / 2, STEPS + 1)
_TURNS = np.array([np.cos(_RADIANS), np.sin(_RADIANS)])
_ACROSS = np.array([-np.sin(_RADIANS), np.cos(_RADIANS)])


def _fit(points: Floats, numbers: Apart, fitting: Fitting, may_turn: bool) -> bool:
    """Whether they may fit a room at some angle; a shadow grows by no more than the distance times the turn."""
    some = points[list(numbers)]
    along, across = (some @ _TURNS, some @ _ACROSS) if may_turn else (some[:, :1], some[:, 1:])
    slack = SLACK_MM + (float(np.hypot(*np.ptp(some, axis=0))) * math.pi / 4 / STEPS if may_turn else 0.0)
    long, wide = np.ptp(along, axis=0) - slack, np.ptp(across, axis=0) - slack
    return any(bool(((long <= x) & (wide <= y)).any()) for x, y in fitting.rooms)


def _most_apart(count: int, pairs: set[Apart]) -> tuple[int, ...]:
    """(S4) The most points of which every two are apart."""
    model = cp_model.CpModel()
    chosen = [model.new_bool_var(f"p{i}") for i in range(count)]
    for i, j in itertools.combinations(range(count), 2):
        if (i, j) not in pairs:
            model.add_bool_or([chosen[i].negated(), chosen[j].negated()])
    model.maximize(sum(chosen))
    solver = solved(model, effort=2.0)
    return tuple(i for i in range(count) if solver.value(chosen[i]))


def _least_shares(count: int, apart: Sequence[Apart], least: int) -> int:
    """(S5) The fewest segments among which the points can be shared out; at least what is proven within the effort."""
    shares = least
    while not _can_share(count, apart, shares):
        shares += 1
    return shares


def _can_share(count: int, apart: Sequence[Apart], shares: int) -> bool:
    """False only if it is proven that they cannot."""
    model = cp_model.CpModel()
    held = [[model.new_bool_var(f"h{i},{k}") for k in range(shares)] for i in range(count)]
    for i in range(count):
        model.add_bool_or(held[i])
    for k in range(shares):
        for together in apart:
            model.add_bool_or([held[i][k].negated() for i in together])
    _, status = tried(model, effort=1.0)
    return bool(status != cp_model.INFEASIBLE)
