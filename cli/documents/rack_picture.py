"""All sheets of the rack in one picture, to one scale, each with its number and size beside it.

In: sheets. Out: a Picture. Method: rows of falling height, filled from the left (next-fit decreasing height, Coffman,
Garey, Johnson and Tarjan 1980, doi 10.1137/0209062); the picture is as wide as it is deep or a little more.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from shapely import affinity
from shapely.geometry import Polygon

from cli.documents import canvas as look
from cli.documents.canvas import Canvas, Picture
from cli.documents.words import mm, plain, wrapped
from inventory.ledger import Sheet
from inventory.measures import size_mm
from nesting.model import Point

UNITS_PER_MM = 0.16
"""A sheet of 600 mm is about as wide as the words below it."""
GAP_MM = 60.0
WORDS_MM, LINE_MM = 230.0, 56.25
"""Room below each sheet for three lines of words, and for each line more."""
NARROWEST_MM = 420.0
CHARACTERS = 16
"""Of a line of words below a sheet; none has less room, however narrow it is."""
LEGEND = (("free", look.NOW_FILL), ("held for a plan", look.SHADE))


def rack_picture(sheets: Sequence[Sheet]) -> Picture:
    """Every sheet to scale, tall ones first."""
    tall_first = sorted(sheets, key=lambda s: (-size_mm(s.offcut.outline_mm)[1], s.offcut.id))
    sizes = [(max(width, NARROWEST_MM), height) for width, height in (size_mm(s.offcut.outline_mm) for s in tall_first)]
    room = WORDS_MM + LINE_MM * max((len(_words(sheet)) - 3 for sheet in tall_first), default=0)
    area = sum((width + GAP_MM) * (height + room) for width, height in sizes)
    across = max([math.sqrt(area) * 1.2, 4 * NARROWEST_MM, *(width for width, _ in sizes)])
    places = list(_places(sizes, across, room))
    deep = max((height + room - y for (_, height), (_, y) in zip(sizes, places, strict=True)), default=100.0)
    paper = Canvas((0.0, -deep, across, 0.0), width=24.0 + across * UNITS_PER_MM, deepest=math.inf)
    for sheet, (x, y) in zip(tall_first, places, strict=True):
        _sheet(paper, sheet, x, y)
    return paper.finish(f"The rack: {len(sheets)} sheets", LEGEND)


def _places(sizes: Sequence[Point], across: float, room: float) -> Iterator[Point]:
    """Upper left corners, y downwards negative; a row is as deep as its first sheet."""
    x = y = deep = 0.0
    for width, height in sizes:
        if x > 0 and x + width > across:
            x, y = 0.0, y - deep
            deep = 0.0
        deep = max(deep, height + room)
        yield x, y
        x += width + GAP_MM


def _sheet(paper: Canvas, sheet: Sheet, x: float, y: float) -> None:
    offcut = sheet.offcut
    _, height = size_mm(offcut.outline_mm)
    shape = affinity.translate(Polygon(offcut.outline_mm, offcut.holes_mm), x, y - height)
    paper.shape(shape, look.EDGE, look.NOW_FILL if sheet.plan is None else look.SHADE)
    if sheet.plan is not None:
        paper.hatch(shape)
    left, below = paper.at(x, y - height)
    for n, (line, bold) in enumerate(_words(sheet)):
        paper.words(left, below + 10.0 + 9.0 * n, line, 8.0, "start", bold=bold)


def _words(sheet: Sheet) -> list[tuple[str, bool]]:
    """The lines below a sheet, its number in bold."""
    offcut = sheet.offcut
    width, height = size_mm(offcut.outline_mm)
    told = [f"{plain(offcut.colour)} {mm(offcut.thickness_mm)}", f"{mm(width)} × {mm(height)}"]
    number = [(line, True) for line in wrapped(plain(offcut.id), CHARACTERS - 2, len)]
    return number + [(line, False) for text in told for line in wrapped(text, CHARACTERS, len)]
