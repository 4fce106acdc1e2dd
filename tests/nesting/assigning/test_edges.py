"""A factory edge that is relied on is offered an edge trim, unless the offer says that it is square."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from nesting.model import Job, Offer, Plan, Rates, Workshop
from nesting.plan import Request, make_plan
from tests.shop import RATES, laser, piece, rectangle

OFFER = Offer("half", "acrylic", "opal", 5.0, 600.0, 400.0, Decimal("20.00"))


def planned(offer: Offer, margin_mm: float, rates: Rates = RATES) -> Plan:
    workshop = Workshop("shop", rates, (laser(margin_mm=margin_mm),), offer=(offer,))
    return make_plan(Request(Job("panel"), (piece(rectangle(590.0, 390.0)),), workshop, (), effort=1))


def told(plan: Plan) -> list[str]:
    return [warning for warning in plan.warnings if "edge trim" in warning]


def test_a_panel_at_the_sheets_own_edge_is_offered_an_edge_trim() -> None:
    (words,) = told(planned(OFFER, 0.0))
    assert "an edge trim of 5 mm" in words and "panel-1" in words and "offer half" in words


def test_none_is_offered_where_no_edge_is_relied_on_or_the_offer_says_square() -> None:
    assert told(planned(OFFER, 5.0)) == []
    assert told(planned(replace(OFFER, square=True), 0.0)) == []
    assert told(planned(OFFER, 0.0, replace(RATES, edge_trim_mm=0.0))) == []
