"""Panels that the supplier cuts to size: their size, their price, and where a whole sheet or an offcut is cheaper."""

from dataclasses import replace
from decimal import Decimal

import pytest

from nesting.faults import StockFault
from nesting.model import CutToSize, Job, Offcut, Offer, Plan, Workshop
from nesting.plan import Request, make_plan
from tests.shop import RATES, disc, laser, piece, rectangle

CUT = CutToSize(Decimal("100.00"), Decimal("2.00"), tolerance_mm=1.0)
"""A square metre for 100.00, each panel 2.00 more."""
SHEET = Offer("sheet", "acrylic", "opal", 5.0, 1200, 800, Decimal("60.00"), cut=CUT)


PANEL = rectangle(300, 200)


def planned(count: int, *offers: Offer, rack: tuple[Offcut, ...] = (), outline=PANEL, **machine) -> Plan:
    panels = tuple(piece(outline, id=f"panel-{i + 1}", copy=i + 1, one_piece=True) for i in range(count))
    workshop = Workshop("shop", replace(RATES, keep_mm=(300.0, 300.0)), (laser(**machine),), offer=offers)
    return make_plan(Request(Job("Test"), panels, workshop, rack, effort=2))


def only(plan: Plan):
    (sheet,) = plan.sheets
    return sheet


def test_a_panel_is_ordered_for_the_piece_its_margins_and_the_tolerance():
    """300 x 200 with 5 mm all round, and 1 mm over: 311 x 211 mm, 0.065621 m2 at 100.00, and 2.00 for cutting."""
    sheet = only(planned(1, SHEET))
    assert sorted(sheet.source.cut_mm) == [211.0, 311.0]
    xs, ys = zip(*sheet.outline_mm, strict=True)
    assert sorted((max(xs), max(ys))) == [210.0, 310.0]
    assert sheet.price == Decimal("8.56")
    assert not sheet.trims and len(sheet.passes) == 1


def test_the_bound_holds_and_is_not_far_for_one_piece():
    cost = planned(1, SHEET).cost
    assert cost.bound <= cost.total
    assert cost.gap_percent < 40


def test_no_smaller_than_the_supplier_cuts():
    small = replace(SHEET, cut=replace(CUT, smallest_mm=(400.0, 250.0)))
    sheet = only(planned(1, small))
    assert sheet.source.cut_mm == (401.0, 251.0)


def test_a_whole_sheet_where_it_is_cheaper_and_a_panel_where_that_is():
    assert {s.source.cut_mm is None for s in planned(1, replace(SHEET, price=Decimal("4.00"))).sheets} == {True}
    assert {s.source.cut_mm is None for s in planned(1, replace(SHEET, price=Decimal("90.00"))).sheets} == {False}


def test_an_offcut_is_weighed_against_a_panel():
    corners = ((0.0, 0.0), (310.0, 0.0), (310.0, 210.0), (0.0, 210.0))
    offcut = Offcut("A1", "acrylic", "opal", 5.0, corners, book_value=Decimal("1.00"))
    sheet = only(planned(1, SHEET, rack=(offcut,)))
    assert sheet.source.stock_id == "A1"
    assert sheet.next_best is not None and sheet.next_best.extra == Decimal("7.56")
    assert "saves buying panel" in sheet.why


def test_several_panels_where_one_does_not_lie_in_the_machine():
    plan = planned(6, replace(SHEET, whole=False), outline=rectangle(500, 350))
    assert sum(len(sheet.placements) for sheet in plan.sheets) == 6
    assert all(sheet.source.cut_mm is not None for sheet in plan.sheets)
    assert plan.cost.bound <= plan.cost.total


def test_a_disc_beyond_the_bed_on_a_panel_of_its_own_size():
    sheet = only(planned(1, replace(SHEET, whole=False), outline=disc(585)))
    assert max(sheet.source.cut_mm) < 650
    assert [run.turn_before for run in sheet.passes] == ["none", "half"]


def test_sold_only_cut_to_size():
    plan = planned(2, replace(SHEET, whole=False, price=Decimal("0.01")))
    assert all(sheet.source.cut_mm is not None for sheet in plan.sheets)


def test_out_of_stock_means_panels_too():
    with pytest.raises(StockFault, match="out of stock"):
        planned(1, replace(SHEET, in_stock=0))


@pytest.mark.parametrize(
    "terms",
    [{"price_per_m2": Decimal(-1)}, {"fee": Decimal("1e9")}, {"smallest_mm": (0.0, 5.0)}, {"tolerance_mm": -1.0}],
)
def test_terms_that_make_no_sense_are_refused(terms):
    with pytest.raises(ValueError, match="must be"):
        replace(CUT, **terms)


def test_an_offer_that_sells_nothing_is_refused():
    with pytest.raises(ValueError, match="sells nothing"):
        replace(SHEET, cut=None, whole=False)


def test_the_suppliers_sheets_limit_panels_too():
    """Of 1200 x 800 four panels of 511 x 361 mm come side by side, and no fifth."""
    panels = replace(SHEET, in_stock=1, whole=False)
    large = rectangle(500, 350)
    assert len(planned(4, panels, outline=large, open_front=False).sheets) == 4
    with pytest.raises(StockFault, match="too little"):
        planned(5, panels, outline=large, open_front=False)
    dear = replace(SHEET, id="dear", cut=None, length_mm=600, width_mm=400, price=Decimal("99.00"))
    assert [s.source.offer for s in planned(5, panels, dear, outline=large, open_front=False).sheets].count("dear") == 1
