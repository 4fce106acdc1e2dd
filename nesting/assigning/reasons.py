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
    rack = sum(candidate.once for candidate in found), sum(sheet.source.stock_id is not None for sheet in sheets)
    told = []
    for sheet in sheets:
        candidate = known[sheet.source]
        other = answer.without[candidate.id]
        best = None if other is None else next_best(answer.columns, other)
        needed = _needed(candidate, found, answer) if best is None else _comparison(sheet, best, known, rates)
        words = f"{_use(sheet, candidate, rack, rates)}; {needed}"
        told.append(replace(sheet, why=words, next_best=best))
    return told


def next_best(chosen: Sequence[Column], other: Sequence[Column]) -> NextBest:
    """What another answer uses beyond the chosen one, and its extra cost."""
    more = Counter(c.candidate.source for c in other) - Counter(c.candidate.source for c in chosen)
    instead = sorted(more.elements(), key=lambda source: (source.stock_id is None, str(source)))
    extra = sum(c.cents for c in other) - sum(c.cents for c in chosen)
    return NextBest(tuple(instead), money(Decimal(extra) / 100))


def _use(sheet: PlannedSheet, candidate: Candidate, rack: tuple[int, int], rates: Rates) -> str:
    """What it is used for; `rack`: how many offcuts there are, how many the plan uses."""
    held = counted(len(sheet.placements), "piece")
    if not sheet.placements:
        return f"no piece lies on it: the order is of {candidate.least} sheets or more, or costs less so"
    if candidate.once:
        return f"{held} on an offcut of {sheet.price:.2f} {rates.currency}"
    kind = "new sheet" if candidate.cut is None else "panel cut to size"
    there, used = rack
    words = f"{held} on a {kind} of {sheet.price:.2f} {rates.currency}"
    if not there:
        return f"{words}, as the rack has no {sheet.stock}"
    if there == 1:
        return f"{words}, {'beside' if used else 'instead of'} the one offcut on the rack"
    return f"{words} (of the {there} offcuts on the rack the plan uses {used or 'none'})"


def _needed(candidate: Candidate, found: Sequence[Candidate], answer: Answer) -> str:
    """Why no plan without it is known."""
    if all(other.id == candidate.id for other in found):
        return f"nothing else of {candidate.stock} is on the rack or on offer"
    piece = answer.held_here_alone.get(candidate.id)
    return f"nothing else was found to {f'take {piece}' if piece else 'hold all pieces'}"


def _comparison(sheet: PlannedSheet, best: NextBest, candidates: Mapping[Source, Candidate], rates: Rates) -> str:
    what = "it" if sheet.source.stock_id is not None else "this offer"
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
