"""Inches beside the millimetres, for those who think in them: in every sentence and every worded cell of the pack.

In: Steps. Out: Steps. Tables of coordinates and pictures stay in mm, as the machine's drawings are.
"""

from __future__ import annotations

import dataclasses
import re

from cli.documents.rows import Cell, Table
from cli.documents.step import Step

MM_PER_INCH = 25.4
NUMBER = r"\d+(?:\.\d+)?"
MEASURE = re.compile(rf"({NUMBER})(?: × ({NUMBER}))? mm(?![/\w])")


def in_inches(text: str) -> str:
    """The text with inches in brackets after each measure.

    >>> in_inches("cut at 50.8 mm of 700 × 520 mm, 7.6 mm/s")
    'cut at 50.8 mm (2.00 in) of 700 × 520 mm (27.56 × 20.47 in), 7.6 mm/s'
    """

    def beside(found: re.Match[str]) -> str:
        sides = [f"{float(side) / MM_PER_INCH:.2f}" for side in found.groups() if side]
        return f"{found[0]} ({' × '.join(sides)} in)"

    return MEASURE.sub(beside, text)


def step_in_inches(step: Step) -> Step:
    return dataclasses.replace(
        step,
        title=in_inches(step.title),
        lead=in_inches(step.lead),
        todo=tuple(map(in_inches, step.todo)),
        notes=tuple(map(in_inches, step.notes)),
        tables=tuple(map(_table, step.tables)),
    )


def _table(table: Table) -> Table:
    return dataclasses.replace(table, rows=tuple(tuple(map(_cell, row)) for row in table.rows))


def _cell(cell: Cell) -> Cell:
    return in_inches(cell) if isinstance(cell, str) else cell
