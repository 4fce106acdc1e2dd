"""Lots: pieces of one visible face come from one lot of sheets, as colour differs from lot to lot.

In: candidates, kinds of which some belong to a face, the search. Out: the search's answer. Each promising lot is tried
for one round, the search goes on with the best of them; in the columns, pieces of a face lie on sheets of its lot alone
((M5) of docs/model.md). An offcut's lot is on record, an unknown one is a lot by itself; sheets of one offer, bought in
one order, are one lot (common practice, no source). Pure.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from nesting.assigning.columns import Kind, Shop
from nesting.assigning.search import Answer, Search, choose_sheets, cost_cents
from nesting.assigning.stock import Candidate, sheet_words
from nesting.faults import StockFault

MOST_LOTS = 4
"""Lots tried for one face, most promising first."""
MOST_TRIED = 8
"""Ways tried to give each face its lot."""
MOST_COMBINED = 4096
"""Ways looked at for that."""


def choose_lots(found: Sequence[Candidate], kinds: Sequence[Kind], shop: Shop, search: Search) -> Answer:
    """The cheapest answer found that takes every face from one lot. Raises StockFault if none does."""
    faces = sorted({kind.sample.one_lot for kind in kinds if kind.sample.one_lot})
    if not faces:
        return choose_sheets(found, kinds, shop, search)
    choices = [dict(zip(faces, lots, strict=True)) for lots in _combinations(found, kinds, faces)]
    tried = [(choice, answer) for choice in choices if (answer := _tried(found, kinds, choice, shop, search, 1))]
    if not tried:
        choose_sheets(found, kinds, shop, replace(search, effort=1))  # raises where lots are not what stands against it
        raise _conflict(found, kinds, faces, shop)
    best, first = min(tried, key=lambda one: cost_cents(one[1].columns))
    answer = first if search.stop else _tried(found, kinds, best, shop, search, search.effort)
    return _compared(answer or first, [other for _, other in tried])


def _tried(
    found: Sequence[Candidate],
    kinds: Sequence[Kind],
    lots: Mapping[str, str],
    shop: Shop,
    search: Search,
    effort: int,
) -> Answer | None:
    bound_to = [replace(kind, lot=lots.get(kind.sample.one_lot, "")) for kind in kinds]
    try:
        return choose_sheets(found, bound_to, shop, replace(search, effort=effort))
    except StockFault:
        return None


def _compared(answer: Answer, others: Sequence[Answer]) -> Answer:
    """The next best of a sheet may be another lot."""
    without = dict(answer.without)
    for candidate in without:
        free = [one.columns for one in others if all(c.candidate.id != candidate for c in one.columns)]
        known = without[candidate]
        without[candidate] = min([*free, *([known] if known else [])], key=cost_cents, default=None)
    return replace(answer, without=without)


def _combinations(found: Sequence[Candidate], kinds: Sequence[Kind], faces: Sequence[str]) -> list[tuple[str, ...]]:
    """A lot for each face, the most promising ways first; none in which a lot has too little for all its faces."""
    of_face = [[kind for kind in kinds if kind.sample.one_lot == face] for face in faces]
    needed = [_needed_mm2(face) for face in of_face]
    areas = {lot: _area(sheets) for lot, sheets in _lots(found).items()}
    ways = itertools.islice(itertools.product(*(_promising(found, face) for face in of_face)), MOST_COMBINED)
    ranked = [
        (math.fsum(price * area for (price, _), area in zip(way, needed, strict=True)), tuple(lot for _, lot in way))
        for way in ways
    ]
    return [lots for _, lots in sorted(ranked) if _have_room(lots, needed, areas)][:MOST_TRIED]


def _have_room(lots: Sequence[str], needed: Sequence[float], areas: Mapping[str, float]) -> bool:
    taken: dict[str, float] = {}
    for lot, area in zip(lots, needed, strict=True):
        taken[lot] = taken.get(lot, 0.0) + area
    return all(area <= areas[lot] for lot, area in taken.items())


def _needed_mm2(kinds: Sequence[Kind]) -> float:
    return math.fsum(kind.polygon.area * len(kind.pieces) for kind in kinds)


def _lots(found: Sequence[Candidate]) -> dict[str, list[Candidate]]:
    lots: dict[str, list[Candidate]] = {}
    for candidate in found:
        lots.setdefault(candidate.lot_name, []).append(candidate)
    return lots


def _promising(found: Sequence[Candidate], kinds: Sequence[Kind]) -> list[tuple[float, str]]:
    """Lots with area enough for the pieces, with their price by area, cheapest first."""
    needed = _needed_mm2(kinds)
    ranked = [(_price_per_mm2(sheets, needed), lot) for lot, sheets in _lots(found).items() if _area(sheets) >= needed]
    return sorted(ranked)[:MOST_LOTS]


def _area(sheets: Sequence[Candidate]) -> float:
    return math.fsum(c.polygon.area * (math.inf if c.limit is None else c.limit) for c in sheets)


def _price_per_mm2(sheets: Sequence[Candidate], needed: float) -> float:
    return min(candidate.expected_price(needed) / candidate.polygon.area for candidate in sheets)


def _conflict(found: Sequence[Candidate], kinds: Sequence[Kind], faces: Sequence[str], shop: Shop) -> StockFault:
    """Names a face that no lot has the area for, else the first; its largest piece and the sheet that would do."""
    by_face = {face: [kind for kind in kinds if kind.sample.one_lot == face] for face in faces}
    face = next((face for face in faces if not _promising(found, by_face[face])), faces[0])
    largest, count = by_face[face][0], sum(len(kind.pieces) for kind in by_face[face])
    lots = sorted({candidate.lot_name for candidate in found})
    listed = ", ".join(lots[:5]) + (f" and {len(lots) - 5} more" if len(lots) > 5 else "")
    return StockFault(
        f"no lot of {largest.sample.stock} holds all {count} pieces of `{face}`, which must come from one; "
        f"the largest is {largest.name} (lots: {listed or 'none'})",
        mend=f"put a sheet of at least {sheet_words(largest.sample, shop.machine.margin_mm)} on offer, in number "
        "enough, or give fewer pieces the same `one_lot`",
    )
