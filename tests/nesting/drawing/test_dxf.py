"""Reading DXF: entities, blocks, layers and units against shapes known by analysis; drawings written and read back."""

import math
from collections.abc import Callable
from pathlib import Path

import ezdxf
import ezdxf.enums
import pytest
from ezdxf.document import Drawing

from nesting import curves
from nesting.drawing.intake import Intake
from nesting.drawing.reading import read_drawing
from nesting.drawing.shapes import DrawnChain, DrawnShape
from nesting.drawing.writing import write_drawing
from nesting.faults import DrawingFault
from tests.nesting.drawing.drawn import shape_layers

SLOT = ((0.0, 0.0, 0.0), (30.0, 0.0, 1.0), (30.0, 10.0, 0.0), (0.0, 10.0, 1.0))
HOLE = ((10.0, 5.0, -1.0), (15.0, 5.0, -1.0))
PLATE = DrawnShape(SLOT, (HOLE,), (((5.0, 5.0, 0.5), (8.0, 6.0, 0.0)),), "CUT")

Draw = Callable[[Drawing], None]


@pytest.fixture
def drawn(tmp_path: Path) -> Callable[..., Path]:
    def draw(fill: Draw, units: int = 4, version: str = "R2010") -> Path:
        document = ezdxf.new(version)
        document.units = units
        fill(document)
        path = tmp_path / "drawing.dxf"
        document.saveas(path)
        return path

    return draw


def areas(path: Path, intake: Intake | None = None) -> list[float]:
    shapes, findings = read_drawing(path, intake)
    assert all(finding.mended for finding in findings), findings
    return sorted(
        curves.signed_area(s.outline) + math.fsum(curves.signed_area(hole) for hole in s.holes) for s in shapes
    )


@pytest.mark.parametrize("version", ["R12", "R2000", "R2010", "R2018"])
def test_written_shapes_are_read_back(tmp_path, version):
    path = tmp_path / "plate.dxf"
    write_drawing(path, shape_layers([PLATE]), version)
    shapes, _ = read_drawing(path, Intake(units="mm"))
    assert shapes == (PLATE,)
    assert not ezdxf.readfile(path).audit().errors


def test_equal_drawings_are_equal_bytes(tmp_path):
    for name in ("a.dxf", "b.dxf"):
        write_drawing(tmp_path / name, {"CUT": [DrawnChain(SLOT, True)], "LINEUP": []})
    assert (tmp_path / "a.dxf").read_bytes() == (tmp_path / "b.dxf").read_bytes()


def test_circles_and_arcs_stay_arcs(drawn):
    def fill(document):
        space = document.modelspace()
        space.add_circle((50, 50), 20)
        space.add_arc((0, 0), 10, 0, 180)
        space.add_line((-10, 0), (10, 0))

    shapes, findings = read_drawing(drawn(fill))
    assert sorted(len(s.outline) for s in shapes) == [2, 2]
    assert [curves.signed_area(s.outline) for s in shapes] == pytest.approx([math.pi * 400, math.pi * 50])
    assert findings == ()


def test_ellipses_and_splines_are_fitted_with_few_arcs(drawn):
    def fill(document):
        document.modelspace().add_ellipse((0, 0), (100, 0), 0.5)

    (shape,), _ = read_drawing(drawn(fill))
    assert curves.signed_area(shape.outline) == pytest.approx(math.pi * 5000, rel=1e-4)
    assert len(shape.outline) <= 24
    for segment in curves.segments(shape.outline, closed=True):
        x, y = segment.point(0.5)
        assert abs(math.hypot(x, 2 * y) - 100) <= 0.05


@pytest.mark.parametrize("scale", [(2, 2), (-2, 2), (2, -2), (-2, -2), (1, 4), (-1, 4)])
def test_blocks_in_blocks_keep_area_under_every_scale(drawn, scale):
    def fill(document):
        inner = document.blocks.new("INNER")
        inner.add_lwpolyline(SLOT, format="xyb", close=True)
        outer = document.blocks.new("OUTER")
        outer.add_blockref("INNER", (7, 3), dxfattribs={"rotation": 30, "yscale": -1})
        document.modelspace().add_blockref(
            "OUTER", (100, 100), dxfattribs={"xscale": scale[0], "yscale": scale[1], "rotation": 15}
        )

    assert areas(drawn(fill)) == pytest.approx([4 * (300 + math.pi * 25)], rel=1e-4)


def test_a_drawing_seen_from_the_back_is_mirrored(drawn):
    def fill(document):
        document.modelspace().add_lwpolyline(
            [(0, 0), (10, 0), (10, 5)], close=True, dxfattribs={"extrusion": (0, 0, -1)}
        )

    (shape,), _ = read_drawing(drawn(fill))
    assert curves.bounds([shape.outline]) == pytest.approx((-10, 0, 0, 5))


def test_frozen_layers_and_paper_space_stay_out_and_are_told(drawn):
    def fill(document):
        document.layers.add("OLD").freeze()
        document.modelspace().add_circle((0, 0), 10)
        document.modelspace().add_circle((0, 0), 500, dxfattribs={"layer": "OLD"})
        document.layout().add_line((0, 0), (297, 0))

    path = drawn(fill)
    assert areas(path) == pytest.approx([math.pi * 100])
    assert {finding.code for finding in read_drawing(path)[1]} == {"hidden", "paper-space"}


def test_units_are_read_assumed_and_overridden(drawn):
    def fill(document):
        document.modelspace().add_circle((0, 0), 10)

    assert areas(drawn(fill, units=1)) == pytest.approx([math.pi * 254**2])
    path = drawn(fill, units=0)
    assert areas(path) == pytest.approx([math.pi * 100])
    (finding,) = read_drawing(path)[1]
    assert finding.code == "units" and "508 mm" in finding.text
    assert areas(path, Intake(units="inch", scale=0.1)) == pytest.approx([math.pi * 25.4**2])


def square(gap: float) -> Draw:
    def fill(document: Drawing) -> None:
        space = document.modelspace()
        space.add_line((0, 0), (100, 0))
        space.add_line((100, 100), (100, 0))
        space.add_line((100, 100), (0, 100))
        space.add_line((0, 100), (0, gap))

    return fill


def test_gaps_are_joined_told_or_refused_by_their_width(drawn):
    assert areas(drawn(square(0.04))) == pytest.approx([10000], abs=5)
    assert read_drawing(drawn(square(0.04)))[1] == ()
    shapes, (told,) = read_drawing(drawn(square(0.4)))
    assert curves.signed_area(shapes[0].outline) == pytest.approx(10000)
    assert told.code == "joined" and told.mended and "0.400 mm" in told.text
    shapes, (refused,) = read_drawing(drawn(square(0.6)))
    assert shapes == () and not refused.mended
    assert "layer 0" in str(refused) and "LINE" in str(refused) and "0.60 mm at (0.00, 0.60)" in str(refused)


def test_outer_hole_and_island_become_two_pieces_and_doubles_one(drawn):
    def fill(document):
        for radius in (50, 30, 10, 10):
            document.modelspace().add_circle((0, 0), radius)

    assert areas(drawn(fill)) == pytest.approx([math.pi * 100, math.pi * (2500 - 900)])


def test_outlines_that_cross_are_refused(drawn):
    def fill(document):
        document.modelspace().add_circle((0, 0), 10)
        document.modelspace().add_circle((5, 0), 10)

    _, findings = read_drawing(drawn(fill))
    assert [finding.code for finding in findings] == ["crossing"]


def test_a_block_that_holds_itself_is_refused(drawn):
    def fill(document):
        block = document.blocks.new("LOOP")
        block.add_blockref("LOOP", (1, 1))
        document.modelspace().add_blockref("LOOP", (0, 0))

    with pytest.raises(DrawingFault, match="holds itself"):
        read_drawing(drawn(fill))


@pytest.mark.parametrize("content", [b"not a drawing", b"\x00" * 99])
def test_what_is_no_drawing_is_one_clear_fault(tmp_path, content):
    path = tmp_path / "junk.dxf"
    path.write_bytes(content)
    with pytest.raises(DrawingFault, match="no DXF drawing"):
        read_drawing(path)


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.9, 0.99])
def test_a_drawing_cut_short_is_never_taken_for_whole(tmp_path, share):
    path = tmp_path / "plate.dxf"
    write_drawing(path, shape_layers([PLATE]))
    path.write_bytes(path.read_bytes()[: int(share * path.stat().st_size)])
    try:
        _, findings = read_drawing(path)
    except DrawingFault:
        return
    assert any("cut short" in finding.text and not finding.mended for finding in findings)


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(DrawingFault, match=r"no drawing gone\.dxf"):
        read_drawing(tmp_path / "gone.dxf")


def test_curves_are_as_fine_in_inches_and_in_scaled_blocks(drawn):
    def fill(document):
        block = document.blocks.new("PART")
        block.add_ellipse((0, 0), (0.5, 0), 0.5)
        document.modelspace().add_blockref("PART", (0, 0), dxfattribs={"xscale": 8, "yscale": 8, "zscale": 8})

    (shape,), _ = read_drawing(drawn(fill, units=1))
    a, b = 4 * 25.4, 2 * 25.4
    worst = max(
        abs(math.hypot(x / a, y / b) - 1) * b for s in curves.segments(shape.outline, True) for x, y in [s.point(0.5)]
    )
    assert worst <= 0.04
    assert 12 <= len(shape.outline) <= 30


def test_live_text_is_told_and_cut_only_when_asked(drawn):
    def fill(document):
        space = document.modelspace()
        space.add_text("HI", height=2).set_placement((10, 10), align=ezdxf.enums.TextEntityAlignment.MIDDLE_CENTER)
        space.add_mtext("I", dxfattribs={"char_height": 2, "insert": (20, 10), "attachment_point": 7, "rotation": 90})

    path = drawn(fill, units=5)
    assert {f.code for f in read_drawing(path)[1]} == {"left-out", "empty"}
    shapes, findings = read_drawing(path, Intake(text=True))
    assert findings == () and len(shapes) == 3
    x0, y0, x1, y1 = curves.bounds([s.outline for s in shapes[:2]])
    assert ((x0 + x1) / 2, (y0 + y1) / 2, y1 - y0) == pytest.approx((100, 100, 20), abs=1e-6)
    x0, y0, x1, y1 = curves.bounds([shapes[2].outline])
    assert (x1, y0, x1 - x0) == pytest.approx((200, 100 + shapes_left(shapes[2]), 20), abs=1e-6)


def shapes_left(shape):
    """The side bearing of a letter that is turned a quarter: how far it starts from where it was placed."""
    return curves.bounds([shape.outline])[1] - 100


def test_multilines_are_read_as_the_lines_they_show(drawn):
    def fill(document):
        document.modelspace().add_mline([(0, 0), (100, 0), (100, 50)], close=True)

    shapes, findings = read_drawing(drawn(fill))
    assert len(shapes) == 1 and len(shapes[0].holes) == 1
    assert all(finding.mended for finding in findings)


def test_overlapping_lines_are_made_one_and_branches_are_told(drawn):
    def fill(document):
        space = document.modelspace()
        for a, b in (
            ((0, 0), (60, 0)),
            ((40, 0), (100, 0)),
            ((100, 0), (100, 50)),
            ((100, 50), (0, 50)),
            ((0, 50), (0, 0)),
        ):
            space.add_line(a, b)

    (shape,), (told,) = read_drawing(drawn(fill))
    assert curves.signed_area(shape.outline) == pytest.approx(5000) and told.code == "overlaps"

    def branch(document):
        fill(document)
        document.modelspace().add_line((100, 0), (130, 0))

    _, findings = read_drawing(drawn(branch))
    assert any("closed without it at (100.00, 0.00)" in finding.text and not finding.mended for finding in findings)


def test_a_hole_at_the_edge_is_taken_out_of_it(drawn):
    def fill(document):
        space = document.modelspace()
        space.add_lwpolyline([(0, 0), (100, 0), (100, 50), (0, 50)], close=True)
        space.add_lwpolyline([(40, 0), (60, 0), (60, 10), (40, 10)], close=True)

    shapes, findings = read_drawing(drawn(fill))
    assert areas_of(shapes) == pytest.approx([4800])
    assert [finding.code for finding in findings] == ["touching"]


def areas_of(shapes):
    return [curves.signed_area(s.outline) + math.fsum(map(curves.signed_area, s.holes)) for s in shapes]


@pytest.mark.parametrize("as_lines", [False, True])
def test_a_circle_drawn_as_chords_becomes_arcs_again(drawn, as_lines):
    points = [(100 * math.cos(i * math.tau / 400), 100 * math.sin(i * math.tau / 400)) for i in range(400)]

    def fill(document):
        space = document.modelspace()
        if as_lines:
            for a, b in zip(points, points[1:] + points[:1], strict=True):
                space.add_line(a, b)
        else:
            space.add_lwpolyline(points, close=True)

    (shape,), (told,) = read_drawing(drawn(fill))
    assert len(shape.outline) <= 4 and "400 sides" in told.text
    assert areas_of([shape]) == pytest.approx([math.pi * 10000], rel=1e-3)


def test_a_dozen_sided_plate_keeps_its_sides(drawn):
    points = [(100 * math.cos(i * math.tau / 24), 100 * math.sin(i * math.tau / 24)) for i in range(24)]
    (shape,), findings = read_drawing(drawn(lambda d: d.modelspace().add_lwpolyline(points, close=True)))
    assert len(shape.outline) == 24 and findings == ()


def test_hatches_are_read_and_a_hatch_on_its_outline_counts_once(drawn):
    def fill(document):
        space = document.modelspace()
        hatch = space.add_hatch()
        hatch.paths.add_polyline_path([(0, 0, 1), (100, 0, 1)], is_closed=True)
        edges = hatch.paths.add_edge_path()
        edges.add_arc((50, 0), 20, 0, 180)
        edges.add_line((30, 0), (70, 0))
        space.add_circle((50, 0), 50)

    shapes, findings = read_drawing(drawn(fill))
    assert areas_of(shapes) == pytest.approx([math.pi * 2500 - math.pi * 200])
    assert [finding.code for finding in findings] == ["doubles"]
