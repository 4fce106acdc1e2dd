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
from shapely.geometry import LineString

from nesting.curves import Segment, length, reversed_chain
from nesting.drawing.cleaning import tidied, usable, without_doubles, without_overlaps
from nesting.drawing.fitting import Points, dense
from nesting.drawing.intake import Intake
from nesting.drawing.near import near_pairs
from nesting.drawing.shapes import DrawnChain, Finding
from nesting.model import Point, Vertex


def healed(chains: Sequence[DrawnChain], intake: Intake) -> tuple[list[DrawnChain], list[DrawnChain], list[Finding]]:
    """Closed rings, chains that stay open, and what was done. Chains are joined within one layer only."""
    findings: list[Finding] = []
    sound = list(usable(chains, findings))
    rings = [chain for chain in sound if chain.closed]
    loose = without_doubles([chain for chain in sound if not chain.closed], intake.join_mm, findings)
    opened: list[DrawnChain] = []
    by_layer = sorted(loose, key=lambda chain: chain.layer)
    for _, group in itertools.groupby(by_layer, key=lambda chain: chain.layer):
        for path in _best_joined(list(group), intake, findings):
            (rings if path.closed else opened).append(path)
    tidy = tidied([*rings, *opened], findings)
    return [ring for ring in tidy[: len(rings)] if _encloses(ring)], tidy[len(rings) :], findings


def _encloses(ring: DrawnChain) -> bool:
    """Not just a line there and back."""
    return len(ring.vertices) > 2 or (len(ring.vertices) == 2 and ring.vertices[0][2] != -ring.vertices[1][2])


def _best_joined(chains: list[DrawnChain], intake: Intake, findings: list[Finding]) -> list[DrawnChain]:
    """Paths as drawn; where some stay open, lines that overlap are made one if that closes more."""
    acts: list[Finding] = []
    paths = list(_joined(chains, intake, acts))
    still_open = sum(not path.closed for path in paths)
    if still_open:
        merged, saved = without_overlaps(chains, intake.join_mm)
        again: list[Finding] = []
        better = list(_joined(merged, intake, again)) if saved else paths
        if saved and sum(not path.closed for path in better) < still_open:
            text = f"lines that overlapped were made one: {saved}"
            paths, acts = better, [*again, Finding("overlaps", f"layer {chains[0].layer}", text, True)]
    findings += acts
    return paths


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


def open_findings(opened: Sequence[DrawnChain], rings: Sequence[DrawnChain], intake: Intake) -> list[Finding]:
    """A refusal for every chain that stays open: where its end is, and how far the nearest other free end; or that it
    runs into a line that is already joined."""
    if not opened:
        return []
    lines = [LineString(dense((*ring.vertices, ring.vertices[0]), False, 0.01)) for ring in rings]
    ends = [shapely.Point(chain.vertices[side][:2]) for chain in opened for side in (0, -1)]
    tree, others = shapely.STRtree(ends), shapely.STRtree(lines)
    return [_open_finding(chain, ends[2 * k : 2 * k + 2], tree, others, intake) for k, chain in enumerate(opened)]


def _open_finding(
    chain: DrawnChain, ends: list[shapely.Point], all_ends: shapely.STRtree, rings: shapely.STRtree, intake: Intake
) -> Finding:
    for end in ends:
        if len(rings.query(end, predicate="dwithin", distance=intake.join_most_mm)):
            text = f"a line meets an outline that is closed without it at ({end.x:.2f}, {end.y:.2f})"
            return Finding("open", chain.where, text, False, (end.x, end.y))
    near = all_ends.query_nearest(ends[1], exclusive=True, return_distance=True)[1]
    gap = float(near[0]) if len(near) else ends[0].distance(ends[1])
    text = f"outline open by {gap:.2f} mm at ({ends[1].x:.2f}, {ends[1].y:.2f})"
    return Finding("open", chain.where, f"{text}; gaps to {intake.join_most_mm:g} mm are joined", False, chain.end)
