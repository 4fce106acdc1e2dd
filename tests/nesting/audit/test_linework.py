"""The audit's own geometry against analysis, and against the planner's, which it does not share."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nesting import curves
from nesting.audit import linework
from nesting.audit.coverage import cover
from nesting.audit.scene import Contour, Cut

HALF_CIRCLE = np.array([[-50.0, 0.0, 1.0], [50.0, 0.0, 0.0]])
SQUARE = np.array([[0.0, 0.0, 0.0], [100.0, 0.0, 0.0], [100.0, 100.0, 0.0], [0.0, 100.0, 0.0]])


@pytest.mark.parametrize("sweep_deg", [0.01, 10.0, 60.0, 90.0, 180.0, 270.0, 350.0])
@pytest.mark.parametrize("radius", [0.5, 30.0, 900.0])
def test_an_arc_is_traced_on_its_circle(sweep_deg: float, radius: float) -> None:
    sweep = math.radians(sweep_deg)
    end = (radius * math.cos(sweep), radius * math.sin(sweep))
    found = linework.trace(np.array([[radius, 0.0, math.tan(sweep / 4)], [*end, 0.0]]), closed=False)
    assert np.hypot(*found.points.T) == pytest.approx(radius, rel=1e-9)
    assert found.length == pytest.approx(radius * sweep, rel=1e-9)
    chords = np.hypot(*np.diff(found.points, axis=0).T)
    assert radius - np.sqrt(radius**2 - chords.max() ** 2 / 4) <= linework.CHORD_MM * 1.001


def test_stations_are_lengths_along_the_true_curve() -> None:
    found = linework.trace(HALF_CIRCLE, closed=False)
    assert found.at(np.array([25 * math.pi]))[0] == pytest.approx((0.0, -50.0), abs=linework.CHORD_MM)
    assert found.station_of((0.0, -80.0)) == pytest.approx(25 * math.pi, abs=0.01)
    ring = linework.trace(SQUARE, closed=True)
    assert ring.length == 400.0
    assert ring.at(np.array([450.0]))[0] == pytest.approx((50.0, 0.0))


@given(
    turn=st.sampled_from([0, 90, 180, 270]),
    shift=st.tuples(st.floats(-500, 500), st.floats(-500, 500)),
    points=st.lists(st.tuples(st.floats(-900, 900), st.floats(-900, 900), st.floats(-1, 1)), min_size=2, max_size=6),
)
def test_the_way_to_the_bed_and_back_is_nothing(turn: int, shift: tuple[float, float], points: list[tuple]) -> None:
    vertices = np.array(points)
    there = linework.to_bed(vertices, turn, shift)
    assert linework.to_sheet(there, turn, shift) == pytest.approx(vertices, abs=1e-9)
    assert there == pytest.approx(np.array(curves.moved(points, *shift, turn)), abs=1e-9)


@given(turn=st.floats(0, 360), mirrored=st.booleans())
def test_a_placement_is_the_one_the_planner_means(turn: float, mirrored: bool) -> None:
    ring = ((3.0, 4.0, 0.5), (40.0, -7.0, -0.2), (20.0, 60.0, 0.0))
    found = linework.placed(np.array(ring), 12.5, -3.0, turn, mirrored)
    assert found == pytest.approx(np.array(curves.moved(ring, 12.5, -3.0, turn, mirrored)), abs=1e-9)
    # By hand: x is turned over first, so that a quarter turn ccw takes (3, 4) to (-4, -3).
    assert linework.placed(np.array(ring), 0.0, 0.0, 90.0, True)[0] == pytest.approx((-4.0, -3.0, -0.5))


@pytest.mark.parametrize("sense", [1, -1])
@pytest.mark.parametrize("start", [0.0, 137.0])
def test_a_stretch_run_either_way_lies_on_its_ring(sense: int, start: float) -> None:
    ring = linework.trace(SQUARE, closed=True)
    stops = start + sense * np.linspace(0.0, 200.0, 201)
    part = linework.trace(np.column_stack((ring.at(stops), np.zeros(201))), closed=False)
    assert linework.deviation(part, ring, start, sense) < 1e-9
    assert linework.deviation(part, ring, start, -sense) > 50.0


@given(off=st.floats(0.001, 0.3), bulge=st.floats(0.05, 1.0))
def test_a_flatter_arc_deviates_by_the_difference_of_its_height(off: float, bulge: float) -> None:
    """Height of an arc over chord c is bulge c / 2: DXF reference."""
    width = 100.0
    ideal = linework.trace(np.array([[0.0, 0.0, bulge], [width, 0.0, 0.0]]), closed=False)
    flat = linework.trace(np.array([[0.0, 0.0, bulge - 2 * off / width], [width, 0.0, 0.0]]), closed=False)
    assert linework.deviation(flat, ideal, 0.0, 1) >= off - 2 * linework.CHORD_MM


def test_a_chain_without_end_is_followed_less_closely_but_followed() -> None:
    wide = np.array([[0.0, 0.0, 1.0], [9e5, 0.0, 1.0]] * 400)
    assert len(linework.trace(wide, closed=True).points) < 2 * linework.POINTS_MAX


def test_a_round_mark_is_found_wherever_its_piece_lies_turned() -> None:
    """It ends where it starts, so rounding alone would say which end a drawing begins at."""
    ring = np.array([[69.063391, 48.54102, 1.0], [45.063391, 48.54102, 1.0], [69.063391, 48.54102, 0.0]])
    for turn in range(0, 360, 15):
        meant = linework.trace(linework.placed(ring, 300.42707, 119.399562, turn, False), closed=False)
        rounded = linework.trace(np.round(linework.placed(ring, 300.42707, 119.399562, turn, False), 6), closed=False)
        found = cover(
            [Contour("star-1", "b1", "mark 1", meant)],
            [Cut("S01-b1-pass1.dxf", "b1", "MARK", (1, 0), rounded, rounded)],
        )
        assert not found.strays
        assert all(abs(meeting.gap_mm) < 0.001 for meeting in found.meetings)
