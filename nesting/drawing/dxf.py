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
from ezdxf.entities import DXFEntity, DXFGraphic, Insert, MLine
from ezdxf.math import Matrix44

from nesting.drawing.dxf_blocks import array_offsets, block_name, block_of, refuse_floods
from nesting.drawing.dxf_entities import READERS, Unreadable, entity_chains
from nesting.drawing.dxf_text import TEXTS
from nesting.drawing.intake import MOST_ENTITIES, Intake, check_size, clean_name
from nesting.drawing.shapes import DrawnChain, Finding
from nesting.drawing.units import MM_PER_UNIT, UNITS_BY_CODE, extent_of, mm_per_unit
from nesting.faults import DrawingFault

# What the library has to say of a file is told in findings, not in its log.
logging.getLogger("ezdxf").addHandler(logging.NullHandler())

MOST_RECORDS = 4 * MOST_ENTITIES
"""Entities, their vertices, table entries; the library loads some 30,000 a second."""
SOLIDS = frozenset({"3DSOLID", "REGION", "BODY", "SURFACE", "MESH", "ACAD_PROXY_ENTITY"})
"""Geometry that cannot be read; to leave it out silently would lose a piece."""


def dxf_chains(path: Path, intake: Intake) -> tuple[list[DrawnChain], list[Finding]]:
    """Every chain the drawing holds on layers that count, in mm, as drawn."""
    document, damage = _opened(path)
    refuse_floods(document.modelspace())
    code = int(document.header.get("$INSUNITS", 0)) if document.dxfversion > "AC1009" else 0
    named = UNITS_BY_CODE.get(code)
    # Curves are fitted to hundredths of a mm, so the unit must be known first: tried, measured, read again if wrong.
    tried = MM_PER_UNIT.get(intake.units or named or "mm", 1.0) * intake.scale
    sight = _Sight(intake, tried)
    chains = list(sight.chains(document))
    factor, told = mm_per_unit(named, extent_of(chains) / tried, intake)
    if factor != tried:
        sight = _Sight(intake, factor)
        chains = list(sight.chains(document))
    return chains, [*damage, *told, *sight.findings(), *_paper_space(document)]


def _opened(path: Path) -> tuple[Drawing, list[Finding]]:
    """The document, one that is damaged as far as the library can recover it, and a finding of the damage."""
    check_size(path)
    try:
        _refuse_length(path)
        damage = _cut_short(path)
    except OSError as error:
        raise DrawingFault(f"cannot be read ({error.strerror})", mend="check the file's name and rights") from error
    try:
        return ezdxf.readfile(path), damage
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


def _refuse_length(path: Path) -> None:
    """DrawingFault if the file holds so many records that only to load them would take minutes."""
    records = 0
    with path.open("rb") as file:
        while piece := file.read(1 << 22):
            records += piece.count(b"\n  0\n") + piece.count(b"\n  0\r\n")
    if records > MOST_RECORDS:
        raise DrawingFault(
            f"holds more than {MOST_RECORDS} records", mend="keep only the outlines to cut, and purge the drawing"
        )


def _cut_short(path: Path) -> list[Finding]:
    """A refusal if the file lacks its end mark: what came after the cut is not known."""
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - 256))
        if b"EOF" in file.read():
            return []
    return [Finding("damaged", "", "the file is cut short: entities are missing; send it again", False)]


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
    mm: float
    hidden: Counter[str] = field(default_factory=Counter)
    skipped: Counter[tuple[str, str]] = field(default_factory=Counter)
    unread: list[Finding] = field(default_factory=list)
    off: frozenset[str] = frozenset()

    def chains(self, document: Drawing) -> Iterator[DrawnChain]:
        self.off = frozenset(layer.dxf.name.lower() for layer in document.layers if layer.is_off() or layer.is_frozen())
        for entity in document.modelspace():
            yield from self._entity(entity, None, None)

    def _entity(self, entity: DXFEntity, matrix: Matrix44 | None, layer: str | None) -> Iterator[DrawnChain]:
        if not isinstance(entity, DXFGraphic) or not entity.dxf.is_supported("layer"):
            self.skipped[(layer or "0", f"{entity.dxftype()} is no outline")] += 1
            return
        drawn = str(entity.dxf.get("layer", "0"))
        layer = layer if drawn == "0" and layer is not None else clean_name(drawn)
        if drawn.lower() in self.off or entity.dxf.get("invisible", 0):
            self.hidden[layer] += 1
        elif isinstance(entity, Insert):
            yield from self._insert(entity, matrix, layer)
        elif isinstance(entity, MLine):
            for line in entity.virtual_entities():
                yield from self._read(line, matrix, layer)
        elif entity.dxftype() in READERS or (self.intake.text and entity.dxftype() in TEXTS):
            yield from self._read(entity, matrix, layer)
        else:
            self._leave_out(entity, layer)

    def _read(self, entity: DXFGraphic, matrix: Matrix44 | None, layer: str) -> Iterator[DrawnChain]:
        handle = clean_name(f"{entity.dxftype()} {entity.dxf.get('handle') or ''}".strip())
        if self.intake.role(layer) == "ignore":
            self.skipped[(layer, "their layer is not cut")] += 1
            return
        try:
            for chain, closed in entity_chains(entity, matrix, self.mm):
                yield DrawnChain(chain, closed, layer, handle)
        except (Unreadable, ezdxf.DXFError, DrawingFault, ArithmeticError, ValueError) as error:
            known = isinstance(error, (Unreadable, DrawingFault))
            why = str(error).splitlines()[0] if known else "its figures make no sense"
            self.unread.append(Finding("unreadable", f"layer {layer}, {handle}", f"left out: {why}", False))

    def _insert(self, insert: Insert, matrix: Matrix44 | None, layer: str) -> Iterator[DrawnChain]:
        block = list(block_of(insert))
        if not block:
            where = f"layer {layer}, INSERT {insert.dxf.get('handle') or ''}"
            text = f"block {clean_name(block_name(insert))} is empty, or not in the drawing"
            self.unread.append(Finding("unreadable", where, text, True))
        base = insert.matrix44()
        for offset in array_offsets(insert):
            own = base @ Matrix44.translate(*offset)
            whole = own @ matrix if matrix is not None else own
            for entity in block:
                yield from self._entity(entity, whole, layer)
        for entity in insert.attribs:
            yield from self._entity(entity, matrix, layer)

    def _leave_out(self, entity: DXFGraphic, layer: str) -> None:
        kind = entity.dxftype()
        if kind in SOLIDS and self.intake.role(layer) != "ignore":
            where = f"layer {layer}, {kind} {entity.dxf.get('handle') or ''}"
            self.unread.append(Finding("unreadable", where, "cannot be read: turn it into lines and arcs", False))
        else:
            mend = "; `text` makes outlines of it" if kind in ("TEXT", "MTEXT") else ""
            self.skipped[(layer, f"{kind} is no outline{mend}")] += 1

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
