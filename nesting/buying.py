"""Ways to get the sheets for a job, each planned in earnest, so that a buyer can see what each would cost.

In: a Request. Out: an Alternative for every sensible way, cheapest first, with its plan or why there is none.
Method: the pipeline itself, with a part of the rack and of the offers; all else, seed and effort too, is the same. A
plan found under restrictions is a plan without them as well: the unrestricted way never shows a dearer one. Pure.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence, Sized
from dataclasses import dataclass, replace
from decimal import Decimal

from nesting import curves
from nesting.assigning.search import Watcher
from nesting.assigning.stock import can_be_had, tiers_of
from nesting.costing import sheet_area_mm2
from nesting.faults import Fault
from nesting.model import Offer, Piece, Plan, Progress, Source
from nesting.plan import Request, machine_of, make_plan

ANY = "rack and any new sheets"


@dataclass(frozen=True, slots=True)
class Way:
    """What may be used: the rack or not, and these offers."""

    name: str
    rack: bool
    offers: tuple[Offer, ...]


@dataclass(frozen=True, slots=True)
class Alternative:
    """A way and the cheapest plan found for it, or why there is none; exactly one is set."""

    name: str
    plan: Plan | None = None
    refusal: str = ""


@dataclass(frozen=True, slots=True)
class Comparison:
    """All ways that were tried, cheapest first, those that cannot be last; `stopped` before those not reached."""

    tried: tuple[Alternative, ...]
    stopped: bool = False
    not_reached: tuple[str, ...] = ()


def compared(request: Request, watch: Watcher = lambda progress: None, stop: Sized = ()) -> Comparison:
    """Plan every way; no further ones once `stop` holds something. Raises the Fault of a job that nothing can serve."""
    found = ways(request)
    tried: list[Alternative] = []
    for number, way in enumerate(found, 1):
        if tried and stop:
            break
        tried.append(_planned(way, request, _told(watch, f"way {number} of {len(found)}"), stop))
    best = min((one.plan for one in tried if one.plan is not None), key=lambda plan: plan.cost.total)
    tried[0] = replace(tried[0], plan=min(tried[0].plan or best, best, key=lambda plan: plan.cost.total))
    order = sorted(tried, key=lambda one: (one.plan is None, one.plan.cost.total if one.plan else Decimal(0)))
    return Comparison(tuple(order), bool(stop), tuple(way.name for way in found[len(tried) :]))


def _planned(way: Way, request: Request, watch: Watcher, stop: Sized) -> Alternative:
    rack = request.rack if way.rack else ()
    shop = replace(request.workshop, offer=way.offers)
    asked = replace(request, rack=rack, workshop=shop, rack_counts=way.rack)
    try:
        return Alternative(way.name, make_plan(asked, watch, stop))
    except Fault as fault:
        if way.name == ANY:
            raise
        return Alternative(way.name, refusal=fault.what)


def _told(watch: Watcher, way: str) -> Callable[[Progress], None]:
    return lambda progress: watch(replace(progress, step=f"{way}: {progress.step}"))


# ── the ways ─────────────────────────────────────────────────────────────────────────────────────────────────


def ways(request: Request) -> tuple[Way, ...]:
    """The sensible ways for a job, the unrestricted one first, none twice."""
    stocks = {piece.stock for piece in request.pieces}
    on_rack = any(cut.stock in stocks for cut in request.rack)
    offers = tuple(offer for offer in request.workshop.offer if offer.stock in stocks and can_be_had(offer))
    to_size = tuple(replace(offer, whole=False) for offer in offers if offer.cut is not None)
    rack = "rack and " if on_rack else ""
    found = [
        Way(ANY, True, offers),
        *([Way("rack alone", True, ())] if on_rack else []),
        Way(f"{rack}the largest new sheets", True, _one_size(offers, request, max)),
        Way(f"{rack}the smallest new sheets", True, _one_size(offers, request, min)),
        *([Way(f"{rack}panels cut to size", True, to_size)] if to_size else []),
        *([Way("new sheets alone", False, offers)] if on_rack else []),
    ]
    first_of = {(way.rack and on_rack, way.offers): way for way in reversed(found)}
    return tuple(sorted(first_of.values(), key=found.index))


def _one_size(
    offers: Sequence[Offer], request: Request, pick: Callable[[Sequence[tuple[float, str]]], tuple[float, str]]
) -> tuple[Offer, ...]:
    """Of each stock key the offer of the largest or the smallest sheet that takes the pieces which must stay whole."""
    margin = machine_of(request.job, request.workshop).margin_mm
    chosen = []
    for stock in sorted({offer.stock for offer in offers}):
        whole = [piece for piece in request.pieces if piece.stock == stock and piece.one_piece is True]
        fits = [
            one
            for one in offers
            if one.stock == stock and tiers_of(one) and all(_takes(one, piece, margin) for piece in whole)
        ]
        if fits:
            _, name = pick([(offer.length_mm * offer.width_mm, offer.id) for offer in fits])
            chosen.append(next(replace(offer, cut=None) for offer in fits if offer.id == name))
    return tuple(chosen)


def _takes(offer: Offer, piece: Piece, margin_mm: float) -> bool:
    x0, y0, x1, y1 = curves.bounds([piece.outline])
    short, long = sorted((x1 - x0, y1 - y0))
    room = sorted((offer.length_mm - 2 * margin_mm, offer.width_mm - 2 * margin_mm))
    return short <= room[0] and long <= room[1]


# ── what to say of a plan ────────────────────────────────────────────────────────────────────────────────────


def waste_percent(plan: Plan) -> float:
    """The share of the sheets used that is neither piece nor kept."""
    sheets = math.fsum(sheet_area_mm2(sheet) for sheet in plan.sheets)
    kept = math.fsum(
        curves.polygon(curves.ring_of(left.outline_mm), [curves.ring_of(hole) for hole in left.holes_mm]).area
        for sheet in plan.sheets
        for left in sheet.leftovers
        if left.keep
    )
    return 100 * (sheets - kept - math.fsum(curves.area(piece) for piece in plan.pieces)) / sheets


def sources(plan: Plan) -> Counter[Source]:
    """How often each offcut and each offer is used."""
    return Counter(sheet.source for sheet in plan.sheets)


def terms(plan: Plan) -> dict[str, Decimal]:
    """The plan's cost by what a buyer weighs; the sum is the total."""
    found = dict.fromkeys(TERMS, Decimal(0))
    bought = {f"sheet {sheet.id}" for sheet in plan.sheets if sheet.source.offer is not None}
    for line in plan.cost.lines:
        sheet, _, what = line.what.rpartition(": ")
        if what == "stock":
            found["new sheets" if sheet in bought else "offcuts"] += line.amount
        else:
            found[what if what in TERMS else "cutting"] += line.amount
    return found


TERMS = (
    "new sheets",
    "offcuts",
    "leftover kept",
    "set-up",
    "turns",
    "trims",
    "joins",
    "joints between segments",
    "cutting",
)


def reason(plan: Plan, best: Plan, second: Plan | None) -> str:
    """Why a plan is, or is not, the cheapest of those compared, in words and money."""
    currency, mine, others = plan.cost.currency, terms(plan), terms(best)
    if plan.cost.total == best.cost.total:
        made_of = ", ".join(_amount(term, amount) for term, amount in mine.items() if amount)
        ahead = f", {second.cost.total - plan.cost.total:.2f} {currency} below the next" if second else ""
        return f"the cheapest{ahead}: {made_of}"
    changes = sorted(((mine[term] - others[term], term) for term in TERMS), key=lambda change: -change[0])
    more = [_change(term, by) for by, term in changes if by]
    dearer = plan.cost.total - best.cost.total
    return f"{dearer:.2f} {currency} dearer than the cheapest: {', '.join(more)}"


def _amount(term: str, amount: Decimal) -> str:
    return f"leftovers bring back {-amount:.2f}" if term == "leftover kept" else f"{term} {amount:.2f}"


def _change(term: str, by: Decimal) -> str:
    if term == "leftover kept":
        return f"leftovers bring back {abs(by):.2f} {'less' if by > 0 else 'more'}"
    return f"{term} {abs(by):.2f} {'more' if by > 0 else 'less'}"
