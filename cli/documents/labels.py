"""Labels for sheets on the rack: number, QR code of the number, outline, size, stock key, lot, place, date.

In: sheets, and the label paper as measured with a ruler. Out: PDF bytes, one label a sheet, row by row.
Method: segno makes the QR code (ISO/IEC 18004), drawn as bars in the quiet zone of four
modules that the standard asks for.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import segno
from shapely.geometry import Polygon

from cli.documents import canvas as look
from cli.documents.canvas import Canvas, Picture
from cli.documents.pdf import Paper, Print, draw
from cli.documents.words import mm, plain, size
from inventory.ledger import Sheet
from inventory.measures import size_mm
from nesting.faults import RackFault

QUIET_MODULES = 4
PAD_MM = 2.0
HEAD_SHARE = 0.34
"""Of a label's height: the number and the outline, above the lines."""
PAPERS: dict[Paper, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}


@dataclass(frozen=True, slots=True)
class LabelPaper:
    """Labels of one size in columns and rows, in the middle of the paper."""

    width_mm: float = 70.0
    height_mm: float = 37.0
    columns: int = 3
    rows: int = 8
    paper: Paper = "A4"

    def __post_init__(self) -> None:
        across, deep = PAPERS[self.paper]
        if self.columns < 1 or self.rows < 1 or self.width_mm < 40 or self.height_mm < 24:
            raise RackFault(
                f"labels of {self.width_mm:g} x {self.height_mm:g} mm are too small", mend="use at least 40 x 24 mm"
            )
        if self.columns * self.width_mm > across + 0.1 or self.rows * self.height_mm > deep + 0.1:
            raise RackFault(
                f"{self.columns} x {self.rows} labels of {self.width_mm:g} x {self.height_mm:g} mm are larger than "
                f"{self.paper} ({across:g} x {deep:g} mm)",
                mend="give fewer columns or rows, or the other paper",
            )

    def corners(self, first: int) -> Iterator[tuple[bool, float, float]]:
        """For each label from place `first` (0 up) on: whether it begins a page, and its upper left corner."""
        across, deep = PAPERS[self.paper]
        left, top = (across - self.columns * self.width_mm) / 2, (deep - self.rows * self.height_mm) / 2
        place, fresh = first % (self.columns * self.rows), True
        while True:
            row, column = divmod(place, self.columns)
            yield fresh, left + column * self.width_mm, top + row * self.height_mm
            place = (place + 1) % (self.columns * self.rows)
            fresh = place == 0


class _Labels(Print):
    """Pages of labels carry nothing else."""

    def footer(self) -> None:
        return


def write_labels(sheets: Sequence[Sheet], paper: LabelPaper, first: int = 0) -> bytes:
    """One label for each sheet, beginning at place `first` of a sheet of labels that was begun before."""
    pdf = _Labels("labels", paper.paper)
    pdf.set_auto_page_break(False)
    for sheet, (fresh, left, top) in zip(sheets, paper.corners(first), strict=False):
        if fresh:
            pdf.add_page()
        _label(pdf, sheet, left, top, paper)
    return bytes(pdf.output())


def _label(pdf: Print, sheet: Sheet, left: float, top: float, paper: LabelPaper) -> None:
    """QR code at the left, words beside it, outline at the right."""
    inner = paper.height_mm - 2 * PAD_MM
    code = min(inner, paper.width_mm * 0.4)
    _qr(pdf, sheet.offcut.id, left + PAD_MM, top + (paper.height_mm - code) / 2, code)
    middle = left + PAD_MM + code + 1.0
    room = left + paper.width_mm - PAD_MM - middle
    _words(pdf, sheet, middle, top + PAD_MM, room, inner)
    picture = _outline(sheet)
    wide = min(room * 0.45, inner * HEAD_SHARE * picture.width / picture.height)
    draw(pdf, picture, middle + room - wide, top + PAD_MM, wide)


def _qr(pdf: Print, text: str, left: float, top: float, side: float) -> None:
    """Level M is made for labels that get scratched; a run of dark modules is one bar."""
    rows = [bytes(row) for row in segno.make(text, error="m", micro=False).matrix]
    module = side / (len(rows) + 2 * QUIET_MODULES)
    pdf.set_fill_color("#000000")
    for y, row in enumerate(rows):
        for start, length in _runs(row):
            x = left + (QUIET_MODULES + start) * module
            pdf.rect(x, top + (QUIET_MODULES + y) * module, length * module, module, style="F")


def _runs(row: bytes) -> Iterator[tuple[int, int]]:
    start = None
    for at, dark in enumerate([*row, 0]):
        if dark and start is None:
            start = at
        elif not dark and start is not None:
            yield start, at - start
            start = None


def _words(pdf: Print, sheet: Sheet, left: float, top: float, width: float, height: float) -> None:
    """The number large beside the outline, then a line each; what is too long is set smaller, not cut off."""
    offcut = sheet.offcut
    lines = [
        f"{plain(offcut.material, 30)} {plain(offcut.colour, 30)}",
        f"{mm(offcut.thickness_mm)} mm   {size(*size_mm(offcut.outline_mm))}",
        f"lot {plain(offcut.lot, 30) or 'unknown'}",
        plain(offcut.faces, 30),
        f"{sheet.since:%Y-%m-%d}   {plain(offcut.place, 30)}",
    ]
    head = height * HEAD_SHARE
    step = (height - head) / len(lines)
    _line(pdf, plain(offcut.id, 24), left, top, head * 0.95, width * 0.5, "B")
    for n, line in enumerate(lines):
        _line(pdf, line, left, top + head + step * n, step * 0.95, width, "")


def _line(pdf: Print, text: str, left: float, top: float, height: float, width: float, style: str) -> None:
    pdf.ink(look.INK)
    pdf.set_font("body", "B" if style else "", height * 0.75 / 0.3528)
    with pdf.script(text) as line:
        natural = pdf.get_string_width(line)
        if natural > width:
            pdf.set_font_size(pdf.font_size_pt * width / natural)
        pdf.text(left, top + height * 0.8, line)


def _outline(sheet: Sheet) -> Picture:
    """The sheet's shape, its factory edges in a heavy line."""
    ring = sheet.offcut.outline_mm
    paper = Canvas(Polygon(ring).bounds, 12.0, 12.0, 12.0, 12.0)
    paper.shape(Polygon(ring, sheet.offcut.holes_mm), look.Stroke(6.0, look.INK), look.SHEET)
    for edge in sheet.offcut.true_edges:
        paper.line(ring[edge], ring[(edge + 1) % len(ring)], look.Stroke(22.0, look.INK))
    return Picture(paper.width, paper.height, tuple(paper.items), "outline")
