"""One piece or several: planned both ways, and the cheaper way taken."""

from decimal import Decimal

import pytest

from nesting.faults import Fault
from nesting.model import Offer
from nesting.preferring import either_way_words
from tests.nesting.test_plan import LARGE, SMALL, planned
from tests.shop import disc, piece, rectangle


def test_a_rail_too_long_for_passes_is_split_and_says_why_not_whole():
    plan = planned([piece(rectangle(1500, 90), name="rail", one_piece="prefer")])
    (either,) = plan.either_way
    assert not either.one_piece and either.other_cost is None
    assert either.cost == plan.cost.total
    told = either_way_words(either, "EUR")
    assert "cannot be in one piece" in told and "must" not in told
    assert len(plan.splits) == 1


def test_both_ways_are_planned_and_the_cheaper_one_is_taken():
    """A disc of 585: whole it takes the large sheet, two passes and joins; split two small sheets and joints."""
    costs = {}
    for way in (True, False, "prefer"):
        costs[way] = planned([piece(disc(585), name="disc", one_piece=way)])
    (either,) = costs["prefer"].either_way
    assert costs["prefer"].cost.total == min(costs[True].cost.total, costs[False].cost.total) == either.cost
    assert either.other_cost == max(costs[True].cost.total, costs[False].cost.total)
    assert either.one_piece == (costs[True].cost.total <= costs[False].cost.total)


def test_dear_large_sheets_turn_the_choice():
    dear = Offer("large", "acrylic", "opal", 5.0, 1000, 600, Decimal("600.00"))
    plan = planned([piece(disc(585), name="disc", one_piece="prefer")], offers=(SMALL, dear))
    assert not plan.either_way[0].one_piece
    assert plan.either_way[0].other_cost is not None and plan.either_way[0].other_cost > 400


def test_no_way_at_all_is_a_fault():
    with pytest.raises(Fault):
        planned(
            [
                piece(
                    rectangle(1500, 90),
                    name="rail",
                    one_piece="prefer",
                    fixings=tuple((x, 45.0) for x in range(0, 1501, 15)),
                )
            ]
        )


def test_without_a_preference_nothing_is_told():
    assert planned([piece(rectangle(300, 90))], offers=(SMALL, LARGE)).either_way == ()
