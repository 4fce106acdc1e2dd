"""What suppliers' terms do to a plan: smallest orders, price breaks, stock that runs out; sums known by hand."""

from dataclasses import replace
from decimal import Decimal

import pytest

from nesting.faults import StockFault
from nesting.model import Job, Offcut, Offer, Plan, PriceBreak, Workshop
from nesting.plan import Request, make_plan
from tests.shop import RATES, laser, piece, rectangle

SHEET = Offer("sheet", "acrylic", "opal", 5.0, 600, 400, Decimal("20.00"))


def planned(count: int, *offers: Offer, rack: tuple[Offcut, ...] = (), size: tuple[float, float] = (500, 350)) -> Plan:
    """Panels, of which a sheet of 600 x 400 holds one unless they are told to be smaller."""
    panels = tuple(piece(rectangle(*size), id=f"panel-{i + 1}", copy=i + 1) for i in range(count))
    workshop = Workshop("shop", replace(RATES, keep_mm=(300.0, 300.0)), (laser(),), offer=offers)
    return make_plan(Request(Job("Test"), panels, workshop, rack, effort=2))


def bought(plan: Plan) -> list[tuple[str, Decimal, int]]:
    return [(s.source.offer or s.source.stock_id or "", s.price, len(s.placements)) for s in plan.sheets]


def test_without_terms_an_offer_is_bought_as_often_as_needed():
    assert bought(planned(2, SHEET)) == [("sheet", Decimal("20.00"), 1)] * 2


def test_a_smallest_order_is_bought_whole_and_what_is_over_goes_on_the_rack_as_it_comes():
    plan = planned(1, replace(SHEET, min_order=3))
    assert bought(plan) == [("sheet", Decimal("20.00"), 1), *[("sheet", Decimal("20.00"), 0)] * 2]
    for over in plan.sheets[1:]:
        assert not over.passes and not over.trims
        (left,) = over.leftovers
        assert left.keep and left.outline_mm == over.outline_mm
        assert left.credit == Decimal("10.00"), "half of what a whole sheet costs"
    stock = [line.amount for line in plan.cost.lines if line.what.endswith(": stock")]
    assert sum(stock) == Decimal("60.00")
    assert plan.cost.bound <= plan.cost.total == sum(line.amount for line in plan.cost.lines)


def test_a_dearer_sheet_sold_singly_beats_a_large_smallest_order():
    single = replace(SHEET, id="single", price=Decimal("29.00"))
    assert bought(planned(1, replace(SHEET, min_order=3), single)) == [("single", Decimal("29.00"), 1)]
    assert {name for name, _, _ in bought(planned(3, replace(SHEET, min_order=3), single))} == {"sheet"}


def test_from_so_many_sheets_all_of_them_cost_less():
    offer = replace(SHEET, breaks=(PriceBreak(3, Decimal("17.00")),))
    assert bought(planned(2, offer)) == [("sheet", Decimal("20.00"), 1)] * 2
    plan = planned(3, offer)
    assert bought(plan) == [("sheet", Decimal("17.00"), 1)] * 3
    assert plan.cost.bound <= plan.cost.total


def test_one_sheet_more_is_bought_where_the_price_break_pays_for_it():
    """Two at 20.00, or three at 12.00 of which one goes on the rack for half its price: 40.00 against 30.00."""
    plan = planned(2, replace(SHEET, breaks=(PriceBreak(3, Decimal("12.00")),)))
    assert bought(plan) == [("sheet", Decimal("12.00"), 1)] * 2 + [("sheet", Decimal("12.00"), 0)]


def test_no_more_is_bought_than_the_supplier_has():
    dear = replace(SHEET, id="dear", price=Decimal("33.00"))
    names = [name for name, _, _ in bought(planned(3, replace(SHEET, in_stock=2), dear))]
    assert sorted(names) == ["dear", "sheet", "sheet"]


def test_a_price_break_beyond_the_suppliers_stock_is_never_reached():
    offer = replace(SHEET, in_stock=2, breaks=(PriceBreak(3, Decimal("1.00")),))
    assert bought(planned(2, offer)) == [("sheet", Decimal("20.00"), 1)] * 2


def test_too_few_at_the_supplier_is_told():
    with pytest.raises(StockFault, match="too little acrylic opal 5 mm for all 3 pieces") as caught:
        planned(3, replace(SHEET, in_stock=2))
    assert "the largest is panel, of 510 x 360 mm" in caught.value.what
    assert "at least 510 x 360 mm" in caught.value.mend


def test_a_sheet_that_would_do_is_told_in_whole_millimetres_upwards():
    with pytest.raises(StockFault, match="601 x 400 mm"):
        planned(1, SHEET, size=(590.2, 390))


def test_an_offer_out_of_stock_is_refused_with_the_piece_and_the_sheet_that_would_do():
    with pytest.raises(StockFault, match="panel needs acrylic opal 5 mm") as caught:
        planned(1, replace(SHEET, in_stock=0))
    assert "offer sheet is out of stock" in caught.value.what
    assert "at least 510 x 360 mm" in caught.value.mend


def test_a_smallest_order_above_the_suppliers_stock_is_refused():
    with pytest.raises(StockFault, match=r"there are only 2 \(in_stock\), the smallest order is 3"):
        planned(1, replace(SHEET, in_stock=2, min_order=3))


def test_an_offer_out_of_stock_beside_others_is_left_out_and_told():
    plan = planned(1, replace(SHEET, in_stock=0), replace(SHEET, id="dear", price=Decimal("33.00")))
    assert bought(plan) == [("dear", Decimal("33.00"), 1)]
    assert "offer sheet is out of stock (in_stock = 0)" in plan.warnings


@pytest.mark.parametrize(
    ("terms", "said"),
    [
        ({"min_order": 0}, "`min_order`"),
        ({"in_stock": -1}, "`in_stock`"),
        ({"price": Decimal(-1)}, "a price"),
        ({"breaks": (PriceBreak(1, Decimal(9)),)}, "go up in `sheets`"),
        ({"breaks": (PriceBreak(5, Decimal(9)), PriceBreak(5, Decimal(8)))}, "go up in `sheets`"),
        ({"breaks": (PriceBreak(5, Decimal(25)),)}, "go down in `price`"),
    ],
)
def test_terms_that_make_no_sense_are_refused(terms, said):
    with pytest.raises(ValueError, match=said):
        replace(SHEET, **terms)
