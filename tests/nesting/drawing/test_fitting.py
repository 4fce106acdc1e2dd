"""Fitting, tracing and uniting: what must hold for any curve, any figure."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon

from nesting import curves
from nesting.curves import Segment
from nesting.drawing import kernels
from nesting.drawing.fitting import FIT_MM, dense, fitted, sampled
from nesting.drawing.pens import OutlinePen, bezier, elliptic_arc
from nesting.drawing.smoothing import smoothed
from nesting.drawing.tracing import Affine, arc_strokes, traced
from nesting.drawing.uniting import filled, winding
from nesting.model import Ring

coordinate = st.integers(-300_000, 300_000).map(lambda micrometres: micrometres / 1000)
point = st.tuples(coordinate, coordinate)


def line_of(chain, closed=False) -> LineString:
    points = dense(chain, closed)
    return LineString([*points, points[0]] if closed else points)


def square(x: float, y: float, side: float) -> Ring:
    return ((x, y, 0.0), (x + side, y, 0.0), (x + side, y + side, 0.0), (x, y + side, 0.0))


@given(st.lists(point, min_size=3, max_size=4))
@example([(0, 0), (100, 0), (0, 0), (100, 0)])
def test_every_bezier_is_fitted_within_the_tolerance_both_ways(controls):
    points = sampled(bezier(controls), 0.0, 1.0)
    exact = bezier(controls)(np.linspace(0, 1, 3001))
    chain = fitted(points)
    drawn, meant = line_of(chain), LineString(exact)
    assert chain[0][:2] == tuple(points[0]) and chain[-1][:2] == tuple(points[-1])
    assert shapely.points(exact[::50]).size and max(shapely.distance(shapely.points(exact), drawn)) <= FIT_MM + 0.002
    assert max(shapely.distance(shapely.points(dense(chain, False)), meant)) <= FIT_MM + 0.02


@given(st.floats(1, 500), st.floats(-3, 3), st.floats(0.2, 6.2), st.booleans())
def test_arcs_are_found_back_as_arcs(radius, start, sweep, clockwise):
    parts = arc_strokes((7.0, -3.0), radius, start, -sweep if clockwise else sweep)
    points = dense([*((*p.a, p.bulge) for p in parts), (*parts[-1].b, 0.0)], False)
    chain = fitted(points)
    assert len(chain) - 1 <= len(parts) + 1
    for segment in curves.segments(chain, closed=False):
        if segment.chord > radius / 10:
            assert segment.radius == pytest.approx(radius, rel=2e-2)


@pytest.mark.parametrize("bulge_of", [kernels.bulge_of, getattr(kernels.bulge_of, "py_func", kernels.bulge_of)])
def test_a_bulge_is_refused_where_the_points_run_back_or_leave_the_arc(bulge_of):
    def bulge(*points):
        return bulge_of(np.array(points), 0, len(points) - 1, 0.02)

    assert bulge((0.0, 0.0), (5.0, 0.0), (10.0, 0.0)) == 0.0
    assert math.isnan(bulge((0.0, 0.0), (6.0, 0.0), (4.0, 0.0), (10.0, 0.0)))
    assert math.isnan(bulge((0.0, 0.0), (3.0, 1.0), (7.0, -1.0), (10.0, 0.0)))
    assert bulge((0.0, 0.0), (5.0, -5.0), (10.0, 0.0)) == pytest.approx(1.0)
    assert math.isnan(bulge((0.0, 0.0), (5.0, math.nan), (10.0, 0.0)))


@given(st.floats(-180, 180), st.floats(0.1, 9), st.booleans(), point)
def test_arcs_stay_arcs_under_similarities_and_only_under_those(turn, scale, mirrored, place):
    cos, sin = scale * math.cos(math.radians(turn)), scale * math.sin(math.radians(turn))
    flip = -1.0 if mirrored else 1.0
    similar = Affine(cos * flip, -sin, sin * flip, cos, *place)
    arc = Segment((0.0, 0.0), (10.0, 0.0), 0.5)
    mapped = similar.stroke(arc)
    assert isinstance(mapped, Segment)
    assert mapped.point(0.5) == pytest.approx(similar.point(arc.point(0.5)), abs=1e-6)
    assert isinstance(Affine(a=scale, d=scale * 1.01).stroke(arc), np.ndarray)


@given(point, point, st.floats(1, 300), st.floats(1, 300), st.floats(-90, 90), st.booleans(), st.booleans())
def test_elliptic_arcs_meet_both_points_and_lie_on_their_ellipse(start, end, rx, ry, turn, large, sweep):
    if math.dist(start, end) < 1e-3:
        return
    arcs, frame = elliptic_arc(start, end, rx, ry, turn, large, sweep)
    assert frame.point(arcs[0].a) == pytest.approx(start, abs=1e-5)
    assert frame.point(arcs[-1].b) == pytest.approx(end, abs=1e-5)
    assert all((arc.bulge > 0) == sweep for arc in arcs)
    assert (abs(sum(arc.sweep for arc in arcs)) > math.pi + 1e-6) <= large


def test_a_path_keeps_its_corners_and_smooths_its_joints():
    pen = OutlinePen(Affine())
    pen.moveTo((0, 0))
    pen.curveTo((0, 55.23), (44.77, 100), (100, 100))
    pen.curveTo((155.23, 100), (200, 55.23), (200, 0))
    pen.closePath()
    ((chain, closed),) = pen.subpaths
    assert closed and len(chain) <= 8
    assert {v[:2] for v in chain} >= {(0.0, 0.0), (200.0, 0.0)}


def test_traced_lines_and_arcs_are_untouched():
    strokes = [Segment((0.0, 0.0), (10.0, 0.0), 0.0), Segment((10.0, 0.0), (10.0, 5.0), 0.3)]
    assert traced(strokes) == ((0.0, 0.0, 0.0), (10.0, 0.0, 0.3), (10.0, 5.0, 0.0))


# Two squares [0, 2] and [1, 3] in one sense: 7 by nonzero, 6 by evenodd. A 4 x 4 ring with a 2 x 2 inside: 16 and 12
# in one sense, 12 and 12 in opposite senses. Derived by hand.
@pytest.mark.parametrize(
    "rings, nonzero, evenodd",
    [
        ((square(0, 0, 2), square(1, 1, 2)), 7, 6),
        ((square(0, 0, 4), square(1, 1, 2)), 16, 12),
        ((square(0, 0, 4), curves.reversed_ring(square(1, 1, 2))), 12, 12),
    ],
)
def test_fill_rules_on_squares(rings, nonzero, evenodd):
    for rule, area in (("nonzero", nonzero), ("evenodd", evenodd)):
        parts = filled(rings, rule)
        assert sum(curves.signed_area(o) + sum(map(curves.signed_area, h)) for o, h in parts) == pytest.approx(area)


circles = st.lists(st.tuples(coordinate, coordinate, st.floats(5, 150)), min_size=1, max_size=6)


@given(circles)
def test_united_circles_keep_their_arcs_and_the_area_of_their_union(found):
    rings = [((x - r, y, 1.0), (x + r, y, 1.0)) for x, y, r in found]
    parts = filled(rings)
    union = shapely.union_all([Polygon(dense(ring, True)) for ring in rings])
    area = sum(curves.signed_area(o) + sum(map(curves.signed_area, h)) for o, h in parts)
    assert area == pytest.approx(union.area, rel=1e-3)
    for outline, holes in parts:
        assert curves.signed_area(outline) > 0 and all(curves.signed_area(hole) < 0 for hole in holes)
        assert all(s.bulge != 0 for ring in (outline, *holes) for s in curves.segments(ring, True) if s.chord > 1)


@given(point)
def test_winding_counts_turns(p):
    ring = np.array([v[:2] for v in square(-100.5, -100.5, 200)])
    inside = max(abs(p[0] + 0.5), abs(p[1] + 0.5)) < 100
    if abs(max(abs(p[0] + 0.5), abs(p[1] + 0.5)) - 100) > 1e-6:
        assert winding(ring, *p) == int(inside) == -winding(ring[::-1], *p)


@given(st.integers(3, 60), st.floats(5, 300))
def test_smoothing_never_moves_an_outline_by_more_than_the_fit(sides, radius):
    ring = tuple(
        (radius * math.cos(k * math.tau / sides), radius * math.sin(k * math.tau / sides), 0.0) for k in range(sides)
    )
    assert line_of(smoothed(ring), True).hausdorff_distance(line_of(ring, True)) <= 2 * FIT_MM
