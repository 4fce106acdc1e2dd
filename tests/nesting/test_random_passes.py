"""Random shapes on random machines: every contour cut once, within the travel, marks in waste, few joins."""

import math

import pytest
import shapely
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from nesting import curves
from nesting.faults import ReachFault
from nesting.model import Blank
from nesting.passes import plan_passes
from nesting.passes.cuts import cuts_of, to_bed
from nesting.passes.lineup import MARK_MM
from nesting.passes.reach import reaches
from tests.shop import RATES, laid, laser, piece


def star(points, ratio):
    radii = [1.0, ratio] * points
    turn = math.pi / points
    return curves.ring_of([(r * math.cos(i * turn), r * math.sin(i * turn)) for i, r in enumerate(radii)]), ()


def ring(bulge, inner):
    """Two arcs, or four, and the same again within, run the other way."""
    outer = ((-1.0, 0.0, bulge), (1.0, 0.0, bulge))
    hole = curves.reversed_ring(tuple((x * inner, y * inner, b) for x, y, b in outer))
    return outer, (hole,)


def spiral(turns, thick):
    """An Archimedean spiral as a strip, drawn by chords."""
    count = int(24 * turns)
    angles = [math.tau * turns * i / count for i in range(count + 1)]
    radii = [0.25 + 0.75 * i / count for i in range(count + 1)]
    outer = [(r * math.cos(a), r * math.sin(a)) for a, r in zip(angles, radii, strict=True)]
    inner = [((r - thick) * math.cos(a), (r - thick) * math.sin(a)) for a, r in zip(angles, radii, strict=True)]
    return curves.ring_of([*outer, *reversed(inner)]), ()


LETTERS = {
    "H": ([(0, 0), (2, 0), (2, 4), (6, 4), (6, 0), (8, 0), (8, 10), (6, 10), (6, 6), (2, 6), (2, 10), (0, 10)], []),
    "E": ([(0, 0), (7, 0), (7, 2), (2, 2), (2, 4), (6, 4), (6, 6), (2, 6), (2, 8), (7, 8), (7, 10), (0, 10)], []),
    "A": ([(0, 0), (2, 0), (3, 3), (5, 3), (6, 0), (8, 0), (5, 10), (3, 10)], [(3.6, 5), (4, 6.5), (4.4, 5)]),
    "D": ([(0, 0), (5, 0), (8, 3), (8, 7), (5, 10), (0, 10)], [(2, 2), (2, 8), (4.5, 8), (6, 6.5), (6, 3.5), (4.5, 2)]),
    "V": ([(3, 0), (5, 0), (8, 10), (6, 10), (4, 3), (2, 10), (0, 10)], []),
}  # fmt: skip


def letter(name):
    outline, hole = LETTERS[name]
    holes = (curves.oriented(curves.ring_of(hole), False),) if hole else ()
    return curves.oriented(curves.ring_of(outline), True), holes


shapes = st.one_of(
    st.builds(star, st.integers(3, 12), st.floats(0.35, 0.9)),
    st.builds(ring, st.floats(0.6, 1.0), st.floats(0.3, 0.9)),
    st.builds(spiral, st.floats(1.2, 3.0), st.floats(0.05, 0.1)),
    st.builds(letter, st.sampled_from(sorted(LETTERS))),
)
machines = st.builds(
    lambda travel, wider, deeper, front, back, margin, gap: laser(
        travel=travel,
        table=(travel[0] + wider, travel[1] + deeper),
        open_front=front,
        open_back=back,
        margin_mm=margin,
        gap_mm=gap,
    ),
    st.sampled_from([(600.0, 400.0), (500.0, 300.0), (400.0, 400.0), (900.0, 600.0)]),
    st.sampled_from([0.0, 10.0, 40.0]),
    st.sampled_from([0.0, 25.0]),
    st.booleans(),
    st.booleans(),
    st.sampled_from([0.0, 5.0]),
    st.sampled_from([0.0, 3.0]),
)


def scaled(shape, size, room):
    """Outline and holes, their bounding rectangle `size` high and clear of the origin by `room`."""
    outline, holes = shape
    x0, y0, _, y1 = curves.bounds([outline])
    by = size / (y1 - y0)
    moved = [tuple(((x - x0) * by + room, (y - y0) * by + room, b) for x, y, b in one) for one in (outline, *holes)]
    return moved[0], tuple(moved[1:])


def planned(shape, machine, share, waste):
    """A piece `share` times as high as the travel is deep, with its passes; not drawn where it cannot be reached."""
    outline, holes = scaled(shape, share * machine.travel_mm[1], machine.margin_mm + waste)
    solid = curves.polygon(outline, holes)
    assume(solid.is_valid)
    _, _, x1, y1 = curves.bounds([outline])
    blank = (0.0, 0.0, x1 + machine.margin_mm + waste, y1 + machine.margin_mm + waste)
    one = laid(piece(outline, holes), 0, 0)
    assume(reaches(machine, blank))
    try:
        runs = plan_passes("S01", shapely.box(*blank), Blank("b1", blank), [one], machine, RATES)
    except ReachFault:
        assume(False)
    return one, blank, runs


few = settings(max_examples=30, suppress_health_check=list(HealthCheck))


@few
@given(shapes, machines, st.floats(0.9, 1.9), st.sampled_from([0.0, 12.0]))
def test_the_union_of_all_passes_is_every_contour_exactly_once(shape, machine, share, waste):
    one, _, runs = planned(shape, machine, share, waste)
    whole = [run for run in runs if run.whole]
    assert bool(whole) != any(run.part for run in runs), "cut whole in one pass or shared, never both"
    assert len(whole) <= 1
    cut = [c.stretch for run in runs for c in cuts_of(runs, run, {one.piece.id: one}, machine)]
    drawn = math.fsum(curves.length(c.vertices, c.closed) for c in cut)
    assert drawn == pytest.approx(math.fsum(curves.length(ring, True) for ring in one.rings), abs=1e-3)
    lines = shapely.MultiLineString([shapely.LinearRing(curves.flattened(ring, 1e-3)) for ring in one.rings])
    assert max(shapely.distance(shapely.points(_dense(c.vertices, c.closed)), lines).max() for c in cut) < 2e-3
    for number, contour in [("outline", one.outline), *(("hole", hole) for hole in one.holes)] if not whole else []:
        _assert_tiled([s for run in runs for s in run.shares if s.kind == number], curves.length(contour, True))


def _dense(chain, closed):
    spots = curves.spots_at(chain, closed, [k * curves.length(chain, closed) / 100 for k in range(101)])
    return [spot.point for spot in spots]


def _assert_tiled(shares, length):
    """The shares follow each other round the contour without a gap or a double."""
    assert math.fsum(s.end_mm - s.start_mm for s in shares) == pytest.approx(length, abs=1e-4)
    ordered = sorted(shares, key=lambda s: s.start_mm)
    for before, after in zip(ordered, [*ordered[1:], ordered[0]], strict=True):
        away = (before.end_mm - after.start_mm) % length
        assert min(away, length - away) < 1e-4


@few
@given(shapes, machines, st.floats(0.9, 1.9), st.sampled_from([0.0, 12.0]))
def test_nothing_is_run_outside_the_travel_and_what_one_pass_holds_is_never_joined(shape, machine, share, waste):
    one, blank, runs = planned(shape, machine, share, waste)
    for run in runs:
        for cut in cuts_of(runs, run, {one.piece.id: one}, machine):
            x0, y0, x1, y1 = curves.bounds([to_bed(run, cut.stretch.vertices)], closed=cut.stretch.closed)
            assert min(x0, y0) > -2e-3
            assert x1 < machine.travel_mm[0] + 2e-3 and y1 < machine.travel_mm[1] + 2e-3
        assert run.frame_mm and min(run.spare_mm) > -2e-3
    held = [reach for reach in reaches(machine, blank) if shapely.box(*reach.rect_mm).covers(shapely.box(*one.bounds))]
    if held:
        assert len(runs) == 1 and not runs[0].joins


@few
@given(shapes, machines, st.floats(1.05, 1.9), st.sampled_from([0.0, 12.0, 30.0]))
def test_every_line_up_mark_lies_in_waste_that_both_passes_reach(shape, machine, share, waste):
    one, blank, runs = planned(shape, machine, share, waste)
    around = shapely.Polygon(one.solid.exterior)
    for run in runs:
        for mark in run.lineup:
            (x, y), arm = mark.sheet_mm, MARK_MM / 2
            arms = shapely.MultiLineString([((x - arm, y), (x + arm, y)), ((x, y - arm), (x, y + arm))])
            assert shapely.box(*blank).contains(arms)
            assert around.distance(arms) >= max(machine.gap_mm, 1.0) - 0.06
            bx, by = mark.bed_mm
            assert arm - 2e-3 <= bx <= machine.travel_mm[0] - arm + 2e-3
            assert arm - 2e-3 <= by <= machine.travel_mm[1] - arm + 2e-3


@few
@given(shapes, machines, st.floats(1.05, 1.9))
def test_joins_are_never_more_than_a_straight_line_in_the_middle_makes(shape, machine, share):
    one, blank, runs = planned(shape, machine, share, 0.0)
    assume(len(runs) == 2)
    rects = [reach.rect_mm for reach in reaches(machine, blank)]
    poses = {(reach.turn_deg, reach.shift_mm): reach.rect_mm for reach in reaches(machine, blank)}
    a, b = (poses[run.turn_deg, run.shift_mm] for run in runs)
    axis = next((k for k in (0, 1) if abs(a[k] - b[k]) > 1e-3 and abs(a[1 - k] - b[1 - k]) < 1e-3), None)
    assume(axis is not None and rects)
    middle = (max(a[axis], b[axis]) + min(a[axis + 2], b[axis + 2])) / 2
    parts = [part for ring in one.rings for part in curves.segments(ring, closed=True)]
    naive = sum(len(part.crossings(axis, middle)) + (abs(part.a[axis] - middle) < 1e-3) for part in parts)
    assert 0 < len({join.number for run in runs for join in run.joins}) <= naive
