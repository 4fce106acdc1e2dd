"""The datum at any corner, the table to one side, and blanks laid face down where both faces are alike."""

import dataclasses
from decimal import Decimal

import pytest

from nesting.audit import audit_plan
from nesting.drawing.pass_drawings import drawings
from nesting.faults import ReachFault
from nesting.model import Job, Machine, Material, Offcut, Offer, Plan, Workshop
from nesting.passes.holding import edge_at
from nesting.passes.reach import reaches
from nesting.plan import Request, make_plan
from nesting.plan_file import plan_text
from tests.nesting.test_wide_blanks import failed
from tests.shop import RATES, disc, laser, piece, rectangle

CORNERS = ["front left", "front right", "back left", "back right"]
ALIKE = (Material("acrylic", 1190),)


def planned(machine: Machine, outline, size, materials=ALIKE, rack=(), **more) -> Plan:
    offer = Offer("sheet", "acrylic", "opal", 5.0, *size, Decimal(40))
    shop = Workshop("workshop", RATES, (machine,), materials, (offer,) if not rack else ())
    return make_plan(Request(Job("job"), (piece(outline, **more),), shop, rack, effort=1))


@pytest.mark.parametrize("datum", CORNERS)
def test_coordinates_count_from_the_datum_corner(datum, tmp_path):
    machine = laser(datum=datum)
    plan = planned(machine, disc(585), (600.0, 600.0))
    x0, y0, x1, y1 = machine.travel_rect
    assert (0.0 in (x0, x1)) and (0.0 in (y0, y1))
    assert x0 == (-600.0 if "right" in datum else 0.0)
    assert y0 == (-400.0 if "back" in datum else 0.0)
    for layers in drawings(plan).values():
        for chain in layers["CUT"]:
            assert all(x0 - 1e-3 <= x <= x1 + 1e-3 and y0 - 1e-3 <= y <= y1 + 1e-3 for x, y, _ in chain.vertices)
    assert failed(plan, tmp_path) == []


@pytest.mark.parametrize("datum", CORNERS)
def test_a_small_blank_is_laid_into_the_datum_corner(datum, tmp_path):
    plan = planned(laser(datum=datum), rectangle(200, 100), (300.0, 200.0))
    (run,) = plan.sheets[0].passes
    assert {(stop.side, stop.at_mm) for stop in run.stops} == {(datum.split()[1], 0.0), (datum.split()[0], 0.0)}
    assert failed(plan, tmp_path) == []


def test_a_plan_drawn_from_another_corner_than_it_says_fails_its_audit(tmp_path):
    plan = planned(laser(datum="back right"), disc(585), (600.0, 600.0))
    lied = dataclasses.replace(plan, machine=dataclasses.replace(plan.machine, datum="front left"))
    assert {"travel", "frames", "table"} <= set(failed(lied, tmp_path))


def one_sided(**more) -> Machine:
    """All that the table is wider lies on the right: nothing can be slid to the left."""
    return laser(margin_mm=0.0, table_left_mm=0.0, **more)


def test_a_table_to_one_side_reaches_the_other_corners_face_down(tmp_path):
    """610 x 780: a half turn gives two opposite corners, the blank laid face down the other two."""
    plan = planned(one_sided(), rectangle(610, 780), (610.0, 780.0))
    (sheet,) = plan.sheets
    assert [run.flipped for run in sheet.passes] == [False, False, True, True]
    assert [run.turn_before for run in sheet.passes] == ["none", "half", "flip", "half"]
    assert sheet.both_faces_alike
    assert failed(plan, tmp_path) == []


@pytest.mark.parametrize(
    "unlike",
    [
        {"materials": (Material("acrylic", 1190, faces_alike=False),)},
        {"materials": ()},
        {"marks": (((100.0, 100.0, 0.0), (200.0, 100.0, 0.0)),)},
        {"face_down": False},
        {"faces": "mirrored on the lower side"},
    ],
    ids=lambda unlike: next(iter(unlike)),
)
def test_nothing_is_laid_face_down_unless_both_faces_are_known_to_be_alike(unlike):
    machine = one_sided(**{"face_down": unlike.pop("face_down")} if "face_down" in unlike else {})
    faces = unlike.pop("faces", "")
    corners = ((0.0, 0.0), (610.0, 0.0), (610.0, 780.0), (0.0, 780.0))
    rack = (Offcut("A1", "acrylic", "opal", 5.0, corners, faces=faces),) if faces else ()
    with pytest.raises(ReachFault, match="short of it"):
        planned(machine, rectangle(610, 780), (610.0, 780.0), rack=rack, **unlike)


def test_face_down_is_left_alone_where_it_saves_nothing():
    for machine, outline, size in (
        (laser(), disc(585), (600.0, 600.0)),
        (laser(margin_mm=0.0), rectangle(610, 780), (610.0, 780.0)),
        (laser((600.0, 600.0), (620.0, 600.0), margin_mm=0.0), rectangle(610, 610), (610.0, 610.0)),
    ):
        plan = planned(machine, outline, size)
        assert not any(run.flipped for sheet in plan.sheets for run in sheet.passes)
        assert not any(reach.flipped for reach in reaches(machine, (0.0, 0.0, *size)))


def test_a_pass_face_down_where_the_faces_differ_fails_its_audit(tmp_path):
    plan = planned(one_sided(), rectangle(610, 780), (610.0, 780.0))
    sheet = dataclasses.replace(plan.sheets[0], both_faces_alike=False)
    (tmp_path / "told").mkdir()
    assert "pass lists" in failed(dataclasses.replace(plan, sheets=(sheet,)), tmp_path / "told")
    runs = tuple(dataclasses.replace(run, flipped=False) for run in plan.sheets[0].passes)
    sheet = dataclasses.replace(plan.sheets[0], passes=runs)
    assert failed(plan, tmp_path) == []
    lied = dataclasses.replace(plan, sheets=(sheet,))
    (tmp_path / "plan.json").write_text(plan_text(lied), encoding="utf-8")
    assert {"cut lines", "pass lists"} <= {check.name for check in audit_plan(tmp_path) if not check.ok}


def test_edges_face_down_run_the_other_way_round():
    assert [edge_at(side, 0) for side in ("front", "right", "back", "left")] == ["A", "B", "C", "D"]
    assert [edge_at(side, 0, flipped=True) for side in ("front", "right", "back", "left")] == ["A", "D", "C", "B"]
    assert [edge_at(side, 180, flipped=True) for side in ("front", "right", "back", "left")] == ["C", "B", "A", "D"]


def test_a_table_to_one_side_is_part_of_what_it_is_wider():
    with pytest.raises(ValueError, match="table_left_mm"):
        laser(table_left_mm=21.0)
    assert laser(table_left_mm=5.0).table_rect == (-5.0, 0.0, 615.0, 400.0)
