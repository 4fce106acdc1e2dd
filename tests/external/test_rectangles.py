"""Rectangles whose least number of sheets is plain arithmetic: a sheet holds so many across and so many along.

The counts follow from dividing the sheet's inside by the piece and its gap (common practice, no source).
"""

from decimal import Decimal

import pytest

from nesting.model import Job, Offer, Workshop
from nesting.plan import Request, make_plan
from tests.shop import RATES, laser, piece, rectangle


@pytest.mark.parametrize(
    ("width", "depth", "copies", "sheets"), [(290.0, 190.0, 9, 3), (590.0, 390.0, 2, 2), (290.0, 390.0, 4, 2)]
)
def test_rectangles_take_as_many_sheets_as_arithmetic_says(
    width: float, depth: float, copies: int, sheets: int
) -> None:
    pieces = tuple(piece(rectangle(width, depth), id=f"panel-{n}", copy=n) for n in range(1, copies + 1))
    offer = Offer("half", "acrylic", "opal", 5.0, 600.0, 400.0, Decimal("20.00"))
    plan = make_plan(Request(Job("panels"), pieces, Workshop("shop", RATES, (laser(),), offer=(offer,)), (), effort=1))
    assert len(plan.sheets) == sheets
    assert plan.cost.bound <= plan.cost.total
