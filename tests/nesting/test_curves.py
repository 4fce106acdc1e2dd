"""Chains of lines and arcs: measures against analysis, and properties that must hold for any ring."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from shapely.geometry import Polygon

from nesting import curves
from nesting.model import Ring

CIRCLE: Ring = ((-10.0, 0.0, 1.0), (10.0, 0.0, 1.0))
SLOT: Ring = ((0, 0, 0), (30, 0, 1), (30, 10, 0), (0, 10, 1))


@st.composite
def star_rings(draw: st.DrawFn) -> Ring:
    """Counter-clockwise rings round the origin, some sides bulged either way."""
    count = draw(st.integers(3, 9))
    radii = draw(st.lists(st.floats(20, 100), min_size=count, max_size=count))
    bulges = draw(st.lists(st.sampled_from([0.0, 0.0, 0.1, -0.1, 0.3]), min_size=count, max_size=count))
    turn = math.tau / count
    ring = tuple(
        (r * math.cos(i * turn), r * math.sin(i * turn), b) for i, (r, b) in enumerate(zip(radii, bulges, strict=True))
    )
    # Two inward arcs at a sharp tip may cross each other: intake refuses such rings.
    assume(Polygon(curves.flattened(ring, 0.01)).is_valid)
    return ring


def test_circle_and_slot_measure_as_analysis_says():
    assert curves.signed_area(CIRCLE) == pytest.approx(math.pi * 100)
    assert curves.length(CIRCLE, closed=True) == pytest.approx(math.tau * 10)
    assert curves.bounds([CIRCLE]) == pytest.approx((-10, -10, 10, 10))
    assert curves.signed_area(SLOT) == pytest.approx(300 + math.pi * 25)
    assert curves.bounds([SLOT]) == pytest.approx((-5, 0, 35, 10))


@given(star_rings(), st.floats(0, 360), st.booleans())
def test_moving_keeps_area_and_reversal_negates_it(ring, turn, mirrored):
    area = curves.signed_area(ring)
    there = curves.moved(ring, 3.0, -7.0, turn, mirrored)
    assert curves.signed_area(there) == pytest.approx(-area if mirrored else area, rel=1e-9, abs=1e-6)
    assert curves.signed_area(curves.reversed_ring(ring)) == pytest.approx(-area, rel=1e-9, abs=1e-6)
    assert curves.reversed_ring(curves.reversed_ring(ring)) == ring


@given(star_rings())
def test_a_nesting_polygon_never_loses_material(ring):
    shape = curves.polygon(ring)
    fine = curves.polygon(ring, tolerance=1e-4)
    assert shape.area >= curves.signed_area(ring) - 1e-6
    assert fine.difference(shape).area <= 1e-3 * math.sqrt(fine.area)
    assert curves.bounds([ring]) == pytest.approx(fine.bounds, abs=1e-3)


@given(star_rings(), st.sampled_from([0, 1]), st.floats(-90, 90))
def test_cutting_at_a_line_loses_nothing_and_leaves_each_chain_on_one_side(ring, axis, level):
    chains = curves.split_at(ring, True, [(axis, level)])
    total = math.fsum(curves.length(chain, closed=False) for chain in chains)
    assert total == pytest.approx(curves.length(ring, closed=True), rel=1e-9)
    for chain in chains:
        box = curves.bounds([chain], closed=False)
        assert box[axis + 2] <= level + 1e-6 or box[axis] >= level - 1e-6


def test_reversed_chain_runs_back_over_the_same_points():
    chain = curves.split_at(SLOT, True, [(0, 12.0)])[0]
    back = curves.reversed_chain(chain)
    assert back[0][:2] == chain[-1][:2]
    assert curves.length(back, False) == pytest.approx(curves.length(chain, False))
    assert curves.reversed_chain(back) == chain
