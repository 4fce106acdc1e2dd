"""The ways to get the sheets: which are tried, in what order they come, and what is said of them."""

from dataclasses import replace
from decimal import Decimal

import pytest

from nesting.buying import ANY, Comparison, compared, reason, terms, waste_percent, ways
from nesting.faults import StockFault
from nesting.model import CutToSize, Job, Offcut, Offer, Workshop
from nesting.plan import Request
from tests.shop import RATES, laser, piece, rectangle

SMALL = Offer("small", "acrylic", "opal", 5.0, 600, 400, Decimal("20.00"))
MIDDLE = Offer("middle", "acrylic", "opal", 5.0, 800, 600, Decimal("45.00"))
LARGE = Offer("large", "acrylic", "opal", 5.0, 1200, 800, Decimal("85.00"))
ELSE = Offer("else", "acrylic", "red", 5.0, 600, 400, Decimal("20.00"))
CORNERS = ((0.0, 0.0), (600.0, 0.0), (600.0, 400.0), (0.0, 400.0))
CUT = Offcut("A1", "acrylic", "opal", 5.0, CORNERS, book_value=Decimal("4.00"))


def request(count: int, *offers: Offer, rack: tuple[Offcut, ...] = (), **more: object) -> Request:
    """Panels, of which a small sheet holds one."""
    size = more.pop("size", (500, 350))
    panels = tuple(piece(rectangle(*size), id=f"panel-{i + 1}", copy=i + 1, **more) for i in range(count))
    workshop = Workshop("shop", replace(RATES, keep_mm=(300.0, 300.0)), (laser(),), offer=offers)
    return Request(Job("Test"), panels, workshop, rack, effort=1)


def names(found: Comparison) -> list[str]:
    return [one.name for one in found.tried]


def test_every_sensible_way_is_there_once():
    found = {
        way.name: [offer.id for offer in way.offers] for way in ways(request(1, SMALL, MIDDLE, LARGE, rack=(CUT,)))
    }
    assert found == {
        ANY: ["small", "middle", "large"],
        "rack alone": [],
        "rack and the largest new sheets": ["large"],
        "rack and the smallest new sheets": ["small"],
        "new sheets alone": ["small", "middle", "large"],
    }


def test_ways_that_come_to_the_same_are_planned_once():
    assert [way.name for way in ways(request(1, SMALL))] == [ANY]
    assert [way.name for way in ways(request(1, SMALL, ELSE))] == [ANY], "red is not asked for"
    assert [way.name for way in ways(request(1, SMALL, replace(LARGE, in_stock=0)))] == [ANY], "out of stock"


def test_panels_cut_to_size_are_a_way_where_a_supplier_cuts():
    cutting = replace(LARGE, cut=CutToSize(Decimal("90.00")))
    found = {way.name: way.offers for way in ways(request(1, SMALL, cutting))}
    assert found["panels cut to size"] == (replace(cutting, whole=False),)
    assert found["the largest new sheets"] == (LARGE,), "whole ones"
    made = next(one.plan for one in compared(request(1, SMALL, cutting)).tried if one.name == "panels cut to size")
    assert made is not None and [sorted(sheet.source.cut_mm) for sheet in made.sheets] == [[361.0, 511.0]]


def test_the_smallest_sheet_is_one_that_takes_what_must_stay_whole():
    found = {way.name: way.offers for way in ways(request(1, SMALL, MIDDLE, LARGE, size=(580, 450)))}
    assert found["the smallest new sheets"] == (MIDDLE,)


def test_a_piece_that_is_only_better_left_whole_may_be_split_on_the_smallest():
    found = {way.name: way.offers for way in ways(request(1, SMALL, LARGE, size=(580, 450), one_piece="prefer"))}
    assert found["the smallest new sheets"] == (SMALL,)


def test_the_cheapest_comes_first_and_what_cannot_be_last():
    found = compared(request(2, SMALL, LARGE, rack=(CUT,)))
    totals = [one.plan.cost.total for one in found.tried if one.plan]
    assert totals == sorted(totals)
    assert names(found)[0] == ANY
    assert names(found)[-1] == "rack alone"
    assert found.tried[-1].plan is None
    assert "too little acrylic opal 5 mm for all 2 pieces" in found.tried[-1].refusal


def test_the_rack_alone_where_it_is_enough():
    found = compared(request(1, SMALL, rack=(CUT,)))
    alone = next(one.plan for one in found.tried if one.name == "rack alone")
    assert alone is not None and [sheet.source.stock_id for sheet in alone.sheets] == ["A1"]
    assert alone.cost.total == found.tried[0].plan.cost.total


def test_a_restricted_plan_that_costs_less_is_the_unrestricted_one_too(monkeypatch):
    """Whatever the search finds: with everything allowed nothing can be dearer."""
    from nesting import buying

    real = buying.make_plan

    def hurried(asked, watch, stop):
        made = real(asked, watch, stop)
        dearer = 100 if len(asked.workshop.offer) > 1 else 0
        return replace(made, cost=replace(made.cost, total=made.cost.total + dearer))

    monkeypatch.setattr(buying, "make_plan", hurried)
    found = compared(request(2, SMALL, LARGE))
    assert names(found)[0] == ANY
    assert found.tried[0].plan == found.tried[1].plan


def test_a_stop_hands_out_the_ways_planned_so_far():
    stop: list[bool] = []

    def watch(progress):
        if progress.step.startswith("way 2 of 5"):
            stop.append(True)

    found = compared(request(1, SMALL, LARGE, rack=(CUT,)), watch, stop)
    assert len(found.tried) == 2
    assert found.stopped and len(found.not_reached) == 3


def test_a_job_that_no_way_serves_is_refused():
    with pytest.raises(StockFault, match="lies on no sheet"):
        compared(request(1, SMALL, size=(580, 450)))


def test_terms_add_up_and_reasons_say_the_difference_in_money():
    found = compared(request(2, SMALL, LARGE))
    best, other = (one.plan for one in found.tried if one.plan and one.name != ANY)
    for plan in (best, other):
        assert sum(terms(plan).values()) == plan.cost.total
        assert 0 <= waste_percent(plan) < 100
    assert reason(best, best, other).startswith(
        f"the cheapest, {other.cost.total - best.cost.total:.2f} EUR below the next"
    )
    words = reason(other, best, other)
    assert words.startswith(f"{other.cost.total - best.cost.total:.2f} EUR dearer than the cheapest: ")
    assert f"new sheets {terms(other)['new sheets'] - terms(best)['new sheets']:.2f} more" in words


def test_waste_is_what_is_neither_piece_nor_kept():
    """A panel of 500 x 350 on 600 x 400, nothing kept: 65,000 of 240,000 mm2 are lost."""
    (only,) = compared(request(1, SMALL)).tried
    assert only.plan is not None
    assert waste_percent(only.plan) == pytest.approx(100 * 65 / 240)
