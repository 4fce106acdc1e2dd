"""Points, chains and rectangles, turns and stock keys: what all other records are made of."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any, ClassVar

Point = tuple[float, float]
"""x_mm, y_mm."""
Vertex = tuple[float, float, float]
"""x_mm, y_mm, bulge of the segment that starts here: tan of a quarter of the arc's sweep, 0 straight, + ccw."""
Ring = tuple[Vertex, ...]
"""A closed chain: the last vertex's segment ends at the first vertex."""
Chain = tuple[Vertex, ...]
"""An open chain: the last vertex ends it and its bulge is 0."""
Rect = tuple[float, float, float, float]
"""x0_mm, y0_mm, x1_mm, y1_mm."""

STRICT: dict[str, Any] = {"extra": "forbid", "allow_inf_nan": False}
"""Read from a file, an unknown key is a mistake, never ignored, and a number is a number."""


class Turn(StrEnum):
    """How a piece may be turned on the sheet."""

    ANY = "any"
    HALF = "half"
    NONE = "none"


@dataclass(frozen=True, slots=True, order=True)
class StockKey:
    """Pieces only go on sheets with the same key."""

    __pydantic_config__: ClassVar[dict[str, str]] = STRICT

    material: str
    colour: str
    thickness_mm: float

    def __str__(self) -> str:
        return f"{self.material} {self.colour} {self.thickness_mm:g} mm"
