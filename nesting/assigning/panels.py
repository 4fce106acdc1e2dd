"""Panels: where all pieces are rectangles, whole answers from the rectangle packer, as columns for the master.

In: candidates, kinds, machine, rates. Out: Columns. Each candidate, brought onto the bed by each recipe, is a kind of
bin that costs what the bound counts for it: the price less what leftovers bring back at most, handling, and the credit
that each mm2 laid takes away. The master then knows the columns' true cost. Pure.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from nesting.assigning.columns import (
    Column,
    Kind,
    Recipe,
    Shop,
    blanks_of,
    column_of,
    ground_of,
    recipes,
    shapes_of,
)
from nesting.assigning.orders import at_every_price
from nesting.assigning.stock import Candidate
from nesting.layout import Ground, Spot, rectangles
from nesting.model import Placement

WORK = 6_000_000
"""Free rectangles looked at for one whole answer, for each round of effort asked for."""
MOST_ROUNDS = 16
"""Of work for one whole answer, however much effort is asked for: the packer does not see a Ctrl-C."""
MOST = 1000
"""Pieces beyond which no whole answer is looked for at once."""
Way = tuple[Candidate, Recipe]


def panel_columns(
    found: Sequence[Candidate], kinds: Sequence[Kind], shop: Shop, effort: int, floor: float
) -> list[Column]:
    """The columns of the best whole answers found; none unless all pieces are rectangles that one pass holds."""
    shapes = shapes_of(kinds, [len(kind.pieces) for kind in kinds], [1.0] * len(kinds))
    ways = {way: grounds for way, grounds in _ways(found, kinds, shop) if rectangles.are_rectangles(shapes, grounds)}
    if not ways or len(shapes) > MOST or not rectangles.are_rectangles(shapes, ()):
        return []
    stock = [_bin(way, grounds, shop) for way, grounds in ways.items()]
    machine = shop.machine
    filled = rectangles.share_out(
        shapes,
        stock,
        gap_mm=machine.gap_mm,
        margin_mm=machine.margin_mm,
        work=WORK * min(effort, MOST_ROUNDS),
        seed=shop.seed,
        floor=floor,
    )
    names = list(ways)
    columns = [column_of(*names[one.bin], kinds, [_placed(spot) for spot in one.spots], shop) for one in filled]
    return [priced for column in columns if column is not None for priced in at_every_price(column, shop)]


def _ways(found: Sequence[Candidate], kinds: Sequence[Kind], shop: Shop) -> Iterator[tuple[Way, list[Ground]]]:
    for candidate in found:
        for recipe in recipes(candidate, kinds, shop.machine):
            grounds = [
                ground
                for blank in blanks_of(candidate, recipe, shop)
                if (ground := ground_of(candidate.polygon, blank, recipe.one_pass, shop.machine)) is not None
            ]
            if grounds:
                yield (candidate, recipe), grounds


def _bin(way: Way, grounds: Sequence[Ground], shop: Shop) -> rectangles.Bin:
    candidate, _ = way
    kept = shop.rates.leftover_credit
    handling = float(shop.rates.labour_per_hour) / 60 * shop.machine.setup_min * len(grounds)
    cost = float(candidate.price) * (1.0 - kept) + handling
    return rectangles.Bin(tuple(grounds), cost, kept * float(candidate.price_per_mm2), candidate.limit)


def _placed(spot: Spot) -> Placement:
    return Placement(spot.id, "", round(spot.x_mm, 6), round(spot.y_mm, 6), spot.turn_deg, spot.mirrored)
