"""Possible segments: connected sets of cells that fit into one of the rooms, each with the harm of its joints.

In: Cells, the rooms. Out: Columns for the choice. Pure.
Method: all connected sets of cells that fit, grown cell by cell; or, where lines cross in a grid, all its blocks. A set
fits if its shadow at one of many angles fits (whatever holds it fits no less).
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from nesting.model import Point
from nesting.splitting.cells import Cells
from nesting.splitting.chords import Floats
from nesting.splitting.tongues import room_of, tongue_for

MOST_COLUMNS = 8_000
FIT_MM = 1e-3
"""Rounding forgiven where a segment just fits."""
EVERY_DEG = 3.0
LEAST_MM2 = 900.0
"""Smaller segments are crumbs that nobody can hold, let alone join."""


class TooMany(Exception):
    """There are more possible segments than can be weighed: lay fewer chords."""


@dataclass(frozen=True, slots=True)
class Column:
    """A possible segment: its cells, the edges cut, the angle it fits at, tenths of a millimetre of harm, its area."""

    cells: frozenset[int]
    edges: tuple[int, ...]
    angle_deg: float
    harm: int
    area: float


class Fitting:
    """Whether points fit into one of the rooms, turned by one of the angles allowed."""

    def __init__(self, rooms: Sequence[Point], may_turn: bool, also_deg: Sequence[float] = ()) -> None:
        both = [*rooms, *((y, x) for x, y in rooms)] if may_turn else list(rooms)
        self.rooms = [room for room in dict.fromkeys(both) if not _smaller(room, both)]
        steps = [i * EVERY_DEG for i in range(round(90 / EVERY_DEG))]
        angles = [angle % 90.0 for angle in also_deg]
        self.angles = np.array(list(dict.fromkeys([0.0, *angles, *steps]))) if may_turn else np.array([0.0])
        radians = np.radians(self.angles)
        self.along = np.array([np.cos(radians), np.sin(radians)])
        self.across = np.array([-np.sin(radians), np.cos(radians)])

    def spread(self, points: Floats) -> Floats:
        """Least and greatest of the points' shadows along and across each angle: (4, angles), least ones negated."""
        along, across = points @ self.along, points @ self.across
        return np.array([-along.min(0), along.max(0), -across.min(0), across.max(0)])

    def angle(self, spread: Floats) -> float | None:
        """The angle at which it fits with the least rectangle round it; None if at none."""
        long, wide = spread[0] + spread[1], spread[2] + spread[3]
        fits = np.zeros(len(self.angles), dtype=bool)
        for x, y in self.rooms:
            fits |= (long <= x + FIT_MM) & (wide <= y + FIT_MM)
        if not fits.any():
            return None
        return float(self.angles[int(np.argmin(np.where(fits, np.round(long * wide, 3), np.inf)))])


def _smaller(room: Point, rooms: Sequence[Point]) -> bool:
    return any(other != room and room[0] <= other[0] and room[1] <= other[1] for other in rooms)


class Growing:
    """Makes Columns of sets of cells."""

    def __init__(
        self, cells: Cells, harms: Sequence[float | None], fitting: Fitting, keyed_mm: float | None = None
    ) -> None:
        self.cells, self.harms, self.fitting, self.keyed_mm = cells, harms, fitting, keyed_mm
        self.spreads = [fitting.spread(shapely.get_coordinates(face)) for face in cells.faces]
        self.areas = [face.area for face in cells.faces]
        self.touching: dict[int, list[tuple[int, int]]] = defaultdict(list)
        for number, edge in enumerate(cells.edges):
            self.touching[edge.left].append((edge.right, number))
            self.touching[edge.right].append((edge.left, number))

    def column(self, members: frozenset[int]) -> Column | None:
        """The set as a column; None if it does not fit with its tongues, is a crumb, or is cut where it must not be."""
        cut = tuple(sorted({edge for cell in members for other, edge in self.touching[cell] if other not in members}))
        harms = [self.harms[edge] for edge in cut]
        area = sum(self.areas[cell] for cell in members)
        if area < LEAST_MM2 or any(harm is None for harm in harms):
            return None
        spread = np.maximum.reduce([self.spreads[cell] for cell in members])
        if self.keyed_mm:
            spread = np.maximum.reduce([spread, *(self._tongue(edge, self.keyed_mm) for edge in cut)])
        angle = self.fitting.angle(spread)
        if angle is None:
            return None
        harm = sum(harm or 0.0 for harm in harms) / 2
        return Column(members, cut, angle, round(10 * harm), area)

    def _tongue(self, edge: int, thickness_mm: float) -> Floats:
        """The spread of the room that a tongue may take up on either side of an edge; of its ends if it has none."""
        a, b = self.cells.ends(self.cells.edges[edge])
        tongue = tongue_for(math.dist(a, b), thickness_mm)
        return self.fitting.spread(np.array(room_of(tongue, a, b, 1.0) if tongue else (a, b)))

    def connected_sets(self) -> Iterator[frozenset[int]]:
        """Every connected set of cells that fits, once each. Raises TooMany."""
        count = 0
        for root in range(len(self.cells.faces)):
            stack = [(frozenset([root]), self._beside(root, root), self.spreads[root], frozenset([root]))]
            while stack:
                members, ways, spread, seen = stack.pop()
                if self.fitting.angle(spread) is None:
                    continue
                count += 1
                if count > MOST_COLUMNS:
                    raise TooMany
                yield members
                seen = seen | ways
                rest = sorted(ways)
                for i, cell in enumerate(rest):
                    fresh = frozenset(way for way in self._beside(cell, root) if way not in seen)
                    grown = np.maximum(spread, self.spreads[cell])
                    stack.append((members | {cell}, frozenset(rest[i + 1 :]) | fresh, grown, seen))

    def _beside(self, cell: int, root: int) -> frozenset[int]:
        return frozenset(other for other, _ in self.touching[cell] if other > root)

    def blocks(self, places: Sequence[tuple[int, int]]) -> Iterator[frozenset[int]]:
        """The connected sets within every block of a grid; `places` says in which row and column a cell lies."""
        spans = [sorted({place[axis] for place in places}) for axis in (0, 1)]
        known: set[frozenset[int]] = set()
        for low, high in itertools.combinations_with_replacement(spans[0], 2):
            for left, right in itertools.combinations_with_replacement(spans[1], 2):
                inside = {i for i, (x, y) in enumerate(places) if low <= x <= high and left <= y <= right}
                for members in self._components(inside):
                    spread = np.maximum.reduce([self.spreads[cell] for cell in members])
                    if members not in known and self.fitting.angle(spread) is not None:
                        known.add(members)
                        yield members

    def _components(self, inside: set[int]) -> Iterator[frozenset[int]]:
        left = set(inside)
        while left:
            members, edge = set(), [min(left)]
            while edge:
                cell = edge.pop()
                if cell in left:
                    left.discard(cell)
                    members.add(cell)
                    edge += [other for other, _ in self.touching[cell]]
            yield frozenset(members)
