"""Splitting: segments that fit, lose nothing, and keep joints off holes."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nesting import curves
from nesting.faults import ReachFault
from nesting.model import Turn
from nesting.splitting import split
from nesting.splitting.chords import CLEAR_MM
from tests.nesting.test_curves import star_rings
from tests.shop import piece, rectangle

ROOM = [(590.0, 390.0)]


def round_hole(x, y, diameter):
    r = diameter / 2
    return curves.reversed_ring(((x - r, y, 1.0), (x + r, y, 1.0)))


RAIL = piece(
    ((0, 0, 0), (1430, 0, 1), (1430, 70, 0), (0, 70, 1)),
    tuple(round_hole(x, 35, 6) for x in (100, 500, 750, 1000, 1330)),
    name="rail",
)


def test_a_rail_of_1500_gives_three_segments_on_a_600_bed():
    segments = split(RAIL, ROOM)
    assert len(segments) == 3, "1500 / 590 is more than two"
    assert [s.id for s in segments] == ["rail-1.1", "rail-1.2", "rail-1.3"]
    assert all(s.segment_of == "rail-1" for s in segments)
    for segment in segments:
        x0, y0, x1, y1 = curves.bounds([segment.outline])
        assert x1 - x0 <= 590 and y1 - y0 <= 390
    assert math.fsum(map(curves.area, segments)) == pytest.approx(curves.area(RAIL))
    assert sum(len(s.holes) for s in segments) == 5


def test_both_sides_of_a_joint_carry_its_label_and_its_length():
    left, middle, right = split(RAIL, ROOM)
    assert [joint.label for joint in left.joints] == ["rail-1/1"]
    assert [joint.label for joint in middle.joints] == ["rail-1/1", "rail-1/2"]
    assert [joint.label for joint in right.joints] == ["rail-1/2"]
    for segment in (left, middle, right):
        for joint in segment.joints:
            assert math.dist(joint.start_mm, joint.end_mm) == pytest.approx(70)


def test_joints_keep_clear_of_holes():
    for segment in split(RAIL, ROOM):
        for joint in segment.joints:
            for hole in segment.holes:
                x0, _, x1, _ = curves.bounds([hole])
                assert not x0 - CLEAR_MM < joint.start_mm[0] < x1 + CLEAR_MM


def test_what_fits_stays_whole():
    small = piece(rectangle(500, 300))
    assert split(small, ROOM) == (small,)


def test_too_wide_for_any_cut_is_told_in_millimetres():
    with pytest.raises(ReachFault, match=r"it is 310\.0 mm too wide"):
        split(piece(rectangle(1500, 700)), ROOM)


def test_grain_keeps_segments_as_they_lie():
    upright = piece(rectangle(70, 1500), turn=Turn.NONE)
    segments = split(upright, [(390.0, 590.0)])
    assert len(segments) == 3
    for segment in segments:
        x0, y0, x1, y1 = curves.bounds([segment.outline])
        assert (x1 - x0, y1 - y0) < (71, 591)


@settings(max_examples=80, deadline=None)
@given(star_rings(), st.floats(-60, 60))
def test_cutting_in_two_keeps_the_area_and_sides_apart(ring, level):
    if any(abs(x - level) < 1e-3 for x, _, _ in ring):
        return
    left, right = halves(ring, (), level)
    parts = [*left, *right]
    assert math.fsum(curves.signed_area(p.outline) for p in parts) == pytest.approx(curves.signed_area(ring), rel=1e-6)
    assert all(curves.bounds([p.outline])[2] <= level + 1e-6 for p in left)
    assert all(curves.bounds([p.outline])[0] >= level - 1e-6 for p in right)
