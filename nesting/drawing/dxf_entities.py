"""DXF entities to chains of lines and arcs.

In: entities of an ezdxf document. Out: chains in the drawing's own units, through each entity's own frame and the
chain of block references above it; nothing is healed here. Projected along z onto the plane.
Sources: DXF reference for flags, bulges and the arbitrary-axis frame; ezdxf for splines and block matrices.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import cast

import numpy as np
from ezdxf.entities import (
    Arc,
    Circle,
    DXFEntity,
    DXFGraphic,
    Ellipse,
    Face3d,
    Hatch,
    Line,
    LWPolyline,
    Polyline,
    Solid,
    Spline,
)
from ezdxf.entities.boundary_paths import ArcEdge, EdgePath, EllipseEdge, LineEdge, PolylinePath, SplineEdge
from ezdxf.math import OCS, BSpline, ConstructionEllipse, Matrix44, Vec3

from nesting.curves import Segment
from nesting.drawing import kernels
from nesting.drawing.dxf_text import text_paths
from nesting.drawing.fitting import Points
from nesting.drawing.tracing import Affine, Curve, Stroke, arc_strokes, traced
from nesting.model import Chain, Point

Path = tuple[list[Stroke], bool]
"""Strokes end to start, in the entity's own plane, and whether they close."""


class Unreadable(Exception):
    """An entity that holds nothing usable; the words say why."""


# ── frames ───────────────────────────────────────────────────────────────────────────────────────────────────


def plane_map(matrix: Matrix44 | None, extrusion: Vec3, elevation: float) -> Affine:
    """From an entity's plane (extrusion and height above its origin) through a block matrix to the drawing's plane."""
    upright = extrusion.isclose((0, 0, 1))
    if upright and matrix is None:
        return Affine()
    frame = OCS(extrusion).matrix if not upright else Matrix44()
    whole = frame @ matrix if matrix is not None else frame
    m = list(whole)
    return Affine(m[0], m[4], m[1], m[5], m[8] * elevation + m[12], m[9] * elevation + m[13])


# ── curves ───────────────────────────────────────────────────────────────────────────────────────────────────


def degrees_arc(centre: Point, radius: float, start_deg: float, end_deg: float) -> list[Stroke]:
    """An arc counter-clockwise from start to end; equal angles are a full circle."""
    sweep = (end_deg - start_deg) % 360.0
    return [*arc_strokes(centre, radius, math.radians(start_deg), math.radians(sweep if sweep > 1e-9 else 360.0))]


def ellipse_curve(ellipse: ConstructionEllipse) -> Curve:
    """The arc of an ellipse by its parameter, radians; equal ends are the whole of it."""
    centre, major, minor = ellipse.center, ellipse.major_axis, ellipse.minor_axis
    start = ellipse.start_param
    span = (ellipse.end_param - start) % math.tau
    span = math.tau if span < 1e-9 else span

    def curve(t: Points) -> Points:
        cos, sin = np.cos(t), np.sin(t)
        return np.column_stack(
            [centre.x + major.x * cos + minor.x * sin, centre.y + major.y * cos + minor.y * sin],
        )

    return Curve(curve, start, start + span)


def spline_curves(spline: BSpline) -> list[Curve]:
    """One curve per knot span: inside a span a spline is smooth, between spans it may kink."""
    knots = np.array(spline.knots(), dtype=float)
    weights = np.array(spline.weights() or [1.0] * spline.count, dtype=float)
    control = np.array([(p.x, p.y, 1.0) for p in spline.control_points], dtype=float) * weights[:, None]
    inside = knots[spline.order - 1 : spline.count + 1]
    if not np.isfinite(knots).all() or not inside[-1] > inside[0]:
        raise Unreadable("its knots span nothing")

    def curve(span: int) -> Curve:
        at = partial(kernels.spline_points, knots=knots, control=control, span=span)
        return Curve(at, float(knots[span]), float(knots[span + 1]))

    spans = range(spline.order - 1, spline.count)
    return [curve(span) for span in spans if knots[span + 1] - knots[span] > 1e-12]


def bulge_strokes(corners: list[tuple[float, float, float]], closed: bool) -> list[Stroke]:
    """Lines and arcs from corner to corner (x, y, bulge), drawing units; corners that repeat are passed over."""
    following = [*corners[1:], corners[0]] if closed else corners[1:]
    pairs = zip(corners, following, strict=False)
    return [Segment(v[:2], w[:2], v[2]) for v, w in pairs if v[:2] != w[:2]]


# ── entities ─────────────────────────────────────────────────────────────────────────────────────────────────


def _line(entity: DXFEntity) -> Iterator[Path]:
    dxf = cast(Line, entity).dxf
    yield [Segment((dxf.start.x, dxf.start.y), (dxf.end.x, dxf.end.y), 0.0)], False


def _circle(entity: DXFEntity) -> Iterator[Path]:
    dxf = cast(Circle, entity).dxf
    if not abs(dxf.radius) > 0:
        raise Unreadable("its radius is 0")
    yield [*arc_strokes((dxf.center.x, dxf.center.y), abs(dxf.radius), 0.0, math.tau)], True


def _arc(entity: DXFEntity) -> Iterator[Path]:
    dxf = cast(Arc, entity).dxf
    if not abs(dxf.radius) > 0:
        raise Unreadable("its radius is 0")
    full = abs((dxf.end_angle - dxf.start_angle) % 360.0) < 1e-9
    yield degrees_arc((dxf.center.x, dxf.center.y), abs(dxf.radius), dxf.start_angle, dxf.end_angle), full


def _ellipse(entity: DXFEntity) -> Iterator[Path]:
    curve = ellipse_curve(cast(Ellipse, entity).construction_tool())
    yield [curve], _meet([curve])


def _lwpolyline(entity: DXFEntity) -> Iterator[Path]:
    polyline = cast(LWPolyline, entity)
    corners = [(float(x), float(y), float(b)) for x, y, b in polyline.get_points("xyb")]
    if len(corners) < 2:
        raise Unreadable("it has fewer than two points")
    yield bulge_strokes(corners, polyline.closed), polyline.closed


SPLINE_FRAME = 16
"""Vertex flag: a control point of a curve-fitted polyline, not a point of it."""


def _polyline(entity: DXFEntity) -> Iterator[Path]:
    polyline = cast(Polyline, entity)
    if polyline.is_polygon_mesh or polyline.is_poly_face_mesh:
        raise Unreadable("it is a mesh in space")
    vertices = [v.dxf for v in polyline.vertices if not v.dxf.flags & SPLINE_FRAME]
    if len(vertices) < 2:
        raise Unreadable("it has fewer than two points")
    if polyline.is_3d_polyline and max(v.location.z for v in vertices) - min(v.location.z for v in vertices) > 1e-6:
        raise Unreadable("it does not lie flat: its points differ in z")
    bulged = not polyline.is_3d_polyline
    corners = [(v.location.x, v.location.y, float(v.get("bulge", 0.0)) if bulged else 0.0) for v in vertices]
    yield bulge_strokes(corners, polyline.is_closed), polyline.is_closed


def _spline(entity: DXFEntity) -> Iterator[Path]:
    spline = cast(Spline, entity)
    try:
        tool = spline.construction_tool()
    except (ValueError, ZeroDivisionError, IndexError) as error:
        raise Unreadable(f"its control points make no curve ({error})") from error
    curves = spline_curves(tool)
    yield list(curves), _meet(curves) or bool(spline.closed)


def _meet(curves: Sequence[Curve]) -> bool:
    """Whether the last curve ends where the first begins."""
    first = curves[0].at(np.array([curves[0].start]))[0].tolist()
    last = curves[-1].at(np.array([curves[-1].end]))[0].tolist()
    return bool(math.dist(first, last) < 1e-9 * (1 + max(map(abs, first))))


def _solid(entity: DXFEntity) -> Iterator[Path]:
    corners = [(p.x, p.y, 0.0) for p in cast("Solid | Face3d", entity).wcs_vertices()]
    yield bulge_strokes(corners, True), True


def _hatch(entity: DXFEntity) -> Iterator[Path]:
    for boundary in cast(Hatch, entity).paths:
        if isinstance(boundary, PolylinePath):
            corners = [(float(x), float(y), float(b)) for x, y, b in boundary.vertices]
            if len(corners) > 1:
                yield bulge_strokes(corners, True), True
        elif isinstance(boundary, EdgePath):
            strokes = [stroke for edge in boundary.edges for stroke in _edge_strokes(edge)]
            if strokes:
                yield strokes, True


def _edge_strokes(edge: object) -> list[Stroke]:
    if isinstance(edge, LineEdge):
        return [Segment((edge.start.x, edge.start.y), (edge.end.x, edge.end.y), 0.0)]
    if isinstance(edge, ArcEdge):
        strokes: list[Stroke] = degrees_arc(
            (edge.center.x, edge.center.y), edge.radius, edge.start_angle, edge.end_angle
        )
        return strokes if edge.ccw else backwards(strokes)
    if isinstance(edge, EllipseEdge):
        curve: list[Stroke] = [ellipse_curve(edge.construction_tool())]
        return curve if edge.ccw else backwards(curve)
    if isinstance(edge, SplineEdge):
        return list(spline_curves(edge.construction_tool()))
    return []


def backwards(strokes: list[Stroke]) -> list[Stroke]:
    """The same path, run from its end to its start."""
    return [_backwards(stroke) for stroke in reversed(strokes)]


def _backwards(stroke: Stroke) -> Stroke:
    if isinstance(stroke, Segment):
        return Segment(stroke.b, stroke.a, -stroke.bulge or 0.0)
    return Curve(stroke.at, stroke.end, stroke.start) if isinstance(stroke, Curve) else stroke[::-1]


READERS: dict[str, Callable[[DXFEntity], Iterator[Path]]] = {
    "LINE": _line,
    "CIRCLE": _circle,
    "ARC": _arc,
    "ELLIPSE": _ellipse,
    "LWPOLYLINE": _lwpolyline,
    "POLYLINE": _polyline,
    "SPLINE": _spline,
    "HELIX": _spline,
    "SOLID": _solid,
    "TRACE": _solid,
    "3DFACE": _solid,
    "HATCH": _hatch,
    "MPOLYGON": _hatch,
}

OWN_PLANE = frozenset({"CIRCLE", "ARC", "LWPOLYLINE", "POLYLINE", "HATCH", "MPOLYGON", "TEXT", "ATTRIB"})
"""Entities whose coordinates are in their own plane; the others speak the drawing's."""


def entity_chains(entity: DXFGraphic, matrix: Matrix44 | None, mm: float) -> Iterator[tuple[Chain, bool]]:
    """Chains of one entity in mm and whether each closes; `mm` is what one drawing unit is. Raises Unreadable."""
    kind = entity.dxftype()
    affine = plane_map(matrix, *_own_plane(entity, kind)).then(Affine(a=mm, d=mm))
    if affine.flattens:
        raise Unreadable("it stands on edge, or its block is scaled to nothing")
    paths = READERS[kind](entity) if kind in READERS else text_paths(entity, math.sqrt(abs(affine.determinant)))
    for strokes, closed in paths:
        chain = traced([affine.stroke(stroke) for stroke in strokes])
        yield (chain[:-1] if closed and chain[0][:2] == chain[-1][:2] else chain), closed


def _own_plane(entity: DXFGraphic, kind: str) -> tuple[Vec3, float]:
    """The direction the entity's plane faces, and its height above the origin along that."""
    if kind not in OWN_PLANE:
        return Vec3(0, 0, 1), 0.0
    extrusion = Vec3(entity.dxf.get("extrusion", (0, 0, 1)))
    at = {"CIRCLE": "center", "ARC": "center", "TEXT": "insert", "ATTRIB": "insert"}.get(kind, "elevation")
    height = entity.dxf.get(at, 0.0)
    return extrusion, float(height.z if isinstance(height, Vec3) else height)
