"""What the machine is handed: shapes larger than its travel, planned from the sheet and put together from the files."""

import dataclasses
import itertools
import math
from decimal import Decimal

import ezdxf
import pytest
import shapely

from nesting.drawing.pass_drawings import drawings
from nesting.drawing.writing import write_drawing
from nesting.model import Blank, Job, Offer, Workshop
from nesting.passes import plan_passes
from nesting.plan import Request, make_plan
from tests.nesting.test_wide_blanks import failed
from tests.shop import RATES, disc, laid, laser, piece, rectangle


def planned(outline, machine, length, width, **more):
    offer = Offer("sheet", "acrylic", "opal", 5.0, length, width, Decimal(40))
    # Strips of less than 200 mm are not worth keeping here.
    rates = dataclasses.replace(RATES, keep_mm=(200.0, 200.0))
    shop = Workshop("workshop", rates, (machine,), (), (offer,))
    return make_plan(Request(Job("job"), (piece(outline, **more),), shop, (), effort=2))


def cut_on_sheet(folder, run):
    """The arcs and lines of a pass drawing's CUT layer, read by ezdxf: (start, end, bulge) moved back to the sheet."""
    found = []
    for entity in ezdxf.readfile(folder / run.file).modelspace().query("LWPOLYLINE[layer=='CUT']"):
        corners = [tuple(vertex) for vertex in entity.get_points("xyb")]
        corners += [corners[0]] if entity.closed else []
        turn, shift = 1j ** -(run.turn_deg // 90), complex(*run.shift_mm)
        back = [((complex(x, y) - shift) * turn, bulge) for x, y, bulge in corners]
        found += [(a, b, bulge) for (a, bulge), (b, _) in itertools.pairwise(back)]
    return found


def written(plan, folder):
    for name, layers in drawings(plan).items():
        write_drawing(folder / name, layers)


def centre_of(a, b, bulge):
    return (a + b) / 2 + 1j * (b - a) * (1 - bulge**2) / (4 * bulge)


@pytest.mark.parametrize("open_back", [False, True])
def test_a_disc_of_585_comes_together_from_two_drawings(open_back, tmp_path):
    plan = planned(disc(585), laser(open_back=open_back), 1000.0, 610.0)
    (sheet,) = plan.sheets
    assert [run.turn_before for run in sheet.passes] == ["none", "shift" if open_back else "half"]
    if not open_back:
        (trim,) = sheet.trims
        assert trim.method == "machine"
        assert trim.uncut_ends_mm == pytest.approx((5.0, 5.0))
    first, second = sheet.passes
    assert [join.number for join in first.joins] == [join.number for join in second.joins] == [1, 2]
    ends = [join.sheet_mm for join in first.joins]
    assert math.dist(*ends) == pytest.approx(585, abs=0.1), "near the ends of one diameter"
    assert failed(plan, tmp_path) == []
    written(plan, tmp_path)
    spot = sheet.placements[0]
    centre = complex(spot.x_mm, spot.y_mm) + complex(292.5, 292.5) * 1j ** (round(spot.turn_deg) // 90)
    sweep = 0.0
    for run in sheet.passes:
        arcs = cut_on_sheet(tmp_path, run)
        assert arcs and all(bulge for *_, bulge in arcs), "arcs in both drawings"
        for a, b, bulge in arcs:
            assert abs(centre_of(a, b, bulge) - centre) < 0.01
            assert abs(a - centre) == pytest.approx(292.5, abs=0.01)
            assert abs(b - centre) == pytest.approx(292.5, abs=0.01)
            sweep += 4 * math.atan(bulge)
    assert sweep == pytest.approx(math.tau, abs=1e-4), "once round, no more and no less"


@pytest.mark.parametrize("sheet", [(600.0, 800.0), (1000.0, 1000.0)])
def test_600_x_800_just_goes(sheet, tmp_path):
    """At exactly twice the travel nothing holds a mark: the edge and a stop serve, and the plan says so."""
    plan = planned(rectangle(600, 800), laser(margin_mm=0.0, table=(600.0, 400.0)), *sheet)
    (runs,) = [sheet.passes for sheet in plan.sheets]
    assert [run.turn_before for run in runs] == ["none", "half"]
    assert [[lined.by for lined in run.lines_up] for run in runs] == [[], ["edge"]]
    assert {at.mm for at in runs[1].lines_up[0].distances} == {600.0, 800.0}
    assert any("line up on the sheet's edge against a stop" in warning for warning in plan.warnings)
    assert failed(plan, tmp_path) == []


def test_a_square_of_610_on_a_travel_of_600_takes_quarter_turns_against_one_stop(tmp_path):
    plan = planned(rectangle(610, 610), laser(travel=(600.0, 600.0), table=(620.0, 600.0), margin_mm=0.0), 610.0, 610.0)
    runs = plan.sheets[0].passes
    assert [run.turn_before for run in runs] == ["none", "quarter", "quarter", "quarter"]
    assert len({stop.at_mm for run in runs for stop in run.stops if stop.side == "left"}) == 1
    assert len({join.number for run in runs for join in run.joins}) == 4
    assert failed(plan, tmp_path) == []


def test_where_no_waste_will_do_the_join_ends_serve():
    """590 x 590 on a blank of 590 x 590: the band is 210 mm deep and full of the piece."""
    plan = planned(rectangle(590, 590), laser(margin_mm=0.0), 590.0, 590.0)
    second = plan.sheets[0].passes[1]
    (lined,) = second.lines_up
    assert (lined.with_pass, lined.by) == (1, "joins")
    assert [(at.start, at.end, at.mm) for at in lined.distances] == [("J1", "J2", 590.0)]
    assert any("passes 1 and 2" in w and "the ends of the cuts at the joins" in w for w in plan.warnings)


def test_marks_are_told_with_distances_that_a_rule_can_check():
    plan = planned(disc(585), laser(), 1000.0, 610.0)
    first, second = plan.sheets[0].passes
    a, b = (mark.sheet_mm for mark in first.lineup)
    (lined,) = second.lines_up
    told = {(at.start, at.end): at.mm for at in lined.distances}
    assert told["L1", "L2"] == pytest.approx(math.dist(a, b), abs=0.01)
    assert {start for start, end in told if end.startswith("edge")} == {"L1", "L2"}
    x0, y0, x1, y1 = plan.sheets[0].blanks[0].rect_mm
    edges = {"A": a[1] - y0, "B": x1 - a[0], "C": y1 - a[1], "D": a[0] - x0}
    for (start, end), mm in told.items():
        if start == "L1" and end.startswith("edge"):
            assert mm == pytest.approx(edges[end[-1]], abs=0.01)


@pytest.mark.parametrize(("depth", "by"), [(794.0, "marks"), (795.0, "edge"), (800.0, "edge")])
def test_the_band_must_be_as_deep_as_a_mark(depth, by):
    """Twice the travel less the mark's height of 6 mm is the deepest blank that marks serve."""
    blank = (0.0, 0.0, 600.0, depth)
    one = laid(piece(rectangle(500, depth - 20)), 50, 10)
    _, second = plan_passes("S01", shapely.box(*blank), Blank("b1", blank), [one], laser(), RATES)
    assert [lined.by for lined in second.lines_up] == [by]
    if by == "marks":
        assert {mark.sheet_mm[1] for mark in second.lineup} == {397.0}


def test_the_worst_displacement_is_told_for_what_a_pass_cuts():
    """Marks d apart, s each: s sqrt(1 + 2 r2 / d2), r to the farthest point; no join can be worse."""
    plan = planned(disc(585), laser(), 1000.0, 610.0)
    first, second = plan.sheets[0].passes
    (lined,) = second.lines_up
    a, b = (complex(*mark.sheet_mm) for mark in first.lineup)
    spot = plan.sheets[0].placements[0]
    centre = complex(spot.x_mm, spot.y_mm) + complex(292.5, 292.5) * 1j ** (round(spot.turn_deg) // 90)
    farthest = abs(centre - (a + b) / 2) + 292.5
    assert max(join.mismatch_mm for join in second.joins) <= lined.worst_mm
    assert lined.worst_mm <= 0.15 * math.sqrt(1 + 2 * (farthest / abs(a - b)) ** 2) + 1e-3


def test_small_pieces_are_laid_so_that_one_pass_holds_each():
    """The engine is told the reaches while it lays out: twelve panels on a blank of two passes, none joined."""
    panels = tuple(piece(rectangle(180, 150), id=f"p{i}", copy=i, name="p") for i in range(1, 13))
    offer = Offer("sheet", "acrylic", "opal", 5.0, 600.0, 780.0, Decimal(40))
    shop = Workshop("workshop", RATES, (laser(),), (), (offer,))
    (sheet,) = make_plan(Request(Job("job"), panels, shop, (), effort=1)).sheets
    assert len(sheet.passes) == 2
    assert not any(run.part or run.joins for run in sheet.passes)


def test_the_frame_and_what_it_spares_stand_in_the_plan():
    plan = planned(disc(585), laser(), 1000.0, 610.0)
    for run in plan.sheets[0].passes:
        x0, y0, x1, y1 = run.frame_mm
        assert run.spare_mm == pytest.approx((x0, 600 - x1, y0, 400 - y1))
        assert min(run.spare_mm) > -1e-3


def test_a_contour_stays_held_until_its_last_pass_and_holes_come_before_it():
    """A disc of 700 mm, a bore in the band: pass 1 leaves all of it held, pass 2 cuts the bore, then the outline."""
    bore = ((340.0, 350.0, -1.0), (360.0, 350.0, -1.0))
    plan = planned(disc(700), laser(travel=(720.0, 400.0), table=(720.0, 400.0)), 720.0, 720.0, holes=(bore,))
    first, second = plan.sheets[0].passes
    assert {share.kind for share in first.shares} == {"outline"}
    assert [share.kind for share in second.shares] == ["hole", "outline"]


def test_whole_pieces_wait_for_the_last_pass_that_holds_them():
    """Small panels in what both passes reach stay in the sheet until the second."""
    panels = tuple(piece(rectangle(100, 100), id=f"p{i}", copy=i, name="p") for i in range(1, 5))
    offer = Offer("sheet", "acrylic", "opal", 5.0, 600.0, 700.0, Decimal(40))
    shop = Workshop("workshop", RATES, (laser(),), (), (offer,))
    plan = make_plan(Request(Job("job"), (piece(rectangle(450, 680), name="tall"), *panels), shop, (), effort=2))
    for sheet in plan.sheets:
        for early in sheet.passes:
            for late in sheet.passes:
                for name in early.whole if late.blank == early.blank and late.order > early.order else ():
                    spot = next(spot for spot in sheet.placements if spot.piece == name)
                    y = spot.y_mm if late.turn_deg == 0 else -spot.y_mm
                    box = sorted([y, y + (100 if late.turn_deg == 0 else -100)])
                    low, high = (edge + late.shift_mm[1] for edge in box)
                    assert not (low >= 0 and high <= 400), f"{name} could have waited for pass {late.order}"
