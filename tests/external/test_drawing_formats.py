"""Drawing formats against their published references and an independent library.

Sources are named beside each check. DXF reference: the published group code and header variable pages ($INSUNITS,
LWPOLYLINE 42). SVG 2: https://www.w3.org/TR/SVG2/. CSS Values 3: https://www.w3.org/TR/css-values-3/.
"""

from __future__ import annotations

import math
import random
from pathlib import Path

import ezdxf
import ezdxf.math
import ezdxf.units
import numpy as np
import pytest
from ezdxf.math import BSpline

from nesting import curves
from nesting.curves import Segment
from nesting.drawing.dxf_entities import spline_curves
from nesting.drawing.intake import Intake
from nesting.drawing.reading import read_drawing
from nesting.drawing.shapes import DrawnShape
from nesting.drawing.units import MM_PER_UNIT, UNITS_BY_CODE


def net_area(shape: DrawnShape) -> float:
    return curves.signed_area(shape.outline) + math.fsum(curves.signed_area(hole) for hole in shape.holes)


# ── DXF ──────────────────────────────────────────────────────────────────────────────────────────────────────

# $INSUNITS, DXF reference, header variables; the factors by their legal definitions (international inch 25.4 mm
# exactly, US survey foot 1200/3937 m, astronomical unit 149 597 870 700 m).
INSUNITS = {
    1: 25.4,
    2: 304.8,
    3: 1_609_344,
    4: 1,
    5: 10,
    6: 1000,
    7: 1_000_000,
    8: 25.4e-6,
    9: 0.0254,
    10: 914.4,
    11: 1e-7,
    12: 1e-6,
    13: 1e-3,
    14: 100,
    15: 10_000,
    16: 100_000,
    17: 1e12,
    18: 149_597_870_700_000,
    21: 304.8006096,
}


@pytest.mark.parametrize("code, mm", sorted(INSUNITS.items()))
def test_units_by_the_dxf_reference(code, mm):
    # DXF reference, header variable $INSUNITS; factors: the yard and pound agreement of 1959 (an inch is 25.4 mm), the
    # US survey foot of 1893 (1200/3937 m), IAU 2012 resolution B2 (an astronomical unit is 149 597 870 700 m).
    assert MM_PER_UNIT[UNITS_BY_CODE[code]] == pytest.approx(mm, rel=1e-9)


@pytest.mark.parametrize("code", [*range(1, 8), *range(10, 19)])
def test_units_agree_with_an_independent_table(code):
    # The open DXF library's own conversion table, for the codes it has.
    theirs = ezdxf.units.conversion_factor(ezdxf.units.InsertUnits(code), ezdxf.units.InsertUnits.Millimeters)
    assert MM_PER_UNIT[UNITS_BY_CODE[code]] == pytest.approx(theirs, rel=1e-3)


@pytest.mark.parametrize("degrees, bulge", [(60, 0.267949), (90, 0.414214), (180, 1.0), (270, 2.414214)])
def test_bulge_is_the_tangent_of_a_quarter_of_the_sweep(degrees, bulge):
    # DXF reference, LWPOLYLINE group 42.
    arc = Segment((0.0, 0.0), (10.0, 0.0), bulge)
    assert math.degrees(arc.sweep) == pytest.approx(degrees, abs=1e-3)
    centre, start, end, radius = ezdxf.math.bulge_to_arc((0, 0), (10, 0), bulge)
    assert arc.centre == pytest.approx((centre.x, centre.y), abs=1e-6)
    assert arc.radius == pytest.approx(radius)
    assert math.degrees(end - start) % 360 == pytest.approx(degrees, abs=1e-3)


def test_arc_by_the_chord_formula():
    # r = c (1 + b²) / (4 |b|), height b c / 2: chord 10, 90°: 7.07107, 2.07107, length 11.10721, segment 14.26991.
    arc = Segment((0.0, 0.0), (10.0, 0.0), math.tan(math.radians(90) / 4))
    assert arc.radius == pytest.approx(7.07107, abs=1e-5)
    assert arc.length == pytest.approx(11.10721, abs=1e-5)
    assert -arc.point(0.5)[1] == pytest.approx(2.07107, abs=1e-5)
    assert curves.signed_area((*[(0.0, 0.0, arc.bulge)], (10.0, 0.0, 0.0))) == pytest.approx(14.26991, abs=1e-5)


def test_an_arc_runs_counter_clockwise_from_start_to_end(tmp_path):
    # DXF reference, ARC: 350° to 10° is 20°, across the x axis.
    document = ezdxf.new()
    document.units = 4
    document.modelspace().add_arc((0, 0), 100, 350, 10)
    chord = [(100 * math.cos(math.radians(a)), 100 * math.sin(math.radians(a))) for a in (10, 350)]
    document.modelspace().add_line(*chord)
    document.saveas(tmp_path / "arc.dxf")
    (shape,), _ = read_drawing(tmp_path / "arc.dxf")
    theta = math.radians(20)
    assert net_area(shape) == pytest.approx(100**2 / 2 * (theta - math.sin(theta)))
    assert curves.bounds([shape.outline])[2] == pytest.approx(100)


@pytest.mark.parametrize("version", ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"])
@pytest.mark.parametrize("binary", [False, True])
def test_every_version_is_read_in_text_and_binary(tmp_path, version, binary):
    # An independent writer; the rectangle with one round end is 30 x 10 and a half circle of radius 5.
    document = ezdxf.new(version)
    document.header["$INSUNITS"] = 4
    space = document.modelspace()
    space.add_line((0, 0), (30, 0))
    space.add_arc((30, 5), 5, 270, 90)
    space.add_line((30, 10), (0, 10))
    space.add_line((0, 10), (0, 0))
    path = tmp_path / "plate.dxf"
    document.saveas(path, fmt="bin" if binary else "asc")
    (shape,), findings = read_drawing(path, Intake(units="mm"))
    assert net_area(shape) == pytest.approx(300 + math.pi * 25 / 2)
    assert findings == ()


# ── SVG ──────────────────────────────────────────────────────────────────────────────────────────────────────


def svg(folder: Path, body: str, page: str) -> tuple[DrawnShape, ...]:
    path = folder / "page.svg"
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" {page}>{body}</svg>', encoding="utf-8")
    shapes, findings = read_drawing(path)
    assert all(finding.mended for finding in findings)
    return shapes


@pytest.mark.parametrize(
    "length, mm",
    [
        ("1in", 25.4),
        ("96px", 25.4),
        ("72pt", 25.4),
        ("6pc", 25.4),
        ("2.54cm", 25.4),
        ("25.4mm", 25.4),
        ("1px", 0.264583),
    ],
)
def test_lengths_by_css_values(tmp_path, length, mm):
    # CSS Values 3, 6.2 absolute lengths: 1in = 2.54cm = 96px = 72pt = 6pc.
    shapes = svg(tmp_path, f'<rect width="{length}" height="{length}"/>', 'width="100mm" height="100mm"')
    assert curves.bounds([shapes[0].outline])[2] == pytest.approx(mm, rel=1e-5)


@pytest.mark.parametrize(
    "aspect, scale_x, scale_y, left, top",
    [("", 1, 1, 0, 100), ("none", 1, 1.5, 0, 0), ("xMinYMin meet", 1, 1, 0, 0), ("xMidYMid slice", 1.5, 1.5, -150, 0)],
)
def test_viewbox_into_a_square_by_preserve_aspect_ratio(tmp_path, aspect, scale_x, scale_y, left, top):
    # SVG 2, 8.7: viewBox 0 0 600 400 into 600 x 600 mm; worked by hand.
    page = f'width="600mm" height="600mm" viewBox="0 0 600 400" preserveAspectRatio="{aspect}"'
    (shape,) = svg(tmp_path, '<rect width="100" height="100"/>', page)
    assert curves.bounds([shape.outline]) == pytest.approx(
        (left, 600 - top - 100 * scale_y, left + 100 * scale_x, 600 - top)
    )


PAGE = 'width="1200mm" height="600mm" viewBox="0 0 1200 600"'


@pytest.mark.parametrize(
    "path, area",
    [
        # SVG 2, 9.3.3, example triangle01: half of base 200 by height 200.
        ("M 100 100 L 300 100 L 200 300 z", 20_000),
        # 9.3.8, example arcs01: three quarters, then one quarter, of a circle of radius 150.
        ("M300,200 h-150 a150,150 0 1,0 150,-150 z", 0.75 * math.pi * 150**2),
        ("M275,175 v-150 a150,150 0 0,0 -150,150 z", 0.25 * math.pi * 150**2),
        # 9.3.6, example cubic01, its first arch closed: 3/5 of 150 x 100 (by integration).
        ("M100,200 C100,100 250,100 250,200 z", 9_000),
        # Both arches, closed along the axis, one above and one below it.
        ("M100,200 C100,100 250,100 250,200 S400,300 400,200 z", 18_000),
        # 9.3.7, example quad01: a parabola's segment is two thirds of its triangle, twice.
        ("M200,300 Q400,50 600,300 T1000,300 z", 2 * 400 * 250 / 3),
        # Flags and numbers run together, as writers of small files do; a half circle of radius 50.
        ("M10-20a50 50 0 01100 0z", math.pi * 50**2 / 2),
    ],
)
def test_areas_of_the_specification_s_path_examples(tmp_path, path, area):
    # SVG 2, chapter 9, the path examples it draws (the section stands at each); areas worked by hand.
    shapes = svg(tmp_path, f'<path d="{path}"/>', PAGE)
    assert sum(map(net_area, shapes)) == pytest.approx(area, rel=1e-4)


@pytest.mark.parametrize("rule, parts", [("nonzero", 1), ("evenodd", 5)])
def test_the_specification_s_star_by_both_fill_rules(tmp_path, rule, parts):
    # SVG 2, 13.4.2, the star that illustrates fill-rule. By nonzero it is one outline, by evenodd five points are left
    # round an open pentagon; the areas by the shoelace formula on the crossings of its five lines.
    corners = [(250, 75), (323, 301), (131, 161), (369, 161), (177, 301)]
    crossings = [_crossing(corners, k, k + 2) for k in range(5)]
    inner = sorted(crossings, key=lambda p: math.atan2(p[1] - 200, p[0] - 250))
    star = abs(_shoelace(_star(corners, inner)))
    body = f'<path fill-rule="{rule}" d="M 250,75 L 323,301 131,161 369,161 177,301 z"/>'
    shapes = svg(tmp_path, body, PAGE)
    assert len(shapes) == parts
    assert sum(map(net_area, shapes)) == pytest.approx(
        star - (abs(_shoelace(inner)) if rule == "evenodd" else 0), rel=1e-6
    )


def _crossing(corners: list[tuple[int, int]], i: int, j: int) -> tuple[float, float]:
    (ax, ay), (bx, by) = corners[i % 5], corners[(i + 1) % 5]
    (cx, cy), (dx, dy) = corners[j % 5], corners[(j + 1) % 5]
    ux, uy, vx, vy = bx - ax, by - ay, dx - cx, dy - cy
    t = ((cx - ax) * vy - (cy - ay) * vx) / (ux * vy - uy * vx)
    return ax + t * ux, ay + t * uy


def _shoelace(points: list[tuple[float, float]]) -> float:
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, [*points[1:], points[0]], strict=True)) / 2


def _star(tips: list[tuple[int, int]], inner: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Tips and inner corners in turn round the middle."""
    return sorted([*tips, *inner], key=lambda p: math.atan2(p[1] - 200, p[0] - 250))


# ── analytic shapes ──────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("a, b", [(100, 50), (300, 10), (5, 4), (700, 400)])
def test_ellipses_keep_area_and_perimeter(tmp_path, a, b):
    # Area pi a b; perimeter by Ramanujan's second formula (1914), good to 1e-5 at these shapes.
    document = ezdxf.new()
    document.units = 4
    document.modelspace().add_ellipse((0, 0), (a, 0), b / a)
    document.saveas(tmp_path / "ellipse.dxf")
    (shape,), _ = read_drawing(tmp_path / "ellipse.dxf")
    h = ((a - b) / (a + b)) ** 2
    perimeter = math.pi * (a + b) * (1 + 3 * h / (10 + math.sqrt(4 - 3 * h)))
    assert net_area(shape) == pytest.approx(math.pi * a * b, rel=1e-3)
    assert curves.length(shape.outline, True) == pytest.approx(perimeter, rel=1e-3)
    assert len(shape.outline) < 60


def test_a_rational_spline_is_the_circle_it_stands_for(tmp_path):
    # A circle as a rational quadratic spline is exact: The NURBS Book (Piegl, Tiller), chapter 7.
    document = ezdxf.new()
    document.units = 4
    spline = document.modelspace().add_spline()
    spline.apply_construction_tool(ezdxf.math.rational_bspline_from_arc(radius=150, start_angle=0, end_angle=360))
    document.saveas(tmp_path / "nurbs.dxf")
    (shape,), _ = read_drawing(tmp_path / "nurbs.dxf")
    assert net_area(shape) == pytest.approx(math.pi * 150**2, rel=1e-6)
    assert len(shape.outline) <= 4


@pytest.mark.parametrize("degree, weighted", [(1, False), (2, True), (3, False), (3, True), (5, True)])
def test_splines_run_where_the_reference_library_evaluates_them(degree, weighted):
    """Reference: the B-spline evaluation of ezdxf (after The NURBS Book, Piegl and Tiller, algorithm A3.1)."""
    chance = random.Random(degree)
    control = [(chance.uniform(0, 100), chance.uniform(0, 100)) for _ in range(degree + 6)]
    knots = [0.0] * (degree + 1) + [1.0, 1.5, 4.0, 4.0, 7.0] + [9.0] * (degree + 1)
    weights = [chance.uniform(0.3, 3.0) for _ in control] if weighted else None
    spline = BSpline(control, degree + 1, knots, weights)
    for curve in spline_curves(spline):
        inside = np.linspace(curve.start, curve.end, 9)[1:-1]
        expected = [(p.x, p.y) for p in spline.points(inside.tolist())]
        assert curve.at(inside) == pytest.approx(np.array(expected), abs=1e-9)
