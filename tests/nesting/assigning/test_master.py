"""The master against going through all choices of a few columns."""

from __future__ import annotations

import itertools
import random
from decimal import Decimal

import pytest

from nesting.assigning.columns import Column
from nesting.assigning.master import cheapest
from nesting.assigning.stock import candidates
from nesting.model import Offcut, Offer, PlannedSheet
from tests.shop import piece, rectangle

KEY = piece(rectangle(1, 1)).stock
STOCK = ("acrylic", "opal", 5.0)
FOUND = candidates(
    KEY,
    [Offcut("R1", *STOCK, ((0, 0), (500, 0), (500, 400), (0, 400)))],
    [Offer("small", *STOCK, 600, 400, Decimal(20)), Offer("large", *STOCK, 900, 800, Decimal(40))],
)
WANTED = (2, 1, 2)


def columns(seed: int) -> list[Column]:
    """Seven of them; one that holds all that is wanted, dear."""
    dice = random.Random(seed)
    sheet = PlannedSheet.__new__(PlannedSheet)
    some = [
        Column(dice.choice(FOUND), tuple(dice.randint(0, 2) for _ in WANTED), sheet, (), dice.randint(100, 900))
        for _ in range(6)
    ]
    offer = next(one for one in FOUND if not one.once)
    return [*some, Column(offer, WANTED, sheet, (), 2500)]


def answers(known: list[Column]) -> dict[int, list[Column]]:
    """By cost, cheapest first: all ways to use each column up to twice, of an offcut one once."""
    found: dict[int, list[Column]] = {}
    for times in itertools.product(range(3), repeat=len(known)):
        used = [column for column, n in zip(known, times, strict=True) for _ in range(n)]
        held = [sum(column.counts[kind] for column in used) for kind in range(len(WANTED))]
        once = [column.candidate.id for column in used if column.candidate.once]
        if all(n >= wanted for n, wanted in zip(held, WANTED, strict=True)) and len(once) <= 1:
            found[sum(column.cents for column in used)] = used
    return dict(sorted(found.items()))


@pytest.mark.parametrize("seed", range(12))
def test_the_cheapest_is_found_whatever_is_known_before(seed: int) -> None:
    known = columns(seed)
    by_cost = answers(known)
    least, next_best, *_ = by_cost
    for before in (None, by_cost[next_best], [known[-1]]):
        answer = cheapest(known, WANTED, before)
        assert answer is not None and sum(column.cents for column in answer) == least


def test_a_known_answer_stays_where_nothing_costs_less() -> None:
    known = columns(1)
    best = cheapest(known, WANTED)
    assert best is not None and cheapest(known, WANTED, best) == best
