"""Webs and counters too narrow for the thickness, on shapes whose widths are known."""

import pytest

from nesting.drawing.shapes import DrawnShape
from nesting.drawing.webs import least_web_mm, narrow_places

CORNERS = [(0, 0), (40, 0), (40, 18), (60, 18), (60, 0), (100, 0)]
DUMBBELL = DrawnShape(tuple((x, y, 0.0) for x, y in [*CORNERS, *((x, 40 - y) for x, y in reversed(CORNERS))]))
PLATE = DrawnShape(
    ((0, 0, 0), (100, 0, 0), (100, 50, 0), (0, 50, 0)),
    (((10, 25, -1.0), (14, 25, -1.0)), ((92, 20, 0), (92, 30, 0), (98, 30, 0), (98, 20, 0))),
)


@pytest.mark.parametrize("least, narrow", [(3.9, 0), (4.1, 1), (39.0, 1)])
def test_a_neck_is_found_when_it_is_narrower_than_asked(least, narrow):
    places = narrow_places(DUMBBELL, least)
    assert [place.what for place in places] == ["web"] * narrow
    if 4 < least < 40:
        assert 40 < places[0].at_mm[0] < 60 and 18 < places[0].at_mm[1] < 22


def test_a_web_beside_a_hole_and_a_small_hole_are_found():
    assert [place.what for place in narrow_places(PLATE, 1.5)] == []
    found = {place.what: place.at_mm for place in narrow_places(PLATE, 5.0)}
    assert found["web"][0] > 98 and found["counter"] == pytest.approx((12, 25), abs=1)


def test_corners_are_not_strokes():
    tip = DrawnShape(((0, 0, 0), (100, 0, 0), (50, 60, 0)))
    assert narrow_places(tip, 10.0) == []


def test_the_least_web_is_the_thickness_but_never_under_one():
    assert [least_web_mm(t) for t in (0.5, 3.0, 10.0)] == [1.0, 3.0, 10.0]
