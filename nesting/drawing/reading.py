"""One door for drawings: which reader a file needs, told by its name.

In: a file, how to read it. Out: shapes in mm and findings.
"""

from __future__ import annotations

from pathlib import Path

from nesting.drawing.dxf import read_dxf
from nesting.drawing.intake import Intake, check_size
from nesting.drawing.shapes import DrawnShape, Finding
from nesting.drawing.svg import read_svg
from nesting.faults import DrawingFault, within

READERS = {".dxf": read_dxf, ".svg": read_svg}


def read_drawing(path: Path, intake: Intake | None = None) -> tuple[tuple[DrawnShape, ...], tuple[Finding, ...]]:
    """Shapes and findings of a DXF or SVG file. DrawingFault if it cannot be read at all."""
    reader = READERS.get(path.suffix.lower())
    if reader is None:
        with within(path.name):
            check_size(path)
            raise DrawingFault("is neither a DXF nor an SVG drawing", mend="export it as DXF or SVG")
    return reader(path, intake)
