"""Limits: what all passes together can cut in one piece, judged by its contours, and the millimetres lacking."""

from decimal import Decimal

import pytest

from nesting.faults import ReachFault
from nesting.model import Job, Offer, Workshop
from nesting.passes.limits import lacking_mm, refuse_beyond_reach
from nesting.plan import Request, make_plan
from tests.nesting.test_wide_blanks import failed
from tests.shop import RATES, disc, laser, piece, rectangle


def square_bed(**more):
    """600 x 600 and a table 10 mm wider: nothing can be slid aside."""
    return laser(travel=(600.0, 600.0), table=(610.0, 600.0), margin_mm=0.0, **more)


@pytest.mark.parametrize("sheet", [(610.0, 610.0), (1000.0, 700.0)])
def test_a_disc_is_judged_by_its_contour_not_by_the_square_round_it(sheet, tmp_path):
    """609 mm on a table of 610: the passes leave the corners of the blank, where the disc has nothing."""
    machine = square_bed()
    assert lacking_mm(machine, 609, 609) > 0, "a square of that size is out of reach"
    assert lacking_mm(machine, 609, 609, [disc(609)]) == 0
    offer = Offer("sheet", "acrylic", "opal", 5.0, *sheet, Decimal(40))
    shop = Workshop("workshop", RATES, (machine,), (), (offer,))
    plan = make_plan(Request(Job("job"), (piece(disc(609)),), shop, (), effort=1))
    assert "quarter" in [run.turn_before for run in plan.sheets[0].passes]
    assert failed(plan, tmp_path) == []


def test_a_disc_too_large_is_told_by_how_much():
    with pytest.raises(ReachFault, match=r"2\.0 mm short of it; its blank is 2\.0 mm too wide for the table of 610 mm"):
        refuse_beyond_reach(piece(disc(612)), square_bed())


@pytest.mark.parametrize(("size", "lacking"), [((600, 800), 0), ((601, 800), 1), ((600, 801), 1)])
def test_600_x_800_just_goes_and_a_millimetre_more_is_named(size, lacking):
    machine = laser(table=(600.0, 400.0), margin_mm=0.0)
    one = piece(rectangle(*size))
    if not lacking:
        refuse_beyond_reach(one, machine)
        return
    with pytest.raises(ReachFault, match=r"1\.0 mm short of it"):
        refuse_beyond_reach(one, machine)


def test_a_sheet_that_would_strike_the_back_wall_is_refused_with_the_millimetres():
    closed = laser(table=(620.0, 430.0), open_front=False, margin_mm=0.0)
    refuse_beyond_reach(piece(rectangle(500, 430)), closed)
    with pytest.raises(ReachFault, match=r"70\.0 mm too deep: it would strike the back wall 430 mm behind the front"):
        refuse_beyond_reach(piece(rectangle(560, 500)), closed)
    with pytest.raises(ReachFault, match=r"5\.0 mm too wide for the table of 620 mm and 20\.0 mm too deep"):
        refuse_beyond_reach(piece(rectangle(625, 450)), closed)
