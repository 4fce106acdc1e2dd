"""Chains of lines and arcs: measure, move, cut, and turn into polygons that never lose material.

In: rings and chains of the model (vertices with bulge). Out: the same, or shapely polygons for nesting. Pure.
A ring of a piece runs with the material on its left: outlines counter-clockwise, holes clockwise.
Method: bulge = tan(sweep / 4), DXF reference; radius = chord (1 + b²) / (4 |b|).
"""

from __future__ import annotations

import bisect
import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry import Polygon

from nesting.model import Chain, Piece, Point, Rect, Ring, Vertex

FLATTEN_MM = 0.05
"""How far a nesting polygon may lie outside the true outline."""


@dataclass(frozen=True, slots=True)
class Segment:
    """From `a` to `b`, straight (bulge 0) or an arc."""

    a: Point
    b: Point
    bulge: float

    @property
    def chord(self) -> float:
        return math.dist(self.a, self.b)

    @property
    def sweep(self) -> float:
        """Radians, + counter-clockwise, 0 for a line."""
        return 4.0 * math.atan(self.bulge)

    @property
    def radius(self) -> float:
        return self.chord * (1.0 + self.bulge**2) / (4.0 * abs(self.bulge))

    @property
    def centre(self) -> Point:
        (ax, ay), (bx, by) = self.a, self.b
        # From the chord's middle, square to it, towards the side the arc curves to.
        lift = (1.0 - self.bulge**2) / (4.0 * self.bulge)
        return (ax + bx) / 2 - lift * (by - ay), (ay + by) / 2 + lift * (bx - ax)

    @property
    def length(self) -> float:
        return self.chord if self.bulge == 0 else self.radius * abs(self.sweep)

    def point(self, t: float) -> Point:
        """The point at share `t` of the length, 0 to 1."""
        if t <= 0.0:
            return self.a
        if t >= 1.0:
            return self.b
        (ax, ay), (bx, by) = self.a, self.b
        if self.bulge == 0:
            return ax + t * (bx - ax), ay + t * (by - ay)
        cx, cy = self.centre
        turn = t * self.sweep
        cos, sin = math.cos(turn), math.sin(turn)
        return cx + cos * (ax - cx) - sin * (ay - cy), cy + sin * (ax - cx) + cos * (ay - cy)

    def direction(self, t: float) -> Point:
        """Unit tangent at share `t` of the length."""
        (ax, ay), (bx, by) = self.a, self.b
        heading = math.atan2(by - ay, bx - ax) + (t - 0.5) * self.sweep
        return math.cos(heading), math.sin(heading)

    def part(self, t0: float, t1: float) -> Segment:
        """The stretch between two shares of the length."""
        bulge = 0.0 if self.bulge == 0 else math.tan(math.atan(self.bulge) * (t1 - t0))
        return Segment(self.point(t0), self.point(t1), bulge)

    def crossings(self, axis: int, level: float) -> list[float]:
        """Shares strictly between 0 and 1 where coordinate `axis` (0 x, 1 y) equals `level`; ends are left out."""
        p, q = self.a[axis] - level, self.b[axis] - level
        if self.bulge == 0:
            return [p / (p - q)] if p * q < 0 else []
        centre, radius = self.centre, self.radius
        offset = level - centre[axis]
        if abs(offset) >= radius:
            return []
        # Angles on the circle where the coordinate is met, then as shares of the sweep from the start.
        base = math.acos(offset / radius) if axis == 0 else math.asin(offset / radius)
        angles = (base, -base) if axis == 0 else (base, math.pi - base)
        start = math.atan2(self.a[1] - centre[1], self.a[0] - centre[0])
        sign = 1.0 if self.bulge > 0 else -1.0
        shares = [(sign * (angle - start)) % math.tau / abs(self.sweep) for angle in angles]
        return sorted(t for t in shares if 1e-12 < t < 1.0 - 1e-12)


# ── measures ─────────────────────────────────────────────────────────────────────────────────────────────────


def segments(chain: Sequence[Vertex], closed: bool) -> Iterator[Segment]:
    """The segments of a ring (closed) or an open chain, in order."""
    count = len(chain) if closed else len(chain) - 1
    for i in range(count):
        ax, ay, bulge = chain[i]
        bx, by, _ = chain[(i + 1) % len(chain)]
        yield Segment((ax, ay), (bx, by), bulge)


def length(chain: Sequence[Vertex], closed: bool) -> float:
    """Millimetres along the chain."""
    return math.fsum(segment.length for segment in segments(chain, closed))


@dataclass(frozen=True, slots=True)
class Spot:
    """A place on a chain: the point, the unit tangent, the radius there (infinite where it is straight)."""

    point: Point
    heading: Point
    radius_mm: float


def spots_at(chain: Sequence[Vertex], closed: bool, stations_mm: Iterable[float]) -> list[Spot]:
    """The places that many millimetres along a chain; past the length of a ring it goes round again."""
    parts = list(segments(chain, closed))
    ends = list(itertools.accumulate(part.length for part in parts))
    spots = []
    for station in stations_mm:
        along = station % ends[-1] if closed else station
        i = min(bisect.bisect_right(ends, along), len(parts) - 1)
        share = min(1.0, 1.0 - (ends[i] - along) / parts[i].length)
        radius = parts[i].radius if parts[i].bulge else math.inf
        spots.append(Spot(parts[i].point(share), parts[i].direction(share), radius))
    return spots


def stretch(chain: Sequence[Vertex], closed: bool, start_mm: float, end_mm: float) -> Chain:
    """The open chain between two stations; of a ring, on past its first vertex where `end_mm` is beyond its length."""
    parts = list(segments(chain, closed))
    whole = math.fsum(part.length for part in parts)
    if closed and start_mm >= whole:
        start_mm, end_mm = start_mm - whole, end_mm - whole
    taken: list[Segment] = []
    begin = 0.0
    for part in parts * 2 if closed else parts:
        low, high = max(0.0, start_mm - begin), min(part.length, end_mm - begin)
        # A hair of a segment is rounding: it would be a corner that nobody drew.
        if high - low > 1e-6:
            taken.append(part if high - low > part.length - 1e-6 else part.part(low / part.length, high / part.length))
        begin += part.length
    return chain_of(taken)


def signed_area(ring: Ring) -> float:
    """Square millimetres, positive counter-clockwise; arcs exact by their circular segments."""
    total = 0.0
    for s in segments(ring, closed=True):
        total += (s.a[0] * s.b[1] - s.b[0] * s.a[1]) / 2
        if s.bulge != 0:
            total += s.radius**2 / 2 * (s.sweep - math.sin(s.sweep))
    return total


def area(piece: Piece) -> float:
    """Net area of a piece: outline less holes, square millimetres."""
    return abs(signed_area(piece.outline)) - math.fsum(abs(signed_area(hole)) for hole in piece.holes)


def bounds(chains: Iterable[Sequence[Vertex]], closed: bool = True) -> Rect:
    """Exact bounding rectangle of rings (or open chains), arcs included."""
    xs: list[float] = []
    ys: list[float] = []
    for chain in chains:
        xs.extend(v[0] for v in chain)
        ys.extend(v[1] for v in chain)
        for arc in segments(chain, closed):
            if arc.bulge != 0:
                cx, cy = arc.centre
                xs.extend(arc.point(t)[0] for t in arc.crossings(1, cy))
                ys.extend(arc.point(t)[1] for t in arc.crossings(0, cx))
    return min(xs), min(ys), max(xs), max(ys)


def corners(ring: Ring, turn_rad: float) -> list[Point]:
    """Where the contour turns by more than that in one point."""
    parts = list(segments(ring, closed=True))
    found = []
    for before, after in zip([parts[-1], *parts], parts, strict=False):
        (ux, uy), (vx, vy) = before.direction(1.0), after.direction(0.0)
        if abs(math.atan2(ux * vy - uy * vx, ux * vx + uy * vy)) > turn_rad:
            found.append(after.a)
    return found


# ── moving ───────────────────────────────────────────────────────────────────────────────────────────────────


def rotation(turn_deg: float) -> Point:
    """Cosine and sine, exact at quarter turns."""
    quarter = {0.0: (1.0, 0.0), 90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}
    angle = turn_deg % 360.0
    return quarter.get(angle) or (math.cos(math.radians(angle)), math.sin(math.radians(angle)))


def moved(
    chain: Sequence[Vertex], x_mm: float, y_mm: float, turn_deg: float = 0.0, mirrored: bool = False
) -> tuple[Vertex, ...]:
    """Mirror in x if mirrored, rotate about the origin, translate; a mirrored arc changes its sense."""
    cos, sin = rotation(turn_deg)
    flip = -1.0 if mirrored else 1.0
    return tuple(
        (cos * flip * x - sin * y + x_mm, sin * flip * x + cos * y + y_mm, flip * bulge if bulge else 0.0)
        for x, y, bulge in chain
    )


def reversed_ring(ring: Ring) -> Ring:
    """The same ring run the other way."""
    points = [v[:2] for v in ring]
    bulges = [v[2] for v in ring]
    count = len(ring)
    return tuple((*points[-1 - i], -bulges[(-2 - i) % count] or 0.0) for i in range(count))


def reversed_chain(chain: Chain) -> Chain:
    """The same open chain run the other way."""
    bulges = [*(-v[2] or 0.0 for v in reversed(chain[:-1])), 0.0]
    return tuple((*v[:2], bulge) for v, bulge in zip(reversed(chain), bulges, strict=True))


def oriented(ring: Ring, counter_clockwise: bool) -> Ring:
    """The ring, run in the sense asked for."""
    return ring if (signed_area(ring) > 0) == counter_clockwise else reversed_ring(ring)


# ── polygons ─────────────────────────────────────────────────────────────────────────────────────────────────


def _flat_points(s: Segment, tolerance: float) -> list[Point]:
    """Points that stand for a segment but its end, never on the material's side (left) of the true curve."""
    if s.bulge == 0:
        return [s.a]
    # An outward arc is wrapped in tangents, an inward one is spanned by chords; sagitta bounds the step of both.
    half_step = math.acos(max(0.0, 1.0 - tolerance / max(s.radius, tolerance)))
    steps = max(1, math.ceil(abs(s.sweep) / min(2 * half_step, math.pi / 4)))
    if s.bulge < 0:
        return [s.point(i / steps) for i in range(steps)]
    cx, cy = s.centre
    beyond = 1.0 / math.cos(s.sweep / steps / 2)
    middles = (s.point((i + 0.5) / steps) for i in range(steps))
    return [s.a, *((cx + beyond * (x - cx), cy + beyond * (y - cy)) for x, y in middles)]


def flattened(ring: Ring, tolerance: float = FLATTEN_MM) -> list[Point]:
    """Polygon points of a ring with its material on the left; the polygon holds all of the material."""
    return [p for s in segments(ring, closed=True) for p in _flat_points(s, tolerance)]


def polygon(outline: Ring, holes: Sequence[Ring] = (), tolerance: float = FLATTEN_MM) -> Polygon:
    """The area that must be kept free for a piece: its outline never shrunk, its holes never grown."""
    outer = flattened(oriented(outline, True), tolerance)
    inner = [flattened(oriented(hole, False), tolerance) for hole in holes]
    shape = Polygon(outer, inner)
    if shape.is_valid:
        return shape
    # Tangents of two neighbouring outward arcs may overshoot in a sharp inward corner: the union keeps it whole.
    healed = shapely.union_all(polygons(shapely.make_valid(shape)))
    return healed if isinstance(healed, Polygon) else max(polygons(healed), key=lambda part: part.area)


def polygons(shape: shapely.Geometry) -> list[Polygon]:
    """The polygons that a shape consists of; lines and points where figures touch are dropped."""
    parts = shapely.get_parts(shape).tolist()
    return [part for part in parts if isinstance(part, Polygon) and not part.is_empty]


def ring_of(points: Iterable[Sequence[float]]) -> Ring:
    """A ring of straight segments through the points (a repeated end point is dropped)."""
    vertices = [(float(p[0]), float(p[1]), 0.0) for p in points]
    if len(vertices) > 1 and vertices[0] == vertices[-1]:
        vertices.pop()
    return tuple(vertices)


# ── cutting ──────────────────────────────────────────────────────────────────────────────────────────────────


def split_at(chain: Sequence[Vertex], closed: bool, levels: Iterable[tuple[int, float]]) -> list[Chain]:
    """Cut a ring or chain wherever it meets one of the lines (axis 0: x = level, axis 1: y = level).

    Returns open chains in order; a ring that meets no line comes back as one chain that ends where it starts.
    """
    lines = list(levels)
    chains: list[list[Segment]] = [[]]
    for segment in segments(chain, closed):
        shares = sorted({t for axis, level in lines for t in segment.crossings(axis, level)})
        stops = [0.0, *shares, 1.0]
        for t0, t1 in itertools.pairwise(stops):
            part = segment.part(t0, t1)
            starts_on_line = any(abs(part.a[axis] - level) < 1e-9 for axis, level in lines)
            if starts_on_line and chains[-1]:
                chains.append([])
            chains[-1].append(part)
    if closed and len(chains) > 1:
        first = chains[0][0]
        if not any(abs(first.a[axis] - level) < 1e-9 for axis, level in lines):
            chains[0] = chains.pop() + chains[0]
    return [chain_of(parts) for parts in chains if parts]


def chain_of(parts: Sequence[Segment]) -> Chain:
    """Segments, end to start, as one open chain."""
    last = parts[-1]
    return (*((*s.a, s.bulge) for s in parts), (*last.b, 0.0))


def middle(chain: Chain) -> Point:
    """A point inside the chain's run: the middle of its longest segment."""
    return max(segments(chain, closed=False), key=lambda s: s.length).point(0.5)
