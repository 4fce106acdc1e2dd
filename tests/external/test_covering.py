"""How many passes a rectangle takes, against what is known of covering rectangles by smaller ones."""

import math

import pytest
import shapely

from nesting.model import Blank
from nesting.passes import plan_passes
from nesting.passes.lineup import mismatch_mm
from nesting.passes.reach import reaches
from tests.shop import RATES, disc, laid, laser, piece, rectangle


def passes(width, depth, machine, outline=None, at=(0, 0)):
    blank = (0.0, 0.0, float(width), float(depth))
    one = laid(piece(outline or rectangle(width, depth)), *at)
    return plan_passes("S01", shapely.box(*blank), Blank("b1", blank), [one], machine, RATES)


@pytest.mark.parametrize("side", [600.5, 605, 610, 620])
def test_a_square_a_little_larger_than_the_travel_takes_four_passes(side):
    """Source: A. Soifer, "Covering a square of side n + epsilon with unit squares", J. Combin. Theory A 113 (2006) 380:
    three unit squares are needed, in any position, for a side of 1 + epsilon. Parallel to the sides, as a machine has
    them, four are: no such square holds two of the corners (derived)."""
    machine = laser(travel=(600.0, 600.0), table=(640.0, 600.0), margin_mm=0.0)
    runs = passes(side, side, machine)
    assert len(runs) == 4 >= 3


@pytest.mark.parametrize("length", [450, 790, 800, 1000, 1500, 2000])
def test_windows_over_a_long_sheet_are_no_fewer_than_the_bound_and_as_many_as_the_formula(length):
    """Source: derived. Points just over the travel apart need a pass each: ceil(L / D). With overlap o, n windows hold
    n (D - o) + o: n = ceil((L - o) / (D - o)) is enough; 2000, 400, 20 gives 6; 800, 400, 0 gives 2."""
    machine = laser(open_back=True, margin_mm=0.0)
    count = len(passes(590, length, machine))
    assert math.ceil(length / 400) <= count <= math.ceil((length - 20) / 380)


@pytest.mark.parametrize(("size", "count"), [((600, 400), 1), ((600, 401), 2), ((600, 800), 2), ((400, 600), 1)])
def test_area_and_corners_bound_the_passes_from_below(size, count):
    """Source: derived: passes times the travel's area are at least the area reached."""
    machine = laser(margin_mm=0.0)
    assert len(passes(*size, machine)) == count >= size[0] * size[1] / (600 * 400)


def test_all_ways_to_lay_a_blank_reach_no_more_than_twice_the_travel_of_a_closed_machine():
    """Source: derived: only the two ends can be fed in; of 600 x 1000 a strip of 200 mm stays out of reach."""
    found = reaches(laser(margin_mm=0.0), (0, 0, 600, 1000))
    reached = shapely.union_all([shapely.box(*reach.rect_mm) for reach in found])
    assert reached.area == pytest.approx(600 * 800)
    assert shapely.box(0, 0, 600, 1000).difference(reached).bounds == pytest.approx((0, 400, 600, 600))


def test_after_a_half_turn_about_half_a_millimetre_is_to_be_expected_at_worst():
    """Source: common practice, no source: careful lining up by hand leaves about half a millimetre along the long side
    of the bed. Ours: an error of 0.15 mm at each mark, three standard deviations at the outermost join."""
    runs = passes(600, 600, laser(), outline=disc(585), at=(7.5, 7.5))
    worst = max(join.mismatch_mm for run in runs for join in run.joins)
    assert 0.35 < 3 * worst < 0.75


def test_a_mark_found_with_error_s_leaves_s_there_and_more_beyond():
    """Source: Fitzpatrick, West, Maurer, IEEE Trans. Med. Imaging 17 (1998) 694, plane case, from memory: s 0.1, marks
    500 apart, at (300, 0) the root mean square step is 0.1311."""
    assert mismatch_mm((300.0, 0.0), [(-250.0, 0.0), (250.0, 0.0)], 0.1) == pytest.approx(0.1311, abs=5e-5)
