"""A source drawing read afresh: what the job wants cut, as linework, without the planner's reader.

In: a DXF file and what the job says of it. Out: Linework in mm; NotCompared says why there is none.
Method: ezdxf opens blocks and flattens curves, arcs are followed as in the pass drawings; roles of layers and the unit
are decided by the rules of docs/drawings.md, stated here a second time.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np
from ezdxf import filemanagement, recover
from ezdxf import path as dxf_path
from ezdxf.document import Drawing as Document
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.entities.ellipse import Ellipse
from ezdxf.entities.insert import Insert
from ezdxf.entities.spline import Spline
from shapely import STRtree
from shapely.geometry import LineString, Point

from nesting.audit import linework
from nesting.audit.drawings import vertices_of
from nesting.audit.linework import CHORD_MM, Floats
from nesting.model import PieceOrder

LINES_MAX = 20_000
DEPTH_MAX = 16
MEET_MM = 0.05
"""Ends nearer than this meet."""
LEAST_MM, MOST_MM = 1.0, 20_000.0
"""A drawing that would be smaller or larger with its own unit names the wrong one."""
MM_PER_CODE = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 10: 914.4, 13: 0.001, 14: 100.0}
"""$INSUNITS of the DXF reference, as far as signs are drawn in them."""
MM_PER_NAME = {"inch": 25.4, "foot": 304.8, "mm": 1.0, "cm": 10.0, "m": 1000.0, "yard": 914.4, "micron": 0.001}
MARKED = ("mark", "engrav", "etch", "score", "scribe")
LEFT_OUT = ("note", "dim", "text", "defpoints", "lineup", "construction", "frame", "title", "guide", "ignore")
FOLLOWED = frozenset({"LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE", "SOLID", "TRACE"})
NO_OUTLINE = frozenset({"POINT", "DIMENSION", "TEXT", "MTEXT", "ATTRIB", "ATTDEF", "LEADER", "VIEWPORT", "IMAGE"})


class NotCompared(Exception):
    """Why a drawing cannot be compared with its pieces."""


@dataclass(frozen=True, slots=True, eq=False)
class Linework:
    """All that a drawing wants cut, mm; `loose` are ends that meet no other."""

    lines: tuple[LineString, ...]
    loose: tuple[Point, ...]


def read_source(path: Path, order: PieceOrder) -> Linework:
    """What a job's entry wants cut of its drawing. Raises NotCompared."""
    if path.suffix.lower() != ".dxf":
        raise NotCompared("only DXF drawings are compared")
    if order.text:
        raise NotCompared("live text is not compared")
    try:
        document = _opened(path)
        drawn = list(islice(_lines(document, order), LINES_MAX + 1))
    except NotCompared:
        raise
    except Exception as error:  # whatever a damaged drawing stirs up means the same: it cannot be compared
        raise NotCompared(f"the drawing cannot be read again ({str(error)[:80]})") from error
    if not 0 < len(drawn) <= LINES_MAX:
        raise NotCompared(f"the drawing holds {'no' if not drawn else f'more than {LINES_MAX}'} lines to cut")
    factor = _mm_per_unit(document, order, max(np.ptp(np.vstack(drawn), axis=0)))
    lines = tuple(LineString(points * factor) for points in drawn)
    return Linework(lines, tuple(_loose_ends(lines)))


def _opened(path: Path) -> Document:
    try:
        return filemanagement.readfile(path)
    except Exception:  # a drawing that is damaged is read as far as it can be, as the planner does
        return recover.readfile(path)[0]


def _mm_per_unit(document: Document, order: PieceOrder, extent: float) -> float:
    if order.units is not None:
        if order.units not in MM_PER_NAME:
            raise NotCompared(f"the unit {order.units} is not known here")
        return MM_PER_NAME[order.units] * order.scale
    code = _code(document)
    if code not in (0, *MM_PER_CODE):
        raise NotCompared(f"unit {code} of the drawing is not known here")
    tried = ([MM_PER_CODE[code]] if code else []) + [1.0, 25.4, 1000.0, 0.001]
    plausible = [factor for factor in tried if LEAST_MM <= extent * factor <= MOST_MM]
    return (plausible or tried)[0] * order.scale


def _code(document: Document) -> int:
    return int(document.header.get("$INSUNITS", 0)) if document.dxfversion > "AC1009" else 0


def _role(layer: str, order: PieceOrder) -> str:
    """`cut`, `mark` or `ignore`: as the job says, else by the words in the layer's name."""
    name = layer.lower()
    if name in [asked.lower() for asked in order.mark_layers]:
        return "mark"
    if name in [asked.lower() for asked in order.ignore_layers]:
        return "ignore"
    if order.layer is not None:
        return "cut" if name == order.layer.lower() else "ignore"
    if any(word in name for word in MARKED):
        return "mark"
    return "ignore" if any(word in name for word in LEFT_OUT) else "cut"


def _lines(document: Document, order: PieceOrder) -> Iterator[Floats]:
    """Points (n, 2) of every line to cut, in drawing units."""
    hidden = {layer.dxf.name.lower() for layer in document.layers if layer.is_off() or layer.is_frozen()}
    named = MM_PER_NAME.get(order.units or "") or MM_PER_CODE.get(_code(document), 1.0)
    close = CHORD_MM / (max(named, 1.0) * max(order.scale, 1.0))
    for entity, layer in _entities(iter(document.modelspace()), None, hidden, 0):
        if _role(layer, order) != "cut" or entity.dxftype() in NO_OUTLINE:
            continue
        if entity.dxftype() not in FOLLOWED:
            raise NotCompared(f"{entity.dxftype()} entities are not compared")
        points = _points(entity, close)
        if len(points) > 1 and np.isfinite(points).all() and np.ptp(points, axis=0).max() > 0:
            yield points


def _points(entity: DXFGraphic, close: float) -> Floats:
    """The entity as close-set points; one that faces down or is a solid by way of the library's paths."""
    vertices, closed = vertices_of(entity)
    if vertices is not None and len(vertices) > 1:
        mm = CHORD_MM / close
        return linework.trace(vertices * (mm, mm, 1.0), closed).points / mm
    if isinstance(entity, Ellipse | Spline):
        found = list(entity.flattening(close))
    else:
        found = list(dxf_path.make_path(entity).flattening(close))
    return np.array([(at.x, at.y) for at in found], dtype=float).reshape(-1, 2)


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


def _loose_ends(lines: tuple[LineString, ...]) -> Iterator[Point]:
    ends = [Point(line.coords[k]) for line in lines if line.coords[0] != line.coords[-1] for k in (0, -1)]
    tree = STRtree(ends)
    for end in ends:
        if len(tree.query(end, predicate="dwithin", distance=MEET_MM)) < 2:
            yield end
