"""Closed rings to shapes: outer, hole, island.

In: chains as drawn and how to read them. Out: shapes with material on the left of every ring, and findings.
Method: rings are sorted into each other by containment; even depth is an outline, odd depth a hole of the ring round
it, so an island in a hole is a shape of its own. Marks belong to the shape they lie in.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from nesting.curves import oriented
from nesting.drawing.fitting import area_of, dense
from nesting.drawing.healing import healed, open_findings
from nesting.drawing.intake import Intake
from nesting.drawing.near import near_pairs, related
from nesting.drawing.shapes import DrawnChain, DrawnShape, Finding
from nesting.drawing.smoothing import smoothed
from nesting.drawing.uniting import filled
from nesting.faults import DrawingFault
from nesting.model import Chain, Point, Ring

NEST_SAGITTA_MM = 0.01
"""How finely rings are flattened to see which lies in which."""
DOUBLE_MM = 0.05
MOST_RINGS_DEEP = 60
"""Rings in rings; more is no sign but a trap."""
MOST_CROSSINGS = 100
"""Crossings named one by one."""


@dataclass(frozen=True, slots=True)
class _Loop:
    """A ring and the area in it."""

    ring: Ring
    area: Polygon
    layer: str
    where: str


def assembled(
    chains: Sequence[DrawnChain], told: Sequence[Finding], intake: Intake
) -> tuple[tuple[DrawnShape, ...], tuple[Finding, ...]]:
    """Shapes of everything drawn; to the findings `told` so far come those of healing and sorting."""
    roles = {layer: intake.role(layer) for layer in {chain.layer for chain in chains}}
    rings, opened, findings = healed([chain for chain in chains if roles[chain.layer] == "cut"], intake)
    findings = [*told, *findings, *open_findings(opened, rings, intake)]
    smooth = _smoothed(rings, findings)
    loops = _distinct([loop for ring in smooth for loop in _simple(ring, findings)], findings)
    findings += _crossings(loops)
    shapes = _parted(_nested(loops), findings)
    marked = sorted(layer for layer, role in roles.items() if role == "mark")
    findings += [Finding("layer", f"layer {name}", "is marked, not cut", True) for name in marked]
    marks, strays, more = healed([chain for chain in chains if roles[chain.layer] == "mark"], intake)
    shapes = _marked(shapes, [*marks, *strays], findings)
    if not shapes and all(finding.mended for finding in findings):
        findings.append(Finding("empty", "", "there is no closed outline to cut", False))
    return tuple(shapes), (*findings, *more)


# ── rings ────────────────────────────────────────────────────────────────────────────────────────────────────


def _loop(chain: DrawnChain) -> _Loop:
    area = area_of(chain.vertices, (), NEST_SAGITTA_MM)
    return _Loop(tuple(chain.vertices), area, chain.layer, chain.where)


def _smoothed(rings: list[DrawnChain], findings: list[Finding]) -> list[DrawnChain]:
    """The rings with runs of chords as arcs."""
    smooth = [replace(ring, vertices=smoothed(ring.vertices)) for ring in rings]
    fewer = [(ring, new) for ring, new in zip(rings, smooth, strict=True) if len(new.vertices) < len(ring.vertices)]
    if fewer:
        before, after = (sum(len(pair[k].vertices) for pair in fewer) for k in (0, 1))
        text = f"curves drawn as chords were fitted with arcs: {len(fewer)}, {before} sides became {after}"
        findings.append(Finding("smoothed", "", text, True))
    return smooth


def _simple(chain: DrawnChain, findings: list[Finding]) -> list[_Loop]:
    """The ring if it neither crosses nor touches itself, else the rings it falls into."""
    loop = _loop(chain)
    if loop.area.is_valid:
        return [loop]
    parts = filled([loop.ring], "evenodd")
    text = f"an outline that meets itself was parted into {len(parts)} outlines"
    findings.append(Finding("touching", chain.where, text, True, _meeting(loop.area)))
    rings = [ring for outline, holes in parts for ring in (outline, *holes)]
    return [_loop(DrawnChain(ring, True, chain.layer, chain.handle)) for ring in rings]


def _meeting(area: Polygon) -> Point:
    """Where an outline crosses or touches itself, as the geometry library tells it."""
    figures = re.findall(r"[-+.\deE]+", shapely.is_valid_reason(area).partition("[")[2])
    x, y = figures if len(figures) == 2 else area.exterior.coords[0][:2]
    return float(x), float(y)


def _distinct(loops: list[_Loop], findings: list[Finding]) -> list[_Loop]:
    """Each ring once: a later one nowhere further than `DOUBLE_MM` from an earlier one is a double."""
    if not loops:
        return []
    corners = np.array([loop.area.bounds[:2] for loop in loops])
    doubles: set[int] = set()
    for i, j in near_pairs(corners, 2 * DOUBLE_MM).tolist():
        if i not in doubles and loops[i].area.hausdorff_distance(loops[j].area) <= DOUBLE_MM:
            doubles.add(j)
    if doubles:
        findings.append(Finding("doubles", "", f"outlines drawn twice were dropped: {len(doubles)}", True))
    return [loop for k, loop in enumerate(loops) if k not in doubles]


def _crossings(loops: list[_Loop]) -> list[Finding]:
    """A refusal for every two outlines that cross: what of them is to be cut, only the drawer knows."""
    areas = [loop.area for loop in loops]
    findings: list[Finding] = []
    for pairs in related(areas, areas, "overlaps"):
        for i, j in pairs.tolist():
            if areas[i].intersection(areas[j]).area > DOUBLE_MM:
                at = areas[i].exterior.intersection(areas[j].exterior).representative_point()
                text = f"crosses the outline of {loops[j].where} at ({at.x:.2f}, {at.y:.2f})"
                findings.append(Finding("crossing", loops[i].where, text, False, (at.x, at.y)))
        if len(findings) >= MOST_CROSSINGS:
            break
    return findings


# ── outlines, holes, marks ───────────────────────────────────────────────────────────────────────────────────


def _nested(loops: list[_Loop]) -> list[DrawnShape]:
    """Outlines with their holes, in the order drawn."""
    depths, parents = _containment([loop.area for loop in loops])
    holes: dict[int, list[Ring]] = defaultdict(list)
    for loop, depth, parent in zip(loops, depths, parents, strict=True):
        if depth % 2 == 1:
            holes[parent].append(oriented(loop.ring, False))
    return [
        DrawnShape(oriented(loop.ring, True), tuple(holes[k]), layer=loop.layer)
        for k, (loop, depth) in enumerate(zip(loops, depths, strict=True))
        if depth % 2 == 0
    ]


def _parted(shapes: list[DrawnShape], findings: list[Finding]) -> list[DrawnShape]:
    """Shapes whose holes touch each other or the outline, as the shapes that are left when they are cut."""
    sound: list[DrawnShape] = []
    for shape in shapes:
        if not shape.holes or area_of(shape.outline, shape.holes, NEST_SAGITTA_MM).is_valid:
            sound.append(shape)
            continue
        parts = filled([shape.outline, *shape.holes], "evenodd")
        text = f"a hole that touches the edge was taken out of it; outlines left: {len(parts)}"
        findings.append(Finding("touching", f"layer {shape.layer}", text, True, shape.outline[0][:2]))
        sound += [DrawnShape(outline, holes, layer=shape.layer) for outline, holes in parts]
    return sound


def _containment(areas: list[Polygon]) -> tuple[list[int], list[int]]:
    """How many rings lie round each, and the smallest of those (-1 if none)."""
    depths, parents = [0] * len(areas), [-1] * len(areas)
    sizes = [area.area for area in areas]
    for pairs in related([area.representative_point() for area in areas], areas, "within"):
        for i, j in pairs.tolist():
            if sizes[j] > sizes[i]:
                depths[i] += 1
                if parents[i] < 0 or sizes[j] < sizes[parents[i]]:
                    parents[i] = j
        if max(depths) > MOST_RINGS_DEEP:
            raise DrawingFault(
                f"outlines lie in each other more than {MOST_RINGS_DEEP} deep",
                mend="keep only the outlines to cut",
            )
    return depths, parents


def _marked(shapes: list[DrawnShape], marks: Sequence[DrawnChain], findings: list[Finding]) -> list[DrawnShape]:
    """Shapes with the marks that lie in them; marks in no shape are told."""
    if not marks:
        return shapes
    areas = [area_of(shape.outline, (), NEST_SAGITTA_MM).buffer(DOUBLE_MM) for shape in shapes]
    lines = [LineString(dense(_as_chain(mark), False)) for mark in marks]
    home: dict[int, int] = {}
    for pairs in related(lines, areas, "within"):
        for i, j in pairs.tolist():
            if i not in home or areas[j].area < areas[home[i]].area:
                home[i] = j
    given: dict[int, list[Chain]] = defaultdict(list)
    for i, j in sorted(home.items()):
        given[j].append(_as_chain(marks[i]))
    if len(home) < len(marks):
        text = f"marks that lie in no outline are left out: {len(marks) - len(home)}"
        findings.append(Finding("marks", "", text, True))
    return [replace(shape, marks=tuple(given[k])) for k, shape in enumerate(shapes)]


def _as_chain(mark: DrawnChain) -> Chain:
    first = mark.vertices[0]
    return (*mark.vertices, (first[0], first[1], 0.0)) if mark.closed else tuple(mark.vertices)
