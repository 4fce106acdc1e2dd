"""The bound is never above what a plan costs, and meets it where arithmetic leaves no choice."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nesting.assigning.bound import lower_bound
from nesting.assigning.columns import Shop, kinds_of
from nesting.assigning.stock import candidates
from nesting.layout.scales import fitted_shares, strongest_shares
from nesting.model import Job, Machine, Offcut, Offer, Piece, PriceBreak, Rates, Turn, Workshop
from nesting.plan import Request, make_plan
from tests.shop import RATES, disc, laser, piece, rectangle

STOCK = ("acrylic", "opal", 5.0)


def bound_of(pieces: list[Piece], offers: list[Offer], machine: Machine, rates: Rates = RATES) -> Decimal:
    found = candidates(pieces[0].stock, (), offers)
    return lower_bound(found, kinds_of(pieces, machine), Shop(machine, rates, 1, 1000))


def copies(count: int, outline: object, **more: object) -> list[Piece]:
    return [piece(outline, id=f"p-{n}", copy=n, **more) for n in range(1, count + 1)]  # type: ignore[arg-type]


def request(seed: int) -> Request:
    """Panels and discs, some turned at will, on two offers and an L on the rack; machines open at the back or not."""
    dice = random.Random(seed)
    pieces = []
    for number in range(dice.randint(2, 9)):
        width, depth = dice.randint(40, 560), dice.randint(40, 380)
        outline = rectangle(width, depth) if dice.random() < 0.7 else disc(min(width, depth))
        turn = dice.choice(list(Turn))
        pieces.append(piece(outline, id=f"p{number}-1", name=f"p{number}", turn=turn))
    rack = (
        Offcut("R1", *STOCK, ((0, 0), (500, 0), (500, 200), (250, 200), (250, 390), (0, 390)), book_value=Decimal(3)),
    )
    offers = (Offer("a", *STOCK, 1220.0, 610.0, Decimal("33.50")), Offer("b", *STOCK, 600.0, 400.0, Decimal("14.00")))
    machine = laser(open_back=dice.random() < 0.5, gap_mm=dice.choice([0.0, 5.0]), margin_mm=dice.choice([0.0, 5.0]))
    return Request(Job("job"), tuple(pieces), Workshop("shop", RATES, (machine,), offer=offers), rack, effort=1)


@pytest.mark.parametrize("seed", range(10))
def test_no_plan_costs_less_than_its_bound(seed: int) -> None:
    cost = make_plan(request(seed)).cost
    assert cost.bound <= cost.total
    assert sum(each.cost for each in cost.by_stock) == cost.total
    assert sum(each.bound for each in cost.by_stock) == cost.bound
    assert all(each.bound <= each.cost for each in cost.by_stock)


def test_two_panels_that_cannot_share_a_sheet_need_two() -> None:
    """Squares on sheets of 600 x 400, two to a sheet by area: upright their sides do not fit, turned their discs."""
    offer = Offer("b", *STOCK, 600.0, 400.0, Decimal("14.00"))
    bare = Rates("EUR", Decimal(0), Decimal(0), leftover_credit=0.0)
    for side, turn in ((310.0, Turn.NONE), (330.0, Turn.ANY)):
        assert 2 * (side + 5) ** 2 < 595 * 395
        assert bound_of(copies(3, rectangle(side, side), turn=turn), [offer], laser(), bare) == Decimal("42.00")


def test_passes_are_counted_by_what_one_holds() -> None:
    """Panels that fill a 1220 x 610 sheet more than twice the travel: three passes, two of them turns or set-ups."""
    offer = Offer("a", *STOCK, 1220.0, 600.0, Decimal("33.50"))
    few, many = (bound_of(copies(n, rectangle(190.0, 190.0)), [offer], laser(open_back=True)) for n in (6, 13))
    credit = Decimal("33.50") * 7 * 190 * 190 / (1220 * 600) / 2
    turns = 2 * (Decimal("1.80") - Decimal("0.005"))
    assert many - few == pytest.approx(credit + turns, abs=Decimal("0.02"))


def test_a_sheet_that_does_not_lie_in_the_machine_is_trimmed_by_hand() -> None:
    lies, hangs = (Offer("o", *STOCK, 1200.0, width, Decimal("30.00")) for width in (620.0, 621.0))
    apart = bound_of(copies(1, rectangle(90.0, 90.0)), [hangs], laser()) - bound_of(
        copies(1, rectangle(90.0, 90.0)), [lies], laser()
    )
    assert apart == pytest.approx(Decimal("2.40"), abs=Decimal("0.02"))


def fits(sides: list[tuple[int, int]], room: tuple[int, int]) -> bool:
    """Whether rectangles fit upright, by trying all places at whole units, one after another."""

    def lay(rest: list[tuple[int, int]], taken: frozenset[tuple[int, int]]) -> bool:
        if not rest:
            return True
        (width, depth), *others = rest
        for x in range(room[0] - width + 1):
            for y in range(room[1] - depth + 1):
                cells = {(x + i, y + j) for i in range(width) for j in range(depth)}
                if not cells & taken and lay(others, taken | cells):
                    return True
        return False

    return lay(sorted(sides, key=lambda side: -side[0] * side[1]), frozenset())


@settings(max_examples=150)
@given(st.tuples(st.integers(2, 7), st.integers(2, 7)), st.data())
def test_what_fits_on_a_sheet_never_takes_more_than_one(room: tuple[int, int], data: st.DataObject) -> None:
    side = st.tuples(st.integers(1, room[0]), st.integers(1, room[1]))
    sides = data.draw(st.lists(side, min_size=1, max_size=4))
    if fits(sides, room):
        fitted = fitted_shares(sides, range(1, len(sides) + 1), room, [1] * len(sides))
        for row in (*strongest_shares(sides, [1] * len(sides), room, 50), fitted):
            assert math.fsum(row) <= 1.0 + 1e-9


def test_fitted_shares_see_that_two_wide_ones_leave_no_room_beside_them() -> None:
    """15 of 9 x 7 and 11 of 11 x 6 on 30 x 22: three rows a sheet, of three 9s, two 9s and an 11, or two 11s: a 9 takes
    a quarter of a row, an 11 half of one. By hand: (15/4 + 11/2) / 3 = 3.08, so that three sheets do not do."""
    shares = fitted_shares([(9, 7), (11, 6)], [15, 11], (30, 22), [15, 11])
    assert shares @ [15, 11] == pytest.approx((15 / 4 + 11 / 2) / 3)


def test_shares_of_rectangles_just_over_half_and_just_over_a_third() -> None:
    """Four of 6 x 6 need four sheets of 10 x 10; of 4 x 4 four share one, five do not."""
    assert strongest_shares([(6, 6)], [4], (10, 10), 1).sum() * 4 == pytest.approx(4.0)
    assert strongest_shares([(4, 4)], [5], (10, 10), 1).sum() * 5 == pytest.approx(1.25)


def test_a_smallest_order_and_price_breaks_count_in_the_bound() -> None:
    """One panel, of which a sheet costs 20.00: three must be bought, two go on the rack for half of it; or, where three
    cost 12.00 each, an order of three is the cheapest way to two."""
    offer = Offer("b", *STOCK, 600.0, 400.0, Decimal("20.00"))
    one, of_three = (
        bound_of(copies(1, rectangle(500.0, 350.0)), [o], laser()) for o in (offer, replace(offer, min_order=3))
    )
    assert of_three - one == pytest.approx(Decimal("20.00"), abs=Decimal("0.02"))
    two = [
        bound_of(copies(2, rectangle(500.0, 350.0)), [o], laser(), replace(RATES, leftover_credit=0.0))
        for o in (offer, replace(offer, breaks=(PriceBreak(3, Decimal("12.00")),)))
    ]
    assert two[0] - two[1] == pytest.approx(Decimal("4.00"), abs=Decimal("0.02"))


def test_a_hole_in_which_nothing_can_lie_is_taken() -> None:
    """Rings count as discs, until a piece is asked for that a hole may hold."""
    offer = Offer("b", *STOCK, 600.0, 400.0, Decimal("20.00"))
    hole = tuple((x + 20.0, y, -bulge) for x, y, bulge in disc(80.0))
    round_hole = tuple((x, y + 20.0, bulge) for x, y, bulge in hole)
    discs, rings = copies(9, disc(120.0)), copies(9, disc(120.0), holes=(round_hole,))
    assert bound_of(rings, [offer], laser()) == bound_of(discs, [offer], laser())
    for side, lies in ((70.0, True), (110.0, False)):
        other = [piece(rectangle(side, 20.0), id="bar-1", name="bar")]
        with_rings, with_discs = (bound_of([*some, *other], [offer], laser()) for some in (rings, discs))
        assert (with_rings < with_discs) == lies


def test_knowing_what_a_sheet_can_hold_raises_the_bound_to_the_answer() -> None:
    """Upright, any two of three pieces lie over one another on a sheet of 1000, their depths are 1100; all four fill
    0.8 of it, and no way of seeing them as shares of a sheet asks for more than one."""
    rates = replace(RATES, leftover_credit=0.0, labour_per_hour=Decimal(0))
    machine = laser((1000.0, 1000.0), (1000.0, 1000.0), gap_mm=0.0, margin_mm=0.0, setup_min=0.0)
    sides = [(800.0, 400.0), (800.0, 200.0), (400.0, 500.0), (200.0, 600.0)]
    pieces = [piece(rectangle(*size), id=f"p{n}-1", name=f"p{n}", turn=Turn.NONE) for n, size in enumerate(sides)]
    offer = Offer("square", *STOCK, 1000.0, 1000.0, Decimal("10.00"))
    assert bound_of(pieces, [offer], machine, rates) == Decimal("10.00")
    shop = Workshop("shop", rates, (machine,), offer=(offer,))
    cost = make_plan(Request(Job("job"), tuple(pieces), shop, (), effort=1)).cost
    assert len([line for line in cost.lines if line.what.startswith("sheet ")]) == 2
    assert cost.bound == cost.total
