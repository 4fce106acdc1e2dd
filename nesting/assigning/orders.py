"""Orders: what a supplier's smallest order and price breaks make of columns, and sheets bought beyond need.

In: columns at the price of a small order. Out: the same at every price the offer has, and columns that hold nothing: a
sheet that is bought because the order must be so large, and goes on the rack as it comes. Pure.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal

from nesting.assigning.columns import Column, Shop, cents_of
from nesting.assigning.leftovers import credit, worth_keeping
from nesting.assigning.stock import Candidate
from nesting.model import Leftover, PlannedSheet


def at_every_price(column: Column, shop: Shop) -> Iterator[Column]:
    """The column as it is, and as it would be in larger orders."""
    yield column
    for tier in column.candidate.other_prices:
        candidate = replace(column.candidate, price=tier.price, least=tier.least, most=tier.most)
        left = tuple(
            replace(one, credit=credit(one.usable_mm, candidate.price_per_mm2, shop.rates)) if one.keep else one
            for one in column.sheet.leftovers
        )
        sheet = replace(column.sheet, price=candidate.price, leftovers=left)
        yield replace(column, candidate=candidate, sheet=sheet, cents=cents_of(sheet, shop))


def beyond_need(found: Sequence[Candidate], kinds: int, shop: Shop) -> Iterator[Column]:
    """A sheet that holds nothing, of every offer whose orders may have to be larger than what is needed."""
    for candidate in found:
        if not candidate.once and (candidate.least > 1 or candidate.other_prices):
            sheet = unused_sheet(candidate, candidate.id, shop)
            yield from at_every_price(Column(candidate, (0,) * kinds, sheet, (), cents_of(sheet, shop)), shop)


def unused_sheet(candidate: Candidate, sheet_id: str, shop: Shop) -> PlannedSheet:
    """The sheet as it comes, for the rack."""
    keep = worth_keeping(candidate.rect, shop.rates)
    worth = credit(candidate.rect, candidate.price_per_mm2, shop.rates) if keep else Decimal(0)
    return candidate.sheet(sheet_id, (Leftover(candidate.outline_mm, candidate.holes_mm, keep, candidate.rect, worth),))
