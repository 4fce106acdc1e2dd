"""Wording to letters to cut.

In: text, a TrueType or OpenType font file, the height of its capitals in mm. Out: letters where the wording sets them
(kerned, tracked, aligned; baseline of the first line on y = 0), each with the shapes it is made of.
Method: HarfBuzz sets the text; each glyph's outlines are traced to lines and arcs and united by the non-zero rule, so
strokes that overlap become one outline and counters stay holes.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import uharfbuzz as hb

from nesting.curves import bounds, moved
from nesting.drawing.intake import MOST_BYTES
from nesting.drawing.pens import OutlinePen
from nesting.drawing.shapes import DrawnShape
from nesting.drawing.tracing import Affine
from nesting.drawing.uniting import filled
from nesting.faults import DrawingFault, within
from nesting.model import Point

FONTS = Path(__file__).parent / "fonts"
DEFAULT_FONT = FONTS / "DejaVuSans-Bold.ttf"
MOST_LETTERS = 2000
LINE_PER_CAP = 1.7
"""Baseline to baseline, as a share of the cap height."""

Align = Literal["left", "centre", "right"]


@dataclass(frozen=True, slots=True)
class Typeface:
    """A font set to a cap height: `scale` is mm per font unit."""

    font: Any
    scale: float
    name: str


@dataclass(frozen=True, slots=True)
class Letter:
    """One letter (or ligature) of a wording, at its place in the line; `shapes` has more than one for i, ä, %."""

    text: str
    shapes: tuple[DrawnShape, ...]


def set_wording(
    text: str,
    height_mm: float,
    font: Path | None = None,
    tracking_mm: float = 0.0,
    align: Align = "left",
) -> tuple[Letter, ...]:
    """The letters of a wording; lines are parted by line breaks. DrawingFault if the font lacks a letter."""
    with within(f"wording {text[:40]!r}"):
        if len(text) > MOST_LETTERS:
            raise DrawingFault(f"has {len(text)} letters; up to {MOST_LETTERS} are set", mend="part it into several")
        face = typeface(font or DEFAULT_FONT, height_mm)
        lines = [_set_line(face, line, tracking_mm) for line in text.splitlines()]
        widest = max((width for _, width in lines), default=0.0)
        share = {"left": 0.0, "centre": 0.5, "right": 1.0}[align]
        letters = [
            _moved(letter, share * (widest - width), -row * LINE_PER_CAP * height_mm)
            for row, (line, width) in enumerate(lines)
            for letter in line
        ]
        if not letters:
            raise DrawingFault("has nothing to cut: only spaces", mend="give the letters to cut")
        return tuple(letters)


# ── fonts ────────────────────────────────────────────────────────────────────────────────────────────────────


def typeface(path: Path, height_mm: float) -> Typeface:
    """The font in a file, scaled so that its capitals are `height_mm` high. DrawingFault if it is no font."""
    with within(path.name):
        try:
            if path.stat().st_size > MOST_BYTES:
                raise DrawingFault("the font file is too large to read", mend="choose another font")
            face = hb.Face(path.read_bytes())
        except OSError as error:
            raise DrawingFault(f"there is no font file {path.name}", mend="check the name and the folder") from error
        font = hb.Font(face)
        if face.glyph_count == 0 or not {"glyf", "CFF ", "CFF2"} & set(face.table_tags):
            raise DrawingFault("is no TrueType or OpenType font with outlines", mend="choose a .ttf or .otf file")
        return Typeface(font, height_mm / _cap_height(font), path.name)


def _cap_height(font: Any) -> float:
    """Font units: the H as drawn (or another flat capital), else the ascent the font states, else 0.7 em."""
    for letter in "HIEX":
        glyph = font.get_nominal_glyph(ord(letter))
        if glyph:
            top = _top(font, glyph)
            if top > 0:
                return top
    stated = font.get_metric_position_with_fallback(hb.OTMetricsTag.CAP_HEIGHT)
    return float(stated) if stated > 0 else 0.7 * float(font.face.upem)


def _top(font: Any, glyph: int) -> float:
    extents = font.get_glyph_extents(glyph)
    return float(extents.y_bearing) if extents else 0.0


# ── setting ──────────────────────────────────────────────────────────────────────────────────────────────────


def _set_line(face: Typeface, line: str, tracking_mm: float) -> tuple[list[Letter], float]:
    """Letters of one line from x = 0, and its width without the last tracking."""
    buffer = hb.Buffer()
    buffer.add_str(line)
    buffer.guess_segment_properties()
    hb.shape(face.font, buffer, {"kern": True, "liga": tracking_mm == 0.0})
    clusters = [*sorted({info.cluster for info in buffer.glyph_infos}), len(line)]
    x = y = 0.0
    letters: dict[int, list[DrawnShape]] = {}
    for info, position in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
        text = line[info.cluster : clusters[clusters.index(info.cluster) + 1]]
        if info.codepoint == 0:
            raise DrawingFault(f"the font {face.name} has no letter {text!r}", mend="choose a font that has it")
        place = (x + position.x_offset * face.scale, y + position.y_offset * face.scale)
        letters.setdefault(info.cluster, []).extend(_glyph_shapes(face, info.codepoint, text, place))
        x += position.x_advance * face.scale + (tracking_mm if position.x_advance else 0.0)
        y += position.y_advance * face.scale
    cut = [
        Letter(line[start : clusters[clusters.index(start) + 1]], tuple(shapes))
        for start, shapes in sorted(letters.items())
        if shapes
    ]
    return cut, max(0.0, x - tracking_mm)


def _glyph_shapes(face: Typeface, glyph: int, text: str, place: Point) -> list[DrawnShape]:
    pen = OutlinePen(Affine(a=face.scale, d=face.scale))
    face.font.draw_glyph_with_pen(glyph, pen)
    name = unicodedata.normalize("NFC", text)
    return [
        DrawnShape(moved(outline, *place), tuple(moved(hole, *place) for hole in holes), name=name)
        for outline, holes in filled([ring for ring, _ in pen.subpaths])
    ]


def _moved(letter: Letter, x_mm: float, y_mm: float) -> Letter:
    shapes = tuple(
        DrawnShape(moved(s.outline, x_mm, y_mm), tuple(moved(h, x_mm, y_mm) for h in s.holes), name=s.name)
        for s in letter.shapes
    )
    return Letter(letter.text, shapes)


def wording_box(letters: tuple[Letter, ...]) -> tuple[float, float, float, float]:
    """Bounding rectangle of all letters, mm."""
    return bounds([shape.outline for letter in letters for shape in letter.shapes])


def letter_shapes(letters: tuple[Letter, ...]) -> Iterator[DrawnShape]:
    """Every shape of every letter, in reading order."""
    for letter in letters:
        yield from letter.shapes
