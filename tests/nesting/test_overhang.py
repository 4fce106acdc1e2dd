"""Overhang: sheets that sag or would tip are told, with what to do. The formula: `tests/external`."""

from decimal import Decimal

from nesting.model import Job, Material, Offer, Workshop
from nesting.plan import Request, make_plan
from tests.shop import RATES, disc, laser, piece, rectangle


def warnings(depth, outline, limit, modulus=3.2, **machine):
    offer = Offer("sheet", "acrylic", "opal", 5.0, 600.0, depth, Decimal(40))
    material = Material("acrylic", 1190, modulus_gpa=modulus)
    shop = Workshop("shop", RATES, (laser(max_sag_mm=limit, **machine),), (material,), (offer,))
    plan = make_plan(Request(Job("job"), (piece(outline),), shop, (), effort=1))
    return [warning for warning in plan.warnings if "support the sheet" in warning]


def test_support_is_asked_for_beyond_the_limit_and_not_before():
    """200 mm hang out at the front in both passes: 0.35 mm at 5 mm thick."""
    told = warnings(600.0, disc(585), 0.3)
    (words,) = told
    assert "passes 1 and 2: 200 mm hang out of the machine and sag by 0.4 mm (limit 0.3 mm)" in words
    assert warnings(600.0, disc(585), 0.4) == []
    assert warnings(600.0, disc(585), None) == []
    assert warnings(600.0, disc(585), 0.3, modulus=None) == []


def test_a_sheet_whose_balance_point_is_outside_would_tip():
    """1100 mm through an open machine of 400: at its first and last window most of it is outside."""
    told = warnings(1100.0, rectangle(580, 1080), None, open_back=True)
    assert told
    assert all("its balance point lies 150 mm outside the edge of the table, it tips" in words for words in told)


def test_twice_the_travel_is_just_at_balance_and_needs_support():
    assert len(warnings(800.0, rectangle(590, 790), None)) == 1


def test_what_sags_and_tips_is_told_once_for_both_passes():
    (words,) = warnings(800.0, rectangle(590, 790), 0.4)
    assert words.startswith("sheet S01, blank b1, passes 1 and 2: 400 mm hang out")
    assert words.count("support the sheet outside") == 1 and "it tips" in words


def test_a_sheet_within_the_table_needs_none():
    assert warnings(780.0, rectangle(590, 770), None) == []
