"""Before ends are joined: what cannot be used is refused, what is drawn twice is dropped.

In: chains as drawn. Out: chains that are each there once, and a finding for every kind of act, with its count.
Doubles have the same ends and the same middle; lines that overlap along a stretch become one.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from shapely.geometry import LineString

from nesting.curves import length, segments
from nesting.drawing.fitting import Points
from nesting.drawing.near import near_pairs, related
from nesting.drawing.shapes import DrawnChain, Finding
from nesting.model import Chain, Point

MOST_COORDINATE_MM = 1e6
MOST_BULGE = 1e4
"""Beyond this an arc is a circle but for a ten-thousandth, on a chord too short to say where."""
SAME_MM = 1e-9
TINY_MM = 0.01
"""Open chains and straight sides shorter than this are dust."""


def usable(chains: Sequence[DrawnChain], findings: list[Finding]) -> Iterator[DrawnChain]:
    """Chains whose figures make sense; specks are dropped."""
    dust = 0
    for chain in chains:
        if not _finite(chain):
            text = f"has coordinates that are no figures or beyond {MOST_COORDINATE_MM / 1000:g} m"
            findings.append(Finding("coordinates", chain.where, text, False))
        elif _is_speck(chain):
            dust += 1
        else:
            yield chain
    if dust:
        findings.append(Finding("dust", "", f"specks shorter than {TINY_MM:g} mm were dropped: {dust}", True))


def _is_speck(chain: DrawnChain) -> bool:
    """Shorter than `TINY_MM`; whose first side alone is longer need not be measured."""
    first, second = chain.vertices[0], chain.vertices[min(1, len(chain.vertices) - 1)]
    return math.dist(first[:2], second[:2]) < TINY_MM and length(chain.vertices, chain.closed) < TINY_MM


def _finite(chain: DrawnChain) -> bool:
    return len(chain.vertices) > 0 and all(
        abs(x) <= MOST_COORDINATE_MM and abs(y) <= MOST_COORDINATE_MM and abs(bulge) <= MOST_BULGE
        for x, y, bulge in chain.vertices
    )


def tidied(chains: Sequence[DrawnChain], findings: list[Finding]) -> list[DrawnChain]:
    """Chains without vertices that repeat the one before them, and without straight sides too short to cut."""
    tidy = [replace(chain, vertices=_without_crumbs(chain.vertices, chain.closed)) for chain in chains]
    crumbs = sum(
        math.dist(v[:2], w[:2]) > SAME_MM
        for chain, kept in zip(chains, tidy, strict=True)
        if len(kept.vertices) < len(chain.vertices)
        for v, w in itertools.pairwise(chain.vertices)
        if v[2] == 0 and math.dist(v[:2], w[:2]) < TINY_MM
    )
    if crumbs:
        findings.append(Finding("dust", "", f"sides shorter than {TINY_MM:g} mm were dropped: {crumbs}", True))
    return tidy


def _without_crumbs(vertices: Chain, closed: bool) -> Chain:
    """A vertex is left out if the last one kept reaches it by a straight side shorter than `TINY_MM`."""
    kept = [vertices[0]]
    for v in vertices[1:]:
        gap = math.dist(kept[-1][:2], v[:2])
        if gap <= SAME_MM or (kept[-1][2] == 0 and gap < TINY_MM):
            kept[-1] = (*kept[-1][:2], v[2])
        else:
            kept.append(v)
    if closed and len(kept) > 2 and math.dist(kept[-1][:2], kept[0][:2]) <= (SAME_MM if kept[-1][2] else TINY_MM):
        kept.pop()
    return tuple(kept)


def without_doubles(chains: list[DrawnChain], near_mm: float, findings: list[Finding]) -> list[DrawnChain]:
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
    kept: dict[tuple[str, Chain], DrawnChain] = {}
    for chain in chains:
        kept.setdefault((chain.layer, chain.vertices), chain)
    return list(kept.values()), len(chains) - len(kept)


def _middle(chain: DrawnChain) -> Point:
    """The point half way along."""
    parts = list(segments(chain.vertices, closed=False))
    left = math.fsum(part.length for part in parts) / 2
    for part in parts:
        if part.length >= left and part.length > 0:
            return part.point(left / part.length)
        left -= part.length
    return parts[-1].b


# ── lines that overlap ───────────────────────────────────────────────────────────────────────────────────────


def without_overlaps(chains: list[DrawnChain], near_mm: float) -> tuple[list[DrawnChain], int]:
    """Single straight lines that lie on one another along a stretch, made one; and how many lines that saved."""
    lines = [k for k, chain in enumerate(chains) if len(chain.vertices) == 2 and chain.vertices[0][2] == 0]
    ends = np.array([[v[:2] for v in chains[k].vertices] for k in lines]).reshape(-1, 2, 2)
    group = list(range(len(lines)))
    drawn = [LineString(pair) for pair in ends]
    for pairs in related(drawn, drawn, "dwithin", near_mm):
        for i, j in pairs.tolist():
            if i < j and _overlap(ends[i], ends[j], near_mm):
                _unite(group, i, j)
    members: dict[int, list[int]] = {}
    for i in range(len(lines)):
        members.setdefault(_root(group, i), []).append(i)
    merged = {lines[ids[0]]: _spanning(chains[lines[ids[0]]], ends[ids]) for ids in members.values() if len(ids) > 1}
    dropped = {lines[i] for ids in members.values() for i in ids[1:]}
    kept = [merged.get(k, chain) for k, chain in enumerate(chains) if k not in dropped]
    return kept, len(dropped)


def _overlap(a: Points, b: Points, near_mm: float) -> bool:
    """Whether two lines lie within `near_mm` of each other along more than that."""
    if np.hypot(*(a[1] - a[0])) < np.hypot(*(b[1] - b[0])):
        a, b = b, a
    along = (a[1] - a[0]) / np.hypot(*(a[1] - a[0]))
    offset = b - a[0]
    across = offset[:, 1] * along[0] - offset[:, 0] * along[1]
    shares = np.sort(offset @ along)
    common = min(shares[1], float((a[1] - a[0]) @ along)) - max(shares[0], 0.0)
    return bool(np.abs(across).max() <= near_mm and common > max(near_mm, TINY_MM))


def _spanning(first: DrawnChain, ends: Points) -> DrawnChain:
    """One line from the outermost end to the other, of lines that lie on one another."""
    points = ends.reshape(-1, 2)
    longest = ends[np.hypot(*(ends[:, 1] - ends[:, 0]).T).argmax()]
    shares = points @ (longest[1] - longest[0])
    (ax, ay), (bx, by) = points[shares.argmin()], points[shares.argmax()]
    return replace(first, vertices=((float(ax), float(ay), 0.0), (float(bx), float(by), 0.0)))


def _root(group: list[int], i: int) -> int:
    while group[i] != i:
        group[i] = group[group[i]]
        i = group[i]
    return i


def _unite(group: list[int], i: int, j: int) -> None:
    i, j = sorted((_root(group, i), _root(group, j)))
    group[j] = i
