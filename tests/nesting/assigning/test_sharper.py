"""The bound by the most that sheets hold: it comes to what the cheapest plan costs, and to no more."""

from __future__ import annotations

from decimal import Decimal

import pytest

from nesting.model import Job, Offer, Rates, Turn, Workshop
from nesting.plan import Request, make_plan
from tests.shop import laser, piece, rectangle


def planned(sides, sheets):
    """Pieces that do not turn, on sheets of these prices; no gap, margin, minutes or credit."""
    pieces = [
        piece(rectangle(w, d), id=f"{k}-{n}", name=str(k), copy=n, turn=Turn.NONE)
        for k, (w, d, copies) in enumerate(sides)
        for n in range(1, copies + 1)
    ]
    machine = laser((700.0, 700.0), (700.0, 700.0), margin_mm=0.0, gap_mm=0.0, setup_min=0.0)
    offers = tuple(Offer(str(k), "acrylic", "opal", 5.0, w, d, Decimal(cost)) for k, (w, d, cost) in enumerate(sheets))
    rates = Rates("EUR", Decimal(0), Decimal(0), leftover_credit=0.0)
    return make_plan(
        Request(Job("panels"), tuple(pieces), Workshop("shop", rates, (machine,), (), offers), (), effort=1)
    )


@pytest.mark.parametrize(
    ("sides", "sheets", "least"),
    [
        # Derived: a sheet of 7 x 7 (tens of mm) holds one 5 x 4 and one 4 x 5 only if these lie apart, 5 + 4 > 7 along
        # either axis: each has a sheet to itself, though two have 40 of its 49.
        ([(500, 400, 2), (400, 500, 2)], [(700, 700, 10)], 40),
        # Derived: four of 5 x 2 and 2 x 5 go round a middle of 3 x 3 in 7 x 7, 49 of 49; with 4 x 3 in the middle they
        # do not, and it takes the small sheet.
        ([(500, 200, 2), (200, 500, 2), (300, 300, 1)], [(700, 700, 10)], 10),
        ([(500, 200, 2), (200, 500, 2), (400, 300, 1)], [(700, 700, 10), (400, 300, 3)], 13),
        # Derived: 3 x 6 lies alone on 7 x 7, beside or above nothing else; no two of 5 x 4 share a sheet, and each has
        # room for one 5 x 2 above it on 7 x 7, for none on 5 x 5: 10, 10, 10 and 8. Without (B9) the bound is 36.
        ([(500, 200, 2), (300, 600, 1), (500, 400, 3)], [(700, 700, 10), (500, 500, 8)], 38),
    ],
)
def test_the_bound_is_what_the_cheapest_plan_costs(sides, sheets, least):
    plan = planned(sides, sheets)
    assert plan.cost.total == plan.cost.bound == least
