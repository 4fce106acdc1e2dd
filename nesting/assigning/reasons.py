"""Why each sheet is used, in words and money, and what the next best choice would have cost.

In: the search's answer, and the cheapest answers that do without one of its sheets. Out: PlannedSheets that say why.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

from nesting.assigning.columns import Column
from nesting.assigning.search import Answer
from nesting.assigning.stock import Candidate
from nesting.costing import money
from nesting.model import NextBest, PlannedSheet, Rates, Source
from nesting.phrases import counted, listed


def explained(
    sheets: Sequence[PlannedSheet], answer: Answer, found: Sequence[Candidate], rates: Rates
) -> list[PlannedSheet]:
    """The sheets of one stock key, each with its reason and its next best."""
    answers = [answer.columns, *(other for other in answer.without.values() if other is not None)]
    known = {column.candidate.source: column.candidate for columns in answers for column in columns}
    offcuts = sum(candidate.once for candidate in found)
    told = []
    for sheet in sheets:
        candidate = known[sheet.source]
        other = answer.without[candidate.id]
        best = None if other is None else next_best(answer.columns, other)
        words = f"{_use(sheet, candidate, offcuts, rates)}; {_comparison(sheet, best, known, rates)}"
        told.append(replace(sheet, why=words, next_best=best))
    return told


def next_best(chosen: Sequence[Column], other: Sequence[Column]) -> NextBest:
    """What another answer uses beyond the chosen one, and its extra cost."""
    more = Counter(c.candidate.source for c in other) - Counter(c.candidate.source for c in chosen)
    instead = sorted(more.elements(), key=lambda source: (source.stock_id is None, str(source)))
    extra = sum(c.cents for c in other) - sum(c.cents for c in chosen)
    return NextBest(tuple(instead), money(Decimal(extra) / 100))


def _use(sheet: PlannedSheet, candidate: Candidate, offcuts: int, rates: Rates) -> str:
    held = counted(len(sheet.placements), "piece")
    if not sheet.placements:
        return f"no piece lies on it: the order is of {candidate.least} sheets or more, or costs less so"
    if candidate.once:
        return f"{held} on an offcut of {sheet.price:.2f} {rates.currency}"
    kind = "new sheet" if candidate.cut is None else "panel cut to size"
    if offcuts:
        return f"{held} on a {kind} of {sheet.price:.2f} {rates.currency}, after {counted(offcuts, 'offcut')} compared"
    return f"{held} on a {kind} of {sheet.price:.2f} {rates.currency}, as the rack has no {sheet.stock}"


def _comparison(
    sheet: PlannedSheet, best: NextBest | None, candidates: Mapping[Source, Candidate], rates: Rates
) -> str:
    what = "it" if sheet.source.stock_id is not None else "this offer"
    if best is None:
        return f"no plan without {what} was found within the effort"
    more = f"cost {best.extra:.2f} {rates.currency} more" if best.extra else "cost the same"
    bought = [source for source in best.instead if source.offer is not None]
    others = _listed(best.instead)
    if sheet.source.stock_id is not None and bought:
        price = candidates[bought[0]].price
        saved = f"saves buying {bought[0]} at {price:.2f}" if len(bought) == 1 else f"saves buying {_listed(bought)}"
        return f"{saved}; without it the plan would {more}"
    place = f"with {others} in its place" if others else "with its pieces on sheets the plan uses anyway"
    return f"without {what} the plan would {more}, {place}"


def _listed(sources: Sequence[Source]) -> str:
    times = Counter(map(str, sources))
    return listed([name if n == 1 else f"{n} x {name}" for name, n in times.items()])
