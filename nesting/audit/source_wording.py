"""The letters of a wording drawn afresh from their font, without the planner's reader.

In: a job's entry, its font file. Out: Linework, each letter beside the last; NotCompared says why there is none.
Method: HarfBuzz names the glyphs of the text, fontTools draws them; the H stands for the height of the capitals. Where
letters stand in their line does not matter: each is a piece of its own.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import numpy as np
import uharfbuzz
from fontTools.ttLib import TTFont

from nesting.audit.linework import Floats
from nesting.audit.source_lines import ChordPen, Linework, NotCompared, bounded, close_for, linework, painted
from nesting.model import PieceOrder

SHIPPED = "drawing/fonts/DejaVuSans-Bold.ttf"
APART_MM = 10.0
FLAT_CAPITALS = "HIEX"


def font_file(order: PieceOrder, folder: Path) -> Path | None:
    """The font beside the job, or the one that comes with the product; None if it is one of the computer's."""
    if order.font is None:
        return Path(str(files("nesting"))) / SHIPPED
    beside = folder / order.font
    return beside if beside.is_file() else None


def read_wording(order: PieceOrder, folder: Path) -> Linework:
    """What a job's entry wants cut of its wording. Raises NotCompared."""
    path = font_file(order, folder)
    if path is None:
        raise NotCompared("fonts that are not beside the job are not read afresh")
    try:
        return linework(bounded(_letters(order, path.read_bytes())))
    except NotCompared:
        raise
    except Exception as error:  # whatever a damaged font stirs up means the same
        raise NotCompared(f"the font cannot be read again ({str(error)[:80]})") from error


def _letters(order: PieceOrder, content: bytes) -> Iterator[Floats]:
    """The edges of every letter, mm."""
    font = TTFont(io.BytesIO(content), fontNumber=0)
    glyphs = font.getGlyphSet(location=dict(order.font_axes) or None)
    scale = (order.height_mm or 0.0) / _capital(font, glyphs)
    right = 0.0
    for name in _glyph_names(order, content, font):
        edges = painted([path * scale for path in _paths(glyphs, name, scale)], "nonzero")
        if order.bridge_mm is not None and _is_parted(edges):
            raise NotCompared("letters whose parts are joined by bars are not compared")
        if edges:
            left = min(float(edge[:, 0].min()) for edge in edges)
            moved = [edge + np.array((right + APART_MM - left, 0.0)) for edge in edges]
            yield from moved
            right = max(float(edge[:, 0].max()) for edge in moved)


def _glyph_names(order: PieceOrder, content: bytes, font: TTFont) -> Iterator[str]:
    face = uharfbuzz.Font(uharfbuzz.Face(content))
    face.set_variations(dict(order.font_axes))
    for line in (order.wording or "").splitlines():
        buffer = uharfbuzz.Buffer()
        buffer.add_str(line)
        buffer.guess_segment_properties()
        uharfbuzz.shape(face, buffer, {"kern": True, "liga": order.tracking_mm == 0.0})
        yield from (font.getGlyphName(info.codepoint) for info in buffer.glyph_infos)


def _paths(glyphs: dict[str, object], name: str, scale: float) -> list[Floats]:
    pen = ChordPen(close_for(scale), glyphs)
    glyphs[name].draw(pen)  # type: ignore[attr-defined]
    return pen.paths


def _capital(font: TTFont, glyphs: dict[str, object]) -> float:
    """How high a flat capital is, font units."""
    names = font.getBestCmap()
    for letter in FLAT_CAPITALS:
        paths = _paths(glyphs, names[ord(letter)], 1.0) if ord(letter) in names else []
        if paths:
            return float(np.vstack(paths)[:, 1].max())
    raise NotCompared("the font has no flat capital to measure by")


def _is_parted(edges: list[Floats]) -> bool:
    """Whether an outline lies beside the widest one, as dots and accents do."""
    boxes = [(*edge.min(axis=0), *edge.max(axis=0)) for edge in edges]
    x0, y0, x1, y1 = max(boxes, key=lambda box: (box[2] - box[0]) * (box[3] - box[1]), default=(0, 0, 0, 0))
    return any(box[0] < x0 or box[1] < y0 or box[2] > x1 or box[3] > y1 for box in boxes)
