"""DXF drawings, R12 to R2018, ASCII or binary, to chains.

In: a file. Out: chains in mm, y up, and findings. Model space only; blocks are expanded with their scales and mirrors;
layers that are off or frozen stay out, and are told.
"""

from __future__ import annotations

import logging
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import ezdxf
from ezdxf import recover
from ezdxf.document import Drawing
from ezdxf.entities import DXFGraphic, Insert
from ezdxf.math import Matrix44, Vec3

from nesting.drawing.dxf_entities import READERS, Unreadable, entity_chains
from nesting.drawing.intake import MOST_DEPTH, MOST_ENTITIES, Intake, check_size
from nesting.drawing.shapes import DrawnChain, Finding
from nesting.drawing.tracing import Affine
from nesting.drawing.units import UNITS_BY_CODE, mm_per_unit
from nesting.faults import DrawingFault

# What the library has to say of a file is told in findings, not in its log.
logging.getLogger("ezdxf").addHandler(logging.NullHandler())

_TOO_MANY = f"holds more than {MOST_ENTITIES} entities, blocks expanded"
_FEWER = "keep only the outlines to cut"
SOLIDS = frozenset({"3DSOLID", "REGION", "BODY", "SURFACE", "MESH", "ACAD_PROXY_ENTITY", "MLINE"})
"""Geometry that cannot be read; to leave it out silently would lose a piece."""


def dxf_chains(path: Path, intake: Intake) -> tuple[list[DrawnChain], list[Finding]]:
    """Every chain the drawing holds on layers that count, in mm, as drawn."""
    document, damage = _opened(path)
    sight = _Sight(intake)
    chains = list(sight.chains(document))
    code = int(document.header.get("$INSUNITS", 0)) if document.dxfversion > "AC1009" else 0
    factor, told = mm_per_unit(UNITS_BY_CODE.get(code), chains, intake)
    scaled = [_scaled(chain, factor) for chain in chains]
    return scaled, [*damage, *told, *sight.findings(), *_paper_space(document)]


def _opened(path: Path) -> tuple[Drawing, list[Finding]]:
    """The document, one that is damaged as far as the library can recover it, and a finding of the damage."""
    check_size(path)
    damage: list[Finding] = []
    try:
        damage = _cut_short(path)
        return ezdxf.readfile(path), damage
    except OSError as error:
        if error.strerror:
            raise DrawingFault(f"cannot be read ({error.strerror})", mend="check the file's name and rights") from error
    except Exception:  # a broken file can stir up anything in a library: then it is tried once more, with patience
        pass
    try:
        document, auditor = recover.readfile(path)
    except Exception as error:
        raise DrawingFault(
            f"is no DXF drawing that can be read ({str(error)[:120]})",
            mend="export it again as DXF R2010, or as SVG",
        ) from error
    text = f"the file is damaged; what could be recovered was read: faults {len(auditor.errors) + len(auditor.fixes)}"
    return document, [*damage, Finding("damaged", "", text, True)]


def _cut_short(path: Path) -> list[Finding]:
    """A refusal if the file lacks its end mark: what came after the cut is not known."""
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - 256))
        if b"EOF" in file.read():
            return []
    return [Finding("damaged", "", "the file is cut short: entities are missing; send it again", False)]


def _scaled(chain: DrawnChain, factor: float) -> DrawnChain:
    vertices = tuple((x * factor, y * factor, bulge) for x, y, bulge in chain.vertices)
    return DrawnChain(vertices, chain.closed, chain.layer, chain.handle)


def _paper_space(document: Drawing) -> list[Finding]:
    count = sum(
        1 for layout in document.layouts if not layout.is_modelspace for e in layout if e.dxftype() != "VIEWPORT"
    )
    if not count:
        return []
    return [Finding("paper-space", "", f"entities left out: {count} (in paper space)", True)]


@dataclass
class _Sight:
    """Walks the entities and their blocks, and counts what it leaves out and why."""

    intake: Intake
    hidden: Counter[str] = field(default_factory=Counter)
    skipped: Counter[tuple[str, str]] = field(default_factory=Counter)
    unread: list[Finding] = field(default_factory=list)
    seen: int = 0

    def chains(self, document: Drawing) -> Iterator[DrawnChain]:
        self.off = {layer.dxf.name.lower() for layer in document.layers if layer.is_off() or layer.is_frozen()}
        for entity in document.modelspace():
            yield from self._entity(entity, None, None, ())

    def _entity(
        self, entity: DXFGraphic, matrix: Matrix44 | None, layer: str | None, blocks: tuple[str, ...]
    ) -> Iterator[DrawnChain]:
        self.seen += 1
        if self.seen > MOST_ENTITIES:
            raise DrawingFault(_TOO_MANY, mend=_FEWER)
        own = str(entity.dxf.get("layer", "0"))
        layer = layer if own == "0" and layer is not None else own
        if own.lower() in self.off or entity.dxf.get("invisible", 0):
            self.hidden[layer] += 1
        elif isinstance(entity, Insert):
            yield from self._insert(entity, matrix, layer, blocks)
        elif entity.dxftype() not in READERS:
            self._leave_out(entity, layer)
        else:
            yield from self._read(entity, matrix, layer)

    def _read(self, entity: DXFGraphic, matrix: Matrix44 | None, layer: str) -> Iterator[DrawnChain]:
        handle = f"{entity.dxftype()} {entity.dxf.get('handle') or ''}".strip()
        if self.intake.role(layer) == "ignore":
            self.skipped[(layer, "their layer is not cut")] += 1
            return
        try:
            for chain, closed in entity_chains(entity, matrix, Affine()):
                yield DrawnChain(chain, closed, layer, handle)
        except (Unreadable, ezdxf.DXFError, ArithmeticError, ValueError) as error:
            why = str(error) if isinstance(error, Unreadable) else "its figures make no sense"
            self.unread.append(Finding("unreadable", f"layer {layer}, {handle}", f"left out: {why}", False))

    def _insert(
        self, insert: Insert, matrix: Matrix44 | None, layer: str, blocks: tuple[str, ...]
    ) -> Iterator[DrawnChain]:
        name = str(insert.dxf.get("name") or "")
        block = insert.block() if name else None
        where = f"layer {layer}, INSERT {insert.dxf.get('handle') or ''}"
        if block is None:
            self.unread.append(Finding("unreadable", where, f"block {name} is not in the drawing", False))
            return
        if name in blocks or len(blocks) >= MOST_DEPTH:
            raise DrawingFault(
                f"block {name} holds itself, or blocks are nested deeper than {MOST_DEPTH}", where=(where,)
            )
        base = insert.matrix44()
        for offset in _array_offsets(insert, where):
            own = base @ Matrix44.translate(*offset)
            whole = own @ matrix if matrix is not None else own
            for entity in block:
                yield from self._entity(entity, whole, layer, (*blocks, name))

    def _leave_out(self, entity: DXFGraphic, layer: str) -> None:
        kind = entity.dxftype()
        if kind in SOLIDS and self.intake.role(layer) != "ignore":
            where = f"layer {layer}, {kind} {entity.dxf.get('handle') or ''}"
            self.unread.append(Finding("unreadable", where, "cannot be read: turn it into lines and arcs", False))
        else:
            self.skipped[(layer, f"{kind} is no outline")] += 1

    def findings(self) -> list[Finding]:
        told = [
            Finding("hidden", f"layer {layer}", f"entities left out: {count} (switched off or frozen)", True)
            for layer, count in sorted(self.hidden.items())
        ]
        told += [
            Finding("left-out", f"layer {layer}", f"entities left out: {count} ({why})", True)
            for (layer, why), count in sorted(self.skipped.items())
        ]
        return told + self.unread


def _array_offsets(insert: Insert, where: str) -> Iterator[Vec3]:
    """Where the copies of a block array lie from the first, in the drawing's directions."""
    rows, columns = (max(1, int(insert.dxf.get(key, 1))) for key in ("row_count", "column_count"))
    down, along = (float(insert.dxf.get(key, 0.0)) for key in ("row_spacing", "column_spacing"))
    rows, columns = rows if down else 1, columns if along else 1
    if rows * columns > MOST_ENTITIES:
        raise DrawingFault(_TOO_MANY, mend=_FEWER, where=(where,))
    plane, turn = insert.ocs(), float(insert.dxf.get("rotation", 0.0))
    for row in range(rows):
        for column in range(columns):
            yield plane.to_wcs(Vec3(column * along, row * down).rotate_deg(turn))
