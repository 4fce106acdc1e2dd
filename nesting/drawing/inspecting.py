"""What is in a drawing: its layers and their roles, its pieces, what was healed and what needs mending.

In: a drawing file and how to read it. Out: an Inspection, and the text of a job file to start from.
"""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from nesting.curves import bounds, signed_area
from nesting.drawing.intake import FILL_IN, Intake, Role
from nesting.drawing.reading import read_chains, shaped
from nesting.drawing.shapes import DrawnChain, DrawnShape, Finding
from nesting.model import Rect


@dataclass(frozen=True, slots=True)
class LayerFound:
    """A layer with something drawn on it: what is done with it, lines and curves on it, pieces begun on it."""

    name: str
    role: Role
    chains: int
    shapes: int


@dataclass(frozen=True, slots=True)
class SizeFound:
    """Shapes of one layer that are alike: how many, their size in mm, holes and marks of each, net area of each."""

    layer: str
    count: int
    width_mm: float
    height_mm: float
    holes: int
    marks: int
    area_mm2: int


@dataclass(frozen=True, slots=True)
class Inspection:
    """All that reading a drawing brought to light."""

    chains: tuple[DrawnChain, ...]
    shapes: tuple[DrawnShape, ...]
    findings: tuple[Finding, ...]
    layers: tuple[LayerFound, ...]
    sizes: tuple[SizeFound, ...]

    @property
    def bounds_mm(self) -> Rect | None:
        """Round all pieces; None if there are none."""
        return bounds([shape.outline for shape in self.shapes]) if self.shapes else None

    @property
    def usable(self) -> bool:
        return all(finding.mended for finding in self.findings)


def inspected(path: Path, intake: Intake) -> Inspection:
    """Read a drawing and look at it from all sides. DrawingFault if it cannot be read at all."""
    chains, told = read_chains(path, intake)
    shapes, findings = shaped(path, chains, told, intake)
    return Inspection(tuple(chains), shapes, findings, _layers(chains, shapes, intake), _sizes(shapes))


def _layers(chains: Sequence[DrawnChain], shapes: Sequence[DrawnShape], intake: Intake) -> tuple[LayerFound, ...]:
    drawn = Counter(chain.layer for chain in chains)
    begun = Counter(shape.layer for shape in shapes)
    return tuple(LayerFound(name, intake.role(name), drawn[name], begun[name]) for name in sorted(drawn))


def _sizes(shapes: Sequence[DrawnShape]) -> tuple[SizeFound, ...]:
    """Large ones first."""
    alike = Counter(_one(shape) for shape in shapes)
    found = [replace(one, count=count) for one, count in alike.items()]
    return tuple(sorted(found, key=lambda one: (-one.area_mm2, one.layer)))


def _one(shape: DrawnShape) -> SizeFound:
    x0, y0, x1, y1 = bounds([shape.outline])
    area = signed_area(shape.outline) + math.fsum(signed_area(hole) for hole in shape.holes)
    sides = (round(x1 - x0, 1), round(y1 - y0, 1))
    return SizeFound(shape.layer, 1, *sides, len(shape.holes), len(shape.marks), round(area))


# ── a job to start from ──────────────────────────────────────────────────────────────────────────────────────


def starting_job(path: Path, inspection: Inspection, intake: Intake) -> str:
    """A job file that asks for every piece of the drawing once; what only a person knows is left to fill in.

    `path` is the drawing's as seen from the job file's folder.
    """
    layers = [layer.name for layer in inspection.layers if layer.shapes]
    named = layers if len(layers) > 1 else [None]
    stem = path.stem
    note = f"# Made from {_plain(path.name)}: fill in material, colour and thickness of each piece."
    return f"{note}\n[job]\nname = {_text(stem)}\n" + "".join(
        _entry(path, stem if layer is None else f"{stem} {layer}", layer, intake) for layer in named
    )


def _entry(path: Path, name: str, layer: str | None, intake: Intake) -> str:
    lines = ["", "[[piece]]", f"name = {_text(name)}", f"drawing = {_text(path.as_posix())}"]
    if layer is not None:
        lines.append(f"layer = {_text(layer)}")
    if intake.units is not None:
        lines.append(f"units = {_text(intake.units)}")
    if intake.scale != 1.0:
        lines.append(f"scale = {intake.scale!r}")
    if intake.text:
        lines.append("text = true")
    lines += [f"{key} = {_list(names)}" for key, names in _roles(intake) if names]
    lines += [f'material = "{FILL_IN}"', f'colour = "{FILL_IN}"', f"thickness_mm = 0.0  # {FILL_IN}", "quantity = 1"]
    return "\n".join(lines) + "\n"


def _roles(intake: Intake) -> tuple[tuple[str, tuple[str, ...]], ...]:
    return ("mark_layers", intake.marks), ("ignore_layers", intake.ignored)


def _list(values: Sequence[str]) -> str:
    return f"[{', '.join(map(_text, values))}]"


def _text(value: str) -> str:
    """A TOML basic string: the escapes of JSON are a part of TOML's."""
    return json.dumps(value).replace("\x7f", "\\u007f")


def _plain(value: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in value)
