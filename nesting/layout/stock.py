"""The cheapest sheets that hold all: fill one after another, then try to do with less.

In: shapes, stock (grounds with cost and quantity). Out: a checked Layout and which sheets it lies on.

First the sheet that gives most area laid for its cost is taken, again and again, until everything lies: with shapes
that may lie at any angle laid squarely, an edge along an axis, which leaves far fewer ways to try; then freely. Then
pieces are dealt anew between two sheets at a time (`dealing`), and other choices of sheets that cost less are tried, a
few sheets fewer or others instead: two chains, one freely from the layout at hand and one squarely from nothing, move
everything apart on all sheets at once, as in `fit`; where the first does not do it soon, both squarely from nothing.
They exchange nothing and are looked at after fixed amounts of work, so that one thread or two give the same layout. Of
the choices left when one failed, those that would leave as much free or more come first.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations_with_replacement

from nesting.layout.asked import HASTE, Asked, Stock, Stocked
from nesting.layout.dealing import Deals, dealing
from nesting.layout.fill import filling
from nesting.layout.fit import crowded, settling
from nesting.layout.search import CHUNK, Chain, Task
from nesting.layout.terms import QUIET, Effort, Layout, Shape, Spot, Stop, Watch, after_evaluations, first_of

LAYING_SHARE = 0.4
"""Of the effort allowed, at most so much for laying sheet after sheet."""
FIRST_SHARE = 0.05
"""Of the effort allowed, at least so much for the first try of a choice; it grows by half with every round through
them."""
DEALING_SHARE = 0.1
"""Of the effort allowed, so much for the first deals between two sheets."""
ROUND_SHARE = 0.25
"""Of the effort allowed, so much for the first round through few choices."""
TIGHT = 0.005
"""A choice that would have less of its area free is hardly worth more than the least."""
OUT, INTO, FEW = 2, 3, 4
"""At most so many sheets are given up at once for so many others; for one, where there are more than FEW kinds."""
EXCHANGE = 150_000
"""Evaluations of each chain between two looks at the other: a sixth of a second."""
AT_HAND = 2_000_000
"""Evaluations after which a chain that goes on from the layout at hand makes room for another that lies squarely from
nothing: that comes apart, if it does, with half the work or less."""


def cheapest(
    shapes: Sequence[Shape],
    stock: Sequence[Stock],
    *,
    gap_mm: float = 0.0,
    margin_mm: float = 0.0,
    stop: Stop | None = None,
    seed: int = 0,
    watch: Watch = QUIET,
    threads: int = 2,
) -> Stocked:
    """The cheapest sheets found that hold all shapes, the same for one thread and two; shapes that the stock has no
    room for are missing. Ctrl-C returns the best so far."""
    stop = stop or after_evaluations(5_000_000)
    asked = Asked(list(shapes), list(stock), gap_mm, margin_mm, seed)
    best = Stocked(Layout((), tuple(shape.id for shape in shapes)), (), 0.0)
    try:
        with ThreadPoolExecutor(threads) as pool:
            for better in _improving(asked, stop, pool):
                if (better.cost, better.layout.missing) != (best.cost, best.layout.missing):
                    watch.better(better.layout)
                best = better
    except KeyboardInterrupt:
        pass
    return best


def _improving(asked: Asked, stop: Stop, pool: ThreadPoolExecutor) -> Iterator[Stocked]:
    """Ever cheaper layouts, until none could be cheaper or the effort is spent; each knows the effort so far."""
    best = Stocked(Layout((), tuple(asked.areas)), (), 0.0)
    for shapes in asked.ways:
        for laid in _laying(asked, shapes, stop, best.layout.effort.evaluations):
            if (len(laid.layout.missing), laid.cost) < (len(best.layout.missing), best.cost):
                best = laid
            best = replace(best, layout=replace(best.layout, effort=laid.layout.effort))
            yield best
    if best.layout.missing:
        best = _everything(asked, best, stop, pool)
        yield best
    spent, longer, tries, deals = best.layout.effort.evaluations, 1.0, 0, Deals()
    while not best.layout.missing and stop(Effort(spent)) < 1.0 and _cheaper(asked, best):
        cost, before = best.cost, spent
        for dealt, used in dealing(asked, best, deals, _within(stop, spent, longer * DEALING_SHARE), pool):
            best, spent = dealt, before + used
            yield replace(best, layout=replace(best.layout, effort=Effort(spent)))
        choices = _cheaper(asked, best)
        left, found = list(choices), None
        while left and found is None and stop(Effort(spent)) < 1.0:
            choice = left.pop(0)
            most = _within(stop, spent, longer * _share(choices, choice))
            found, used = _try(asked, best, choice, most, tries, pool)
            spent, tries, best = spent + used, tries + 1, found or best
            yield replace(best, layout=replace(best.layout, effort=Effort(spent)))
            # What would leave less free than a choice that failed comes after what would leave as much.
            left.sort(key=lambda other: other.free < choice.free - 1e-9)
        if spent == before:  # nothing was left to try
            return
        longer *= 1.5 if best.cost == cost else 1.0


def _share(choices: Sequence[_Choice], choice: _Choice) -> float:
    """Of the effort allowed, so much for the first try of a choice: an equal part, but the least for tight ones."""
    loose = sum(not each.tight for each in choices)
    if choice.tight and loose:
        return FIRST_SHARE
    return max(FIRST_SHARE, ROUND_SHARE / (loose or len(choices)))


def _within(stop: Stop, spent: int, share: float) -> Stop:
    """Stop with the whole, or after a share of it; counts from `spent`."""
    start = stop(Effort(spent))

    def whole(effort: Effort) -> float:
        return stop(Effort(spent + effort.evaluations))

    return first_of(whole, lambda effort: (whole(effort) - start) / share)


# ── sheet after sheet ────────────────────────────────────────────────────────────────────────────────────────


def _laying(asked: Asked, shapes: Sequence[Shape], stop: Stop, spent: int) -> Iterator[Stocked]:
    """Sheet after sheet, each the one that gives most area for its cost, or the cheapest that holds all that is left,
    where nothing goes on to cost less. A layout is repeated while there are pieces for it; with the effort for this
    spent, only those known, and the kind of the sheet before, are looked at."""
    left, sheets, spots, whole = list(shapes), list[int](), list[Spot](), math.inf
    known: dict[int, Layout] = {}
    share, start = LAYING_SHARE / len(asked.ways), stop(Effort(spent))
    while True:
        yield asked.stocked(sheets, spots, left, spent)
        if not left:
            return
        kinds = [kind for kind in range(len(asked.stock)) if asked.available(kind, sheets.count(kind) + 1)]
        known = {kind: again for kind in kinds if kind in known and (again := _again(asked, known[kind], left))}
        late, laid = stop(Effort(spent)) - start > share, list[tuple[int, Layout]]()
        for some in (sheets[-1:], kinds) if late else (kinds,):
            spent = _look_at(asked, set(some) & set(kinds) - set(known), left, known, stop, spent)
            laid = [(kind, layout) for kind, layout in sorted(known.items()) if layout.spots]
            if laid:
                break
        if not laid:
            return
        for kind, most in laid:
            if not most.missing and (cost := asked.cost([*sheets, kind])) < whole:
                whole = cost
                yield asked.stocked([*sheets, kind], [*spots, *_on(most, len(sheets))], (), spent)
        kind, most = max(laid, key=lambda each: each[1].value / asked.stock[each[0]].cost)
        spots += _on(most, len(sheets))
        sheets.append(kind)
        missing = set(most.missing)
        left = [shape for shape in left if shape.id in missing]
        if asked.least(sheets, left) >= whole:
            return


def _look_at(
    asked: Asked, kinds: Iterable[int], left: Sequence[Shape], known: dict[int, Layout], stop: Stop, spent: int
) -> int:
    """Fill a sheet of each kind that might be the best, first those with most room for their cost; `known` receives
    them. Returns the evaluations spent by then."""
    for kind in sorted(kinds, key=lambda kind: (-asked.rooms[kind] / asked.stock[kind].cost, kind)):
        if _might_be_best(asked, kind, left, known):
            known[kind] = _filled(asked, left, kind, _within(stop, spent, _laying_share(asked)))
            spent += known[kind].effort.evaluations
    return spent


def _might_be_best(asked: Asked, kind: int, left: Sequence[Shape], known: Mapping[int, Layout]) -> bool:
    """Whether a sheet might hold all that is left or, filled to the brim, more for its cost than those known."""
    room, cost = asked.rooms[kind], asked.stock[kind].cost
    whole = sum(asked.areas[shape.id] for shape in left) <= room
    return whole or all(room / cost > layout.value / asked.stock[other].cost for other, layout in known.items())


def _on(layout: Layout, sheet: int) -> list[Spot]:
    return [replace(spot, ground=sheet) for spot in layout.spots]


def _again(asked: Asked, layout: Layout, left: Sequence[Shape]) -> Layout | None:
    """The same layout of other pieces just like them; None if they are not all there."""
    stacks: dict[Hashable, list[str]] = {}
    for shape in reversed(left):
        stacks.setdefault(asked.alike[shape.id], []).append(shape.id)
    if any(used > len(stacks.get(sort, ())) for sort, used in Counter(asked.alike[s.id] for s in layout.spots).items()):
        return None
    spots = tuple(replace(spot, id=stacks[asked.alike[spot.id]].pop()) for spot in layout.spots)
    laid = {spot.id for spot in spots}
    return replace(layout, spots=spots, missing=tuple(shape.id for shape in left if shape.id not in laid))


def _laying_share(asked: Asked) -> float:
    """For one sheet of one kind."""
    sheets = 1.0 + sum(asked.areas.values()) * len(asked.stock) / sum(asked.rooms)
    return LAYING_SHARE / len(asked.ways) / max(8.0, sheets * len(asked.stock))


def _filled(asked: Asked, shapes: Sequence[Shape], kind: int, stop: Stop) -> Layout:
    """As much area as fits, of large pieces rather than small ones, with little effort."""
    room, counts = asked.rooms[kind], Counter[bytes]()
    worth, out = list[Shape](), list[Shape]()
    for shape in shapes:
        area, wkb = asked.areas[shape.id], shape.polygon.wkb
        counts[wkb] += 1
        # More copies than have room need not be asked about.
        (worth if counts[wkb] * area <= room else out).append(replace(shape, value=area))
    found = [Layout((), tuple(shape.id for shape in worth))]
    ground = asked.stock[kind].ground
    found += filling(worth, [ground], asked.gap_mm, asked.margin_mm, stop, asked.seed, patience=HASTE)
    layout = found[-1]
    return replace(layout, missing=layout.missing + tuple(shape.id for shape in out))


def _everything(asked: Asked, best: Stocked, stop: Stop, pool: ThreadPoolExecutor) -> Stocked:
    """Where sheets are few and one after another did not do: lay everything on all of them at once."""
    if any(stock.quantity is None for stock in asked.stock):
        return best
    sheets = [kind for kind, stock in enumerate(asked.stock) for _ in range(stock.quantity or 0)]
    order = [*best.sheets, *(Counter(sheets) - Counter(best.sheets)).elements()]
    # It stands alone, so what it would leave free is not asked.
    choice = _Choice(tuple(range(len(best.sheets))), tuple(order[len(best.sheets) :]), 0.0)
    spent = best.layout.effort.evaluations
    return _try(asked, best, choice, _within(stop, spent, 1.0), 0, pool)[0] or best


# ── with less ────────────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class _Choice:
    """Which sheets of a layout stay, by number, kinds of others, and the share of the area that would be free."""

    kept: tuple[int, ...]
    others: tuple[int, ...]
    free: float

    @property
    def tight(self) -> bool:
        return self.free < TIGHT


def _cheaper(asked: Asked, best: Stocked) -> list[_Choice]:
    """Choices of sheets that cost less and have area enough: first those that save much and are not too tight. Of equal
    sheets, those with least on them are given up."""
    need = sum(asked.areas.values()) * (1.0 - 1e-9)
    have, kinds = Counter(best.sheets), range(len(asked.stock))
    found: list[tuple[float, int, tuple[int, ...], tuple[int, ...], float]] = []
    for out in _some(sorted(have), OUT):
        for into in _some(kinds, INTO if len(kinds) <= FEW else 1):
            sheets = have - Counter(out) + Counter(into)
            if set(out) & set(into) or any(taken > have[kind] for kind, taken in Counter(out).items()):
                continue
            if any(not asked.available(kind, sheets[kind]) for kind in into):
                continue
            saved, room = best.cost - asked.cost(sheets.elements()), asked.room(sheets.elements())
            if saved > 1e-9 * best.cost and room >= need:
                free = 1.0 - need / room
                found.append((-saved * free**2, len(into) - len(out), out, into, free))
    return [_Choice(_kept(asked, best, out), into, free) for *_, out, into, free in sorted(found)]


def _some(kinds: Sequence[int], most: int) -> list[tuple[int, ...]]:
    return [some for count in range(most + 1) for some in combinations_with_replacement(kinds, count)]


def _kept(asked: Asked, best: Stocked, out: Sequence[int]) -> tuple[int, ...]:
    """The sheets of a layout that stay if such are given up."""
    laid = [0.0] * len(best.sheets)
    for spot in best.layout.spots:
        laid[spot.ground] += asked.areas[spot.id]
    kept = list(range(len(best.sheets)))
    for kind in out:
        kept.remove(min((at for at in kept if best.sheets[at] == kind), key=lambda at: laid[at]))
    return tuple(kept)


def _try(
    asked: Asked, best: Stocked, choice: _Choice, stop: Stop, tries: int, pool: ThreadPoolExecutor
) -> tuple[Stocked | None, int]:
    """Lay everything on other sheets; None if that failed. Also the evaluations spent."""
    sheets = (*(best.sheets[at] for at in choice.kept), *choice.others)
    grounds = [asked.stock[kind].ground for kind in sheets]
    free, squared = (Task(shapes, grounds, asked.gap_mm, asked.margin_mm) for shapes in (asked.shapes, asked.squared))
    if free.hopeless:
        return None, 0
    spots = [replace(s, ground=choice.kept.index(s.ground)) for s in best.layout.spots if s.ground in choice.kept]
    seed, before = (asked.seed * 1000 + tries) * 2, 0
    runs = [_Run(partial(crowded, free, seed, spots))]
    runs += [] if squared.hopeless else [_Run(partial(crowded, squared, seed + 1))]
    again = len(runs) > 1 and len(asked.ways) > 1
    while True:
        list(pool.map(_Run.advance, runs))
        used = before + sum(run.evaluations for run in runs)
        layout = next((run.layout for run in runs if run.layout is not None), None)
        if layout is not None:
            return Stocked(layout, sheets, asked.cost(sheets)), used
        if stop(Effort(used)) >= 1.0:
            return None, used
        if again and runs[0].evaluations >= AT_HAND:
            again, before = False, runs[0].evaluations
            runs[0] = _Run(partial(crowded, squared, seed))


class _Run:
    """A chain that settles; it is made when it first advances, in the thread it runs in."""

    def __init__(self, made: Callable[[], Chain]) -> None:
        self.made = made
        self.chain: Chain | None = None
        self.layout: Layout | None = None

    @property
    def evaluations(self) -> int:
        return 0 if self.chain is None else self.chain.effort.evaluations

    def advance(self) -> None:
        """Work until so many evaluations more are spent, or everything is apart."""
        if self.chain is None:
            self.chain = self.made()
            self.work = settling(self.chain)
        mark = self.evaluations + EXCHANGE
        for _ in range(EXCHANGE // CHUNK * 10):
            self.layout = next(self.work, None)
            if self.layout is not None or self.evaluations >= mark:
                break
