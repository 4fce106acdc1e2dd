"""Candidate joints: straight lines through the material from contour to contour, at any of several angles.

In: a Piece. Out: Chords, piece frame, and what a joint along one would harm. Pure.
Method: lines of each angle are laid over the piece; each stretch of material on a line is a chord. Numbers as in
docs/model.md.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Point as ShapelyPoint
from shapely.geometry import Polygon

from nesting import curves
from nesting.model import Piece, Point, Ring
from nesting.splitting.tongues import room_of, tongue_for

Floats = npt.NDArray[np.float64]

CLEAR_MM = 10.0
"""Least distance of a joint from a hole or a fixing."""
TONGUE_CLEAR_MM = 6.0
"""Least material round a tongue."""
HOLE_MM = 40.0
"""Holes up to this across are for screws, cables and pins: joints keep off them. In larger ones joints may end."""
CORNER_RAD = math.radians(20)
"""A contour that turns by more in one point has a corner there."""
OBLIQUE_SINE = math.sin(math.radians(40))
"""A joint meets the contour at no flatter angle."""
VERTEX_MM = 1.0
"""No joint ends nearer to where two lines or arcs of a contour meet."""


@dataclass(frozen=True, slots=True)
class ChordEnd:
    """A point on a contour: number of the ring (0 is the outline), of its segment, share of the segment's length."""

    ring: int
    segment: int
    share: float


@dataclass(frozen=True, slots=True)
class Chord:
    """From contour to contour through material; `sine` is that of the flatter angle at which it meets them."""

    a: Point
    b: Point
    start: ChordEnd
    end: ChordEnd
    sine: float
    angle_deg: float

    @property
    def length(self) -> float:
        return math.dist(self.a, self.b)

    @property
    def middle(self) -> Point:
        return (self.a[0] + self.b[0]) / 2, (self.a[1] + self.b[1]) / 2

    def at(self, share: float) -> Point:
        (ax, ay), (bx, by) = self.a, self.b
        return ax + share * (bx - ax), ay + share * (by - ay)


# ── lines over the piece ─────────────────────────────────────────────────────────────────────────────────────


class Turned:
    """The rings turned so that lines of one angle are level; finds the chords on them."""

    def __init__(self, rings: Sequence[Ring], angle_deg: float) -> None:
        self.angle_deg = angle_deg
        self.parts = [
            (number, index, segment, *_span(segment))
            for number, ring in enumerate(rings)
            for index, segment in enumerate(curves.segments(curves.moved(ring, 0, 0, -angle_deg), closed=True))
        ]
        self.vertex_levels = np.array([segment.a[1] for _, _, segment, _, _ in self.parts])
        self.span = min(low for *_, low, _ in self.parts), max(high for *_, high in self.parts)

    def chords(self, level: float) -> Iterator[Chord]:
        """The stretches of material on the line; none where it passes a vertex, as they cannot be told there."""
        if np.abs(self.vertex_levels - level).min() < 1e-4:
            return
        met = sorted(
            (segment.point(t)[0], abs(segment.direction(t)[1]), ChordEnd(number, index, t))
            for number, index, segment, low, high in self.parts
            if low < level < high
            for t in segment.crossings(1, level)
        )
        for (x0, sine0, end0), (x1, sine1, end1) in zip(met[::2], met[1::2], strict=len(met) % 2 == 0):
            if x1 - x0 > VERTEX_MM:
                a, b = (_back((x, level), self.angle_deg) for x in (x0, x1))
                yield Chord(a, b, end0, end1, min(sine0, sine1), self.angle_deg)


def _span(segment: curves.Segment) -> Point:
    ys = [segment.a[1], segment.b[1]]
    if segment.bulge:
        ys += [segment.point(t)[1] for t in segment.crossings(0, segment.centre[0])]
    return min(ys), max(ys)


def _back(point: Point, angle_deg: float) -> Point:
    ((x, y, _),) = curves.moved([(*point, 0.0)], 0, 0, angle_deg)
    return x, y


def level_of(point: Point, angle_deg: float) -> float:
    """The level of the line of this angle through a point."""
    return _back(point, -angle_deg)[1]


def straight_angles(rings: Iterable[Ring], at_least_mm: float = 40.0) -> list[float]:
    """Directions of the contours' long straight stretches, 0 to below 180 degrees, longest first, some at most."""
    lengths: dict[float, float] = {}
    for ring in rings:
        for s in curves.segments(ring, closed=True):
            if s.bulge == 0 and s.chord >= at_least_mm:
                angle = round(math.degrees(math.atan2(s.b[1] - s.a[1], s.b[0] - s.a[0])) % 180.0, 3) % 180.0
                lengths[angle] = lengths.get(angle, 0.0) + s.chord
    return sorted(lengths, key=lambda angle: (-lengths[angle], angle))[:8]


# ── harm ─────────────────────────────────────────────────────────────────────────────────────────────────────


class Keepaway:
    """What joints of a piece stay away from: holes, fixings, corners, vertices; and with tongues the contour too."""

    def __init__(self, piece: Piece) -> None:
        rings = [piece.outline, *piece.holes]
        self.corners = np.array([p for ring in rings for p in curves.corners(ring, CORNER_RAD)]).reshape(-1, 2)
        self.vertices = np.array([v[:2] for ring in rings for v in ring]).reshape(-1, 2)
        rounds = [(*p, 0.0) for p in piece.fixings]
        rounds += [_round(hole) for hole in piece.holes if is_small(hole)]
        self.rounds = np.array(rounds).reshape(-1, 3)
        self.thickness_mm = piece.thickness_mm if piece.joint == "keyed" else None
        self.area = curves.polygon(piece.outline, piece.holes)
        shapely.prepare(self.area)

    def harm(self, a: Point, b: Point, sine: float, off_corners_mm: float) -> float | None:
        """Millimetres of harm of a joint from a to b; None if it is forbidden (S3).

        off_corners_mm: the least distance from a corner.
        """
        if sine < OBLIQUE_SINE or _distances(self.vertices, a, b).min() < VERTEX_MM:
            return None
        long = math.dist(a, b)
        if self.thickness_mm and not self._holds_tongue(a, b, self.thickness_mm):
            return None
        harm = long + 2.0 * long * (1.0 - sine)
        if len(self.rounds):
            apart = (_distances(self.rounds[:, :2], a, b) - self.rounds[:, 2]).min()
            if apart < CLEAR_MM:
                return None
            harm += max(0.0, 3 * CLEAR_MM - apart)
        if len(self.corners):
            apart = _distances(self.corners, a, b).min()
            if apart < off_corners_mm:
                return None
            harm += 2.0 * max(0.0, min(long, 100.0) - apart)
        return float(harm)

    def _holds_tongue(self, a: Point, b: Point, thickness_mm: float) -> bool:
        """Whether the tongue of a joint lies well inside the material, whichever way it points, clear of all holes."""
        tongue = tongue_for(math.dist(a, b), thickness_mm)
        if tongue is None:
            return True
        room = Polygon(room_of(tongue, a, b, max(thickness_mm, TONGUE_CLEAR_MM)))
        return bool(self.area.contains(room)) and not any(room.contains(ShapelyPoint(*p[:2])) for p in self.rounds)


def is_small(hole: Ring) -> bool:
    """Whether a hole is for a screw, a cable, a pin, so that joints keep off it."""
    x0, y0, x1, y1 = curves.bounds([hole])
    return max(x1 - x0, y1 - y0) <= HOLE_MM


def _round(hole: Ring) -> tuple[float, float, float]:
    """Centre and radius of a circle round the hole."""
    x0, y0, x1, y1 = curves.bounds([hole])
    centre = (x0 + x1) / 2, (y0 + y1) / 2
    if len(hole) == 2:
        return *centre, (x1 - x0) / 2
    return *centre, max(math.dist(centre, p) for p in curves.flattened(curves.reversed_ring(hole)))


def _distances(points: Floats, a: Point, b: Point) -> Floats:
    """From each point to the stretch from a to b."""
    start, along = np.array(a), np.array(b) - np.array(a)
    share = np.clip((points - start) @ along / float(along @ along), 0.0, 1.0)
    apart: Floats = np.hypot(*(points - start - share[:, None] * along).T)
    return apart
