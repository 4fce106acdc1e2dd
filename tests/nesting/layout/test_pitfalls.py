"""What defeats overlap tests and rasters, each once: nesting without crossing, grid-aligned edges, rims, offsets."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Point, Polygon, box

from nesting.layout import Ground, Shape, after_evaluations, fit, kernels, strip
from nesting.layout.outlines import HAIR_MM, SIMPLER, offset, outline
from nesting.layout.search import Chain, Task
from tests.nesting.layout.judging import assert_valid

FIELD = Ground(box(-1000, -1000, 1000, 1000))
QUARTERS = (0.0, 90.0, 180.0, 270.0)


def laid_at(shapes: list[Polygon], at: list[tuple[float, float]], ground: Ground = FIELD) -> Chain:
    """A chain with every shape laid with its own frame's origin at the position given (mm)."""
    task = Task([Shape(str(k), polygon) for k, polygon in enumerate(shapes)], [ground], 0.0, 0.0)
    chain = Chain(task, 0)
    keep = chain.save()
    for k, (x, y) in enumerate(at):
        rx, ry = task.table.forms[int(task.table.first[k])].outline.reference
        keep[k] = (x + rx) / task.scale, (y + ry) / task.scale, task.table.first[k], 0.0, 0.0
    chain.restore(keep)
    return chain


def overlaps(one: Polygon, two: Polygon, at: tuple[float, float]) -> bool:
    return laid_at([one, two], [(0.0, 0.0), at]).loss > 0.0


RING = Point(0, 0).buffer(100, quad_segs=8).difference(Point(0, 0).buffer(80, quad_segs=8))


def test_a_small_piece_wholly_inside_a_large_one_overlaps() -> None:
    # Near a corner, where no inscribed circle lies.
    assert overlaps(box(0, 0, 300, 300), box(0, 0, 3, 3), (295.0, 2.0))
    assert overlaps(box(0, 0, 3, 3), box(0, 0, 300, 300), (-295.0, -2.0))


def test_a_piece_in_the_hole_of_another_does_not() -> None:
    assert not overlaps(RING, box(-20, -20, 20, 20), (0.0, 0.0))
    assert overlaps(RING, box(-4, -4, 4, 4), (90.0, 0.0))


def test_a_hole_of_the_sheet_inside_the_ring_of_a_letter() -> None:
    sheet = box(-200, -200, 200, 200)
    in_counter = Ground(sheet.difference(box(-10, -10, 10, 10)))
    in_stroke = Ground(sheet.difference(box(88, -2, 92, 2)))
    assert laid_at([RING], [(0.0, 0.0)], in_counter).loss == 0.0
    assert laid_at([RING], [(0.0, 0.0)], in_stroke).loss > 0.0


@pytest.mark.parametrize(
    "ground", [Ground(box(0, 0, 100, 100)), Ground(Polygon([(0, 0), (100, 0), (90, 100), (0, 100)]))]
)
@pytest.mark.parametrize("at", [(-60.0, 20.0), (85.0, 20.0), (500.0, 20.0), (-5000.0, -5000.0)])
def test_a_piece_outside_the_sheet_is_never_at_rest(ground: Ground, at: tuple[float, float]) -> None:
    assert laid_at([box(0, 0, 30, 30)], [at], ground).loss > 0.0


def test_grid_aligned_edges() -> None:
    square, bar = box(0, 0, 40, 40), box(0, 0, 120, 10)
    assert overlaps(square, square, (0.0, 0.0))
    assert overlaps(square, square, (20.0, 0.0))
    assert overlaps(bar, affinity.rotate(bar, 90, origin=(0, 0)), (60.0, -50.0))
    assert not overlaps(square, square, (40.0, 0.0))
    assert not overlaps(square, square, (40.0, 40.0))
    comb = box(0, 0, 50, 10).union(box(0, 0, 10, 50))
    assert not overlaps(comb, box(0, 0, 40, 40), (10.0, 10.0))
    assert overlaps(comb, box(0, 0, 40, 40), (9.0, 9.0))


def test_a_ray_through_vertices_and_along_edges() -> None:
    diamond = Polygon([(0, -50), (50, 0), (0, 50), (-50, 0)])
    assert overlaps(diamond, box(-1, -1, 1, 1), (-40.0, 0.0))
    assert not overlaps(diamond, box(-1, -1, 1, 1), (-60.0, 0.0))
    assert not overlaps(diamond, box(-1, -1, 1, 1), (60.0, 0.0))


def test_the_raster_knows_the_rim() -> None:
    ell = Ground(Polygon([(0, 0), (200, 0), (200, 60), (60, 60), (60, 200), (0, 200)]))
    square = box(0, 0, 40, 40)
    for x, y in ((0, 0), (160, 0), (0, 160), (20, 20), (160, 20)):
        assert laid_at([square], [(float(x), float(y))], ell).loss == 0.0
    for x, y in ((161, 0), (0, 161), (-1, 0), (30, 30), (100, 100)):
        assert laid_at([square], [(float(x), float(y))], ell).loss > 0.0


@given(
    st.lists(st.floats(10, 80), min_size=3, max_size=14),
    st.lists(st.floats(10, 80), min_size=3, max_size=14),
    st.floats(-160, 160),
    st.floats(-160, 160),
)
@settings(max_examples=60)
def test_overlap_is_what_shapely_says(first: list[float], second: list[float], x: float, y: float) -> None:
    one, two = (
        Polygon(
            [
                (r * math.cos(2 * math.pi * k / len(radii)), r * math.sin(2 * math.pi * k / len(radii)))
                for k, r in enumerate(radii)
            ]
        )
        for radii in (first, second)
    )
    moved = affinity.translate(two, x, y)
    if one.buffer(-0.001).intersects(moved.buffer(-0.001)):
        assert overlaps(one, two, (x, y))
    elif not one.buffer(0.001).intersects(moved):
        assert not overlaps(one, two, (x, y))


@given(st.lists(st.floats(10, 80), min_size=3, max_size=90), st.sampled_from([0.1, 1.0, 3.0]))
@settings(max_examples=40)
def test_an_offset_never_cuts_a_corner(radii: list[float], distance: float) -> None:
    n = len(radii)
    polygon = Polygon(
        [(r * math.cos(2 * math.pi * k / n), r * math.sin(2 * math.pi * k / n)) for k, r in enumerate(radii)]
    )
    assert offset(polygon, distance).buffer(1e-6).covers(polygon.buffer(distance, quad_segs=32))


@given(st.lists(st.floats(60, 80), min_size=100, max_size=300), st.sampled_from([0.0, 1.0, 3.0]))
@settings(max_examples=20)
def test_a_simpler_outline_never_eats_the_gap(radii: list[float], gap_mm: float) -> None:
    n = len(radii)
    polygon = Polygon(
        [(r * math.cos(2 * math.pi * k / n), r * math.sin(2 * math.pi * k / n)) for k, r in enumerate(radii)]
    )
    laid = outline(polygon, gap_mm / 2)
    grown = Polygon(laid.edges[:, :2] + np.array(laid.reference))
    assert grown.buffer(2 * HAIR_MM).covers(polygon.buffer(gap_mm / 2, quad_segs=32))
    little = 2 * SIMPLER * math.sqrt(polygon.area) + 0.03 * gap_mm
    assert polygon.buffer(gap_mm / 2 + little, join_style="mitre").buffer(little).covers(grown)


def test_a_hair_is_taken_off_every_side_and_never_more() -> None:
    spike = Polygon([(0, 0), (100, 1), (0, 2)])
    drawn = offset(spike, -HAIR_MM)
    assert spike.covers(drawn)
    corners = np.array(drawn.exterior.coords)[:-1]
    assert max(min(math.dist(c, v) for c in corners) for v in ((0, 0), (100, 1), (0, 2))) <= 1.01 * HAIR_MM


def test_turning_a_row_is_turning_its_polygon() -> None:
    chain = Chain(Task([Shape("bar", box(5, 5, 65, 25), None)], [FIELD], 0.0, 0.0), 0)
    kernels.turn_row.py_func(chain.rows, 0, 1, math.pi / 2)
    assert chain.rows.trait[1, :4] * chain.task.scale == pytest.approx([-10, -30, 10, 30], abs=1e-3)


@pytest.mark.parametrize("seed", range(3))
def test_a_sheet_cut_up_by_lines_is_laid_again_with_some_slack(seed: int) -> None:
    dice = np.random.default_rng(seed)
    parts = [box(0, 0, 400, 300)]
    for _ in range(4):
        angle, x, y = dice.uniform(0, math.pi), dice.uniform(100, 300), dice.uniform(80, 220)
        dx, dy = 1000 * math.cos(angle), 1000 * math.sin(angle)
        half = Polygon([(x - dx, y - dy), (x + dx, y + dy), (x + dx - dy, y + dy + dx), (x - dx - dy, y - dy + dx)])
        parts = [p for part in parts for p in (part.intersection(half), part.difference(half)) if p.area > 100]
    shapes = [Shape(str(k), part) for k, part in enumerate(parts)]
    grown = math.sqrt(1 / 0.85)
    sheet = Ground(box(0, 0, 400 * grown, 300 * grown))
    assert fit(shapes, sheet, stop=after_evaluations(1_500_000), seed=seed) is not None


def test_a_wall_thinner_than_the_hair_by_which_outlines_are_drawn_in() -> None:
    """It is left out; turned inside out it would cross itself, which no triangles can be made of."""
    thin = Polygon(box(0, 0, 100, 80).exterior, [[(10, 3e-5), (60, 3e-5), (60, 40), (10, 40)]])
    assert outline(thin, 0.0).polygon.is_valid
    shapes = [Shape(str(k), thin, (0.0, 180.0)) for k in range(12)]
    layout = strip(shapes, 250.0, stop=after_evaluations(100_000))
    assert layout.length_mm is not None
    assert layout.length_mm < 401.0
    assert_valid(layout, shapes, Ground(box(0, 0, layout.length_mm, 250)), 0.0, 0.0)
