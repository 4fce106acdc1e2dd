"""Cut a piece along joints: arcs stay arcs, both sides of a joint get their own edge.

In: the rings of a piece and Seams. Out: the parts between them. Pure.
Method: contours are cut where seams end; walking contour, seam, contour, always turning as far left as can be, closes
the outline of one part after another (the faces of a planar graph by its half-edges).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from shapely.geometry import Point as ShapelyPoint

from nesting import curves
from nesting.model import Chain, Point, Ring
from nesting.splitting.chords import ChordEnd

NODE_MM = 1e-6


@dataclass(frozen=True, slots=True)
class Seam:
    """A joint from a to b. `left` is the edge of the part on its left, run from a to b; `right` that of the other.

    `ends` say where it begins and ends on the contours; None for an end that lies on another seam.
    """

    label: str
    a: Point
    b: Point
    left: Chain
    right: Chain
    ends: tuple[ChordEnd | None, ChordEnd | None]


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a piece that was cut, material on the left of its rings; `seams` numbers the seams along it."""

    outline: Ring
    holes: tuple[Ring, ...]
    seams: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Half:
    """A half-edge: the chain walked, between which nodes, and along which seam (-1: a contour)."""

    start: int
    end: int
    chain: Chain
    seam: int


def parts_of(outline: Ring, holes: Sequence[Ring], seams: Sequence[Seam]) -> tuple[Part, ...]:
    """The parts between the seams; outline counter-clockwise and holes clockwise, in and out."""
    rings = [outline, *holes]
    nodes = _Nodes()
    halves = _seam_halves(seams, nodes)
    whole: list[Ring] = []
    for number, ring in enumerate(rings):
        met = [
            (end, nodes.at(point))
            for seam in seams
            for end, point in zip(seam.ends, (seam.a, seam.b), strict=True)
            if end is not None and end.ring == number
        ]
        if met:
            halves += _contour_halves(ring, met, nodes)
        else:
            whole.append(ring)
    closed = _walk(halves)
    return _nested([*closed, *((ring, ()) for ring in whole)])


class _Nodes:
    """Numbers for points, equal within a nanometre or so."""

    def __init__(self) -> None:
        self.points: list[Point] = []

    def at(self, point: Point) -> int:
        for number, known in enumerate(self.points):
            if math.dist(known, point) < NODE_MM:
                return number
        self.points.append(point)
        return len(self.points) - 1


def _seam_halves(seams: Sequence[Seam], nodes: _Nodes) -> list[_Half]:
    halves = []
    for number, seam in enumerate(seams):
        a, b = nodes.at(seam.a), nodes.at(seam.b)
        halves.append(_Half(a, b, seam.left, number))
        halves.append(_Half(b, a, curves.reversed_chain(seam.right), number))
    return halves


def _contour_halves(ring: Ring, met: Sequence[tuple[ChordEnd, int]], nodes: _Nodes) -> list[_Half]:
    """The ring cut where seams meet it; each chain runs from node to node."""
    parts = list(curves.segments(ring, closed=True))
    ordered = sorted(dict.fromkeys(met), key=lambda one: (one[0].segment, one[0].share))
    halves = []
    for (here, start), (there, end) in zip(ordered, [*ordered[1:], ordered[0]], strict=True):
        chain = curves.chain_of(_between(parts, here, there))
        # Ends are those of the seams, to the last digit.
        chain = ((*nodes.points[start], chain[0][2]), *chain[1:-1], (*nodes.points[end], 0.0))
        halves.append(_Half(start, end, chain, -1))
    return halves


def _between(parts: Sequence[curves.Segment], here: ChordEnd, there: ChordEnd) -> list[curves.Segment]:
    if here.segment == there.segment and here.share < there.share:
        return [parts[here.segment].part(here.share, there.share)]
    run = [parts[here.segment].part(here.share, 1.0)]
    index = (here.segment + 1) % len(parts)
    while index != there.segment:
        run.append(parts[index])
        index = (index + 1) % len(parts)
    return [*run, parts[there.segment].part(0.0, there.share)]


def _heading(chain: Chain, end: bool) -> float:
    parts = list(curves.segments(chain, closed=False))
    x, y = parts[-1].direction(1.0) if end else parts[0].direction(0.0)
    return math.atan2(y, x)


def _walk(halves: Sequence[_Half]) -> list[tuple[Ring, tuple[int, ...]]]:
    """Rings, each with the seams along it."""
    leaving = defaultdict(list)
    for number, half in enumerate(halves):
        leaving[half.start].append(number)
    left = set(range(len(halves)))
    closed = []
    while left:
        first = number = min(left)
        run: list[_Half] = []
        while True:
            left.discard(number)
            half = halves[number]
            run.append(half)
            back = _heading(half.chain, end=True) + math.pi
            ways = [way for way in leaving[half.end] if way in left or way == first]
            # The sharpest turn to the left: the first way met clockwise from where we came.
            number = min(ways, key=lambda way: _clockwise(back, _heading(halves[way].chain, end=False)))
            if number == first:
                break
        ring = tuple(vertex for half in run for vertex in half.chain[:-1])
        closed.append((ring, tuple(dict.fromkeys(half.seam for half in run if half.seam >= 0))))
    return closed


def _clockwise(back: float, heading: float) -> float:
    turn = (back - heading) % math.tau
    return turn if turn > 1e-7 else math.tau


def _nested(rings: Sequence[tuple[Ring, tuple[int, ...]]]) -> tuple[Part, ...]:
    outers = [(ring, seams) for ring, seams in rings if curves.signed_area(ring) > 0]
    inners = [ring for ring, _ in rings if curves.signed_area(ring) < 0]
    parts = []
    for ring, seams in outers:
        solid = curves.polygon(ring)
        inside = tuple(hole for hole in inners if solid.contains(ShapelyPoint(hole[0][:2])))
        parts.append(Part(ring, inside, seams))
    return tuple(parts)
