"""One door for drawings: which reader a file needs, told by its name.

In: a file, how to read it. Out: chains as drawn, or shapes in mm, and findings.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from nesting.drawing.assembling import assembled
from nesting.drawing.dxf import dxf_chains
from nesting.drawing.intake import Intake, check_size
from nesting.drawing.shapes import DrawnChain, DrawnShape, Finding
from nesting.drawing.svg import svg_chains
from nesting.faults import DrawingFault, within

READERS = {".dxf": dxf_chains, ".svg": svg_chains}


@contextmanager
def _uncollected() -> Iterator[None]:
    """All that is read is kept until the drawing is done: to look for garbage meanwhile takes a sixth of the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def read_drawing(path: Path, intake: Intake | None = None) -> tuple[tuple[DrawnShape, ...], tuple[Finding, ...]]:
    """Shapes and findings of a DXF or SVG file. DrawingFault if it cannot be read at all."""
    asked = intake or Intake()
    return shaped(path, *read_chains(path, asked), asked)


@_uncollected()
def read_chains(path: Path, intake: Intake) -> tuple[list[DrawnChain], list[Finding]]:
    """Every chain a drawing shows on layers that count, in mm, y up, as drawn. DrawingFault as above."""
    with within(path.name):
        reader = READERS.get(path.suffix.lower())
        if reader is None:
            check_size(path)
            raise DrawingFault("is neither a DXF nor an SVG drawing", mend="export it as DXF or SVG")
        return reader(path, intake)


@_uncollected()
def shaped(
    path: Path, chains: Sequence[DrawnChain], told: Sequence[Finding], intake: Intake
) -> tuple[tuple[DrawnShape, ...], tuple[Finding, ...]]:
    """Shapes of the chains, and the findings told before with those of healing."""
    with within(path.name):
        return assembled(chains, told, intake)
