"""Hostile and huge drawings: each ends in shapes or in one clear fault, and none costs without bound."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import ezdxf
import pytest

from nesting.drawing.intake import MOST_BYTES
from nesting.drawing.reading import read_drawing
from nesting.faults import DrawingFault

SPEC = importlib.util.spec_from_file_location("fuzzing", Path(__file__).with_name("fuzzing.py"))
assert SPEC is not None and SPEC.loader is not None
fuzzing = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(fuzzing)

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="99mm" height="99mm" viewBox="0 0 99 99">{}</svg>'


@pytest.mark.parametrize("seed", range(10_000, 10_120))
def test_random_and_damaged_drawings_are_read_or_refused(tmp_path, seed):
    suffix, content = fuzzing.drawing(seed)
    path = tmp_path / f"fuzz{suffix}"
    path.write_bytes(content)
    assert fuzzing.judged(path) in ("refused", "to mend", "accepted")


def saved(tmp_path: Path, fill) -> Path:
    document = ezdxf.new()
    document.units = 4
    fill(document, document.modelspace())
    path = tmp_path / "hostile.dxf"
    document.saveas(path)
    return path


def test_blocks_that_multiply_are_stopped(tmp_path):
    def fill(document, space):
        document.blocks.new("B0").add_circle((0, 0), 1)
        for level in range(1, 9):
            block = document.blocks.new(f"B{level}")
            for k in range(10):
                block.add_blockref(f"B{level - 1}", (k, 0))
        space.add_blockref("B8", (0, 0))

    with pytest.raises(DrawingFault, match="more than"):
        read_drawing(saved(tmp_path, fill))


def test_an_array_of_a_billion_is_stopped(tmp_path):
    def fill(document, space):
        document.blocks.new("B").add_circle((0, 0), 1)
        space.add_blockref(
            "B", (0, 0), dxfattribs={"row_count": 30000, "column_count": 30000, "row_spacing": 3, "column_spacing": 3}
        )

    with pytest.raises(DrawingFault, match="more than"):
        read_drawing(saved(tmp_path, fill))


def test_ten_thousand_lines_on_one_spot_are_refused_not_computed(tmp_path):
    def fill(_, space):
        for k in range(10_000):
            space.add_line((0, 0), (100, k / 100))

    with pytest.raises(DrawingFault, match="lie within a millimetre"):
        read_drawing(saved(tmp_path, fill))


def test_circles_in_circles_without_end_are_refused(tmp_path):
    def fill(_, space):
        for k in range(1, 3000):
            space.add_circle((0, 0), k)

    with pytest.raises(DrawingFault, match="over each other"):
        read_drawing(saved(tmp_path, fill))


def test_figures_that_are_none_are_named_by_layer_and_handle(tmp_path):
    def fill(_, space):
        space.add_circle((0, 0), 10)
        space.add_circle((float("nan"), 0), 10, {"layer": "CUT"})
        space.add_line((0, 0), (1e300, 0), {"layer": "CUT"})
        space.add_lwpolyline([(0, 0, 1e300), (5, 5, 0)], format="xyb", close=True)

    _, findings = read_drawing(saved(tmp_path, fill))
    bad = [str(finding) for finding in findings if not finding.mended]
    assert len(bad) == 3 and "layer CUT, CIRCLE" in bad[0] and "layer CUT, LINE" in bad[1]


def test_a_file_too_large_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "huge.dxf"
    with path.open("wb") as file:
        file.truncate(MOST_BYTES + 1)
    with pytest.raises(DrawingFault, match="60 MB"):
        read_drawing(path)


@pytest.mark.parametrize("name", ["folder.dxf", "a\x00b.dxf", "../../nowhere.svg", "drawing.pdf"])
def test_what_is_no_drawing_file_is_refused(tmp_path, name):
    (tmp_path / "folder.dxf").mkdir()
    with pytest.raises(DrawingFault):
        read_drawing(tmp_path / name)


def test_symbols_that_multiply_are_stopped(tmp_path):
    groups = "".join(f'<g id="g{k}">' + f'<use href="#g{k - 1}" x="1"/>' * 10 + "</g>" for k in range(1, 9))
    path = tmp_path / "bomb.svg"
    path.write_text(SVG.format(f'<g id="g0"><rect width="1" height="1"/></g>{groups}'))
    with pytest.raises(DrawingFault, match="more than"):
        read_drawing(path)


@pytest.mark.parametrize("encoding", ["utf-16", "latin-1", "utf-8-sig"])
def test_encodings_are_read_or_refused(tmp_path, encoding):
    path = tmp_path / "encoded.svg"
    text = SVG.format('<g id="Größe"><rect width="9" height="9"/></g>')
    path.write_bytes(f'<?xml version="1.0" encoding="{encoding.removesuffix("-sig")}"?>{text}'.encode(encoding))
    (shape,), _ = read_drawing(path)
    assert shape.layer == "Größe"


@pytest.mark.parametrize("step", [1, -1])
def test_uses_that_nest_in_depth_are_refused(tmp_path, step):
    deep = "".join(
        f'<g id="g{k}">' + "<g>" * 50 + f'<use href="#g{k - 1}"/>' + "</g>" * 51 for k in list(range(1, 20))[::step]
    )
    path = tmp_path / "deep.svg"
    path.write_text(SVG.format(f'<g id="g0"><rect width="9" height="9"/></g>{deep}'))
    with pytest.raises(DrawingFault, match="deeper"):
        read_drawing(path)
