"""Reach, passes, joins and line-up marks: what an operator relies on."""

import math
from itertools import pairwise

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from nesting import curves
from nesting.faults import ReachFault
from nesting.model import Blank
from nesting.passes import plan_passes
from nesting.passes.cuts import cuts_of, to_bed
from nesting.passes.limits import lacking_mm
from nesting.passes.lineup import mismatch_mm
from nesting.passes.reach import reaches
from tests.nesting.test_curves import star_rings
from tests.shop import RATES, disc, laid, laser, piece, rectangle


def reassembled(runs, one, machine):
    """What the passes cut of a piece, by pass, each stretch shown to lie within the travel."""
    found = []
    for k, run in enumerate(runs):
        for cut in cuts_of(runs, run, {one.piece.id: one}, machine):
            box = curves.bounds([to_bed(run, cut.stretch.vertices)], closed=cut.stretch.closed)
            assert min(box[:2]) >= -1e-3
            assert box[2] <= machine.travel_mm[0] + 1e-3 and box[3] <= machine.travel_mm[1] + 1e-3
            found.append((k, cut.stretch))
    return found


def passes_for(blank, pieces, machine):
    sheet = shapely.box(*blank)
    return plan_passes("S01", sheet, Blank("b1", blank), pieces, machine, RATES)


def test_a_blank_within_the_travel_needs_one_pass_at_the_datum():
    (run,) = passes_for((0, 0, 500, 300), [laid(piece(rectangle(400, 200)), 10, 10)], laser())
    assert (run.turn_deg, run.shift_mm, run.turn_before) == (0, (0.0, 0.0), "none")
    assert run.whole == ("panel-1",)
    assert run.joins == ()


def test_a_disc_deeper_than_the_travel_takes_a_half_turn_and_two_joins():
    first, second = passes_for((0, 0, 600, 600), [laid(piece(disc(585)), 7.5, 7.5)], laser())
    assert {first.turn_deg, second.turn_deg} == {0, 180}
    assert second.turn_before == "half"
    assert [join.number for join in first.joins] == [join.number for join in second.joins] == [1, 2]
    across = [join.sheet_mm for join in first.joins]
    assert math.dist(*across) == pytest.approx(585, abs=2), "the joins lie near the ends of one diameter"
    assert [m.cut_here for m in first.lineup] == [True, True]
    assert [m.cut_here for m in second.lineup] == [False, False]


def test_line_up_marks_keep_clear_of_a_trimmed_edge():
    sheet, blank = shapely.box(0, 0, 1220, 610), (0, 0, 500, 600)
    runs = plan_passes("S01", sheet, Blank("b1", blank), [laid(piece(disc(450)), 25, 75)], laser(), RATES)
    marks = [mark.sheet_mm for run in runs for mark in run.lineup]
    assert marks
    assert all(3 + laser().gap_mm <= x <= 497 - laser().gap_mm for x, _ in marks), "arms of 3 mm"


def test_line_up_marks_keep_clear_even_where_pieces_may_touch():
    runs = passes_for((0, 0, 600, 600), [laid(piece(disc(585)), 7.5, 7.5)], laser(gap_mm=0.0))
    marks = [mark.sheet_mm for run in runs for mark in run.lineup]
    assert marks
    assert all(4 <= x <= 596 for x, _ in marks), "arms of 3 mm, 1 mm clear"


def test_three_passes_line_up_wherever_two_of_them_meet():
    """The middle window may run first: then the first pass meets both others, which do not meet each other."""
    sheet = (0, 0, 600, 1040)
    runs = passes_for(sheet, [laid(piece(rectangle(500, 1000)), 20, 20)], laser(open_back=True))
    assert len(runs) == 3
    meeting = 0
    for i, before in enumerate(runs):
        for after in runs[i + 1 :]:
            shared = {j.number for j in before.joins} & {j.number for j in after.joins}
            marks = [m.sheet_mm for m in after.lineup if m.number in {m.number for m in before.lineup}]
            assert len(marks) == (2 if shared else 0)
            meeting += bool(shared)
            for join in (j for j in after.joins if j.number in shared):
                assert join.mismatch_mm == pytest.approx(mismatch_mm(join.sheet_mm, marks, 0.15), abs=1e-3)
    assert meeting == 2


def test_the_same_disc_slides_through_an_open_machine():
    first, second = passes_for((0, 0, 600, 600), [laid(piece(disc(585)), 7.5, 7.5)], laser(open_back=True))
    assert first.turn_deg == second.turn_deg
    assert second.turn_before == "shift"


@pytest.mark.parametrize("deeper", [0.002, 0.26, 0.4])
def test_a_sheet_hardly_deeper_than_the_travel_slides_through_an_open_machine(deeper):
    sheet = (0, 0, 600, 400 + deeper)
    runs = passes_for(sheet, [laid(piece(rectangle(500, 380 + deeper)), 10, 10)], laser(open_back=True))
    assert len(runs) == 1 and runs[0].whole, "one of the two windows holds it"


def test_pieces_that_one_reach_holds_are_never_joined():
    pieces = [laid(piece(rectangle(200, 150), name=f"p{i}", id=f"p{i}"), 20, 20 + 160 * i) for i in range(4)]
    runs = passes_for((0, 0, 600, 700), pieces, laser())
    assert sorted(name for run in runs for name in run.whole) == ["p0", "p1", "p2", "p3"]
    assert all(not run.part for run in runs)


def test_a_piece_in_a_counter_is_cut_before_the_counter():
    frame = piece(rectangle(300, 300), (curves.reversed_ring(curves.moved(rectangle(200, 200), 50, 50)),), name="frame")
    inner = piece(rectangle(100, 100), name="inner")
    (run,) = passes_for((0, 0, 400, 400), [laid(frame, 20, 20), laid(inner, 120, 120)], laser())
    assert run.whole == ("inner-1", "frame-1")


def test_what_no_pass_reaches_is_refused_with_its_place():
    with pytest.raises(ReachFault, match="no pass reaches the contour of panel"):
        passes_for((0, 0, 600, 1000), [laid(piece(rectangle(500, 900)), 20, 20)], laser())


@pytest.mark.parametrize(
    ("size", "lacking"), [((600, 800), 0), ((800, 600), 0), ((601, 800), 1), ((600, 801), 1), ((300, 900), 100)]
)
def test_lacking_millimetres_without_margin(size, lacking):
    as_wide = laser(table=(600.0, 400.0), margin_mm=0.0)
    assert lacking_mm(as_wide, *size) == pytest.approx(lacking, abs=0.01)


def test_a_wider_table_lets_half_its_surplus_be_reached_from_either_side():
    assert lacking_mm(laser(margin_mm=0.0), 610, 800) == 0
    assert lacking_mm(laser(margin_mm=0.0), 611, 800) == pytest.approx(1, abs=0.01)


def test_a_closed_machine_takes_no_more_than_its_travel():
    closed = laser(open_front=False, margin_mm=0.0)
    assert lacking_mm(closed, 600, 400) == 0
    assert lacking_mm(closed, 600, 401) == pytest.approx(1, abs=0.01)


@settings(max_examples=60)
@given(star_rings(), st.floats(1.5, 2.9), st.booleans())
def test_passes_cut_every_contour_exactly_once_within_the_travel(ring, scale, open_back):
    outline = tuple((x * scale, y * scale, bulge) for x, y, bulge in ring)
    x0, y0, x1, y1 = curves.bounds([outline])
    blank = (0.0, 0.0, x1 - x0 + 10, y1 - y0 + 10)
    machine = laser(open_back=open_back)
    one = laid(piece(outline), 5 - x0, 5 - y0)
    if blank[2] > machine.travel_mm[0]:
        return
    runs = passes_for(blank, [one], machine)
    cut = reassembled(runs, one, machine)
    assert sum(curves.length(s.vertices, s.closed) for _, s in cut) == pytest.approx(
        curves.length(one.outline, True), rel=1e-9
    )


@settings(max_examples=60)
@given(st.floats(100, 600), st.floats(100, 1500), st.booleans())
def test_reaches_never_leave_the_blank_and_windows_of_an_open_machine_cover_it(width, depth, open_back):
    blank = (0.0, 0.0, width, depth)
    found = reaches(laser(open_back=open_back), blank)
    covered = shapely.union_all([shapely.box(*reach.rect_mm) for reach in found])
    assert shapely.box(*blank).buffer(1e-6).contains(covered)
    if open_back:
        assert covered.area == pytest.approx(width * depth, rel=1e-6)


def test_mismatch_grows_with_the_distance_from_the_marks():
    marks = [(0.0, 0.0), (500.0, 0.0)]
    steps = [mismatch_mm((250.0 + d, 0.0), marks, 0.1) for d in (0.0, 100.0, 200.0, 300.0)]
    assert all(a < b for a, b in pairwise(steps))
    assert steps[0] == pytest.approx(0.1)


def wide(**more):
    """A 600 x 600 laser with a table 20 mm wider."""
    return laser(travel=(600.0, 600.0), table=(620.0, 600.0), **more)


def test_a_square_wider_than_the_travel_is_cut_against_both_side_stops():
    """610 x 610 on 600 x 600, table 620: each pass reaches from one corner; the plan needs no other machine."""
    machine = wide(margin_mm=0.0)
    assert lacking_mm(machine, 610, 610) == 0
    assert lacking_mm(machine, 611, 611) == pytest.approx(1, abs=0.01)
    one = laid(piece(rectangle(610, 610)), 0, 0)
    runs = passes_for((0, 0, 610, 610), [one], machine)
    cut = reassembled(runs, one, machine)
    assert sum(curves.length(s.vertices, False) for _, s in cut) == pytest.approx(4 * 610)
    assert {name for run in runs for name in run.part} == {"panel-1"}
    assert all(bool(run.part) == any(k == run.order - 1 for k, _ in cut) for run in runs)


def test_a_disc_wider_than_the_travel_takes_quarter_turns_where_it_cannot_be_slid_aside():
    machine = laser(travel=(600.0, 600.0), table=(610.0, 600.0), margin_mm=0.0)
    one = laid(piece(disc(610)), 0, 0)
    runs = passes_for((0, 0, 610, 610), [one], machine)
    assert "quarter" in [run.turn_before for run in runs]
    cut = reassembled(runs, one, machine)
    assert sum(curves.length(s.vertices, False) for _, s in cut) == pytest.approx(math.pi * 610)
    assert all(bulge for _, s in cut for *_, bulge in s.vertices[:-1]), "arcs stay arcs"


def test_a_blank_that_misses_only_its_margins_lies_centred():
    found = reaches(laser(), (0, 0, 610, 390))
    assert {reach.shift_mm[0] for reach in found if reach.turn_deg == 0} == {-5.0}


@settings(max_examples=60)
@given(star_rings(), st.floats(420, 780))
def test_joins_are_never_more_than_the_straight_middle_line_would_make(ring, depth):
    x0, y0, x1, y1 = curves.bounds([ring])
    scale = depth / (y1 - y0)
    outline = tuple(((x - x0) * scale, (y - y0) * scale, bulge) for x, y, bulge in ring)
    width = (x1 - x0) * scale
    one = laid(piece(outline), 5, 5)
    machine = laser(travel=(width + 10, 400.0), table=(width + 10, 400.0))
    runs = passes_for((0.0, 0.0, width + 10, depth + 10), [one], machine)
    joins = {join.number for run in runs for join in run.joins}
    middle = 5 + depth / 2
    parts = list(curves.segments(one.outline, closed=True))
    naive = sum(len(part.crossings(1, middle)) + (abs(part.a[1] - middle) < 1e-3) for part in parts)
    assert 0 < len(joins) <= naive


def test_a_join_is_one_wherever_it_is_counted_from():
    """The two passes come upon it from either side: rounding must not make two of one."""
    for k in range(60):
        outline = tuple((x + k * 0.00001, y + k * 0.00003, b) for x, y, b in disc(471.3 + k * 0.0007))
        runs = passes_for((0, 0, 490, 510), [laid(piece(outline), 7, 11)], laser())
        assert [[join.number for join in run.joins] for run in runs] == [[1, 2], [1, 2]]
        assert [join.sheet_mm for join in runs[0].joins] == [join.sheet_mm for join in runs[1].joins]


def test_each_contour_has_its_joins_where_they_suit_it():
    """Teeth in the lower half of the band on the left, in the upper half on the right: no straight line keeps clear of
    the corners of both sides, a join of its own on each side does."""
    left = [(40 * (k % 2), 260.0 + 12 * k) for k in range(8, -1, -1)]
    right = [(560 - 40 * (k % 2), 350.0 + 12 * k) for k in range(9)]
    outline = curves.ring_of([(0, 0), (560, 0), *right, (560, 680), (0, 680), *left])
    one = laid(piece(outline), 20, 10)
    runs = passes_for((0, 0, 600, 700), [one], laser())
    joins = sorted(join.sheet_mm for join in runs[0].joins)
    assert len(joins) == 2
    corners = [(x, y) for x, y, _ in one.outline]
    assert all(min(math.dist(at, corner) for corner in corners) >= 9.5 for at in joins)
    (_, low), (_, high) = joins
    assert abs(low - high) > 20
    for level in range(301, 400):
        near = [abs(y - level) for x, y in corners if 0 < y < 690]
        assert min(near) < 9.5, "a straight line anywhere in the band is nearer to a corner"


def test_a_join_keeps_off_corners_that_lie_on_the_middle_line():
    diamond = curves.ring_of([(0, 250), (250, 0), (500, 250), (250, 500)])
    runs = passes_for((0, 0, 510, 510), [laid(piece(diamond), 5, 5)], laser())
    assert len(runs[0].joins) == 2
    assert all(abs(join.sheet_mm[1] - 255) > 5 for join in runs[0].joins)
