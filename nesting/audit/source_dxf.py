"""A source drawing read afresh: what the job wants cut, as linework, without the planner's reader.

In: a DXF file and what the job says of it. Out: Linework in mm; NotCompared says why there is none.
Method: ezdxf opens blocks and flattens curves, arcs are followed as in the pass drawings; the unit is decided by the
rules of docs/drawings.md, stated here a second time.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from ezdxf import filemanagement, recover
from ezdxf import path as dxf_path
from ezdxf.document import Drawing as Document
from ezdxf.entities.boundary_paths import AbstractBoundaryPath, ArcEdge, EdgePath, LineEdge, PolylinePath
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.entities.ellipse import Ellipse
from ezdxf.entities.hatch import Hatch
from ezdxf.entities.insert import Insert
from ezdxf.entities.spline import Spline

from nesting.audit import linework
from nesting.audit.drawings import vertices_of
from nesting.audit.linework import CHORD_MM, Floats
from nesting.audit.source_lines import MM_PER_NAME, Linework, NotCompared, bounded, mm_per_unit, role
from nesting.audit.source_lines import linework as linework_of
from nesting.model import PieceOrder

DEPTH_MAX = 16
LEAST_MM, MOST_MM = 1.0, 20_000.0
"""A drawing that would be smaller or larger with its own unit names the wrong one."""
MM_PER_CODE = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 10: 914.4, 13: 0.001, 14: 100.0}
"""$INSUNITS of the DXF reference, as far as signs are drawn in them."""
FOLLOWED = frozenset(
    {"LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE", "SOLID", "TRACE", "HATCH"}
)
NO_OUTLINE = frozenset({"POINT", "DIMENSION", "TEXT", "MTEXT", "ATTRIB", "ATTDEF", "LEADER", "VIEWPORT", "IMAGE"})


def read_dxf(path: Path, order: PieceOrder) -> Linework:
    """What a job's entry wants cut of a DXF drawing. Raises NotCompared."""
    if order.text:
        raise NotCompared("live text is not compared")
    try:
        document = _opened(path)
        drawn = bounded(_lines(document, order))
    except NotCompared:
        raise
    except Exception as error:  # whatever a damaged drawing stirs up means the same: it cannot be compared
        raise NotCompared(f"the drawing cannot be read again ({str(error)[:80]})") from error
    factor = _mm_per_unit(document, order, max(np.ptp(np.vstack(drawn), axis=0)))
    return linework_of(points * factor for points in drawn)


def _opened(path: Path) -> Document:
    try:
        return filemanagement.readfile(path)
    except Exception:  # a drawing that is damaged is read as far as it can be, as the planner does
        return recover.readfile(path)[0]


def _mm_per_unit(document: Document, order: PieceOrder, extent: float) -> float:
    named = mm_per_unit(order)
    if named is not None:
        return named * order.scale
    code = _code(document)
    if code not in (0, *MM_PER_CODE):
        raise NotCompared(f"unit {code} of the drawing is not known here")
    tried = ([MM_PER_CODE[code]] if code else []) + [1.0, 25.4, 1000.0, 0.001]
    plausible = [factor for factor in tried if LEAST_MM <= extent * factor <= MOST_MM]
    return (plausible or tried)[0] * order.scale


def _code(document: Document) -> int:
    return int(document.header.get("$INSUNITS", 0)) if document.dxfversion > "AC1009" else 0


def _lines(document: Document, order: PieceOrder) -> Iterator[Floats]:
    """Points (n, 2) of every line to cut, in drawing units."""
    hidden = {layer.dxf.name.lower() for layer in document.layers if layer.is_off() or layer.is_frozen()}
    named = MM_PER_NAME.get(order.units or "") or MM_PER_CODE.get(_code(document), 1.0)
    close = CHORD_MM / (max(named, 1.0) * max(order.scale, 1.0))
    for entity, layer in _entities(iter(document.modelspace()), None, hidden, 0):
        if role(layer or "0", order) != "cut" or entity.dxftype() in NO_OUTLINE:
            continue
        if entity.dxftype() not in FOLLOWED:
            raise NotCompared(f"{entity.dxftype()} entities are not compared")
        for points in _boundaries(entity, close) if isinstance(entity, Hatch) else (_points(entity, close),):
            if len(points) > 1 and np.isfinite(points).all() and np.ptp(points, axis=0).max() > 0:
                yield points


def _points(entity: DXFGraphic, close: float) -> Floats:
    """The entity as close-set points; one that faces down or is a solid by way of the library's paths."""
    vertices, closed = vertices_of(entity)
    if vertices is not None and len(vertices) > 1:
        return _traced(vertices, closed, close)
    if isinstance(entity, Ellipse | Spline):
        return np.array([(at.x, at.y) for at in entity.flattening(close)], dtype=float).reshape(-1, 2)
    return _flattened(dxf_path.make_path(entity), close)


def _traced(vertices: Floats, closed: bool, close: float) -> Floats:
    mm = CHORD_MM / close
    return linework.trace(vertices * (mm, mm, 1.0), closed).points / mm


def _boundaries(hatch: Hatch, close: float) -> Iterator[Floats]:
    """The edges of a hatch; lines and arcs are followed here, the rest by way of the library's paths."""
    faces_up = bool(hatch.dxf.extrusion.isclose((0, 0, 1)))
    for boundary in hatch.paths:
        corners = _corners(boundary) if faces_up else None
        if corners is not None:
            yield _traced(corners, True, close)
        else:
            yield _flattened(dxf_path.from_hatch_boundary_path(boundary, hatch.ocs(), hatch.dxf.elevation.z), close)


def _corners(boundary: AbstractBoundaryPath) -> Floats | None:
    """Vertices (n, 3) of a boundary of lines and arcs in their order; None if it has other edges."""
    if isinstance(boundary, PolylinePath):
        return np.array(boundary.vertices, dtype=float).reshape(-1, 3)
    corners: list[tuple[float, float, float]] = []
    for edge in boundary.edges if isinstance(boundary, EdgePath) else ():
        if isinstance(edge, LineEdge):
            corners.append((edge.start.x, edge.start.y, 0.0))
        elif isinstance(edge, ArcEdge):
            corners += _half_arcs(edge)
        else:
            return None
    return np.array(corners, dtype=float).reshape(-1, 3)


def _half_arcs(edge: ArcEdge) -> Iterator[tuple[float, float, float]]:
    """An arc as two, for a whole circle is no single bulge; against the clock if it is drawn so."""
    sweep = math.radians((edge.end_angle - edge.start_angle) % 360.0 or 360.0)
    sense = 1.0 if edge.ccw else -1.0
    first = math.radians(edge.start_angle if edge.ccw else edge.end_angle)
    for angle in (first, first + sense * sweep / 2):
        x, y = edge.center.x + edge.radius * math.cos(angle), edge.center.y + edge.radius * math.sin(angle)
        yield x, y, sense * math.tan(sweep / 8)


def _flattened(path: dxf_path.Path, close: float) -> Floats:
    return np.array([(at.x, at.y) for at in path.flattening(close)], dtype=float).reshape(-1, 2)


def _entities(
    found: Iterator[DXFGraphic], within: str | None, hidden: set[str], depth: int
) -> Iterator[tuple[DXFGraphic, str]]:
    """Each entity with its layer, blocks opened; layer 0 in a block is the layer that the block is on."""
    for entity in found:
        own = str(entity.dxf.get("layer", "0"))
        layer = within if own == "0" and within is not None else own
        if own.lower() in hidden or entity.dxf.get("invisible", 0):
            continue
        if not isinstance(entity, Insert):
            yield entity, layer
        elif depth == DEPTH_MAX:
            raise NotCompared("its blocks lie too deep in each other")
        else:
            for insert in entity.multi_insert():
                yield from _entities(insert.virtual_entities(), layer, hidden, depth + 1)
