"""Tables in print: narrow ones flow in columns, and what goes on in the next column or page keeps its head.

In: `Table`s and the page as far as it is filled. Out: heights, and the tables set. Millimetres.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fpdf.enums import XPos, YPos

from cli.documents import canvas
from cli.documents.rows import Table
from cli.documents.words import wrapped

if TYPE_CHECKING:
    from cli.documents.pdf import Print

TABLE_SIZE = 8.5
LINE = 4.2
TITLE = 6.0
CELL_PAD = 3.0
BETWEEN = 8.0
AFTER = 3.0
MOST_COLUMNS = 3
LONG_TABLE = 12
"""A table of so many rows may be parted to make columns even; a shorter one stays whole where a page holds it."""
LEAST_ROWS = 3
"""So many stay together at the beginning and at the end of a table."""
SHORT_HEADING = 9

RowKind = Literal["head", "row", "total"]


@dataclass(frozen=True, slots=True)
class Part:
    """Rows `start` to `end` of a table with its head; the last part has the totals. All measured for the page."""

    table: Table
    widths: tuple[float, ...]
    natural: float
    head: float
    rows: tuple[float, ...]
    """Heights of all the table's rows, that of the totals at the end."""
    start: int
    end: int

    @property
    def height(self) -> float:
        return TITLE + self.head + sum(self.rows[self.start : self.end])

    def parted(self, room: float, page: float) -> tuple[Part, Part] | None:
        """As much as goes into the room, and the rest; None where it is to stay together."""
        if self.end - self.start < LONG_TABLE and self.height <= page:
            return None
        deep = itertools.accumulate(self.rows[self.start : self.end], initial=TITLE + self.head)
        fits = sum(bottom <= room for bottom in deep) - 1
        cut = self.start + min(fits, self.end - self.start - LEAST_ROWS)
        if cut < self.start + LEAST_ROWS:
            return None
        return dataclasses.replace(self, end=cut), dataclasses.replace(self, start=cut)


def measured(pdf: Print, table: Table) -> Part:
    """The whole table; where it is too wide for the page, its widest columns give way and wrap."""
    natural = _natural_widths(pdf, table)
    widths = tuple(shared(natural, pdf.epw))
    lines = [_row_height(pdf, row, widths, "row") for row in table.printed()]
    lines += [_row_height(pdf, table.printed_totals(), widths, "total")] if table.totals() else []
    head = _row_height(pdf, [column.title for column in table.columns], widths, "head")
    return Part(table, widths, sum(natural), head, tuple(lines), 0, len(lines))


def heights(pdf: Print, tables: Sequence[Part]) -> float:
    """Of the tables set below one another and in columns, on a page as long as they need."""
    return sum(_even(pdf, block)[0] + AFTER for block in _blocks(pdf, tables))


def set_tables(pdf: Print, tables: Sequence[Part]) -> None:
    """From here on, on as many pages as they need."""
    for block in _blocks(pdf, tables):
        _set_block(pdf, block)


def _blocks(pdf: Print, tables: Sequence[Part]) -> list[list[Part]]:
    """Narrow neighbours, which may stand side by side; each wide table alone."""
    half = (pdf.epw - BETWEEN) / 2
    blocks: list[list[Part]] = []
    for part in tables:
        if blocks and part.natural <= half and blocks[-1][-1].natural <= half:
            blocks[-1].append(part)
        else:
            blocks.append([part])
    return blocks


def _columns(pdf: Print, block: Sequence[Part]) -> int:
    widest = max(part.natural for part in block)
    return max([1, *(n for n in range(2, MOST_COLUMNS + 1) if widest <= (pdf.epw - (n - 1) * BETWEEN) / n)])


def _even(pdf: Print, block: Sequence[Part]) -> tuple[float, list[list[Part]]]:
    """The block in columns as even as may be, and how deep they are."""
    columns, page = _columns(pdf, block), pdf.eph
    low, high = 0.0, sum(part.height + AFTER for part in block)
    while high - low > LINE / 4:
        middle = (low + high) / 2
        low, high = (middle, high) if _filled(block, columns, middle, page)[1] else (low, middle)
    filled, _ = _filled(block, columns, high, page)
    return max(sum(part.height for part in column) + AFTER * (len(column) - 1) for column in filled), filled


def _filled(block: Sequence[Part], columns: int, height: float, page: float) -> tuple[list[list[Part]], list[Part]]:
    """Columns of this height filled one after another, and what is left over."""
    filled: list[list[Part]] = [[]]
    rest, room = list(block), height
    while rest:
        if rest[0].height <= room:
            room -= rest[0].height + AFTER
            filled[-1].append(rest.pop(0))
            continue
        if parts := rest[0].parted(room, page):
            filled[-1].append(parts[0])
            rest[0] = parts[1]
        if len(filled) == columns:
            break
        filled.append([])
        room = height
    return filled, rest


def _set_block(pdf: Print, block: Sequence[Part]) -> None:
    deep, filled = _even(pdf, block)
    room = pdf.page_break_trigger - pdf.get_y()
    if deep <= room:
        _set_columns(pdf, filled)
        return
    filled, rest = _filled(block, _columns(pdf, block), room, pdf.eph)
    if any(filled):
        _set_columns(pdf, filled)
    if not rest:
        return
    pdf.add_page()
    if not any(filled) and not any(_filled(rest, 1, pdf.page_break_trigger - pdf.get_y(), 0.0)[0]):
        # A row deeper than a page: set as it comes.
        _set_columns(pdf, [rest])
        return
    _set_block(pdf, rest)


def _set_columns(pdf: Print, columns: Sequence[Sequence[Part]]) -> None:
    top, deepest, left = pdf.get_y(), pdf.get_y(), pdf.l_margin
    for column in columns:
        pdf.set_y(top)
        for part in column:
            set_part(pdf, part, left)
            pdf.set_y(pdf.get_y() + AFTER)
        deepest = max(deepest, pdf.get_y())
        left += (pdf.epw + BETWEEN) / len(columns)
    pdf.set_y(deepest)


def set_part(pdf: Print, part: Part, left: float) -> None:
    """The part with its title and its head, from here down."""
    table = part.table
    pdf.ink(canvas.INK)
    pdf.set_font("body", "B", 9.5)
    pdf.set_x(left)
    title = f"{table.title}, continued" if part.start else table.title
    pdf.cell(0, TITLE, title, new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    _row(pdf, table, [column.title for column in table.columns], part.widths, left, "head")
    printed = table.printed()
    for row in printed[part.start : part.end]:
        _row(pdf, table, row, part.widths, left, "row")
    if part.end > len(printed):
        _row(pdf, table, table.printed_totals(), part.widths, left, "total")


def shared(wanted: Sequence[float], room: float) -> list[float]:
    """What each gets of the room: all that it wants, or as much as the others that do not."""
    low, high = 0.0, max(wanted)
    if sum(wanted) <= room:
        return list(wanted)
    for _ in range(30):
        cap = (low + high) / 2
        low, high = (cap, high) if sum(min(want, cap) for want in wanted) <= room else (low, cap)
    return [min(want, low) for want in wanted]


def _natural_widths(pdf: Print, table: Table) -> list[float]:
    """What each column would like: its longest cell, and its heading, which is set in words where it is long."""
    totals = table.printed_totals() if table.totals() else None
    _row_font(pdf, "total" if totals else "row")
    lines = [*table.printed(), *([totals] if totals else [])]
    cells = [
        max((pdf.get_string_width(line) for row in lines for line in wrapped(row[i], column.wrap, len)), default=0.0)
        for i, column in enumerate(table.columns)
    ]
    _row_font(pdf, "head")
    headings = [[c.title] if len(c.title) <= SHORT_HEADING else c.title.split() for c in table.columns]
    heads = [max(map(pdf.get_string_width, words), default=0.0) for words in headings]
    return [max(cell, head) + CELL_PAD for cell, head in zip(cells, heads, strict=True)]


def _row_font(pdf: Print, kind: RowKind) -> None:
    pdf.set_font("body", "" if kind == "row" else "B", TABLE_SIZE - (1.0 if kind == "head" else 0.0))


def _row_height(pdf: Print, row: Sequence[str], widths: Sequence[float], kind: RowKind) -> float:
    _row_font(pdf, kind)
    counts = [line_count(pdf, cell, width - CELL_PAD + 0.01) for cell, width in zip(row, widths, strict=True)]
    return max(counts, default=1) * LINE + 0.8


def line_count(pdf: Print, text: str, width: float) -> int:
    """How many lines the text takes in the font that is set."""
    with pdf.script(text) as printable:
        return len(wrapped(printable, width, pdf.get_string_width))


def _row(
    pdf: Print,
    table: Table,
    row: Sequence[str],
    widths: Sequence[float],
    left: float,
    kind: RowKind,
) -> None:
    """One line of a table with a hairline below."""
    height, top, x = _row_height(pdf, row, widths, kind), pdf.get_y(), left
    pdf.ink(canvas.MUTED if kind == "head" else canvas.INK)
    for i, (cell, width) in enumerate(zip(row, widths, strict=True)):
        pdf.set_xy(x, top + 0.4)
        pdf.lines(width - CELL_PAD + 0.01, LINE, cell, "R" if table.is_number(i) else "L")
        x += width
    pdf.set_draw_color(canvas.INK if kind == "head" else "#cfd4d6")
    pdf.set_line_width(0.15)
    pdf.line(left, top + height, x - CELL_PAD, top + height)
    pdf.set_xy(pdf.l_margin, top + height)
