"""The count sheet of a stocktake: what should be there, place by place, with a box to tick and room for remarks.

In: sheets, the moment. Out: PDF bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from itertools import groupby

from cli.documents.pdf import write_pdf
from cli.documents.rows import Column, Table
from cli.documents.step import Step
from cli.documents.words import plain, size
from inventory.ledger import Sheet
from inventory.measures import size_mm
from nesting.phrases import counted

COLUMNS = tuple(map(Column, ("seen", "sheet", "stock", "size", "lot", "held for", "remarks")))
BOX = "□"
ROOM = "." * 28
"""A line to write on."""


def write_count_sheet(sheets: Sequence[Sheet], at: datetime) -> bytes:
    """One page or more for each place; an empty rack gives an empty list."""
    by_place = sorted(sheets, key=lambda sheet: (sheet.offcut.place, sheet.offcut.id))
    groups = [(place, list(group)) for place, group in groupby(by_place, key=lambda sheet: sheet.offcut.place)]
    pages = [_page(place, group, at) for place, group in groups or [("", [])]]
    return write_pdf(pages, title=f"Stocktake, {at:%Y-%m-%d}")


def _page(place: str, sheets: Sequence[Sheet], at: datetime) -> Step:
    name = plain(place) or "no place given"
    return Step(
        key="count",
        kind="Stocktake",
        title=f"Count sheet: {name}",
        lead=f"{counted(len(sheets), 'sheet')} should be here on {at:%Y-%m-%d %H:%M} UTC. Counted by:              on:",
        todo=(
            "Tick each sheet that you see. Measure one whose size looks wrong and note it.",
            "Write down the number of each sheet that is here and not on this list.",
        ),
        tables=(Table("count", "On record here", COLUMNS, tuple(map(_row, sheets))),),
    )


def _row(sheet: Sheet) -> tuple[str, ...]:
    offcut = sheet.offcut
    held = plain(sheet.plan or "")
    return (
        BOX,
        plain(offcut.id),
        plain(str(offcut.stock), 120),
        size(*size_mm(offcut.outline_mm)),
        plain(offcut.lot) or "unknown",
        held,
        ROOM,
    )
