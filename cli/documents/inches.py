"""Inches beside the millimetres, for those who think in them: in every sentence, table and picture of the pack.

In: Steps. Out: Steps. The machine's drawings stay in mm. An inch is 25.4 mm exactly (international inch, 1959).
"""

from __future__ import annotations

import dataclasses
import re

from cli.documents.canvas import Item, Picture, Words
from cli.documents.rows import Cell, Column, Table
from cli.documents.step import Step

MM_PER_INCH = 25.4
NUMBER = r"\d+(?:\.\d+)?"
MEASURE = re.compile(rf"({NUMBER})(?: × ({NUMBER}))? mm(?![/\w])")


def in_inches(text: str) -> str:
    """The text with inches in brackets after each measure.

    >>> in_inches("cut at 50.8 mm of 700 × 520 mm, 7.6 mm/s")
    'cut at 50.8 mm (2.00 in) of 700 × 520 mm (27.56 × 20.47 in), 7.6 mm/s'
    >>> in_inches("kerf 0.25 mm")
    'kerf 0.25 mm (0.010 in)'
    """

    def beside(found: re.Match[str]) -> str:
        sides = [_inches(side) for side in found.groups() if side]
        return f"{found[0]} ({' × '.join(sides)} in)"

    return MEASURE.sub(beside, text)


def _inches(mm: str) -> str:
    """To a hundredth; below an inch to a thousandth, for thickness and kerf."""
    inches = float(mm) / MM_PER_INCH
    return f"{inches:.2f}" if inches >= 1 or inches == 0 else f"{inches:.3f}"


def step_in_inches(step: Step) -> Step:
    """The step with inches beside every measure."""
    return dataclasses.replace(
        step,
        title=in_inches(step.title),
        lead=in_inches(step.lead),
        todo=tuple(map(in_inches, step.todo)),
        figures=tuple(map(_figure, step.figures)),
        notes=tuple(map(in_inches, step.notes)),
        cautions=tuple(map(in_inches, step.cautions)),
        tables=tuple(map(_table, step.tables)),
    )


def _figure(picture: Picture) -> Picture:
    """Measures and the scale bar; where nothing else is said, the figure on a dimension line is in mm."""
    return dataclasses.replace(picture, items=tuple(map(_item, picture.items)), alt=in_inches(picture.alt))


def _item(item: Item) -> Item:
    if not isinstance(item, Words):
        return item
    return dataclasses.replace(item, text=in_inches(f"{item.text} mm" if item.is_mm else item.text))


def _table(table: Table) -> Table:
    """A column of inches after each column in millimetres; worded cells have both. Spare and steps stay in mm."""
    columns = tuple(column for mm in table.columns for column in ([mm, _column(mm)] if mm.unit == "mm" else [mm]))
    return dataclasses.replace(table, columns=columns, rows=tuple(_row(table, row) for row in table.rows))


def _column(column: Column) -> Column:
    return dataclasses.replace(column, unit="in", decimals=column.decimals + 1)


def _row(table: Table, row: tuple[Cell, ...]) -> tuple[Cell, ...]:
    cells: list[Cell] = []
    for column, cell in zip(table.columns, row, strict=True):
        cells.append(in_inches(cell) if isinstance(cell, str) else cell)
        if column.unit == "mm":
            cells.append(_inch_cell(cell, column.decimals + 1))
    return tuple(cells)


def _inch_cell(cell: Cell, decimals: int) -> Cell:
    if isinstance(cell, str):
        return re.sub(NUMBER, lambda found: _inches(found[0]), cell)
    return round(float(cell) / MM_PER_INCH, decimals) + 0.0
