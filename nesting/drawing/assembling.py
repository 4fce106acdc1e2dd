"""Closed rings to shapes: outer, hole, island.

In: chains as drawn and how to read them. Out: shapes with material on the left of every ring, and findings.
Method: rings are sorted into each other by containment; even depth is an outline, odd depth a hole of the ring round
it, so an island in a hole is a shape of its own. Marks belong to the shape they lie in.
"""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely.geometry import LineString, Polygon

from nesting.curves import oriented
from nesting.drawing.fitting import dense
from nesting.drawing.healing import healed, open_findings
from nesting.drawing.intake import Intake
from nesting.drawing.shapes import DrawnChain, DrawnShape, Finding
from nesting.drawing.uniting import filled
from nesting.faults import DrawingFault
from nesting.model import Chain

NEST_SAGITTA_MM = 0.01
"""How finely rings are flattened to see which lies in which."""
DOUBLE_MM = 0.05


def assembled(chains: Sequence[DrawnChain], intake: Intake) -> tuple[tuple[DrawnShape, ...], tuple[Finding, ...]]:
    """Shapes and findings of everything drawn. DrawingFault if there is nothing to cut at all."""
    cut = [chain for chain in chains if intake.role(chain.layer) == "cut"]
    rings, opened, findings = healed(cut, intake)
    findings += open_findings(opened, intake)
    simple = [whole for ring in rings for whole in _simple(ring, findings)]
    shapes = _nested(_distinct(simple, findings), findings)
    marks, strays, more = healed([chain for chain in chains if intake.role(chain.layer) == "mark"], intake)
    shapes = _marked(shapes, [*marks, *strays], findings)
    if not shapes and not findings:
        raise DrawingFault("holds no closed outline to cut", mend="draw the outlines as closed lines and arcs")
    return tuple(shapes), (*findings, *more)


def _area_of(ring: DrawnChain) -> Polygon:
    return Polygon(dense(ring.vertices, True, NEST_SAGITTA_MM))


def _simple(ring: DrawnChain, findings: list[Finding]) -> list[DrawnChain]:
    """The ring if it neither crosses nor touches itself, else the rings it falls into."""
    if _area_of(ring).is_valid:
        return [ring]
    parts = filled([tuple(ring.vertices)], "evenodd")
    findings.append(
        Finding("touching", ring.where, f"an outline that meets itself was parted into {len(parts)} outlines", True)
    )
    rings = [whole for outline, holes in parts for whole in (outline, *holes)]
    return [DrawnChain(whole, True, ring.layer, ring.handle) for whole in rings]


def _distinct(rings: list[DrawnChain], findings: list[Finding]) -> list[DrawnChain]:
    """Each ring once: a later one nowhere further than `DOUBLE_MM` from an earlier one is a double."""
    if not rings:
        return []
    areas = [_area_of(ring) for ring in rings]
    corners = [shapely.Point(area.bounds[:2]) for area in areas]
    first, second = shapely.STRtree(corners).query(corners, predicate="dwithin", distance=2 * DOUBLE_MM)
    doubles: set[int] = set()
    for i, j in sorted(zip(first.tolist(), second.tolist(), strict=True)):
        if i < j and i not in doubles and areas[i].hausdorff_distance(areas[j]) <= DOUBLE_MM:
            doubles.add(j)
    if doubles:
        findings.append(Finding("doubles", "", f"{len(doubles)} outlines drawn twice were dropped", True))
    return [ring for k, ring in enumerate(rings) if k not in doubles]


def _nested(rings: list[DrawnChain], findings: list[Finding]) -> list[DrawnShape]:
    """Outlines with their holes, in the order drawn."""
    areas = [_area_of(ring) for ring in rings]
    depths, parents = _containment(areas)
    findings += _crossings(rings, areas)
    shapes: list[DrawnShape] = []
    for i, ring in enumerate(rings):
        if depths[i] % 2 == 0:
            holes = [j for j in range(len(rings)) if parents[j] == i and depths[j] % 2 == 1]
            shapes.append(
                DrawnShape(
                    oriented(tuple(ring.vertices), True),
                    tuple(oriented(tuple(rings[j].vertices), False) for j in holes),
                    layer=ring.layer,
                )
            )
    return shapes


def _containment(areas: list[Polygon]) -> tuple[list[int], list[int]]:
    """How many rings lie round each, and the smallest of those (-1 if none)."""
    depths, parents = [0] * len(areas), [-1] * len(areas)
    if areas:
        inner, outer = shapely.STRtree(areas).query([area.representative_point() for area in areas], predicate="within")
        for i, j in zip(inner.tolist(), outer.tolist(), strict=True):
            if areas[j].area > areas[i].area:
                depths[i] += 1
                if parents[i] < 0 or areas[j].area < areas[parents[i]].area:
                    parents[i] = j
    return depths, parents


def _crossings(rings: list[DrawnChain], areas: list[Polygon]) -> list[Finding]:
    """A refusal for every two outlines that cross: what of them is to be cut, only the drawer knows."""
    if not areas:
        return []
    first, second = shapely.STRtree(areas).query(areas, predicate="overlaps")
    findings = []
    for i, j in zip(first.tolist(), second.tolist(), strict=True):
        if i < j and areas[i].intersection(areas[j]).area > DOUBLE_MM:
            at = areas[i].exterior.intersection(areas[j].exterior).representative_point()
            text = f"crosses the outline of {rings[j].where} at ({at.x:.2f}, {at.y:.2f})"
            findings.append(Finding("crossing", rings[i].where, text, False, (at.x, at.y)))
    return findings


def _marked(shapes: list[DrawnShape], marks: Sequence[DrawnChain], findings: list[Finding]) -> list[DrawnShape]:
    """Shapes with the marks that lie in them; marks in no shape are told."""
    areas = [Polygon(dense(shape.outline, True, NEST_SAGITTA_MM)).buffer(DOUBLE_MM) for shape in shapes]
    tree = shapely.STRtree(areas)
    given: dict[int, list[Chain]] = {}
    lost = 0
    for mark in marks:
        line = LineString(dense(mark.vertices, False)) if len(mark.vertices) > 1 else None
        found = tree.query(line, predicate="within").tolist() if line is not None else []
        if found:
            given.setdefault(min(found, key=lambda k: areas[k].area), []).append(_as_chain(mark))
        else:
            lost += 1
    if lost:
        findings.append(Finding("marks", "", f"{lost} marks lie in no outline and are left out", True))
    return [
        DrawnShape(shape.outline, shape.holes, tuple(given.get(k, ())), shape.layer, shape.name)
        for k, shape in enumerate(shapes)
    ]


def _as_chain(mark: DrawnChain) -> Chain:
    first = mark.vertices[0]
    return (*mark.vertices, (first[0], first[1], 0.0)) if mark.closed else tuple(mark.vertices)
