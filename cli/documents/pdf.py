"""The work pack in print: the same steps as the page, one a sheet of paper, and pictures as vectors.

In: the steps. Out: `workpack.pdf`. fpdf2 sets the text in the fonts that ship with the product; dates and ids are
fixed, so that the same plan gives the same bytes.
"""

from __future__ import annotations

import dataclasses
import logging
import unicodedata
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from importlib import resources
from typing import Literal

from fpdf import FPDF
from fpdf.drawing import PaintedPath
from fpdf.enums import XPos, YPos
from fpdf.fonts import TTFFont

from cli.documents import canvas
from cli.documents.canvas import Picture, Words
from cli.documents.rows import Table
from cli.documents.step import Step
from cli.documents.words import plain, wrapped
from nesting import curves

Paper = Literal["A4", "Letter"]
Align = Literal["L", "R"]
MARGIN = 15.0
MM_PER_POINT = 25.4 / 72
CREATED = datetime(2000, 1, 1, tzinfo=UTC)
TEXT_SHARE = 0.72
"""Words in a picture are set smaller on paper than on a phone, where they must be read at a third of the width."""
SMALLEST_PICTURE = 70.0
READABLE_MM = 60.0
"""A picture beside tables is at least so wide: its words are set no smaller than can be read, and need the room."""
MISSING_GLYPH = "□"


class Print(FPDF):
    """A document with our fonts, a footer, and fixed dates."""

    def __init__(self, title: str, paper: Paper | tuple[float, float] = "A4") -> None:
        super().__init__(unit="mm", format=paper)
        fonts = resources.files("nesting.drawing") / "fonts"
        # fpdf2 reports every glyph it drops; we replace those ourselves.
        logging.getLogger("fontTools").setLevel(logging.ERROR)
        self.add_font("body", "", str(fonts / "DejaVuSans.ttf"))
        self.add_font("body", "B", str(fonts / "DejaVuSans-Bold.ttf"))
        self.set_margin(MARGIN)
        self.c_margin = 0.0
        self.set_auto_page_break(True, margin=MARGIN + 4)
        self.set_creation_date(CREATED)
        self.set_title(title)
        self.set_lang("en")
        self.set_producer("halfturn")
        self.running_title = plain(title, 80)
        self.footer_shown = True
        self.going_on = ""

    def header(self) -> None:
        """What goes on from the page before says so."""
        if self.going_on:
            self.ink(canvas.MUTED)
            self.paragraph(f"{self.going_on}, continued", 8.5)
            self.ln(2)

    def footer(self) -> None:
        if not self.footer_shown:
            return
        self.set_y(-MARGIN)
        self.ink(canvas.MUTED)
        self.set_font("body", "", 8)
        with self.script(self.running_title) as text:
            self.cell(self.epw - 30, 5, text)
        self.cell(0, 5, f"{self.page_no()} / {{nb}}", align="R")

    def ink(self, colour: str) -> None:
        self.set_text_color(colour)

    @contextmanager
    def script(self, text: str) -> Iterator[str]:
        """The text as these fonts can print it; shaping is on only while it runs from right to left."""
        font = self.fonts["body"]
        assert isinstance(font, TTFFont)
        cmap = font.cmap
        printable = "".join(ch if ord(ch) in cmap else MISSING_GLYPH for ch in text)
        rtl = any(unicodedata.bidirectional(ch) in {"R", "AL"} for ch in printable)
        self.set_text_shaping(rtl)
        yield printable
        self.set_text_shaping(False)

    def paragraph(self, text: str, size: float, style: str = "", indent: float = 0.0, leading: float = 1.35) -> None:
        self.set_font("body", style, size)
        self.set_x(MARGIN + indent)
        self.lines(self.epw - indent, size * MM_PER_POINT * leading, text)

    def lines(self, width: float, height: float, text: str, align: Align = "L") -> None:
        """The text from here on in the font that is set, each line `height` deep; then the left margin below it."""
        with self.script(text) as printable:
            for line in wrapped(printable, width, self.get_string_width):
                left = self.get_x()
                self.cell(width, height, line, align=align, new_x=XPos.LMARGIN, new_y=YPos.NEXT)
                self.set_x(left)
        self.set_x(MARGIN)


def write_pdf(steps: Sequence[Step], paper: Paper = "A4", title: str = "") -> bytes:
    """The whole pack as PDF bytes; `title`, else that of the first step, stands at the foot of every page."""
    pdf = Print(title or steps[0].title, paper)
    for step in steps:
        pdf.going_on = ""
        pdf.add_page()
        pdf.going_on = f"{step.kind} · {plain(step.title)}"
        _step(pdf, step)
    return bytes(pdf.output())


PAGE_WIDTH_MM = 180.0


def picture_page(picture: Picture) -> bytes:
    """A picture alone on a page of its own size."""
    pdf = Print(picture.alt, (PAGE_WIDTH_MM, PAGE_WIDTH_MM / picture.width * picture.height))
    pdf.set_auto_page_break(False)
    pdf.footer_shown = False
    pdf.add_page()
    draw(pdf, picture, 0.0, 0.0, PAGE_WIDTH_MM)
    return bytes(pdf.output())


def _step(pdf: Print, step: Step) -> None:
    pdf.ink(canvas.MUTED)
    pdf.paragraph(step.kind, 8.5)
    pdf.ink(canvas.INK)
    pdf.start_section(step.title)
    pdf.paragraph(step.title, 16, "B", leading=1.2)
    pdf.ln(1)
    pdf.paragraph(step.lead, 9.5)
    pdf.ln(1.5)
    _cautions(pdf, step.cautions)
    for line in step.todo:
        _tick_line(pdf, line)
    _work(pdf, step)


NOTE_SIZE = 8.0
NOTE_GAP = 0.6


def _notes(pdf: Print, notes: Sequence[str]) -> None:
    pdf.ink(canvas.MUTED)
    for line in notes:
        pdf.paragraph(line, NOTE_SIZE)
        pdf.ln(NOTE_GAP)


def _notes_height(pdf: Print, notes: Sequence[str]) -> float:
    pdf.set_font("body", "", NOTE_SIZE)
    lines = sum(_line_count(pdf, note, pdf.epw) for note in notes)
    return lines * NOTE_SIZE * MM_PER_POINT * 1.35 + len(notes) * NOTE_GAP


def _line_count(pdf: Print, text: str, width: float) -> int:
    """How many lines the text takes in the font that is set."""
    with pdf.script(text) as printable:
        return len(wrapped(printable, width, pdf.get_string_width))


def _cautions(pdf: Print, cautions: Sequence[str]) -> None:
    """Lines with a double rule at their left."""
    if not cautions:
        return
    top = pdf.get_y()
    for line in cautions:
        pdf.paragraph(f"! {line}", 8.5, indent=5)
    pdf.set_draw_color(canvas.LATER)
    pdf.set_line_width(0.4)
    for x in (MARGIN + 1.5, MARGIN + 2.7):
        pdf.line(x, top, x, pdf.get_y())
    pdf.ln(2)


def _tick_line(pdf: Print, line: str) -> None:
    if pdf.will_page_break(8):
        pdf.add_page()
    pdf.set_draw_color(canvas.INK)
    pdf.set_line_width(0.3)
    pdf.rect(MARGIN, pdf.get_y() + 0.5, 3.4, 3.4)
    pdf.paragraph(line, 9.5, indent=6)
    pdf.ln(1.1)


# ── pictures ─────────────────────────────────────────────────────────────────────────────────────────────────


def _work(pdf: Print, step: Step) -> None:
    """Pictures, tables and notes. A picture stands beside as many narrow tables as go into a column, where that shows
    it larger, else above them all; where not all goes on one page, the notes stay with the picture and tables go on to
    the next."""
    notes = _notes_height(pdf, step.notes)
    if step.beside:
        room = pdf.page_break_trigger - pdf.get_y() - 6 - notes
        above = min(pdf.epw, (room - _heights(pdf, step.tables)) / _shape(step.figures[0]))
        for least, one_page in ((max(above, READABLE_MM), True), (READABLE_MM, False)):
            if _set_beside(pdf, step, room, least, one_page):
                return
            if above > READABLE_MM:
                break
    if step.figures:
        _figures(pdf, step.figures, notes + _heights(pdf, step.tables))
    split = pdf.will_page_break(_heights(pdf, step.tables) + notes)
    _tables_and_notes(pdf, step.tables, step.notes, notes_first=bool(step.figures) and split)


def _set_beside(pdf: Print, step: Step, room: float, least: float, one_page: bool) -> bool:
    """The picture beside a column of tables, the others below; False where it would come out narrower than asked."""
    for many in range(len(step.beside), 0, -1):
        side = step.beside[:many]
        below = [table for table in step.tables if table not in side]
        left = room - (_heights(pdf, below) if one_page else 0.0)
        column = max(sum(_natural_widths(pdf, table)) for table in side)
        deep = sum(_table_height(pdf, table) + 3 for table in side)
        width = min(pdf.epw - column - BETWEEN, left / _shape(step.figures[0]))
        if column <= SIDE_COLUMN and deep <= left and width > least:
            _beside(pdf, step.figures[0], side, width, column)
            _tables_and_notes(pdf, below, step.notes, notes_first=not one_page)
            return True
    return False


def _tables_and_notes(pdf: Print, tables: Sequence[Table], notes: Sequence[str], *, notes_first: bool) -> None:
    if notes_first:
        _notes(pdf, notes)
        pdf.ln(2)
    _tables(pdf, tables)
    if not notes_first:
        _notes(pdf, notes)


def _shape(picture: Picture) -> float:
    return picture.height / picture.width


def _beside(pdf: Print, picture: Picture, tables: Sequence[Table], width: float, column: float) -> None:
    top = pdf.get_y() + 2
    draw(pdf, picture, MARGIN, top, width)
    pdf.set_y(top)
    for table in tables:
        _table(pdf, table, MARGIN + pdf.epw - column)
        pdf.set_y(pdf.get_y() + 3)
    pdf.set_y(max(pdf.get_y(), top + width * _shape(picture)) + 3)


def _figures(pdf: Print, figures: Sequence[Picture], below: float) -> None:
    """Side by side or one above the other, whichever shows them larger, with `below` mm kept for what follows."""
    room = pdf.page_break_trigger - pdf.get_y() - 4
    if room < SMALLEST_PICTURE:
        pdf.add_page()
        room = pdf.page_break_trigger - pdf.get_y() - 4
    height = min(room, max(room - below, SMALLEST_PICTURE))
    shapes = [_shape(picture) for picture in figures]
    spaces = GUTTER * (len(figures) - 1)
    widths = _shared([height / shape for shape in shapes], pdf.epw - spaces)
    stacked = min(pdf.epw, (height - spaces) / sum(shapes))
    if sum(width**2 * shape for width, shape in zip(widths, shapes, strict=True)) < stacked**2 * sum(shapes):
        widths = [stacked] * len(figures)
    left, top, bottom = MARGIN, pdf.get_y() + 2, 0.0
    for picture, width, shape in zip(figures, widths, shapes, strict=True):
        if left + width > MARGIN + pdf.epw + 0.1:
            left, top = MARGIN, bottom + GUTTER
        draw(pdf, picture, left, top, width)
        left, bottom = left + width + GUTTER, max(bottom, top + width * shape)
    pdf.set_y(bottom + 2)


def _shared(wanted: Sequence[float], room: float) -> list[float]:
    """What each gets of the room: all that it wants, or as much as the others that do not."""
    low, high = 0.0, max(wanted)
    if sum(wanted) <= room:
        return list(wanted)
    for _ in range(30):
        cap = (low + high) / 2
        low, high = (cap, high) if sum(min(want, cap) for want in wanted) <= room else (low, cap)
    return [min(want, low) for want in wanted]


def draw(pdf: Print, picture: Picture, left: float, top: float, width: float) -> None:
    """The picture with its upper left corner at (left, top), `width` mm wide; lines first, words upon them."""
    scale = width / picture.width
    with pdf.drawing_context() as context:
        for item in picture.items:
            if isinstance(item, canvas.Path):
                context.add_item(_painted(item, left, top, scale))
    for item in picture.items:
        if isinstance(item, Words):
            _draw_words(pdf, item, left, top, scale)


def _painted(path: canvas.Path, left: float, top: float, scale: float) -> PaintedPath:
    painted = PaintedPath()
    for chain in path.chains:
        painted.move_to(left + chain[0][0] * scale, top + chain[0][1] * scale)
        for s in curves.segments(chain, path.closed):
            x, y = left + s.b[0] * scale, top + s.b[1] * scale
            if s.bulge == 0:
                painted.line_to(x, y)
            else:
                radius = s.radius * scale
                painted.arc_to(radius, radius, 0, abs(s.bulge) > 1.0, s.bulge > 0, x, y)
        if path.closed:
            painted.close()
    style = painted.style
    style.auto_close = False
    style.intersection_rule = "evenodd"
    style.fill_color = path.fill
    style.stroke_color = path.stroke.colour if path.stroke else None
    if path.stroke:
        style.stroke_width = path.stroke.width * scale * LINE_SHARE
        style.stroke_dash_pattern = tuple(dash * scale * LINE_SHARE for dash in path.stroke.dash) or None
        style.stroke_join_style = "round"
    return painted


SMALLEST_TEXT = 0.24
"""Millimetres of type for one paper unit, however small the picture is set."""
LINE_SHARE = 0.8
"""Lines are a little thinner on paper than on a phone."""


def _draw_words(pdf: Print, words: Words, left: float, top: float, scale: float) -> None:
    size_mm = words.size * max(scale * TEXT_SHARE, SMALLEST_TEXT)
    pdf.set_font("body", "B" if words.bold else "", size_mm / MM_PER_POINT)
    x, y = left + words.x * scale, top + words.y * scale
    # The baseline moves up with the smaller letters, so that words stay centred where they were.
    y -= (words.size * scale - size_mm) * 0.36
    with pdf.script(words.text) as text, pdf.rotation(-words.turn_deg, x, top + words.y * scale):
        width = pdf.get_string_width(text)
        start = x - {"start": 0.0, "middle": width / 2, "end": width}[words.anchor]
        if words.halo:
            with pdf.local_context(fill_opacity=0.75):
                pdf.set_fill_color(canvas.PAPER)
                pdf.rect(start - 0.3, y - size_mm * 0.8, width + 0.6, size_mm, style="F")
        pdf.ink(words.colour)
        pdf.text(start, y, text)


# ── tables ───────────────────────────────────────────────────────────────────────────────────────────────────

TABLE_SIZE = 8.5
LINE = 4.2
CELL_PAD = 3.0
BETWEEN = 8.0
LONG_TABLE = 12
SHORT_HEADING = 9
GUTTER = 6.0
SIDE_COLUMN = 84.0
"""The widest column of tables beside a picture."""


def _side_by_side(pdf: Print, tables: Sequence[Table]) -> list[list[Table]]:
    """Narrow neighbours two by two, wide ones alone."""
    half = (pdf.epw - BETWEEN) / 2
    groups: list[list[Table]] = []
    for table in [part for whole in tables for part in _halved(pdf, whole, half)]:
        neighbour = groups[-1] if groups and len(groups[-1]) == 1 else []
        if neighbour and all(sum(_natural_widths(pdf, t)) <= half for t in (*neighbour, table)):
            neighbour.append(table)
        else:
            groups.append([table])
    return groups


def _halved(pdf: Print, table: Table, half: float) -> list[Table]:
    """A long narrow table as two, to be set side by side."""
    if len(table.rows) < LONG_TABLE or table.totals() or sum(_natural_widths(pdf, table)) > half:
        return [table]
    middle = (len(table.rows) + 1) // 2
    first, second = table.rows[:middle], table.rows[middle:]
    return [dataclasses.replace(table, rows=first), dataclasses.replace(table, rows=second, title=" ")]


def _tables(pdf: Print, tables: Sequence[Table]) -> None:
    for group in _side_by_side(pdf, tables):
        if pdf.will_page_break(min(max(_table_height(pdf, table) for table in group), 60.0)):
            pdf.add_page()
        top, deepest = pdf.get_y(), 0.0
        for i, table in enumerate(group):
            pdf.set_y(top)
            _table(pdf, table, MARGIN + i * (pdf.epw + BETWEEN) / 2)
            deepest = max(deepest, pdf.get_y())
        pdf.set_y(deepest + 3)


def _table_height(pdf: Print, table: Table) -> float:
    widths = _widths(pdf, table)
    head = _row_height(pdf, [column.title for column in table.columns], widths, "head")
    return 6.0 + head + sum(_row_height(pdf, row, widths, "row") for row in _lines(table))


def _heights(pdf: Print, tables: Sequence[Table]) -> float:
    return sum(max(_table_height(pdf, table) for table in group) + 3 for group in _side_by_side(pdf, tables))


def _lines(table: Table) -> list[tuple[str, ...]]:
    totals = table.printed_totals() if table.totals() else None
    return [*table.printed(), *([totals] if totals else [])]


def _natural_widths(pdf: Print, table: Table) -> list[float]:
    """What each column would like: its longest cell, and its heading, which is set in words where it is long."""
    _row_font(pdf, "total" if table.totals() else "row")
    cells = [
        max((pdf.get_string_width(row[i]) for row in _lines(table)), default=0.0) for i in range(len(table.columns))
    ]
    _row_font(pdf, "head")
    headings = [[c.title] if len(c.title) <= SHORT_HEADING else c.title.split() for c in table.columns]
    heads = [max(map(pdf.get_string_width, words), default=0.0) for words in headings]
    return [max(cell, head) + CELL_PAD for cell, head in zip(cells, heads, strict=True)]


def _widths(pdf: Print, table: Table) -> list[float]:
    """Natural widths; where they are too much for the page, the widest columns give way and wrap."""
    return _shared(_natural_widths(pdf, table), pdf.epw)


def _table(pdf: Print, table: Table, left: float) -> None:
    pdf.ink(canvas.INK)
    pdf.set_font("body", "B", 9.5)
    pdf.set_x(left)
    pdf.cell(0, 6, table.title, new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    widths = _widths(pdf, table)
    head = [column.title for column in table.columns]
    _row(pdf, table, head, widths, left, "head")
    for row in table.printed():
        if pdf.will_page_break(_row_height(pdf, row, widths, "row")):
            pdf.add_page()
            _row(pdf, table, head, widths, left, "head")
        _row(pdf, table, row, widths, left, "row")
    if table.totals():
        _row(pdf, table, table.printed_totals(), widths, left, "total")


RowKind = Literal["head", "row", "total"]


def _row_font(pdf: Print, kind: RowKind) -> None:
    pdf.set_font("body", "" if kind == "row" else "B", TABLE_SIZE - (1.0 if kind == "head" else 0.0))


def _row_height(pdf: Print, row: Sequence[str], widths: Sequence[float], kind: RowKind) -> float:
    _row_font(pdf, kind)
    counts = [1]
    for cell, width in zip(row, widths, strict=True):
        counts.append(_line_count(pdf, cell, width - CELL_PAD + 0.01))
    return max(counts) * LINE + 0.8


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
    pdf.set_xy(MARGIN, top + height)
