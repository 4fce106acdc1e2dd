"""Pass drawings read back: what the machine will run, in the order it will run it.

In: a DXF file of the plan folder. Out: a Drawing, chains of vertices (x_mm, y_mm, bulge) by layer, bed frame, and the
flaws found on the way; a drawing that cannot be read is a Drawing with no chains and one flaw.
Method: ezdxf reads and audits; lines, arcs, circles and flat polylines are followed, anything else is a flaw.
"""

from __future__ import annotations

import logging
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from ezdxf import filemanagement
from ezdxf.document import Drawing as Document
from ezdxf.entities.arc import Arc
from ezdxf.entities.circle import Circle
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.entities.line import Line
from ezdxf.entities.lwpolyline import LWPolyline
from ezdxf.entities.polyline import Polyline

from nesting.audit.checks import Flaw
from nesting.audit.linework import Floats

# What the reader logs about a damaged file comes back as flaws.
logging.getLogger("ezdxf").addHandler(logging.NullHandler())

RUN_LAYERS: Final = ("CUT", "MARK", "LINEUP")
NOTE_LAYERS: Final = ("NOTE_SHEET", "NOTE_REACH", "NOTE_FIND")
FILE_BYTES_MAX = 20_000_000
ENTITIES_MAX = 20_000
MILLIMETRES = 4
"""$INSUNITS for millimetres, DXF reference."""


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """One entity to run: its layer, its place in the file's order, its vertices (n, 3) in the bed frame."""

    layer: str
    index: int
    vertices: Floats
    closed: bool


@dataclass(frozen=True, slots=True, eq=False)
class Drawing:
    """What one file holds and what is wrong with it."""

    name: str
    chains: tuple[Chain, ...]
    flaws: tuple[Flaw, ...]


def read_drawing(path: Path) -> Drawing:
    """Read one pass or trim drawing; nothing in it can raise."""
    if not path.is_file() or path.resolve().parent != path.parent.resolve():
        return _unreadable(path, "the drawing is not in the plan folder")
    if path.stat().st_size > FILE_BYTES_MAX:
        return _unreadable(path, f"the drawing is over {FILE_BYTES_MAX // 1_000_000} MB")
    try:
        document = filemanagement.readfile(path)
        auditor = document.audit()
        entities = list(document.modelspace())[: ENTITIES_MAX + 1]
        chains, flaws = _followed(entities, path.name)
        flaws = [*_document_flaws(document, len(entities), path.name), *flaws]
    except Exception as error:
        # A damaged file makes the reader stumble in any way it can; all of them mean the same to the person.
        return _unreadable(path, f"the drawing cannot be read: {error}")
    for finding in (*auditor.errors, *auditor.fixes):
        flaws.append(Flaw(path.name, f"damaged drawing: {finding.message}"))
    return Drawing(path.name, tuple(chains), tuple(flaws))


def _unreadable(path: Path, words: str) -> Drawing:
    return Drawing(path.name, (), (Flaw(path.name, words),))


def _document_flaws(document: Document, entities: int, name: str) -> Iterator[Flaw]:
    if document.header.get("$INSUNITS", 0) != MILLIMETRES:
        yield Flaw(name, "the drawing is not in millimetres ($INSUNITS is not 4)")
    if entities > ENTITIES_MAX:
        yield Flaw(name, f"the drawing has over {ENTITIES_MAX} entities")
    for layer in document.layers:
        if layer.dxf.name in RUN_LAYERS and (layer.is_off() or layer.is_frozen()):
            yield Flaw(name, f"layer {layer.dxf.name} is switched off or frozen")


def _followed(entities: list[DXFGraphic], name: str) -> tuple[list[Chain], list[Flaw]]:
    chains: list[Chain] = []
    flaws: list[Flaw] = []
    for index, entity in enumerate(entities):
        layer = entity.dxf.layer
        if layer not in (*RUN_LAYERS, *NOTE_LAYERS):
            flaws.append(Flaw(name, f"an entity on layer {layer}, which is none of a pass drawing's layers"))
            continue
        vertices, closed = vertices_of(entity)
        if vertices is None or len(vertices) < 2 or not np.isfinite(vertices).all() or np.abs(vertices).max() > 1e6:
            if layer in RUN_LAYERS:  # notes may hold words
                flaws.append(Flaw(name, f"{entity.dxftype()} number {index + 1} on layer {layer} cannot be followed"))
        else:
            chains.append(Chain(layer, index, vertices, closed))
    return chains, flaws


def vertices_of(entity: DXFGraphic) -> tuple[Floats | None, bool]:
    """Vertices (n, 3) and whether they close; None if the entity is of another kind or does not lie flat, face up."""
    if entity.dxf.hasattr("extrusion") and not entity.dxf.extrusion.isclose((0, 0, 1)):
        return None, False
    if isinstance(entity, LWPolyline):
        return np.asarray(entity.get_points("xyb"), dtype=float).reshape(-1, 3), bool(entity.closed)
    if isinstance(entity, Polyline) and entity.is_2d_polyline:
        corners = [(at.dxf.location.x, at.dxf.location.y, at.dxf.get("bulge", 0.0)) for at in entity.vertices]
        return np.array(corners, dtype=float).reshape(-1, 3), bool(entity.is_closed)
    if isinstance(entity, Line):
        ends = (entity.dxf.start, entity.dxf.end)
        return np.array([(end.x, end.y, 0.0) for end in ends]), False
    if isinstance(entity, Arc):  # an Arc is also a Circle: it comes first
        sweep = math.radians((entity.dxf.end_angle - entity.dxf.start_angle) % 360.0)
        bulge = math.tan(sweep / 4.0)
        return np.array([(entity.start_point.x, entity.start_point.y, bulge), (*entity.end_point.vec2, 0.0)]), False
    if isinstance(entity, Circle):
        x, y, radius = entity.dxf.center.x, entity.dxf.center.y, entity.dxf.radius
        return np.array([(x - radius, y, 1.0), (x + radius, y, 1.0)]), True
    return None, False
