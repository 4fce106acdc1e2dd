"""Pieces dealt anew between two sheets of a layout on several, so that what is left over comes together on one.

In: what is asked and a layout that holds all. Out: layouts of the same pieces, ever more on the fuller sheets, on
cheaper sheets where what is left on a sheet allows it.

One sheet takes, another gives: pieces of the giver are forced onto the taker or swapped for smaller ones there (as in
`fill`, by area); what then is left must lie on the giver, or on a cheaper sheet in its place. Area only moves to sheets
that are used better for their cost, so that it comes to an end.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

from nesting.layout.asked import HASTE, Asked, Stocked
from nesting.layout.fill import filling
from nesting.layout.fit import crowded, settling
from nesting.layout.search import Task
from nesting.layout.terms import Effort, Layout, Shape, Spot, Stop, after_evaluations

TAKE = 30_000
"""Evaluations for laying more on the taker."""
SETTLE = 40_000
"""Evaluations for laying what is left on the giver, or on a cheaper sheet."""
NEVER = 1 << 30
"""Deals of two sheets where there was nothing to try: at no effort, they would be tried for ever."""
FREE = 0.005
"""A sheet with less of it free takes nothing."""


@dataclass(frozen=True, slots=True)
class _Bin:
    """A sheet of some kind with what lies on it."""

    kind: int
    spots: tuple[Spot, ...]

    @property
    def ids(self) -> frozenset[str]:
        return frozenset(spot.id for spot in self.spots)


Pair = tuple[_Bin, _Bin]
"""A giver and a taker."""
Deals = Counter[tuple[frozenset[str], frozenset[str]]]
"""How often what lay on a giver and on a taker has been dealt anew."""


def dealing(
    asked: Asked, best: Stocked, deals: Deals, stop: Stop, pool: ThreadPoolExecutor
) -> Iterator[tuple[Stocked, int]]:
    """The layout after every one or two deals, with the evaluations spent so far; `deals` is kept up to date."""
    bins, spent = _bins(best), 0
    while stop(Effort(spent)) < 1.0 and (pairs := _next(asked, bins, deals)):
        taken = Counter(each.kind for each in bins)
        jobs = [_Deal(asked, giver, taker, deals[giver.ids, taker.ids], taken) for giver, taker in pairs]
        for job, (after, used) in zip(jobs, list(pool.map(_Deal.done, jobs)), strict=True):
            spent += used
            deals[job.giver.ids, job.taker.ids] += 1 if used else NEVER
            others = [each for each in bins if each is not job.giver and each is not job.taker]
            # Both deals may have taken the last of a kind.
            if after is not None and _there(asked, [*others, *after]):
                bins = [*others, *after]
        spots = [replace(spot, ground=at) for at, each in enumerate(bins) for spot in each.spots]
        yield asked.stocked([each.kind for each in bins], spots, (), 0), spent


def _bins(best: Stocked) -> list[_Bin]:
    on: list[list[Spot]] = [[] for _ in best.sheets]
    for spot in best.layout.spots:
        on[spot.ground].append(replace(spot, ground=0))
    return [_Bin(kind, tuple(spots)) for kind, spots in zip(best.sheets, on, strict=True)]


def _there(asked: Asked, bins: Sequence[_Bin]) -> bool:
    """Whether the stock has so many sheets of every kind."""
    return all(asked.available(kind, taken) for kind, taken in Counter(each.kind for each in bins).items())


def _use(asked: Asked, each: _Bin) -> float:
    return sum(asked.areas[spot.id] for spot in each.spots) / asked.stock[each.kind].cost


def _next(asked: Asked, bins: Sequence[_Bin], deals: Deals) -> list[Pair]:
    """Up to two pairs of four sheets, dealt least often so far; the emptiest gives first, the fullest takes first."""
    order = sorted(bins, key=lambda each: _use(asked, each))
    takers = [each for each in order if _free(asked, each) > FREE * asked.rooms[each.kind]]
    pairs = [(giver, taker) for giver in order for taker in reversed(takers) if _use(asked, taker) > _use(asked, giver)]
    pairs = [(giver, taker) for giver, taker in pairs if deals[giver.ids, taker.ids] < NEVER]
    ranked = sorted(pairs, key=lambda pair: deals[pair[0].ids, pair[1].ids])
    others = [pair for pair in ranked if not {id(each) for each in pair} & {id(each) for each in ranked[0]}]
    return ranked[:1] + others[:1]


def _free(asked: Asked, each: _Bin) -> float:
    return asked.rooms[each.kind] - sum(asked.areas[spot.id] for spot in each.spots)


@dataclass(frozen=True, slots=True)
class _Deal:
    """Two sheets, how often they were dealt anew already, and how many of each kind are taken."""

    asked: Asked
    giver: _Bin
    taker: _Bin
    before: int
    taken: Counter[int]

    def done(self) -> tuple[list[_Bin] | None, int]:
        """The two sheets with more on the taker; None if that was not found. Also the evaluations spent."""
        asked, taker, seed = self.asked, self.taker, self.asked.seed * 1000 + self.before
        shapes = [replace(s, value=asked.areas[s.id]) for s in self._shapes()]
        ground, fuller = asked.stock[taker.kind].ground, Layout(())
        gap, margin, most = asked.gap_mm, asked.margin_mm, after_evaluations(TAKE)
        for better in filling(shapes, [ground], gap, margin, most, seed, patience=HASTE, spots=taker.spots):
            fuller = better
        used = fuller.effort.evaluations
        if fuller.value <= sum(asked.areas[spot.id] for spot in taker.spots) * (1 + 1e-9):
            return None, used
        left = [shape for shape in shapes if shape.id in fuller.missing]
        for kind in self._kinds(left) if left else ():
            spots, more = _laid(asked, left, kind, self.giver.spots if kind == self.giver.kind else (), seed)
            used += more
            if spots is not None:
                return [_Bin(kind, spots), _Bin(taker.kind, fuller.spots)], used
        return None if left else [_Bin(taker.kind, fuller.spots)], used

    def _shapes(self) -> list[Shape]:
        """The pieces of both, every other time square to the axes where they lie so."""
        by_id = {spot.id: spot for spot in self.giver.spots + self.taker.spots}
        return [
            square if self.before % 2 == 0 and square.may_turn(by_id[shape.id].turn_deg) else shape
            for shape, square in zip(self.asked.shapes, self.asked.squared, strict=True)
            if shape.id in by_id
        ]

    def _kinds(self, left: Sequence[Shape]) -> list[int]:
        """Kinds of sheets that cost less than the giver and have area enough, the cheapest first; then its own."""
        asked, own = self.asked, self.giver.kind
        need = sum(shape.value for shape in left)
        cheaper = [
            kind
            for kind, stock in enumerate(asked.stock)
            if stock.cost < asked.stock[own].cost
            and asked.rooms[kind] >= need
            and asked.available(kind, self.taken[kind] + 1)
        ]
        return [*sorted(cheaper, key=lambda kind: asked.stock[kind].cost), own]


def _laid(
    asked: Asked, shapes: Sequence[Shape], kind: int, spots: Sequence[Spot], seed: int
) -> tuple[tuple[Spot, ...] | None, int]:
    task = Task(shapes, [asked.stock[kind].ground], asked.gap_mm, asked.margin_mm)
    if task.hopeless or task.overfull:
        return None, 0
    chain = crowded(task, asked.seed + seed, spots)
    layout = None
    for layout in settling(chain):
        if layout is not None or chain.effort.evaluations >= SETTLE:
            break
    return (None if layout is None else layout.spots), chain.effort.evaluations
