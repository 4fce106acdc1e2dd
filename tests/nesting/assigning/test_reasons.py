"""Why each sheet is used and what the next best choice costs, on jobs where a person can say it too."""

from dataclasses import replace
from decimal import Decimal

from nesting.model import Offcut, Plan, Source
from tests.nesting.assigning.test_orders import SHEET, planned

CORNERS = ((0.0, 0.0), (600.0, 0.0), (600.0, 400.0), (0.0, 400.0))
CUT = Offcut("A1", "acrylic", "opal", 5.0, CORNERS, book_value=Decimal("4.00"))


def only(plan: Plan):
    (sheet,) = plan.sheets
    return sheet


def test_an_offcut_saves_buying_a_sheet_of_the_same_size():
    """16.00 dearer to buy, and the strip left beside the panel is too narrow to be kept of either."""
    sheet = only(planned(1, SHEET, rack=(CUT,)))
    assert sheet.source.stock_id == "A1"
    assert sheet.next_best is not None
    assert sheet.next_best.instead == (Source(offer="sheet"),)
    assert sheet.next_best.extra == Decimal("16.00")
    assert "saves buying new sheet sheet at 20.00" in sheet.why
    assert "16.00 EUR more" in sheet.why


def test_a_new_sheet_where_the_rack_has_none():
    sheet = only(planned(1, SHEET, replace(SHEET, id="dear", price=Decimal("23.50"))))
    assert sheet.next_best is not None
    assert (sheet.next_best.instead, sheet.next_best.extra) == ((Source(offer="dear"),), Decimal("3.50"))
    assert "the rack has no acrylic opal 5 mm" in sheet.why


def test_a_sheet_that_nothing_can_replace_says_so():
    sheet = only(planned(1, SHEET))
    assert sheet.next_best is None
    assert sheet.why.endswith("; nothing else of acrylic opal 5 mm is on the rack or on offer")


def test_a_piece_that_only_one_sheet_takes_is_named():
    small = replace(SHEET, id="small", length_mm=300, width_mm=200, price=Decimal("6.00"))
    assert only(planned(1, SHEET, small)).why.endswith("; nothing else was found to take panel")


def test_a_sheet_beyond_need_says_that_the_order_is_so_large():
    *_, over = planned(1, replace(SHEET, min_order=2)).sheets
    assert not over.placements
    assert "the order is of 2 sheets or more" in over.why


def test_the_next_best_is_what_the_plan_costs_without_the_sheet():
    """The same job without the offcut, planned on its own, costs just so much more."""
    with_it, without = planned(1, SHEET, rack=(CUT,)), planned(1, SHEET)
    best = only(with_it).next_best
    assert best is not None and with_it.cost.total + best.extra == without.cost.total
