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
from cli.documents.pdf_tables import (
    AFTER,
    BETWEEN,
    Part,
    heights,
    line_count,
    measured,
    set_part,
    set_tables,
    shared,
)
from cli.documents.step import Step
from cli.documents.words import plain, wrapped
from nesting import curves

Paper = Literal["A4", "Letter"]
Align = Literal["L", "R"]
MARGIN = 15.0
MM_PER_POINT = 25.4 / 72
LEADING = 1.35
CREATED = datetime(2000, 1, 1, tzinfo=UTC)
TEXT_SHARE = 0.72
"""Words in a picture are set smaller on paper than on a phone, where they must be read at a third of the width."""
SMALLEST_PICTURE = 70.0
READABLE_MM = 63.0
"""A picture beside tables is at least so wide: its words are set no smaller than can be read, and need the room."""
MISSING_GLYPH = "□"
GUTTER = 6.0
SIDE_COLUMN = 84.0
"""The widest column of tables beside a picture."""


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

    def paragraph(self, text: str, size: float, style: str = "", indent: float = 0.0, leading: float = LEADING) -> None:
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


CAUTION_SIZE = 8.5
NOTE_SIZE = 8.0
NOTE_GAP = 0.6


def _notes(pdf: Print, notes: Sequence[str]) -> None:
    pdf.ink(canvas.MUTED)
    for line in notes:
        pdf.paragraph(line, NOTE_SIZE)
        pdf.ln(NOTE_GAP)


def _notes_height(pdf: Print, notes: Sequence[str]) -> float:
    pdf.set_font("body", "", NOTE_SIZE)
    lines = sum(line_count(pdf, note, pdf.epw) for note in notes)
    return lines * NOTE_SIZE * MM_PER_POINT * LEADING + len(notes) * NOTE_GAP


def _cautions(pdf: Print, cautions: Sequence[str]) -> None:
    """Lines with a double rule at their left."""
    if not cautions:
        return
    pdf.set_draw_color(canvas.LATER)
    pdf.set_line_width(0.4)
    for line in cautions:
        pdf.set_font("body", "", CAUTION_SIZE)
        height = line_count(pdf, f"! {line}", pdf.epw - 5) * CAUTION_SIZE * MM_PER_POINT * LEADING
        if pdf.will_page_break(height):
            pdf.add_page()
        top = pdf.get_y()
        for x in (MARGIN + 1.5, MARGIN + 2.7):
            pdf.line(x, top, x, top + height)
        pdf.ink(canvas.INK)
        pdf.paragraph(f"! {line}", CAUTION_SIZE, indent=5)
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
    the next, or the other way round where the step says so."""
    tables = [measured(pdf, table) for table in step.tables]
    notes = _notes_height(pdf, step.notes)
    if step.notes_go_on and step.notes:
        if not _set_beside(pdf, step, tables, notes, READABLE_MM, one_page=True):
            _work(pdf, dataclasses.replace(step, notes=()))
            _notes(pdf, step.notes)
        return
    if step.beside:
        room = pdf.page_break_trigger - pdf.get_y() - 6 - notes
        above = min(pdf.epw, (room - heights(pdf, tables)) / _shape(step.figures[0]))
        smallest = 0.0 if step.notes_go_on else READABLE_MM
        for least, one_page in ((max(above, READABLE_MM), True), (smallest, False)):
            if _set_beside(pdf, step, tables, notes, least, one_page):
                return
            if above > READABLE_MM:
                break
    if step.figures:
        _figures(pdf, step.figures, notes + heights(pdf, tables))
    split = pdf.will_page_break(heights(pdf, tables) + notes)
    _tables_and_notes(pdf, tables, step.notes, notes_first=bool(step.figures) and split)


def _set_beside(pdf: Print, step: Step, tables: Sequence[Part], notes: float, least: float, one_page: bool) -> bool:
    """The picture beside a column of tables, the others below; False where it would come out narrower than asked."""
    room = pdf.page_break_trigger - pdf.get_y() - 6 - notes
    shape, found = _shape(step.figures[0]) if step.figures else 1.0, list[tuple[float, int]]()
    for many in range(1, len(step.beside) + 1):
        side, below = _parted(step, tables, many)
        column = max(part.natural for part in side)
        deep = sum(part.height + AFTER for part in side)
        left = room - (heights(pdf, below) if one_page or step.notes_go_on else 0.0)
        if step.notes_go_on and not one_page:
            left = max(left, min(deep, room))
        width = min(pdf.epw - column - BETWEEN, left / shape)
        if column <= SIDE_COLUMN and deep <= left and width > least:
            found.append((width, many))
    if not found:
        return False
    width, many = max(found)
    side, below = _parted(step, tables, many)
    _beside(pdf, step.figures[0], side, width, max(part.natural for part in side))
    _tables_and_notes(pdf, below, step.notes, notes_first=not one_page)
    return True


def _parted(step: Step, tables: Sequence[Part], many: int) -> tuple[list[Part], list[Part]]:
    """The first so many of those that may stand beside the picture, and all others."""
    side = [part for part in tables if part.table in step.beside[:many]]
    return side, [part for part in tables if part not in side]


def _tables_and_notes(pdf: Print, tables: Sequence[Part], notes: Sequence[str], *, notes_first: bool) -> None:
    if notes_first:
        _notes(pdf, notes)
        pdf.ln(2)
    set_tables(pdf, tables)
    if not notes_first:
        _notes(pdf, notes)


def _shape(picture: Picture) -> float:
    return picture.height / picture.width


def _beside(pdf: Print, picture: Picture, tables: Sequence[Part], width: float, column: float) -> None:
    top = pdf.get_y() + 2
    draw(pdf, picture, MARGIN, top, width)
    pdf.set_y(top)
    for part in tables:
        set_part(pdf, part, MARGIN + pdf.epw - column)
        pdf.set_y(pdf.get_y() + AFTER)
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
    widths = shared([height / shape for shape in shapes], pdf.epw - spaces)
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
