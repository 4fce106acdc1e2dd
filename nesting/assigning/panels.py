"""Panels: where all pieces are rectangles, whole answers from the rectangle packer, as columns for the master.

In: candidates, kinds, machine, rates. Out: Columns. Each candidate, brought onto the bed by each recipe, is a kind of
bin that costs what the bound counts for it: the price less what leftovers bring back at most, handling, and the credit
that each mm2 laid takes away. The master then knows the columns' true cost. Pure.
Method: one answer by sharing all pieces out; then fillings of single bins priced by the duals of a linear program over
all fillings so far (Gilmore and Gomory 1961, doi 10.1287/opre.9.6.849), its answer rounded down, and what that leaves
shared out anew.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from nesting.assigning.columns import (
    Column,
    Kind,
    Shop,
    Way,
    blanks_of,
    column_of,
    ground_of,
    placed,
    recipes,
    shapes_of,
)
from nesting.assigning.orders import at_every_price
from nesting.assigning.stock import Candidate
from nesting.layout import Ground, Shape, rectangles
from nesting.layout.rectangles import Bin, Filled
from nesting.solving import NoAnswer, Relaxed, relaxed

WORK = 6_000_000
"""Free rectangles looked at for one whole answer, for each round of effort asked for."""
FILL_WORK = 20_000
"""The same for one bin priced by duals, for each round of effort."""
MOST_ROUNDS = 16
"""Of work for whole answers, however much effort is asked for: the packer does not hear a request to stop."""
MOST = 1000
"""Pieces beyond which no whole answer is looked for at once."""
PRICED = 12
"""Times that the linear program is solved and all bins are filled by its duals."""
ALIKE = 2
"""With fewer pieces of a kind than this, on average, fillings are not used often enough to be priced."""


@dataclass(frozen=True, slots=True)
class _Panels:
    """The question to the packer: the pieces, how they are grouped, the bins."""

    kinds: Sequence[Kind]
    shapes: Sequence[Shape]
    kind_of: Mapping[str, int]
    ways: Sequence[Way]
    stock: Sequence[Bin]
    shop: Shop
    effort: int

    def counts(self, filled: Filled) -> Counter[int]:
        """How many of each kind lie there."""
        return Counter(self.kind_of[spot.id] for spot in filled.spots)

    def share_out(self, shapes: Sequence[Shape], stock: Sequence[Bin], floor: float = 0.0) -> list[Filled]:
        machine, work = self.shop.machine, WORK * self.effort
        gap, margin, seed = machine.gap_mm, machine.margin_mm, self.shop.seed
        return rectangles.share_out(shapes, stock, gap_mm=gap, margin_mm=margin, work=work, seed=seed, floor=floor)


def panel_columns(
    found: Sequence[Candidate], kinds: Sequence[Kind], shop: Shop, effort: int, floor: float
) -> list[Column]:
    """The columns of the best whole answers found; none unless all pieces are rectangles that one pass holds.

    No more is looked for than an answer that costs `floor`."""
    shapes = shapes_of(kinds, [len(kind.pieces) for kind in kinds], [1.0] * len(kinds))
    if len(shapes) > MOST or not rectangles.are_rectangles(shapes, ()):
        return []
    ways = [(way, grounds) for way, grounds in _ways(found, kinds, shop) if rectangles.are_rectangles((), grounds)]
    if not ways:
        return []
    kind_of = {piece.id: number for number, kind in enumerate(kinds) for piece in kind.pieces}
    stock = [_bin(way, grounds, shop) for way, grounds in ways]
    panels = _Panels(kinds, shapes, kind_of, [way for way, _ in ways], stock, shop, min(effort, MOST_ROUNDS))
    filled = panels.share_out(shapes, stock, floor)
    if filled and sum(_cost(panels, one) for one in filled) > floor + 0.005 and len(shapes) >= ALIKE * len(kinds):
        filled += _priced(panels, filled)
    columns = [column_of(*panels.ways[one.bin], kinds, [placed(spot) for spot in one.spots], shop) for one in filled]
    return [priced for column in columns if column is not None for priced in at_every_price(column, shop)]


def _ways(found: Sequence[Candidate], kinds: Sequence[Kind], shop: Shop) -> Iterator[tuple[Way, list[Ground]]]:
    for candidate in found:
        for recipe in recipes(candidate, kinds, shop.machine, shop.rates):
            grounds = [
                ground
                for blank in blanks_of(candidate, recipe, shop)
                if (ground := ground_of(candidate, blank, recipe.one_pass, shop)) is not None
            ]
            if grounds:
                yield (candidate, recipe), grounds


def _bin(way: Way, grounds: Sequence[Ground], shop: Shop) -> Bin:
    candidate, _ = way
    kept = shop.rates.leftover_credit
    handling = float(shop.rates.labour_per_hour) / 60 * shop.machine.setup_min * len(grounds)
    cost = float(candidate.price) * (1.0 - kept) + handling
    return Bin(tuple(grounds), cost, kept * float(candidate.price_per_mm2), candidate.limit)


def _cost(panels: _Panels, filled: Filled) -> float:
    used = panels.stock[filled.bin]
    area = sum(n * panels.kinds[kind].polygon.area for kind, n in panels.counts(filled).items())
    return used.cost + used.rate * float(area)


# ── fillings priced by duals ─────────────────────────────────────────────────────────────────────────────────────


def _priced(panels: _Panels, first: Sequence[Filled]) -> list[Filled]:
    """Fillings that the linear program uses, and the sheets for what its answer, rounded down, leaves.

    Nothing where `first`, by several recipes, take more of a sheet than there is."""
    fillings = list(first)
    try:
        mix = _relaxed(panels, fillings)
    except NoAnswer:
        return []
    for number in range(PRICED):
        better = [one for one in _fillings_by(panels, mix.duals, number) if _gain(panels, one, mix.duals) > 1e-6]
        if not better:
            break
        fillings += better
        mix = _relaxed(panels, fillings)
    used = [one for one, often in zip(fillings, mix.uses, strict=True) if often > 1e-6]
    return [*used, *_rest(panels, fillings, [math.floor(often + 1e-6) for often in mix.uses])]


def _fillings_by(panels: _Panels, duals: Sequence[float], number: int) -> Iterator[Filled]:
    machine, shop = panels.shop.machine, panels.shop
    for at, kind in enumerate(panels.stock):
        shapes = shapes_of(panels.kinds, [len(k.pieces) for k in panels.kinds], duals)
        shapes = [shape for shape in shapes if shape.value > kind.rate * shape.polygon.area]
        if len(kind.grounds) == 1 and shapes:
            layout = rectangles.fill(
                shapes,
                kind.grounds[0],
                gap_mm=machine.gap_mm,
                margin_mm=machine.margin_mm,
                work=FILL_WORK * panels.effort,
                seed=shop.seed * 1009 + number,
            )
            if layout is not None and layout.spots:
                yield Filled(at, layout.spots)


def _gain(panels: _Panels, filled: Filled, duals: Sequence[float]) -> float:
    """What a filling is worth by the duals more than it costs."""
    return sum(duals[kind] * n for kind, n in panels.counts(filled).items()) - _cost(panels, filled)


def _relaxed(panels: _Panels, fillings: Sequence[Filled]) -> Relaxed:
    """(M1) to (M3) without whole numbers, over these fillings."""
    limits = [
        ([k for k, one in enumerate(fillings) if panels.ways[one.bin][0].id == candidate.id], candidate.limit)
        for candidate in {candidate.id: candidate for candidate, _ in panels.ways}.values()
        if candidate.limit is not None
    ]
    counts, costs = [panels.counts(one) for one in fillings], [_cost(panels, one) for one in fillings]
    return relaxed(counts, costs, [len(kind.pieces) for kind in panels.kinds], limits)


def _rest(panels: _Panels, fillings: Sequence[Filled], times: Sequence[int]) -> list[Filled]:
    """The sheets for the pieces that fillings, each used so often, do not hold."""
    held: Counter[int] = Counter()
    taken: Counter[str] = Counter()
    for one, n in zip(fillings, times, strict=True):
        for kind, count in panels.counts(one).items():
            held[kind] += n * count
        taken[panels.ways[one.bin][0].id] += n
    left = [max(0, len(kind.pieces) - held[number]) for number, kind in enumerate(panels.kinds)]
    stock = [
        Bin(bin.grounds, bin.cost, bin.rate, None if bin.limit is None else bin.limit - taken[candidate.id])
        for bin, (candidate, _) in zip(panels.stock, panels.ways, strict=True)
    ]
    shapes = shapes_of(panels.kinds, left, [1.0] * len(left))
    return panels.share_out(shapes, stock) if shapes else []
