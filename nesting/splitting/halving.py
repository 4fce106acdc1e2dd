"""Cut a piece in two along a straight line; arcs stay arcs.

In: the rings of a piece, a level of x. Out: the parts on either side, each an outline with its holes. Pure.
Method: each ring is cut where it meets the line; the material's stretches of the line lie between consecutive
crossings, in order; walking contour, stretch, contour closes the new outlines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shapely.geometry import Point as ShapelyPoint

from nesting import curves
from nesting.model import Chain, Point, Ring, Vertex

EPS = 1e-6


@dataclass(frozen=True, slots=True)
class Part:
    """One connected part of a piece that was cut; `edges` are its stretches of the cut line."""

    outline: Ring
    holes: tuple[Ring, ...]
    edges: tuple[tuple[Point, Point], ...]


def halves(outline: Ring, holes: Sequence[Ring], level: float) -> tuple[tuple[Part, ...], tuple[Part, ...]]:
    """Parts left (x <= level) and right of the line; the line must pass no vertex closer than a micrometre.

    outline counter-clockwise, holes clockwise (material on the left); parts likewise.
    """
    rings = [outline, *holes]
    if any(abs(x - level) < EPS for ring in rings for x, _, _ in ring):
        raise ValueError("the line passes a vertex")
    whole = [ring for ring in rings if not _crosses(ring, level)]
    chains = [chain for ring in rings if _crosses(ring, level) for chain in curves.split_at(ring, True, [(0, level)])]
    return _side(chains, whole, level, -1), _side(chains, whole, level, +1)


def crossings(rings: Sequence[Ring], level: float) -> list[float]:
    """Sorted y where the contours meet the line x = level; material lies between the first and second, and so on."""
    return sorted(
        s.point(t)[1] for ring in rings for s in curves.segments(ring, closed=True) for t in s.crossings(0, level)
    )


def _crosses(ring: Ring, level: float) -> bool:
    x0, _, x1, _ = curves.bounds([ring])
    return x0 < level < x1


def _on_side(x: float, level: float, side: int) -> bool:
    return (x - level) * side > 0


def _side(chains: Sequence[Chain], whole: Sequence[Ring], level: float, side: int) -> tuple[Part, ...]:
    mine = [chain for chain in chains if _on_side(curves.middle(chain)[0], level, side)]
    rings = _closed(mine)
    rings += [(ring, ()) for ring in whole if _on_side(ring[0][0], level, side)]
    outers = [(ring, edges) for ring, edges in rings if curves.signed_area(ring) > 0]
    inners = [ring for ring, _ in rings if curves.signed_area(ring) < 0]
    parts = []
    for ring, edges in outers:
        solid = curves.polygon(ring)
        inside = tuple(hole for hole in inners if solid.contains(ShapelyPoint(hole[0][:2])))
        parts.append(Part(ring, inside, edges))
    return tuple(parts)


def _closed(chains: Sequence[Chain]) -> list[tuple[Ring, tuple[tuple[Point, Point], ...]]]:
    """Join open chains through the material's stretches of the line; each chain ends where a stretch begins."""
    ends = sorted({round(chain[k][1], 9) for chain in chains for k in (0, -1)})
    partner = {y: other for a, b in zip(ends[::2], ends[1::2], strict=True) for y, other in ((a, b), (b, a))}
    starts = {round(chain[0][1], 9): chain for chain in chains}
    closed = []
    while starts:
        first = next(iter(starts))
        key = first
        vertices: list[Vertex] = []
        edges: list[tuple[Point, Point]] = []
        while key in starts:
            chain = starts.pop(key)
            vertices.extend(chain)
            key = partner[round(chain[-1][1], 9)]
            edges.append((chain[-1][:2], starts[key][0][:2] if key in starts else vertices[0][:2]))
        closed.append((tuple(vertices), tuple(edges)))
    return closed
