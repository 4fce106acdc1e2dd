"""Splitting: the fewest segments, each fits, none of the piece is lost, joints keep off what they would spoil."""

import itertools
import math

import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon

from nesting import curves
from nesting.curves import corners
from nesting.faults import ReachFault
from nesting.model import Piece, Split, StockKey, Turn
from nesting.splitting import Question, split_all
from nesting.splitting.chords import CLEAR_MM, CORNER_RAD, is_small
from nesting.splitting.symmetry import mirror_axis
from nesting.splitting.tongues import tongue_for
from tests.shop import disc, piece, rectangle

ROOM = (590.0, 390.0)
ROOMS = (ROOM, (390.0, 590.0))


def round_hole(x, y, diameter):
    r = diameter / 2
    return curves.reversed_ring(((x - r, y, 1.0), (x + r, y, 1.0)))


RAIL = piece(
    ((0, 0, 0), (1430, 0, 1), (1430, 70, 0), (0, 70, 1)),
    tuple(round_hole(x, 35, 6) for x in (100, 500, 750, 1000, 1330)),
    name="rail",
    one_piece=False,
)


def oversize(outline, holes=(), **more):
    return piece(outline, holes, one_piece=False, **more)


def splitting(one: Piece, rooms=ROOMS) -> tuple[tuple[Piece, ...], Split]:
    (found,) = split_all([Question(one, rooms)])
    assert found.split
    return found.segments, found.split


def seated(segments, split) -> list[Polygon]:
    """The segments' areas where they belong in the parent."""
    solids = []
    for segment, seat in zip(segments, split.seats, strict=True):
        assert seat.piece == segment.id
        rings = [curves.moved(r, seat.x_mm, seat.y_mm, seat.turn_deg) for r in (segment.outline, *segment.holes)]
        solids.append(curves.polygon(rings[0], rings[1:], 0.002))
    return solids


def joint_lines(segments, split) -> list[LineString]:
    """Every joint edge in the parent's frame, once for each of its two sides."""
    lines = []
    for segment, seat in zip(segments, split.seats, strict=True):
        for joint in segment.joints:
            ends = curves.moved([(*joint.start_mm, 0), (*joint.end_mm, 0)], seat.x_mm, seat.y_mm, seat.turn_deg)
            lines.append(LineString([end[:2] for end in ends]))
    return lines


def assert_reassembles(one: Piece, segments, split) -> None:
    """Nothing lost, nothing twice, each within its room, both sides of each joint in one place."""
    solids = seated(segments, split)
    whole = curves.polygon(one.outline, one.holes, 0.002)
    assert math.fsum(map(curves.area, segments)) == pytest.approx(curves.area(one), abs=1e-3)
    assert shapely.union_all(solids).symmetric_difference(whole).area < 0.01 * whole.length
    for a, b in itertools.combinations(solids, 2):
        assert a.intersection(b).area < 0.5
    for segment in segments:
        x0, y0, x1, y1 = curves.bounds([segment.outline])
        assert any(x1 - x0 <= x + 0.01 and y1 - y0 <= y + 0.01 for x, y in ROOMS)
    by_label: dict[str, list[LineString]] = {}
    labels = [joint.label for segment in segments for joint in segment.joints]
    for label, line in zip(labels, joint_lines(segments, split), strict=True):
        by_label.setdefault(label, []).append(line)
    for both in by_label.values():
        assert len(both) == 2
        assert shapely.hausdorff_distance(*both) < 1e-6


# ── how many ─────────────────────────────────────────────────────────────────────────────────────────────────


def test_a_rail_of_1500_gives_three_segments_and_the_bound_says_fewer_is_impossible():
    segments, split = splitting(RAIL)
    assert [s.id for s in segments] == ["rail-1.1", "rail-1.2", "rail-1.3"]
    assert all(s.segment_of == "rail-1" for s in segments)
    assert split.at_least == 3
    assert "lie so far apart that no segment holds two of them" in split.why
    assert_reassembles(RAIL, segments, split)
    assert sum(len(s.holes) for s in segments) == 5


def test_a_plain_rail_1500_by_90_is_split_evenly_and_squarely():
    segments, split = splitting(oversize(rectangle(1500, 90)))
    assert len(segments) == split.at_least == 3
    assert sorted(round(curves.bounds([s.outline])[2]) for s in segments) == [500, 500, 500]
    assert all(line.length == pytest.approx(90) for line in joint_lines(segments, split))


def test_a_rail_of_exactly_three_rooms_still_gives_three():
    assert len(splitting(oversize(rectangle(1770, 90)))[0]) == 3


def test_a_panel_too_wide_for_one_row_is_split_both_ways():
    panel = oversize(rectangle(1500, 700))
    segments, split = splitting(panel)
    assert len(segments) == 6
    assert_reassembles(panel, segments, split)


def test_what_fits_stays_whole_also_askew():
    for small in (oversize(rectangle(500, 300)), oversize(rectangle(620, 50))):
        (found,) = split_all([Question(small, ROOMS)])
        assert found.segments == (small,)
        assert found.split is None


def test_no_room_for_any_segment_is_told():
    with pytest.raises(ReachFault, match=r"the longest side there is is 8 mm"):
        split_all([Question(oversize(rectangle(1500, 700)), ((8.0, 6.0),))])


def test_grain_keeps_segments_as_they_lie():
    upright = oversize(rectangle(70, 1500), turn=Turn.NONE)
    segments, split = splitting(upright, ((390.0, 590.0),))
    assert len(segments) == 3
    assert all(seat.turn_deg == 0 for seat in split.seats)
    for segment in segments:
        x0, y0, x1, y1 = curves.bounds([segment.outline])
        assert (x1 - x0, y1 - y0) < (71, 591)


# ── where ────────────────────────────────────────────────────────────────────────────────────────────────────

W_900 = (
    (0, 900), (200, 0), (330, 0), (525, 720), (720, 0), (850, 0), (1050, 900), (930, 900), (782, 215), (598, 900),
    (452, 900), (268, 215), (120, 900),
)  # fmt: skip
"""A grotesque capital W, 900 mm high, strokes about 120 mm wide."""


def test_a_letter_w_of_900_keeps_joints_off_fixings_and_a_stroke_width_off_corners():
    fixings = ((110.0, 640.0), (300.0, 70.0), (525.0, 810.0), (750.0, 70.0), (940.0, 640.0))
    letter = oversize(curves.ring_of(W_900), name="W", fixings=fixings)
    segments, split = splitting(letter)
    assert_reassembles(letter, segments, split)
    lines = joint_lines(segments, split)
    for line in lines:
        assert all(line.distance(shapely.Point(p)) >= CLEAR_MM for p in fixings)
        assert all(line.distance(shapely.Point(p)) >= line.length for p in corners(letter.outline, CORNER_RAD))
    assert split.at_least <= len(segments) <= 5


def test_joints_of_a_symmetric_piece_are_mirrored():
    letter = oversize(curves.ring_of(W_900), name="W")
    axis = mirror_axis(letter)
    assert axis is not None and axis.angle_deg == 90.0 and axis.through[0] == pytest.approx(525)
    middles = [line.interpolate(0.5, normalized=True) for line in joint_lines(*splitting(letter))]
    for middle in middles:
        there = shapely.Point(axis.mirrored((middle.x, middle.y)))
        assert min(there.distance(other) for other in middles) < 0.5


def test_a_lopsided_fixing_takes_the_symmetry_away():
    assert mirror_axis(oversize(curves.ring_of(W_900), fixings=((110.0, 640.0),))) is None


def test_neighbours_that_ask_for_it_are_joined_at_common_heights():
    tall = [oversize(rectangle(90, 1400 + 60 * i), name=f"post {i}", joints_aligned="row") for i in range(3)]
    found = split_all([Question(one, ROOMS) for one in tall])
    heights = [
        {round(line.centroid.y, 6) for line in joint_lines(one.segments, one.split)} for one in found if one.split
    ]
    assert heights[0] == heights[1] == heights[2]
    assert len(heights[0]) == 2


def test_a_baseline_shifts_the_common_heights():
    low = oversize(rectangle(90, 1100), name="low", joints_aligned="row")
    high = oversize(rectangle(90, 1100), name="high", joints_aligned="row", at_mm=(0.0, -7.0))
    found = split_all([Question(one, ROOMS) for one in (low, high)])
    (one,), (other,) = ({round(line.centroid.y, 6) for line in joint_lines(f.segments, f.split)} for f in found)
    assert other - one == pytest.approx(7.0)


def test_both_sides_of_a_joint_carry_its_label_and_its_length():
    left, middle, right = splitting(RAIL)[0]
    assert [joint.label for joint in left.joints] == ["rail-1/1"]
    assert [joint.label for joint in middle.joints] == ["rail-1/1", "rail-1/2"]
    assert [joint.label for joint in right.joints] == ["rail-1/2"]
    for segment in (left, middle, right):
        for joint in segment.joints:
            assert math.dist(joint.start_mm, joint.end_mm) == pytest.approx(70)


def test_copies_are_split_alike():
    first, second = RAIL, piece(RAIL.outline, RAIL.holes, name="rail", id="rail-2", copy=2, one_piece=False)
    one, other = split_all([Question(first, ROOMS), Question(second, ROOMS)])
    assert [s.outline for s in one.segments] == [s.outline for s in other.segments]
    assert other.segments[0].id == "rail-2.1"


# ── whatever the shape ───────────────────────────────────────────────────────────────────────────────────────


@st.composite
def shapes(draw: st.DrawFn) -> Piece:
    """Stars, rings and slotted bars larger than the room, with small holes and fixings in them."""
    kind = draw(st.sampled_from(["star", "ring", "bar"]))
    if kind == "ring":
        outer, wide = draw(st.floats(650, 1000)), draw(st.floats(40, 150))
        inner = curves.reversed_ring(curves.moved(disc(outer - 2 * wide), wide, wide))
        holes = tuple(round_hole(outer / 2 + (outer - wide) / 2 * math.cos(t), outer / 2, 6.0) for t in (0.0, math.pi))
        return oversize(disc(outer), (inner, *holes))
    if kind == "bar":
        long, wide = draw(st.floats(650, 1800)), draw(st.floats(40, 330))
        bulge = draw(st.sampled_from([0.0, 0.2, -0.1]))
        holes = tuple(round_hole(x, wide / 2, 8.0) for x in draw(st.lists(st.floats(60, long - 60), max_size=3)))
        apart = sorted(hole[0][0] for hole in holes)
        if any(b - a < 10 for a, b in itertools.pairwise(apart)):
            holes = ()
        ring = ((0, 0, 0), (long, 0, abs(bulge)), (long, wide, 0), (0, wide, bulge))
        return oversize(ring, holes, fixings=((30.0, wide / 2),))
    count, outer = draw(st.integers(3, 8)), draw(st.floats(330, 550))
    inner = outer * draw(st.floats(0.3, 0.8))
    turn, start = math.pi / count, draw(st.floats(0, 6.28))
    ring = curves.ring_of(
        [(r * math.cos(start + i * turn), r * math.sin(start + i * turn)) for i, r in enumerate([outer, inner] * count)]
    )
    return oversize(ring, (round_hole(0, 0, 12.0),))


@settings(max_examples=8)
@given(shapes())
def test_segments_make_up_any_shape_and_joints_miss_its_holes(one: Piece):
    (found,) = split_all([Question(one, ROOMS)])
    if found.split is None:
        return
    assert_reassembles(one, found.segments, found.split)
    assert found.split.at_least <= len(found.segments)
    for line in joint_lines(found.segments, found.split):
        for hole in one.holes:
            if is_small(hole):
                assert line.distance(curves.polygon(curves.reversed_ring(hole))) >= CLEAR_MM - 0.06
        assert all(line.distance(shapely.Point(p)) >= CLEAR_MM - 1e-6 for p in one.fixings)


# ── kinds of joints ──────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("clearance", [0.0, 0.2])
def test_keyed_segments_interlock_with_the_clearance_and_no_more(clearance: float):
    bar = oversize(rectangle(1100, 120), (round_hole(560, 60, 8),), name="bar", joint="keyed")
    (found,) = split_all([Question(bar, ROOMS, clearance)])
    left, right = seated(found.segments, found.split)
    lost = curves.area(bar) - math.fsum(map(curves.area, found.segments))
    assert left.intersection(right).area < 0.05
    tongue = tongue_for(120.0, 5.0)
    assert tongue
    beside = curves.length(tongue.edge(120.0), closed=False) - 120 + 2 * tongue.half_width
    assert lost == pytest.approx(clearance * beside, rel=0.15)
    # Pulled apart along the bar they collide: that is what a key is for.
    away = shapely.affinity.translate(right, 1.5 + 2 * clearance, 0)
    assert away.intersection(left).area > 0.5
    assert all(curves.bounds([s.outline])[2] <= 590.01 for s in found.segments)


def test_a_tongue_keeps_off_holes_and_a_narrow_joint_has_none():
    holes = tuple(round_hole(x, 45, 6) for x in range(60, 1100, 28))
    bar = oversize(rectangle(1140, 90), holes, name="bar", joint="keyed", thickness_mm=5.0)
    with pytest.raises(ReachFault):
        split_all([Question(bar, ROOMS, 0.2)])
    thin = oversize(rectangle(1100, 25), name="lath", joint="keyed")
    (found,) = split_all([Question(thin, ROOMS, 0.2)])
    assert math.fsum(map(curves.area, found.segments)) == pytest.approx(1100 * 25)


def test_straps_lap_each_joint_behind_and_part_round_a_fixing():
    stock = StockKey("acrylic", "clear", 3.0)
    rail = oversize(rectangle(1100, 150), name="rail", joint="strap", strap=stock, fixings=((550.0, 75.0),))
    (found,) = split_all([Question(rail, ROOMS)])
    backing = [piece for piece in found.segments if piece.stock == stock]
    assert found.split and len(backing) == len(found.split.straps) >= 1
    solid = curves.polygon(rail.outline)
    for strap, seat in zip(backing, found.split.straps, strict=True):
        area = curves.polygon(curves.moved(strap.outline, seat.x_mm, seat.y_mm, seat.turn_deg))
        assert solid.buffer(-4.99).contains(area)
        assert area.distance(shapely.Point(550, 75)) >= 14.9
        assert any(line.intersects(area) for line in joint_lines(found.segments[:2], found.split))
        assert curves.bounds([strap.outline])[3] == 40.0


def test_a_tongue_is_as_drawn_all_round_and_its_curves_are_tangent():
    tongue = tongue_for(120.0, 5.0)
    assert tongue is not None
    for edge in (tongue.edge(120.0), tongue.widened(0.3).edge(120.0)):
        parts = list(curves.segments(edge, closed=False))
        for before, after in itertools.pairwise(parts):
            assert before.direction(1.0) == pytest.approx(after.direction(0.0), abs=1e-9)
    fine = [
        curves.flattened((*chain, (60.0, -50.0, 0.0)), 0.001)
        for chain in (tongue.edge(120.0), tongue.widened(0.3).edge(120.0))
    ]
    inner, outer = (LineString([p for p in points if p[1] > 1.5 * tongue.radius]) for points in fine)
    assert shapely.hausdorff_distance(inner, outer) < 0.6
    assert inner.distance(outer) == pytest.approx(0.3, abs=0.01)


def test_marks_and_fixings_go_with_the_segment_they_lie_on():
    line = ((20.0, 40.0, 0.0), (1080.0, 40.0, 0.0))
    dot = ((100.0, 20.0, 1.0), (110.0, 20.0, 1.0), (100.0, 20.0, 0.0))
    bar = oversize(rectangle(1100, 60), name="bar", marks=(line, dot), fixings=((50.0, 30.0), (1050.0, 30.0)))
    segments, split = splitting(bar)
    left, right = segments
    assert [len(left.marks), len(right.marks)] == [2, 1]
    assert len(left.fixings) == len(right.fixings) == 1
    total = sum(curves.length(mark, closed=False) for s in segments for mark in s.marks)
    assert total == pytest.approx(1060 + 10 * math.pi)
    for segment, seat in zip(segments, split.seats, strict=True):
        for x, y, _ in curves.moved([(*p, 0.0) for p in segment.fixings], seat.x_mm, seat.y_mm, seat.turn_deg):
            assert min(math.dist((x, y), p) for p in bar.fixings) < 1e-9
