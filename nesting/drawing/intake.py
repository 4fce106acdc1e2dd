"""How a drawing is to be read: units, roles of layers, tolerances; and the limits every reader keeps."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from nesting.faults import DrawingFault

Role = Literal["cut", "mark", "ignore"]

FILL_IN = "FILL IN"
"""What only a person knows, in a job file to start from."""
MARK_WORDS = ("mark", "engrav", "etch", "score", "scribe")
IGNORE_WORDS = ("note", "dim", "text", "defpoints", "lineup", "construction", "frame", "title", "guide", "ignore")

MOST_BYTES = 60_000_000
"""A drawing file larger than this is not read: in memory it grows some thirty-fold."""

LONGEST_NAME = 80
MOST_ENTITIES = 100_000
"""Entities after expanding blocks; a drawing of a sign has some hundreds."""
MOST_DEPTH = 32
"""Blocks in blocks."""
MOST_NESTED = 200
"""Elements in elements."""


@dataclass(frozen=True, slots=True)
class Intake:
    """What the person asked for; everything unsaid is decided by the reader, and told.

    `units` is a unit's name and overrides the drawing's own; `scale` multiplies after it. `layer` reads one layer only;
    `text` turns live text into outlines.
    Layers named in `marks` and `ignored` have that role, whatever their names suggest.
    """

    units: str | None = None
    scale: float = 1.0
    layer: str | None = None
    marks: tuple[str, ...] = ()
    ignored: tuple[str, ...] = ()
    text: bool = False
    join_mm: float = 0.05
    join_most_mm: float = 0.5

    def role(self, layer: str) -> Role:
        """What is done with a layer: as asked, else by the words in its name, else cut."""
        name = layer.lower()
        if name in (asked.lower() for asked in self.marks):
            return "mark"
        if name in (asked.lower() for asked in self.ignored):
            return "ignore"
        if self.layer is not None:
            return "cut" if name == self.layer.lower() else "ignore"
        if any(word in name for word in MARK_WORDS):
            return "mark"
        return "ignore" if any(word in name for word in IGNORE_WORDS) else "cut"


def clean_name(text: str) -> str:
    """A layer's or an entity's name fit to be shown: what cannot be printed becomes a question mark."""
    plain = "".join(c if c.isprintable() else "?" for c in text[:LONGEST_NAME])
    return plain if len(text) <= LONGEST_NAME else plain + "…"


def check_size(path: Path) -> None:
    """DrawingFault if there is no such file, or it is too large to read."""
    try:
        size = path.stat().st_size if path.is_file() else None
    except (OSError, ValueError):
        size = None
    if size is None:
        raise DrawingFault(f"there is no drawing {path.name}", mend="check the name and the folder")
    if size > MOST_BYTES:
        raise DrawingFault(
            f"the file has {size / 1e6:.0f} MB; drawings up to {MOST_BYTES / 1e6:.0f} MB are read",
            mend="keep only the outlines to cut",
        )
