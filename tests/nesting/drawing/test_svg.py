"""Reading SVG: shapes, paths, coordinate systems, styles, and what is not shown."""

import math
from collections.abc import Callable
from pathlib import Path

import pytest

from nesting import curves
from nesting.drawing.intake import Intake
from nesting.drawing.reading import read_drawing
from nesting.drawing.shapes import DrawnShape, Finding
from nesting.faults import DrawingFault

PAGE = 'width="600mm" height="400mm" viewBox="0 0 600 400"'
Read = Callable[..., tuple[tuple[DrawnShape, ...], tuple[Finding, ...]]]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def read(body: str, page: str = PAGE, intake: Intake | None = None):
        path = tmp_path / "drawing.svg"
        path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" {page}>{body}</svg>', encoding="utf-8")
        return read_drawing(path, intake)

    return read


def areas(shapes: tuple[DrawnShape, ...]) -> list[float]:
    return [curves.signed_area(s.outline) + math.fsum(curves.signed_area(hole) for hole in s.holes) for s in shapes]


@pytest.mark.parametrize(
    "body, area, vertices",
    [
        ('<rect x="10" y="10" width="30" height="20"/>', 600, 4),
        ('<rect x="10" y="10" width="30" height="20" rx="5"/>', 600 - (4 - math.pi) * 25, 8),
        ('<circle cx="50" cy="50" r="20"/>', math.pi * 400, 2),
        ('<polygon points="0,0 10,0 10,10"/>', 50, 3),
        ('<path d="M0 0h40v40h-40zM10 10h20v20h-20z" fill-rule="evenodd"/>', 1200, 4),
        ('<path d="M0 0h40v40h-40zM10 10h20v20h-20z"/>', 1600, 4),
        ('<path d="M0 0h40v40h-40zM10 10v20h20v-20z"/>', 1200, 4),
        ('<path d="M0 0h20v20h-20zM10 10h20v20h-20z"/>', 700, 8),
        ('<path d="M100 100a20 20 0 0 1 40 0a20 20 0 0 1-40 0z"/>', math.pi * 400, 2),
    ],
)
def test_figures_have_the_area_and_the_corners_they_should(read, body, area, vertices):
    shapes, findings = read(body)
    assert areas(shapes) == pytest.approx([area])
    assert len(shapes[0].outline) == vertices
    assert findings == ()


def test_y_points_up_and_the_page_is_mm(read):
    (shape,), _ = read('<rect x="10" y="20" width="30" height="40"/>')
    assert curves.bounds([shape.outline]) == pytest.approx((10, 340, 40, 380))


def test_transforms_nest_and_arcs_survive_turns_and_mirrors(read):
    body = '<g transform="translate(100 50) scale(-1 1)"><circle r="10" transform="rotate(30) scale(2)"/></g>'
    (shape,), _ = read(body)
    assert len(shape.outline) == 2
    assert curves.bounds([shape.outline]) == pytest.approx((80, 330, 120, 370))


def test_symbols_and_nested_pages_have_their_own_view(read):
    body = (
        '<defs><symbol id="s" viewBox="0 0 10 10"><rect width="10" height="10"/></symbol></defs>'
        '<use href="#s" x="100" y="100" width="20" height="20"/>'
        '<svg x="200" y="100" width="40" height="20" viewBox="0 0 10 10"><rect width="10" height="10"/></svg>'
    )
    shapes, _ = read(body)
    assert [curves.bounds([s.outline]) for s in shapes] == [
        pytest.approx((100, 280, 120, 300)),
        pytest.approx((210, 280, 230, 300)),
    ]


def test_what_is_hidden_unpainted_defined_or_clipped_away_stays_out(read):
    body = (
        "<style>.gone{display:none} g > .odd{fill-rule:evenodd}</style>"
        '<defs><rect width="9" height="9"/><clipPath id="c"><rect width="50" height="50"/></clipPath></defs>'
        '<rect class="gone" width="5" height="5"/><g style="display:none"><rect width="6" height="6"/></g>'
        '<g visibility="hidden"><rect width="7" height="7"/><rect visibility="visible" width="8" height="8"/></g>'
        '<rect fill="none" width="9" height="9"/><text>SIGN</text>'
        '<rect clip-path="url(#c)" x="100" width="9" height="9"/>'
        '<g><path class="odd" d="M100 0h40v40h-40zM110 10h20v20h-20z"/></g>'
    )
    shapes, findings = read(body)
    assert areas(shapes) == pytest.approx([64, 1200])
    assert sorted(f.text for f in findings) == [
        "elements left out: 1 (<text> is no outline: turn it into paths before it is saved)",
        "elements left out: 1 (clipped away)",
        "elements left out: 4 (hidden)",
    ]


def test_a_figure_cut_by_a_clip_is_refused(read):
    body = '<clipPath id="c"><rect width="50" height="50"/></clipPath><rect clip-path="url(#c)" width="90" height="9"/>'
    _, findings = read(body)
    assert [(f.code, f.mended) for f in findings] == [("clipped", False)]


def test_loose_lines_are_joined_and_layers_have_roles(read):
    body = (
        '<g label="CUT" fill="none" stroke="black"><line x2="50"/><path d="M50 0V50"/>'
        '<polyline points="50,50 0,50 0,0"/></g>'
        '<g label="Engrave"><path d="M10 10L20 20" stroke="black"/></g><g id="notes"><circle r="9"/></g>'
    )
    (shape,), findings = read(body)
    assert areas((shape,)) == pytest.approx([2500])
    assert (shape.layer, len(shape.marks)) == ("CUT", 1)
    assert [str(f) for f in findings] == [
        "layer notes: elements left out: 1 (their layer is not cut)",
        "layer Engrave: is marked, not cut",
    ]


def test_without_a_physical_size_the_assumption_is_told_and_units_override(read):
    page = 'viewBox="0 0 960 480"'
    shapes, (told,) = read('<rect width="96" height="96"/>', page)
    assert areas(shapes) == pytest.approx([25.4**2])
    assert told.code == "units" and "254 x 127 mm at 96" in told.text and "at 72" in told.text
    shapes, findings = read('<rect width="96" height="96"/>', page, Intake(units="mm"))
    assert areas(shapes) == pytest.approx([96**2]) and findings == ()


@pytest.mark.parametrize(
    "body",
    ['<use id="a" href="#a"/>', '<g id="g"><use href="#g"/></g>', "<g>" * 300 + "</g>" * 300, "<g>"],
)
def test_loops_depth_and_broken_files_are_refused(read, body):
    with pytest.raises(DrawingFault):
        read(body)


@pytest.mark.parametrize(
    "declared",
    ['<!ENTITY x SYSTEM "file:///etc/passwd">', '<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">'],
)
def test_entities_that_reach_out_or_multiply_are_refused(tmp_path, declared):
    path = tmp_path / "bomb.svg"
    path.write_text(f'<!DOCTYPE svg [{declared}]><svg xmlns="http://www.w3.org/2000/svg"><text>&x;</text></svg>')
    with pytest.raises(DrawingFault, match="entities"):
        read_drawing(path)
