"""What the intake hands on: drawn chains, finished shapes, and what was found on the way.

Millimetres, the drawing's own frame with y up. Readers (DXF, SVG, wording) make chains, healing and assembling make
shapes of them, `pieces` makes pieces of those. A finding tells one act of healing, one assumption or one refusal.
"""

from __future__ import annotations

from dataclasses import dataclass

from nesting.model import Chain, Point, Ring, Vertex


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a person should know of a drawing.

    `mended` is False where the drawing cannot be used until a person mends it. `at_mm` is where to look.
    """

    code: str
    where: str
    text: str
    mended: bool
    at_mm: Point | None = None

    @property
    def is_note(self) -> bool:
        """It only tells what the drawing or the wording is: nothing of it was healed or left out."""
        return self.code in ("reading", "layer")

    @property
    def is_omission(self) -> bool:
        """Something of the drawing is neither cut nor marked, and its author may not know."""
        return self.code == "left-out"

    def __str__(self) -> str:
        return f"{self.where}: {self.text}" if self.where else self.text


@dataclass(frozen=True, slots=True)
class DrawnChain:
    """Lines and arcs, end to start; `closed` says that the last vertex runs on to the first."""

    vertices: tuple[Vertex, ...]
    closed: bool
    layer: str = ""
    handle: str = ""

    @property
    def end(self) -> Point:
        return self.vertices[-1][:2]

    @property
    def where(self) -> str:
        """For a finding: the layer and the entity the chain began with."""
        return ", ".join(part for part in (f"layer {self.layer}" if self.layer else "", self.handle) if part)


@dataclass(frozen=True, slots=True)
class DrawnShape:
    """One thing to cut: `outline` counter-clockwise, `holes` clockwise, `marks` ride along; a letter has a `name`."""

    outline: Ring
    holes: tuple[Ring, ...] = ()
    marks: tuple[Chain, ...] = ()
    layer: str = ""
    name: str = ""
