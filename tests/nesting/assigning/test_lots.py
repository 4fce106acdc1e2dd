"""Faces that come from one lot: which lot is taken, at what cost, and what is refused."""

from dataclasses import replace
from decimal import Decimal

import pytest

from nesting.faults import StockFault
from nesting.model import Job, Offcut, Offer, Plan, Workshop
from nesting.plan import Request, make_plan
from tests.shop import RATES, laser, piece, rectangle

SHEET = Offer("sheet", "acrylic", "opal", 5.0, 600, 400, Decimal("20.00"))
CORNERS = ((0.0, 0.0), (600.0, 0.0), (600.0, 400.0), (0.0, 400.0))


def cut(name: str, lot: str, value: str = "4.00") -> Offcut:
    return Offcut(name, "acrylic", "opal", 5.0, CORNERS, book_value=Decimal(value), lot=lot)


def planned(faces: str, *offers: Offer, rack: tuple[Offcut, ...] = (), effort: int = 2) -> Plan:
    """A panel for each letter, of which a sheet holds one; panels of one letter are one face, `.` is none."""
    panels = tuple(
        piece(rectangle(500, 350), id=f"panel-{i}", copy=i, one_lot=face.strip(".")) for i, face in enumerate(faces, 1)
    )
    workshop = Workshop("shop", replace(RATES, keep_mm=(300.0, 300.0)), (laser(),), offer=offers)
    return make_plan(Request(Job("Test"), panels, workshop, rack, effort=effort))


def used(plan: Plan) -> list[str]:
    return sorted(sheet.source.stock_id or sheet.source.offer or "" for sheet in plan.sheets)


def test_without_a_face_offcuts_of_any_lots_are_used():
    assert used(planned("..", SHEET, rack=(cut("A1", "red 7"), cut("A2", "red 8")))) == ["A1", "A2"]


def test_a_face_takes_two_offcuts_of_one_lot_and_says_so():
    plan = planned("ff", SHEET, rack=(cut("A1", "7"), cut("A2", "8"), cut("A3", "7", "5.00")))
    assert used(plan) == ["A1", "A3"]
    assert [sheet.lot for sheet in plan.sheets] == ["7", "7"]


def test_a_face_is_bought_whole_where_the_rack_has_too_little_of_any_lot():
    assert used(planned("ff", SHEET, rack=(cut("A1", "7"), cut("A2", "8")))) == ["sheet", "sheet"]


def test_an_unknown_lot_is_one_by_itself():
    assert used(planned("ff", SHEET, rack=(cut("A1", ""), cut("A2", "")))) == ["sheet", "sheet"]


def test_pieces_of_no_face_still_use_the_rack():
    assert used(planned("ff.", SHEET, rack=(cut("A1", "7"), cut("A2", "8")))) in (
        ["A1", "sheet", "sheet"],
        ["A2", "sheet", "sheet"],
    )


def test_two_faces_may_come_from_two_lots():
    rack = tuple(cut(f"A{n}", lot) for n, lot in enumerate("7788", 1))
    plan = planned("ffgg", SHEET, rack=rack)
    assert used(plan) == ["A1", "A2", "A3", "A4"]
    lots = {
        face: {s.lot for s in plan.sheets for p in s.placements if plan.piece(p.piece).one_lot == face} for face in "fg"
    }
    assert all(len(found) == 1 for found in lots.values())


def test_demands_that_no_lot_meets_name_the_face_its_piece_and_the_sheet_that_would_do():
    with pytest.raises(StockFault, match="no lot of acrylic opal 5 mm holds all 2 pieces of `f`") as caught:
        planned("ff", rack=(cut("A1", "7"), cut("A2", "8")))
    assert "the largest is panel (lots: lot 7, lot 8)" in caught.value.what
    assert "at least 510 x 360 mm" in caught.value.mend


def test_two_faces_that_want_the_same_lot_are_refused():
    with pytest.raises(StockFault, match="which must come from one"):
        planned("ffgg", rack=(cut("A1", "7"), cut("A2", "7"), cut("A3", "8"), cut("A4", "9")))


def test_too_little_stock_is_told_as_such_whatever_the_lots():
    with pytest.raises(StockFault, match="too little acrylic opal 5 mm for all 2 pieces"):
        planned("ff", rack=(cut("A1", "7"),))


def test_the_next_best_of_a_face_may_be_another_lot():
    plan = planned("ff", SHEET, rack=(cut("A1", "7"), cut("A2", "7")))
    for sheet in plan.sheets:
        assert sheet.next_best is not None
        assert [source.offer for source in sheet.next_best.instead] == ["sheet", "sheet"]
        assert sheet.next_best.extra == Decimal("32.00")


def test_each_of_four_faces_gets_a_lot_of_its_own_where_no_lot_has_more():
    rack = tuple(cut(f"A{n}", f"{n}", f"{n}.00") for n in range(1, 5))
    assert used(planned("fghi", rack=rack, effort=1)) == ["A1", "A2", "A3", "A4"]


def test_the_faces_lots_are_the_cheapest_of_all_ways():
    """Two lots of two for each face: 8 and 12 for lots 7 and 8, where a face and a panel of none share the rack."""
    rack = (cut("A1", "7"), cut("A2", "7"), cut("A3", "8", "3.00"), cut("A4", "8", "9.00"))
    assert used(planned("ff", rack=rack)) == ["A1", "A2"]
    assert used(planned("ff.", rack=rack)) == ["A1", "A2", "A3"], "11.00, where lot 8 and one of lot 7 are 16.00"
