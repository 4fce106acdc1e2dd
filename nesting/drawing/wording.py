"""Wording to letters to cut.

In: text, a TrueType or OpenType font file, the height of its capitals in mm. Out: letters where the wording sets them
(kerned, tracked, aligned; baseline of the first line on y = 0), each with the shapes it is made of.
Method: HarfBuzz sets the text; each glyph's outlines are traced to lines and arcs and united by the non-zero rule, so
strokes that overlap become one outline and counters stay holes.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import shapely
import uharfbuzz as hb
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from nesting.curves import moved, oriented, ring_of, signed_area
from nesting.drawing.fitting import dense
from nesting.drawing.fonts import DEFAULT_FONT
from nesting.drawing.intake import MOST_BYTES
from nesting.drawing.pens import OutlinePen
from nesting.drawing.shapes import DrawnShape
from nesting.drawing.tracing import Affine
from nesting.drawing.uniting import filled
from nesting.faults import DrawingFault, within
from nesting.model import Point, Ring

MOST_LETTERS = 2000
MOST_HEIGHT_MM = 10_000.0
FAR_MM = 10 * MOST_HEIGHT_MM
_SIZES = f"capitals may be up to {MOST_HEIGHT_MM:g} mm high"
_OTHER_FONT = "choose a font that has it, or leave the letter out"
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
    bridge_mm: float | None = None,
    axes: Mapping[str, float] | None = None,
) -> tuple[Letter, ...]:
    """The letters of a wording; lines are parted by line breaks. DrawingFault if the font lacks a letter.

    `bridge_mm` joins dots and accents to their letter by a bar this wide; `axes` set a variable font's axes by tag.
    """
    with within(f"wording {text[:40]!r}"):
        if len(text) > MOST_LETTERS:
            raise DrawingFault(f"has {len(text)} letters; up to {MOST_LETTERS} are set", mend="part it into several")
        if not 0 < height_mm <= MOST_HEIGHT_MM or not abs(tracking_mm) <= MOST_HEIGHT_MM:
            raise DrawingFault(f"has a height of {height_mm:g} mm and a tracking of {tracking_mm:g} mm", mend=_SIZES)
        face = typeface(font or DEFAULT_FONT, height_mm, axes or {})
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
        return tuple(letters if bridge_mm is None else [_bridged(letter, bridge_mm) for letter in letters])


# ── fonts ────────────────────────────────────────────────────────────────────────────────────────────────────


def typeface(path: Path, height_mm: float, axes: Mapping[str, float]) -> Typeface:
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
        known = {info.tag for info in face.axis_infos}
        unknown = ", ".join(f"`{tag}`" for tag in axes if tag not in known)
        if unknown:
            said = f"it has {', '.join(sorted(known))}" if known else "it is no variable font"
            raise DrawingFault(f"has no axis {unknown}", mend=f"take it out of `font_axes`: {said}")
        font.set_variations(dict(axes))
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
            raise DrawingFault(f"the font {face.name} has no letter {text!r}", mend=_OTHER_FONT)
        place = (x + position.x_offset * face.scale, y + position.y_offset * face.scale)
        with within(f"letter {text!r} of the font {face.name}"):
            letters.setdefault(info.cluster, []).extend(_glyph_shapes(face, info.codepoint, text, place))
        x += position.x_advance * face.scale + (tracking_mm if position.x_advance else 0.0)
        y += position.y_advance * face.scale
    cut = [
        Letter(line[start : clusters[clusters.index(start) + 1]], tuple(shapes))
        for start, shapes in sorted(letters.items())
    ]
    for letter in cut:
        if not letter.shapes and _shows(letter.text):
            raise DrawingFault(f"the font {face.name} has no outline of the letter {letter.text!r}", mend=_OTHER_FONT)
    return [letter for letter in cut if letter.shapes], max(0.0, x - tracking_mm)


def _shows(text: str) -> bool:
    """Whether something should be seen: letters, figures, punctuation, symbols; no spaces, no marks for the setting."""
    return any(unicodedata.category(character)[0] in "LNPS" for character in text)


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


# ── dots and accents ─────────────────────────────────────────────────────────────────────────────────────────


def _bridged(letter: Letter, bridge_mm: float) -> Letter:
    """The letter in one piece: each part joined to the nearest one by a bar, the largest part first."""
    parts = sorted(letter.shapes, key=lambda shape: -abs(signed_area(shape.outline)))
    areas = [Polygon(dense(shape.outline, True)) for shape in parts]
    joined: BaseGeometry = areas[0]
    bars: list[Ring] = []
    waiting = list(areas[1:])
    while waiting:
        nearest = min(waiting, key=joined.distance)
        waiting.remove(nearest)
        bars.append(_bar(joined, nearest, bridge_mm))
        joined = joined.union(nearest)
    if not bars:
        return letter
    rings = [ring for shape in parts for ring in (shape.outline, *shape.holes)]
    united = filled([*rings, *bars])
    return Letter(letter.text, tuple(DrawnShape(outline, holes, name=parts[0].name) for outline, holes in united))


def _bar(a: BaseGeometry, b: Polygon, bridge_mm: float) -> Ring:
    """A bar from one part to the other, upright if they stand above each other, reaching half its width into both."""
    (ax, ay), (bx, by) = _way(a, b).coords
    width = min(bridge_mm, 0.8 * min(b.bounds[2] - b.bounds[0], b.bounds[3] - b.bounds[1]))
    gap = math.dist((ax, ay), (bx, by)) or 1.0
    ux, uy = (bx - ax) / gap * width / 2, (by - ay) / gap * width / 2
    corners = [
        (ax - ux + uy, ay - uy - ux),
        (bx + ux + uy, by + uy - ux),
        (bx + ux - uy, by + uy + ux),
        (ax - ux - uy, ay - uy + ux),
    ]
    return oriented(ring_of(corners), True)


def _way(a: BaseGeometry, b: Polygon) -> LineString:
    """The way between two parts along the upright line through the middle of what they share in x; the shortest way
    of all if that is a detour, or they share nothing."""
    left, right = max(a.bounds[0], b.bounds[0]), min(a.bounds[2], b.bounds[2])
    upright = LineString([((left + right) / 2, y) for y in (-FAR_MM, FAR_MM)])
    on_a, on_b = upright.intersection(a), upright.intersection(b)
    if left >= right or on_a.is_empty or on_b.is_empty or on_a.distance(on_b) > 3 * a.distance(b):
        on_a, on_b = a, b
    return shapely.shortest_line(on_a, on_b)


def letter_shapes(letters: tuple[Letter, ...]) -> Iterator[DrawnShape]:
    """Every shape of every letter, in reading order."""
    for letter in letters:
        yield from letter.shapes
