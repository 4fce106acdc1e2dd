"""Rectangles by the fast way: every layout is sound, and simple sets are packed as well as can be."""

from __future__ import annotations

import itertools

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from nesting.layout import Ground, Shape, rectangles
from nesting.layout.outlines import laid

SIDES = st.tuples(st.integers(10, 120), st.integers(10, 120))
TURNS = st.sampled_from([(0.0,), (0.0, 180.0), (0.0, 90.0, 180.0, 270.0), None])


def panels(*sides: tuple[float, float], turns: tuple[float, ...] | None = (0.0,)) -> list[Shape]:
    return [Shape(f"p{k}", shapely.box(5.0, -3.0, 5.0 + w, d - 3.0), turns) for k, (w, d) in enumerate(sides)]


def check_sound(shapes, spots, ground, gap, margin):
    by_id = {shape.id: shape for shape in shapes}
    outlines = [laid(by_id[spot.id].polygon, spot) for spot in spots]
    inside = ground.polygon.buffer(1e-4 - margin, join_style="mitre")
    assert all(inside.covers(outline) for outline in outlines)
    assert all(a.distance(b) >= gap - 1e-4 for a, b in itertools.combinations(outlines, 2) if gap)
    assert all(a.intersection(b).area < 1e-3 for a, b in itertools.combinations(outlines, 2))
    for outline in outlines if ground.reaches else ():
        assert any(reach.buffer(1e-4).covers(outline) for reach in ground.reaches)


@settings(max_examples=40)
@given(
    st.lists(SIDES, min_size=1, max_size=12),
    TURNS,
    st.sampled_from([0.0, 3.5]),
    st.sampled_from([0.0, 5.0]),
    st.booleans(),
)
def test_a_filled_ground_is_sound(sides, turns, gap, margin, reaches):
    shapes = panels(*sides, turns=turns)
    boxes = (shapely.box(0, 0, 250, 150), shapely.box(0, 120, 250, 260)) if reaches else ()
    ground = Ground(shapely.box(0, 0, 250, 260), boxes)
    assert rectangles.are_rectangles(shapes, [ground])
    layout = rectangles.fill(shapes, ground, gap_mm=gap, margin_mm=margin, work=20_000, seed=1)
    assert layout is not None and len(layout.spots) + len(layout.missing) == len(shapes)
    check_sound(shapes, layout.spots, ground, gap, margin)


@settings(max_examples=25)
@given(st.lists(SIDES, min_size=1, max_size=15), st.sampled_from([0.0, 4.0]), st.sampled_from([0.0, 5.0]))
def test_all_are_shared_out_soundly_and_no_limit_is_passed(sides, gap, margin):
    shapes = panels(*sides, turns=(0.0, 90.0))
    grounds = (Ground(shapely.box(0, 0, 140, 140)), Ground(shapely.box(150, 0, 290, 140)))
    stock = [rectangles.Bin(grounds, 1.8, limit=2), rectangles.Bin(grounds[:1], 1.0)]
    filled = rectangles.share_out(shapes, stock, gap_mm=gap, margin_mm=margin, work=20_000, seed=1)
    assert sorted(spot.id for one in filled for spot in one.spots) == sorted(shape.id for shape in shapes)
    assert sum(one.bin == 0 for one in filled) <= 2
    for one in filled:
        for number, ground in enumerate(stock[one.bin].grounds):
            check_sound(shapes, [s for s in one.spots if s.ground == number], ground, gap, margin)


def test_a_grid_is_filled_whole():
    layout = rectangles.fill(
        panels(*[(50.0, 30.0)] * 16), Ground(shapely.box(0, 0, 200, 120)), gap_mm=0, margin_mm=0, work=10_000, seed=1
    )
    assert layout is not None and not layout.missing


def test_the_gap_and_the_margin_count_once_each():
    """Three panels of 190 with gaps of 5 and margins of 5 take exactly 590; a tenth less holds two."""
    for width, held in ((590.0, 3), (589.9, 2)):
        ground = Ground(shapely.box(0, 0, width, 200))
        layout = rectangles.fill(panels(*[(190.0, 190.0)] * 3), ground, gap_mm=5, margin_mm=5, work=1000, seed=1)
        assert layout is not None and len(layout.spots) == held


def test_the_cheaper_of_two_sizes_is_taken():
    stock = [
        rectangles.Bin((Ground(shapely.box(0, 0, 200, 100)),), 3.0),
        rectangles.Bin((Ground(shapely.box(0, 0, 100, 100)),), 1.0),
    ]
    filled = rectangles.share_out(panels((90, 90), (90, 90)), stock, gap_mm=5, margin_mm=5, work=10_000, seed=1)
    assert [one.bin for one in filled] == [1, 1]


def test_ways_to_trim_one_sheet_share_its_limit():
    """Of an offcut for one square there is one, however it is trimmed: the second square takes the dear sheet."""
    square, sheet = Ground(shapely.box(0, 0, 100, 100)), Ground(shapely.box(0, 0, 100, 120))
    stock = [
        rectangles.Bin((square,), 1.0, limit=1, of="offcut"),
        rectangles.Bin((sheet,), 1.0, limit=1, of="offcut"),
        rectangles.Bin((square,), 9.0),
    ]
    filled = rectangles.share_out(panels((90, 90), (90, 90)), stock, gap_mm=5, margin_mm=5, work=10_000, seed=1)
    assert sorted(stock[one.bin].cost for one in filled) == [1.0, 9.0]


def test_given_sheets_are_filled_whole_or_not_at_all():
    """A square cut up without waste lies on the square again; with one more rectangle there is no way."""
    sides = [(60, 40), (40, 40), (30, 60), (70, 30), (70, 30)]
    sheets = [rectangles.Bin((Ground(shapely.box(0, 0, 100, 100)),), 1.0)]
    laid_all = rectangles.lay_all(panels(*sides), sheets, gap_mm=0, margin_mm=0, work=200_000, seed=1)
    assert [sorted(spot.id for spot in one.spots) for one in laid_all] == [["p0", "p1", "p2", "p3", "p4"]]
    check_sound(panels(*sides), laid_all[0].spots, sheets[0].grounds[0], 0.0, 0.0)
    assert not rectangles.lay_all(panels(*sides, (10, 10)), sheets, gap_mm=0, margin_mm=0, work=20_000, seed=1)


def test_a_request_to_stop_is_heard_once_there_is_an_answer():
    sides = [(20 + 7 * k % 90, 20 + 11 * k % 70) for k in range(30)]
    stock = [rectangles.Bin((Ground(shapely.box(0, 0, 200, 150)),), 1.0)]
    filled = rectangles.share_out(panels(*sides), stock, gap_mm=2, margin_mm=2, work=10**12, seed=3, stop=["please"])
    assert sum(len(one.spots) for one in filled) == len(sides)


def test_the_same_seed_packs_the_same_way():
    sides = [(20 + 7 * k % 90, 20 + 11 * k % 70) for k in range(30)]
    stock = [rectangles.Bin((Ground(shapely.box(0, 0, 200, 150)),), 1.0)]
    once, again = (
        rectangles.share_out(panels(*sides), stock, gap_mm=2, margin_mm=2, work=50_000, seed=3) for _ in "ab"
    )
    assert once == again and once


@pytest.mark.parametrize(
    "shape",
    [
        Shape("disc", shapely.Point(0, 0).buffer(20)),
        Shape("frame", shapely.box(0, 0, 100, 100).difference(shapely.box(20, 20, 80, 80))),
        Shape("aslant", shapely.box(0, 0, 10, 10), turns_deg=(45.0,)),
        Shape("across", shapely.box(0, 0, 10, 10), reach_charge=0.0),
    ],
)
def test_what_is_no_plain_rectangle_is_left_to_the_engine(shape):
    assert not rectangles.are_rectangles([shape], [])


@pytest.mark.parametrize("cost", [0.0, 1e-6, 5.0])
def test_a_bin_that_costs_little_is_filled_exactly_all_the_same(cost: float) -> None:
    # Derived: 60 + 40 and 50 + 50 are 100, and all are 50 deep: the four fill 100 x 100.
    kinds = [[shape] for shape in panels((60, 50), (40, 50), (50, 50), (50, 50))]
    bin = rectangles.Bin((Ground(shapely.box(0, 0, 100, 100)),), cost)
    spots, proven = rectangles.Exact(kinds, bin, 0.0, 0.0).fill([4e5, 3e5, 2e5, 2e5], 1_000_000)
    assert proven and len(spots) == 4
    assert rectangles.Exact(kinds, bin, 0.0, 0.0).fill([0.0] * 4, 1_000_000) == ((), True)


def test_a_bin_is_filled_only_where_it_pays_its_rent_too_and_with_no_more_than_is_wanted() -> None:
    # Derived: two of 50 x 100, worth 3 each, fill 100 x 100, which costs 4: they gain 2.
    kinds = [panels((50, 100), (50, 100))]
    exact = rectangles.Exact(kinds, rectangles.Bin((Ground(shapely.box(0, 0, 100, 100)),), 4.0), 0.0, 0.0)
    spots, proven = exact.fill([3.0], 1_000_000, rent=1.9)
    assert proven and len(spots) == 2
    assert exact.fill([3.0], 1_000_000, rent=2.1) == ((), True)
    assert exact.fill([3.0], 1_000_000, copies=[1]) == ((), True)
    assert len(exact.fill([4.5], 1_000_000, copies=[1])[0]) == 1
