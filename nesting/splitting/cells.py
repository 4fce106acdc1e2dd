"""The cells that candidate joints cut a piece into, and the edges where two of them meet.

In: the piece's area and Chords. Out: Cells. Pure. Method: all chords are laid over the piece and the faces between
them traced (shapely); each chord is parted where others cross it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import shapely
from shapely import STRtree
from shapely.geometry import LineString, Polygon
from shapely.geometry import Point as ShapelyPoint

from nesting.model import Point
from nesting.splitting.chords import Chord

BEYOND_MM = 0.2
"""Chords are drawn out so far over the flattened contour, so that they part it."""
BESIDE_MM = 0.02


@dataclass(frozen=True, slots=True)
class Edge:
    """A stretch of a chord, from one share of its length to another, with a cell on either side of it."""

    chord: int
    start: float
    end: float
    left: int
    right: int


@dataclass(frozen=True, slots=True)
class Cells:
    """What the chords part the piece into."""

    chords: tuple[Chord, ...]
    faces: tuple[Polygon, ...]
    edges: tuple[Edge, ...]

    def ends(self, edge: Edge) -> tuple[Point, Point]:
        """Where an edge begins and ends."""
        chord = self.chords[edge.chord]
        return chord.at(edge.start), chord.at(edge.end)

    def containing(self, point: Point) -> int | None:
        """The number of the cell round a point."""
        return _containing(STRtree(self.faces), point)


def cells_of(area: Polygon, chords: Sequence[Chord]) -> Cells:
    """Faces and edges; an edge whose sides cannot be told apart (where three lines meet) is left out."""
    lines = [_drawn_out(chord) for chord in chords]
    traced = shapely.node(shapely.union_all([area.boundary, *lines]))
    found = shapely.get_parts(shapely.polygonize(shapely.get_parts(traced).tolist())).tolist()
    faces = tuple(face for face in found if face.area > 1e-3 and area.contains(face.representative_point()))
    tree = STRtree(faces)
    edges = []
    for number, (chord, cuts) in enumerate(zip(chords, _crossings(chords), strict=True)):
        for start, end in zip([0.0, *cuts], [*cuts, 1.0], strict=True):
            left, right = (_beside(chord, (start + end) / 2, side, tree) for side in (1, -1))
            if left is not None and right is not None:
                edges.append(Edge(number, start, end, left, right))
    return Cells(tuple(chords), faces, tuple(edges))


def _drawn_out(chord: Chord) -> LineString:
    more = BEYOND_MM / chord.length
    return LineString([chord.at(-more), chord.at(1 + more)])


def _crossings(chords: Sequence[Chord]) -> list[list[float]]:
    """For each chord, the shares of its length where others cross it."""
    lines = [LineString([chord.a, chord.b]) for chord in chords]
    shares: list[list[float]] = [[] for _ in chords]
    if not lines:
        return shares
    for i, j in STRtree(lines).query(lines, predicate="crosses").T.tolist():
        x, y = lines[i].intersection(lines[j]).coords[0]
        shares[i].append(round(math.dist(chords[i].a, (x, y)) / chords[i].length, 12))
    return [sorted(found) for found in shares]


def _beside(chord: Chord, share: float, side: int, tree: STRtree) -> int | None:
    (ax, ay), (bx, by) = chord.a, chord.b
    x, y = chord.at(share)
    away = side * BESIDE_MM / chord.length
    return _containing(tree, (x - away * (by - ay), y + away * (bx - ax)))


def _containing(tree: STRtree, point: Point) -> int | None:
    found = tree.query(ShapelyPoint(point), predicate="within")
    return int(found[0]) if len(found) else None
