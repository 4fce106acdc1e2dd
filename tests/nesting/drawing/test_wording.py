"""Wording to letters: counters, heights, spacing, and what a font lacks."""

from pathlib import Path

import pytest
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont
from fontTools.ttLib.tables._g_l_y_f import Glyph
from fontTools.ttLib.tables.TupleVariation import TupleVariation

from nesting import curves
from nesting.drawing.fonts import SHIPPED, find_font
from nesting.drawing.wording import set_wording
from nesting.faults import DrawingFault


def counters(text: str) -> list[int]:
    return [sum(len(shape.holes) for shape in letter.shapes) for letter in set_wording(text, 100.0)]


def wording_box(letters):
    """Bounding rectangle of all letters, mm."""
    return curves.bounds([shape.outline for letter in letters for shape in letter.shapes])


def test_counters_number_what_the_alphabet_says():
    assert counters("ABDOPQR8046") == [1, 2, 1, 1, 1, 1, 1, 2, 1, 1, 1]
    assert counters("CEFHIKLMSTUVWXYZ") == [0] * 16


def test_capitals_have_the_height_asked_for():
    assert curves.bounds([set_wording("H", 220.0)[0].shapes[0].outline])[3] == pytest.approx(220.0, abs=1e-6)


def test_dots_are_shapes_of_their_letter_and_accents_may_touch():
    letters = set_wording("iÅ", 100.0)
    assert [(letter.text, len(letter.shapes)) for letter in letters] == [("i", 2), ("Å", 1)]


def test_tracking_widens_and_kerning_tightens():
    plain, wide = (wording_box(set_wording("HHH", 100.0, tracking_mm=t)) for t in (0.0, 5.0))
    assert wide[2] - plain[2] == pytest.approx(10.0)
    alone = [wording_box(set_wording(c, 100.0)) for c in "AV"]
    pair = wording_box(set_wording("AV", 100.0, SHIPPED / "DejaVuSans.ttf"))
    assert pair[2] - pair[0] < sum(box[2] - box[0] for box in alone)


def test_lines_stand_below_each_other_and_are_centred():
    first, second = set_wording("H\nHHH", 100.0, align="centre")[:2]
    (a,), (b,) = first.shapes, second.shapes
    assert curves.bounds([b.outline])[1] == pytest.approx(-170.0)
    assert curves.bounds([a.outline])[0] > curves.bounds([b.outline])[0]


@pytest.mark.parametrize("text, words", [("漢", "no letter"), (" \n ", "nothing to cut"), ("A" * 3000, "3000 letters")])
def test_what_cannot_be_set_is_told(text, words):
    with pytest.raises(DrawingFault, match=words):
        set_wording(text, 100.0)


def test_a_letter_the_font_lacks_or_leaves_empty_is_named_with_its_mend(tmp_path):
    font = TTFont(SHIPPED / "DejaVuSans.ttf")
    font["glyf"]["B"] = Glyph()
    font.save(tmp_path / "worn.ttf")
    assert [letter.text for letter in set_wording("A C", 100.0, tmp_path / "worn.ttf")] == ["A", "C"]
    for letter in ("B", "漢"):
        with pytest.raises(DrawingFault, match=f"worn.ttf has no .*letter '{letter}'") as caught:
            set_wording(f"AH{letter}A", 100.0, tmp_path / "worn.ttf")
        assert "choose a font" in caught.value.mend


def test_what_is_no_font_is_told(tmp_path):
    path = tmp_path / "font.ttf"
    path.write_bytes(b"no font at all")
    with pytest.raises(DrawingFault, match="no TrueType"):
        set_wording("A", 100.0, path)


def test_dots_and_accents_are_joined_when_asked():
    letters = set_wording("iÄé%", 100.0, bridge_mm=6.0)
    assert [len(letter.shapes) for letter in letters] == [1, 1, 1, 1]
    (plain, joined) = (
        sum(curves.signed_area(s.outline) for s in set_wording("i", 100.0, bridge_mm=b)[0].shapes) for b in (None, 6.0)
    )
    dot, stem = sorted(set_wording("i", 100.0)[0].shapes, key=lambda s: curves.signed_area(s.outline))
    gap = curves.bounds([dot.outline])[1] - curves.bounds([stem.outline])[3]
    assert joined == pytest.approx(plain + 6.0 * gap, abs=0.1)


@pytest.mark.parametrize("height, tracking", [(0.0, 0.0), (float("nan"), 0.0), (1e9, 0.0), (100.0, float("inf"))])
def test_sizes_that_make_no_sense_are_told(height, tracking):
    with pytest.raises(DrawingFault, match="height"):
        set_wording("A", height, tracking_mm=tracking)


def test_fonts_are_found_by_file_and_by_full_name(tmp_path):
    beside = tmp_path / "own.ttf"
    beside.write_bytes((SHIPPED / "DejaVuSans.ttf").read_bytes())
    assert find_font("own.ttf", tmp_path) == beside
    assert find_font("dejavu sans-bold", tmp_path) == SHIPPED / "DejaVuSans-Bold.ttf"
    assert find_font("DejaVuSans.ttf", tmp_path) == SHIPPED / "DejaVuSans.ttf"
    assert find_font(None, tmp_path) == SHIPPED / "DejaVuSans-Bold.ttf"
    with pytest.raises(DrawingFault, match="no font Nowhere Sans"):
        find_font("Nowhere Sans", tmp_path)


@pytest.fixture(scope="module")
def variable_font(tmp_path_factory) -> Path:
    """A font made here: its H is two strokes that overlap, and its weight axis widens one of them."""
    pen = TTGlyphPen(None)
    for x0, y0, x1, y1 in ((0, 0, 400, 700), (200, 300, 600, 500)):
        pen.moveTo((x0, y0))
        for corner in ((x0, y1), (x1, y1), (x1, y0)):
            pen.lineTo(corner)
        pen.closePath()
    builder = FontBuilder(1000, isTTF=True)
    builder.setupGlyphOrder([".notdef", "H"])
    builder.setupCharacterMap({ord("H"): "H"})
    builder.setupGlyf({".notdef": TTGlyphPen(None).glyph(), "H": pen.glyph()})
    builder.setupHorizontalMetrics({".notdef": (600, 0), "H": (600, 0)})
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Made Here", "styleName": "Regular"})
    builder.setupFvar([("wght", 100, 100, 900, "Weight")], [])
    wider = [None] * 4 + [(0, 0), (0, 0), (200, 0), (200, 0)] + [None] * 4
    builder.setupGvar({"H": [TupleVariation({"wght": (0.0, 1.0, 1.0)}, [d or (0, 0) for d in wider])]})
    builder.setupOS2(sTypoAscender=800, usWinAscent=800, usWinDescent=200)
    builder.setupPost()
    path = tmp_path_factory.mktemp("fonts") / "made.ttf"
    builder.save(path)
    return path


@pytest.mark.parametrize("weight, area", [(100, 400 * 700 + 200 * 200), (900, 400 * 700 + 400 * 200)])
def test_overlapping_strokes_of_a_variable_font_become_one_outline(variable_font, weight, area):
    (letter,) = set_wording("H", 700.0, variable_font, axes={"wght": weight})
    (shape,) = letter.shapes
    assert shape.holes == () and len(shape.outline) == 8
    assert curves.signed_area(shape.outline) == pytest.approx(area)


def test_ligatures_are_one_letter_unless_tracked():
    font = SHIPPED / "DejaVuSans.ttf"
    assert [letter.text for letter in set_wording("fin", 100.0, font)] == ["fi", "n"]
    assert [letter.text for letter in set_wording("fin", 100.0, font, tracking_mm=2.0)] == ["f", "i", "n"]


@pytest.mark.parametrize("text, letters", [("ΩΔ", 2), ("Жя", 2), ("سلام", 4), ("é", 1)])
def test_other_scripts_are_set_as_their_font_has_them(text, letters):
    found = set_wording(text, 100.0, SHIPPED / "DejaVuSans.ttf")
    assert "".join(letter.text for letter in found) == text
    assert len(found) <= letters and all(letter.shapes for letter in found)
