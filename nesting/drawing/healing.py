"""Loose ends to closed rings.

In: chains as drawn. Out: closed rings, what stays open, and a finding for every act.
Method: the nearest free ends are joined first; ends closer than `join_mm` meet in their middle without a word, up to
`join_most_mm` they are joined and told (two lines at their crossing, anything else by a short line between them).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from nesting.curves import Segment, length, reversed_chain, segments
from nesting.drawing.fitting import Points
from nesting.drawing.intake import Intake
from nesting.drawing.near import near_pairs
from nesting.drawing.shapes import DrawnChain, Finding
from nesting.model import Point, Vertex

MOST_COORDINATE_MM = 1e6
TINY_MM = 0.01
"""Open chains shorter than this are dust."""


def healed(chains: Sequence[DrawnChain], intake: Intake) -> tuple[list[DrawnChain], list[DrawnChain], list[Finding]]:
    """Closed rings, chains that stay open, and what was done. Chains are joined within one layer only."""
    findings: list[Finding] = []
    usable = list(_usable(chains, findings))
    rings = [_tidy(chain) for chain in usable if chain.closed]
    loose = _without_doubles([chain for chain in usable if not chain.closed], intake.join_mm, findings)
    opened: list[DrawnChain] = []
    by_layer = sorted(loose, key=lambda chain: chain.layer)
    for _, group in itertools.groupby(by_layer, key=lambda chain: chain.layer):
        for path in _joined(list(group), intake, findings):
            (rings if path.closed else opened).append(_tidy(path))
    return [ring for ring in rings if len(ring.vertices) > 1], opened, findings


# ── what can be used at all ──────────────────────────────────────────────────────────────────────────────────


def _usable(chains: Sequence[DrawnChain], findings: list[Finding]) -> Iterator[DrawnChain]:
    dust = 0
    for chain in chains:
        if not _finite(chain):
            text = f"has coordinates that are no figures or beyond {MOST_COORDINATE_MM / 1000:g} m"
            findings.append(Finding("coordinates", chain.where, text, False))
        elif length(chain.vertices, chain.closed) < TINY_MM:
            dust += 1
        else:
            yield chain
    if dust:
        findings.append(Finding("dust", "", f"specks shorter than {TINY_MM:g} mm were dropped: {dust}", True))


def _finite(chain: DrawnChain) -> bool:
    return len(chain.vertices) > 0 and all(
        abs(x) <= MOST_COORDINATE_MM and abs(y) <= MOST_COORDINATE_MM and math.isfinite(bulge)
        for x, y, bulge in chain.vertices
    )


def _tidy(chain: DrawnChain) -> DrawnChain:
    """Without vertices that repeat the one before them."""
    vertices = [
        v for v, w in zip(chain.vertices, _following(chain), strict=True) if w is None or math.dist(v[:2], w[:2]) > 1e-9
    ]
    return DrawnChain(tuple(vertices), chain.closed, chain.layer, chain.handle)


def _following(chain: DrawnChain) -> list[Vertex | None]:
    return [*chain.vertices[1:], chain.vertices[0] if chain.closed else None]


def _without_doubles(chains: list[DrawnChain], near_mm: float, findings: list[Finding]) -> list[DrawnChain]:
    """Each line, arc or curve once: the same ends and the same middle, whichever way it runs."""
    if not chains:
        return []
    chains, exact = _without_copies(chains)
    ends = [np.array([chain.vertices[0][:2], chain.vertices[-1][:2]]) for chain in chains]
    doubles: set[int] = set()
    for i, j in near_pairs(np.array([_middle(chain) for chain in chains]), near_mm).tolist():
        if i not in doubles and j not in doubles and chains[i].layer == chains[j].layer:
            gap = min(np.abs(ends[i] - ends[j]).max(), np.abs(ends[i] - ends[j][::-1]).max())
            if gap <= near_mm:
                doubles.add(j)
    if exact or doubles:
        findings.append(Finding("doubles", "", f"lines drawn twice were dropped: {exact + len(doubles)}", True))
    return [chain for k, chain in enumerate(chains) if k not in doubles]


def _without_copies(chains: list[DrawnChain]) -> tuple[list[DrawnChain], int]:
    """Without chains that repeat an earlier one to the last figure, and how many those were."""
    kept = {(chain.layer, chain.vertices): chain for chain in reversed(chains)}
    return [chain for chain in chains if kept[(chain.layer, chain.vertices)] is chain], len(chains) - len(kept)


def _middle(chain: DrawnChain) -> Point:
    """The point half way along."""
    parts = list(segments(chain.vertices, closed=False))
    left = math.fsum(part.length for part in parts) / 2
    for part in parts:
        if part.length >= left and part.length > 0:
            return part.point(left / part.length)
        left -= part.length
    return parts[-1].b


# ── joining ends ─────────────────────────────────────────────────────────────────────────────────────────────


def _joined(chains: list[DrawnChain], intake: Intake, findings: list[Finding]) -> Iterator[DrawnChain]:
    """Paths made of the chains, end to start. End 2 i is the start of chain i, end 2 i + 1 its end."""
    ends = np.array([point for chain in chains for point in (chain.vertices[0][:2], chain.vertices[-1][:2])])
    lengths = [length(chain.vertices, False) for chain in chains]
    mates = _mates(ends, lengths, intake.join_most_mm)
    unvisited = dict.fromkeys(range(len(chains)))
    starts = [end for end in range(len(ends)) if end not in mates] + list(range(0, len(ends), 2))
    for start in starts:
        if start // 2 in unvisited:
            yield _path(chains, mates, start, unvisited, intake, findings)


def _mates(ends: Points, lengths: list[float], most_mm: float) -> dict[int, int]:
    """Which end is joined to which: nearest pairs first, each end once."""
    pairs = near_pairs(ends, most_mm)
    first, second = pairs[:, 0], pairs[:, 1]
    gaps = np.hypot(*(ends[first] - ends[second]).T)
    mates: dict[int, int] = {}
    for k in np.lexsort((second, first, np.round(gaps, 9))).tolist():
        i, j = int(first[k]), int(second[k])
        closes_itself = i // 2 == j // 2 and lengths[i // 2] < 4 * gaps[k]
        if i not in mates and j not in mates and not closes_itself:
            mates[i], mates[j] = j, i
    return mates


def _path(
    chains: list[DrawnChain],
    mates: dict[int, int],
    start: int,
    unvisited: dict[int, None],
    intake: Intake,
    findings: list[Finding],
) -> DrawnChain:
    """Follow mates from a free end (or round a loop) and weld the chains into one."""
    first = chains[start // 2]
    vertices: list[Vertex] = []
    end: int | None = start
    while end is not None and end // 2 in unvisited:
        del unvisited[end // 2]
        chain = tuple(chains[end // 2].vertices)
        run = list(chain if end % 2 == 0 else reversed_chain(chain))
        if vertices:
            findings += _weld(vertices, run, first, intake)
        vertices += run
        end = mates.get(end ^ 1)
    closed = end == start
    if closed:
        turned = vertices[:1]
        findings += _weld(vertices, turned, first, intake)
        vertices[0] = turned[0]
        if vertices[-1][:2] == vertices[0][:2]:
            vertices.pop()
    return DrawnChain(tuple(vertices), closed, first.layer, first.handle)


def _weld(vertices: list[Vertex], run: list[Vertex], first: DrawnChain, intake: Intake) -> list[Finding]:
    """Make the run start where the vertices end; changes both lists at the seam."""
    (ax, ay, _), (bx, by, bulge) = vertices[-1], run[0]
    gap = math.dist((ax, ay), (bx, by))
    if gap <= intake.join_mm:
        meet = ((ax + bx) / 2, (ay + by) / 2) if gap > 1e-9 else (bx, by)
        vertices.pop()
        run[0] = (*meet, bulge)
        return []
    corner = _crossing(vertices, run, intake.join_most_mm)
    if corner is not None:
        vertices.pop()
        run[0] = (*corner, bulge)
    text = f"ends {gap:.3f} mm apart at ({ax:.2f}, {ay:.2f}) were joined"
    return [Finding("joined", first.where, text, True, (ax, ay))]


def _crossing(vertices: list[Vertex], run: list[Vertex], most_mm: float) -> Point | None:
    """Where two straight ends would meet, if that is within reach of both."""
    if len(vertices) < 2 or len(run) < 2 or vertices[-2][2] != 0 or run[0][2] != 0:
        return None
    a, b = Segment(vertices[-2][:2], vertices[-1][:2], 0.0), Segment(run[0][:2], run[1][:2], 0.0)
    (ux, uy), (vx, vy) = a.direction(0.5), b.direction(0.5)
    turn = ux * vy - uy * vx
    if abs(turn) < 0.1:
        return None
    t = ((b.a[0] - a.b[0]) * vy - (b.a[1] - a.b[1]) * vx) / turn
    meet = (a.b[0] + t * ux, a.b[1] + t * uy)
    return meet if max(math.dist(meet, a.b), math.dist(meet, b.a)) <= most_mm else None


# ── what stays open ──────────────────────────────────────────────────────────────────────────────────────────


def open_findings(opened: Sequence[DrawnChain], intake: Intake) -> list[Finding]:
    """A refusal for every chain that stays open: where its end is, and how far the nearest other free end."""
    ends = [(k, chain.vertices[side][:2]) for k, chain in enumerate(opened) for side in (0, -1)]
    if not ends:
        return []
    points = [shapely.Point(point) for _, point in ends]
    tree = shapely.STRtree(points)
    findings = []
    for k, chain in enumerate(opened):
        end = chain.vertices[-1][:2]
        near = tree.query_nearest(points[2 * k + 1], exclusive=True, return_distance=True)[1]
        gap = float(near[0]) if len(near) else math.dist(end, chain.vertices[0][:2])
        place = f"({end[0]:.2f}, {end[1]:.2f})"
        text = f"outline open by {gap:.2f} mm at {place}; gaps to {intake.join_most_mm:g} mm are joined"
        findings.append(Finding("open", chain.where, text, False, end))
    return findings
