"""Figures of the trade that plans must agree with; each names its source."""

import math

import numpy as np
import pytest
import shapely

from nesting import costing, curves
from nesting.assigning.blanks import trim_at
from nesting.curves import Segment
from nesting.passes.limits import lacking_mm
from nesting.passes.lineup import mismatch_mm
from nesting.passes.overhang import sag_mm
from nesting.passes.reach import reaches
from nesting.splitting.moving import expansion_per_k
from tests.shop import RATES, laser


def test_a_half_turn_doubles_the_depth_of_a_600_x_400_travel():
    """Source: common practice, no source."""
    machine = laser(margin_mm=0.0)
    found = reaches(machine, (0, 0, 600, 800))
    reached = shapely.union_all([shapely.box(*reach.rect_mm) for reach in found])
    assert sorted(reach.turn_deg for reach in found) == [0, 180]
    assert reached.area == pytest.approx(600 * 800)
    assert lacking_mm(machine, 600, 800) == 0


def test_a_half_turn_takes_a_point_to_the_opposite_corner():
    """Source: derived, q2 = (W - x, H - y): on a 600 x 800 blank (100, 650) goes to (500, 150)."""
    there = next(reach for reach in reaches(laser(), (0, 0, 600, 800)) if reach.turn_deg == 180)
    back = next(reach for reach in reaches(laser(), (0, 0, 600, 800)) if reach.turn_deg == 0)
    x, y = there.to_bed((100.0, 650.0))
    assert (x, y) == pytest.approx((500.0, 150.0 - 400.0))
    assert back.to_bed((100.0, 650.0)) == pytest.approx((100.0, 650.0 - 400.0))


def test_a_610_sheet_on_a_600_travel_leaves_5_mm_uncut_at_each_end():
    """Source: common practice, no source; (S - w) / 2 each side when centred."""
    trim = trim_at((0, 0, 610, 1220), 1, 400.0, laser(), RATES, 5.0, 1)
    assert trim.method == "machine"
    assert trim.uncut_ends_mm == pytest.approx((5.0, 5.0))
    assert "5.0 mm and 5.0 mm uncut" in trim.measure


def test_a_square_metre_of_10_mm_acrylic_weighs_11_9_kg():
    """Source: ISO 1183 density of acrylic, 1.19 g/cm3, from data sheets."""
    assert costing.mass_kg(1000 * 1000, 10, 1190) == pytest.approx(11.9)
    assert costing.mass_kg(3050 * 2030, 5, 1190) == pytest.approx(36.839, abs=5e-4)


@pytest.mark.parametrize(
    ("thickness", "length", "sag"), [(5, 400, 5.60), (3, 400, 15.57), (10, 400, 1.40), (3, 200, 0.97)]
)
def test_a_sheet_that_hangs_out_sags_as_a_cantilever_does(thickness, length, sag):
    """Source: derived, 1.5 rho g L^4 / (E t^2) (a strip held level at one end, under its own weight), worked by hand
    with the density of acrylic, 1190 kg/m3 (ISO 1183), and its modulus, 3.2 GPa (data sheets, ISO 527)."""
    assert sag_mm(length, thickness, 1190, 3.2) == pytest.approx(sag, abs=0.006)


def test_a_metre_of_acrylic_grows_by_2_8_mm_in_40_kelvin():
    """Source: data sheets of acrylic, 6e-5 to 8e-5 for each kelvin (ISO 11359-2 gives 8e-5 for cast); a L dT."""
    assert expansion_per_k("acrylic", ()) * 1000 * 40 == pytest.approx(2.8)


@pytest.mark.parametrize(("sweep", "bulge"), [(90, 0.414214), (60, 0.267949), (270, 2.414214), (180, 1.0)])
def test_bulge_is_the_tangent_of_a_quarter_of_the_sweep(sweep, bulge):
    """Source: DXF reference, group code 42 of LWPOLYLINE."""
    assert math.degrees(Segment((0, 0), (10, 0), bulge).sweep) == pytest.approx(sweep, abs=1e-4)


def test_an_arc_of_90_degrees_on_a_chord_of_10():
    """Source: derived from the bulge formula: r 7.07107, length 11.10721, circular segment 14.26991 square units."""
    arc = Segment((0, 0), (10, 0), math.tan(math.radians(90) / 4))
    assert arc.radius == pytest.approx(7.07107, abs=1e-5)
    assert arc.length == pytest.approx(11.10721, abs=1e-5)
    assert curves.signed_area(((0, 0, arc.bulge), (10, 0, 0))) == pytest.approx(14.26991, abs=1e-5)


def test_line_up_error_agrees_with_drawing_it_at_random():
    """Source: Monte Carlo, 100 000 draws of a best rigid fit on two marks (numpy, fixed seed)."""
    error, apart, at = 0.1, 500.0, np.array([300.0, 0.0])
    dice = np.random.default_rng(1)
    found = dice.normal(0.0, error, size=(100_000, 2, 2))
    shift = found.mean(axis=1)
    turn = (found[:, 1, 1] - found[:, 0, 1]) / apart
    moved = shift + np.stack([-turn * at[1], turn * at[0]], axis=1)
    drawn = math.sqrt((moved**2).sum(axis=1).mean())
    marks = [(-apart / 2, 0.0), (apart / 2, 0.0)]
    assert mismatch_mm((300.0, 0.0), marks, error) == pytest.approx(drawn, rel=0.02)
