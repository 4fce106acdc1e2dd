"""Letters against an independent rasteriser: FreeType draws them, its pixels are counted.

Fonts come from packages (one shipped with the product, one from the package index, one from Debian), not from here; a
font that is absent is skipped. How many counters a letter has, the alphabet says.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import freetype
import numpy as np
import pytest
from shapely.geometry import Polygon

from nesting import curves
from nesting.drawing.fitting import dense
from nesting.drawing.fonts import SHIPPED
from nesting.drawing.shapes import DrawnShape
from nesting.drawing.wording import Letter, set_wording

ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789&ßÅçΩ"
CAP_MM = 200.0
PIXELS = 900
"""A letter's em, rasterised; hinting off."""

ONE = "ADOPQRabdeopq0469"
NONE = "CEFGHIJKLMNSTUVWXYZcfhijklmnrstuvwxyz12357çΩ"


def _package(name: str, file: str) -> Path:
    spec = importlib.util.find_spec(name)
    return Path(spec.origin).parent / "files" / file if spec and spec.origin else Path("absent")


FONTS = {
    "sans, quadratic": SHIPPED / "DejaVuSans-Bold.ttf",
    "serif, cubic": _package("font_source_serif_pro", "SourceSerifPro-Regular.otf"),
    "sans, from Debian": Path("/usr/share/fonts/truetype/liberation/LiberationSans-Bold.ttf"),
}


@pytest.fixture(scope="module", params=sorted(FONTS))
def font(request: pytest.FixtureRequest) -> Path:
    path = FONTS[request.param]
    if not path.is_file():
        pytest.skip(f"the font {path.name} is not installed")
    return path


def letter_in(font: Path, text: str) -> Letter:
    (letter,) = set_wording(text, CAP_MM, font)
    return letter


def polygon(shape: DrawnShape) -> Polygon:
    return Polygon(dense(shape.outline, True), [dense(hole, True) for hole in shape.holes])


def test_every_letter_is_valid_and_as_large_as_it_is_rasterised(font):
    # The outline formats of ISO/IEC 14496-22 (Open Font Format), as read by an independent library: FreeType's
    # anti-aliased bitmap counts covered area by pixels; the two areas must agree within a thousandth.
    face = freetype.Face(str(font))
    face.set_pixel_sizes(0, PIXELS)
    face.load_char("H", freetype.FT_LOAD_NO_SCALE)
    mm_per_pixel = CAP_MM / (face.glyph.outline.get_bbox().yMax / face.units_per_EM * PIXELS)
    for text in ALPHABET:
        areas = [polygon(shape) for shape in letter_in(font, text).shapes]
        assert all(area.is_valid for area in areas), text
        face.load_char(text, freetype.FT_LOAD_RENDER | freetype.FT_LOAD_NO_HINTING)
        bitmap = face.glyph.bitmap
        covered = np.array(bitmap.buffer, dtype=np.int64).sum() / 255 * mm_per_pixel**2
        assert sum(area.area for area in areas) == pytest.approx(covered, rel=1e-3), text


def test_counters_number_what_the_alphabet_says(font):
    # The topology of the Latin alphabet: A has one hole, B two, C none (common knowledge, no source); faces differ in
    # how they draw &, g and ß.
    counters = {text: sum(len(shape.holes) for shape in letter_in(font, text).shapes) for text in ALPHABET}
    assert {text for text in ONE if counters[text] != 1} == set()
    assert {text for text in NONE if counters[text] != 0} == set()
    assert counters["B"] == counters["8"] == 2
    assert counters["Å"] == 2, "the A and the ring"
    assert counters["&"] in (1, 2) and counters["g"] in (1, 2) and counters["ß"] in (0, 1)


def test_curves_take_few_segments_and_stay_within_the_fit(font):
    # Common practice, no source: a controller stutters on hundreds of short chords, arcs run smoothly. Few arcs
    # are enough: the error of an arc spline falls with the cube of its pieces' length (Meek, Walton 1995, J. Comput.
    # Appl. Math. 59, 221-231, from memory).
    for text in "OSg&8":
        shapes = letter_in(font, text).shapes
        assert sum(len(ring) for shape in shapes for ring in (shape.outline, *shape.holes)) < 110, text
        assert any(segment.bulge for segment in curves.segments(shapes[0].outline, True))
