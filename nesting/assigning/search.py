"""The search for sheets: make columns where the current answer is weak, let the master choose, repeat.

In: candidates, kinds, effort. Out: the cheapest columns found. Rounds alternate between building a whole answer anew
(sheets tried in order of estimated price per area, disturbed from round to round) and taking part of the best answer
apart and building that part again (destroy and repair: Shaw 1998, doi 10.1007/3-540-49481-2_30). Pieces are valued by
the duals of the relaxed master, so that the engine picks what the current answer pays too much for.
"""

from __future__ import annotations

import math
import random
from collections import Counter
from collections.abc import Callable, Mapping, Sequence, Sized
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from decimal import Decimal

from nesting.assigning.columns import Column, Kind, Recipe, Shop, Way, are_boxy, as_boxes, build_column, recipes
from nesting.assigning.master import cheapest, worth
from nesting.assigning.orders import at_every_price, beyond_need
from nesting.assigning.rectangular import rectangular_columns
from nesting.assigning.refitting import Densities, Place, Refits, place_of
from nesting.assigning.stock import Candidate, sheet_words
from nesting.costing import money
from nesting.faults import StockFault
from nesting.model import Progress

Watcher = Callable[[Progress], None]
MANY = 1_000_000
"""No answer has so many sheets of one kind."""
TRIES = 2
"""Sheets compared at each step of building an answer."""
PLENTY = 2.5
"""Pieces shown to the engine for one sheet, as a multiple of its area."""
BUILD_EVERY = 3
"""One round in so many builds a whole answer anew; the others take the best one apart."""
NOISE = 0.4
"""How far a round disturbs the order in which sheets are tried (standard deviation of the logarithm)."""


@dataclass(slots=True)
class Pool:
    """The cheapest column made so far for each sheet, price and load; and what has been asked for already."""

    ways: Mapping[Candidate, Sequence[Recipe]]
    """Every sheet, with the recipes that bring it onto the bed."""
    places: Mapping[Way, Place]
    kinds: Sequence[Kind]
    shop: Shop
    seed: int
    """The engine's; another in every round, so that no unlucky layout stays for good."""
    threads: Executor
    made: dict[tuple[object, ...], Column] = field(default_factory=dict)
    known: dict[tuple[object, ...], Column | None] = field(default_factory=dict)
    densities: Densities = field(default_factory=Densities)

    @property
    def stock(self) -> str:
        """The stock key, in words."""
        return str(self.kinds[0].sample.stock)

    @property
    def columns(self) -> list[Column]:
        return list(self.made.values())

    def built(self, ways: Sequence[Way], wanted: Sequence[int], values: Sequence[float]) -> list[Column]:
        """A column for each way that takes a piece, all at once; recalled where the same was asked before.

        Where pieces are near to rectangles, these are laid as well, for the master to choose from.
        """
        ranks = tuple(sorted(range(len(values)), key=lambda kind: -values[kind] / self.kinds[kind].polygon.area))
        keys = [(candidate.id, recipe, tuple(wanted), ranks, self.seed) for candidate, recipe in ways]
        fresh = [way for way, key in zip(ways, keys, strict=True) if key not in self.known]
        shop = replace(self.shop, seed=self.seed)
        shops = (shop, replace(shop, fill=as_boxes)) if are_boxy(self.kinds, wanted) else (shop,)

        def build(way: Way) -> list[Column | None]:
            plenty = self._plenty(way[0], wanted)
            return [build_column(*way, self.kinds, plenty, values, one) for one in shops]

        made = iter(list(self.threads.map(build, fresh)))
        for key in keys:
            if key not in self.known:
                self.known[key], *others = next(made)
                if (column := self.known[key]) is not None:
                    self.add(column, full=any(n > count for n, count in zip(wanted, column.counts, strict=True)))
                for other in filter(None, others):
                    self.add(other)
        return [column for key in keys if (column := self.known[key]) is not None]

    def _plenty(self, candidate: Candidate, wanted: Sequence[int]) -> list[int]:
        """Of many pieces the engine is shown a mix of some times what the sheet can hold."""
        area = sum(kind.polygon.area * n for kind, n in zip(self.kinds, wanted, strict=True))
        share = min(1.0, PLENTY * candidate.polygon.area / area)
        return [math.ceil(n * share) for n in wanted]

    def add(self, column: Column, full: bool = False) -> None:
        """One more for the master to choose from, at every price of its offer, unless a cheaper one holds the same."""
        place = self.places.get((column.candidate, column.recipe)) if column.recipe else None
        self.densities.saw(column, self.kinds, place.room_mm2 if full and place else None)
        for one in at_every_price(column, self.shop):
            key = (one.candidate.id, one.candidate.least, one.counts)
            if key not in self.made or one.cents < self.made[key].cents:
                self.made[key] = one


@dataclass(frozen=True, slots=True)
class Search:
    """How long to search: rounds, the bound that ends it, who is told; `stop` asks to end once it holds something."""

    effort: int
    bound: Decimal
    watch: Watcher
    stop: Sized = ()
    threads: int = 2
    step: str = "choosing sheets"


@dataclass(frozen=True, slots=True)
class Answer:
    """The cheapest columns found; for each candidate among them the cheapest that do without, None if none do; for
    these, if there is one, a piece that nothing else was found to take; and all columns made."""

    columns: list[Column]
    without: Mapping[str, list[Column] | None]
    held_here_alone: Mapping[str, str] = field(default_factory=dict)
    known: Sequence[Column] = ()


def choose_sheets(found: Sequence[Candidate], kinds: Sequence[Kind], shop: Shop, search: Search) -> Answer:
    """The cheapest columns found within the search's effort. Raises StockFault if none hold all pieces."""
    wanted = [len(kind.pieces) for kind in kinds]
    with ThreadPoolExecutor(search.threads) as threads:
        ways = {candidate: recipes(candidate, kinds, shop.machine, shop.rates) for candidate in found}
        places = {(one, way): place_of(one, way, shop) for one, its_ways in ways.items() for way in its_ways}
        pool = Pool(ways, places, kinds, shop, shop.seed, threads)
        tell = _teller(search, pool.stock)
        whole, more = rectangular_columns(found, kinds, shop, search.effort, float(search.bound), search.stop, tell)
        spare = list(beyond_need(found, len(kinds), shop))
        for column in (*spare, *whole, *more):
            pool.add(column)
        # Whole answers for rectangles are found without a set to begin with.
        best = cheapest([*spare, *whole], wanted) if whole else _repeated(pool, wanted, search)
        best = _searched(pool, wanted, cheapest(pool.columns, wanted, best), search)
        if best is None:
            raise _no_answer(pool, wanted)
        return _compared(pool, best, wanted, search)


def _teller(search: Search, stock: str) -> Callable[[str, float], None]:
    """Passes on to the watcher what it has not heard before: another step, or a cheaper answer."""
    heard: set[tuple[str, float]] = set()

    def tell(step: str, cost: float) -> None:
        if (step, cost) not in heard:
            heard.add((step, cost))
            best = money(Decimal(cost)) if math.isfinite(cost) else None
            search.watch(Progress(step, 0, best, search.bound, stock))

    return tell


def _repeated(pool: Pool, wanted: Sequence[int], search: Search) -> list[Column] | None:
    """Where every piece comes in copies: the answer for one set of them, that many times over if the sheets are there.

    So copies planned together cost no more each than one set planned alone, unless that takes offcuts."""
    sets = math.gcd(*wanted)
    if sets == 1:
        return None
    share = [n // sets for n in wanted]
    step = f"choosing sheets for one of {sets} sets"
    one = _searched(pool, share, None, replace(search, bound=Decimal(0), step=step))
    if one is None:
        return None
    return one * sets if all(not c.candidate.once and c.candidate.any_number for c in one) else None


def _searched(pool: Pool, wanted: Sequence[int], best: list[Column] | None, search: Search) -> list[Column] | None:
    """The cheapest answer that the rounds lead to, the one at hand if it stays that; None if none holds all."""
    large_orders = Counter({candidate.id: MANY for candidate in pool.ways if candidate.least > 1})
    refits = Refits(pool.ways, pool.kinds, pool.densities, pool.threads, places=dict(pool.places))
    for number in range(search.effort):
        if best is not None and _price(best) <= search.bound:
            break
        pool.seed = pool.shop.seed * 7919 + number
        dice = random.Random(pool.seed)
        values = _values(pool, wanted, number)
        begun = refits.begun(best, dice, replace(pool.shop, seed=pool.seed)) if best is not None else []
        if best is None or number % BUILD_EVERY == 0:
            _build(pool, wanted, values, Counter(), dice if number else None)
            if large_orders:
                _build(pool, wanted, values, large_orders, dice)
        else:
            _rebuild_part(pool, best, values, dice)
        for column in (column for refit in begun for column in refit.result()):
            pool.add(column)
        best = cheapest(pool.columns, wanted, best)
        if best is not None:
            search.watch(Progress(search.step, number + 1, _price(best), search.bound, pool.stock))
            if search.stop:
                break
    return best


def _compared(pool: Pool, best: list[Column], wanted: Sequence[int], search: Search) -> Answer:
    """The answer beside what the master chooses with each of its candidates forbidden in turn."""
    search.watch(Progress("comparing each sheet with the next best", note=pool.stock))
    used = sorted({column.candidate.id for column in best})
    without = {one: _without(pool, one, wanted, search) for one in used}
    cheapest_other = min((other for other in without.values() if other is not None), key=cost_cents, default=best)
    # The master may stop before it has proven its answer the cheapest.
    return (
        _compared(pool, cheapest_other, wanted, search)
        if cost_cents(cheapest_other) < cost_cents(best)
        else Answer(
            best,
            without,
            {one: name for one in used if without[one] is None and (name := _only_on(pool, one))},
            pool.columns,
        )
    )


def _only_on(pool: Pool, candidate: str) -> str:
    """The largest piece that no other sheet was found to take; "" if each was found another."""
    others = [column for column in pool.columns if column.candidate.id != candidate]
    nowhere = (kind.name for number, kind in enumerate(pool.kinds) if not any(c.counts[number] for c in others))
    return next(nowhere, "")


def _without(pool: Pool, candidate: str, wanted: Sequence[int], search: Search) -> list[Column] | None:
    """The cheapest answer that does without a candidate; where the columns so far hold none, one is built."""
    other = cheapest([c for c in pool.columns if c.candidate.id != candidate], wanted)
    if other is None and not search.stop:
        _build(pool, wanted, [kind.polygon.area for kind in pool.kinds], Counter({candidate: MANY}), None)
        other = cheapest([c for c in pool.columns if c.candidate.id != candidate], wanted)
    return other


def _price(columns: Sequence[Column]) -> Decimal:
    return money(Decimal(cost_cents(columns)) / 100)


def cost_cents(columns: Sequence[Column]) -> int:
    """What an answer costs."""
    return sum(column.cents for column in columns)


def _values(pool: Pool, wanted: Sequence[int], number: int) -> list[float]:
    """What a piece of each kind is worth: its area at first, later half that and half its dual price."""
    areas = [kind.polygon.area for kind in pool.kinds]
    duals = worth(pool.columns, wanted) if number else None
    if duals is None or sum(duals) <= 0:
        return areas
    scale = sum(a * n for a, n in zip(areas, wanted, strict=True)) / sum(
        d * n for d, n in zip(duals, wanted, strict=True)
    )
    return [(area + scale * dual) / 2 for area, dual in zip(areas, duals, strict=True)]


def _build(
    pool: Pool, wanted: Sequence[int], values: Sequence[float], taken: Counter[str], dice: random.Random | None
) -> None:
    """Build one answer sheet by sheet: of the few most promising sheets the one that pays best."""
    left = list(wanted)
    used = Counter(taken)
    while any(left):
        step = _best_step(pool, left, values, used, dice)
        if step is None:
            return
        left = [max(0, n - count) for n, count in zip(left, step.counts, strict=True)]
        used[step.candidate.id] += 1


def _best_step(
    pool: Pool, left: Sequence[int], values: Sequence[float], used: Counter[str], dice: random.Random | None
) -> Column | None:
    made: list[Column] = []
    ways = _ranked(pool, left, used, dice)
    while ways and len(made) < TRIES:
        made += pool.built(ways[:TRIES], left, values)
        ways = ways[TRIES:]
    return min(made, key=lambda column: _pay(column, left, values), default=None)


def _pay(column: Column, left: Sequence[int], values: Sequence[float]) -> float:
    """Cents for each unit of value still wanted."""
    held = sum(v * min(n, count) for v, n, count in zip(values, left, column.counts, strict=True))
    return (column.cents + 1.0) / held if held else math.inf


def _ranked(pool: Pool, left: Sequence[int], used: Counter[str], dice: random.Random | None) -> list[Way]:
    """Free sheets and recipes, most promising first: estimated money for the area they can serve."""
    needed = sum(kind.polygon.area * n for kind, n in zip(pool.kinds, left, strict=True))
    ranked: list[tuple[float, int, Candidate, Recipe]] = []
    for (candidate, recipe), place in pool.places.items():
        if used[candidate.id] < (MANY if candidate.limit is None else candidate.limit) and place.room_mm2 > 0:
            luck = math.exp(dice.gauss(0.0, NOISE)) if dice else 1.0
            ranked.append((_estimate(pool, place, needed) * luck, len(ranked), candidate, recipe))
    return [(candidate, recipe) for _, _, candidate, recipe in sorted(ranked, key=lambda row: row[:2])]


def _estimate(pool: Pool, place: Place, needed: float) -> float:
    """Money for each mm2 of pieces, with as many of them on the sheet as its blanks usually hold."""
    rates, usual, candidate = pool.shop.rates, pool.densities.usual, place.candidate
    full = usual * place.room_mm2
    held = min(needed, full)
    price = candidate.expected_price(needed)
    back = price * rates.leftover_credit * max(0.0, 1.0 - held / (usual * candidate.polygon.area))
    return (price - back + pool.shop.setup_cost * math.ceil(len(place.grounds) * held / full)) / held


def _rebuild_part(pool: Pool, best: Sequence[Column], values: Sequence[float], dice: random.Random) -> None:
    """Take one to three sheets out of the best answer and build anew for the pieces they held."""
    count = min(len(best), dice.randint(1, 3))
    out = set(dice.sample(range(len(best)), count))
    wanted = [sum(best[i].counts[kind] for i in out) for kind in range(len(pool.kinds))]
    kept = Counter(c.candidate.id for i, c in enumerate(best) if i not in out)
    _build(pool, wanted, values, kept, dice)


def _no_answer(pool: Pool, wanted: Sequence[int]) -> StockFault:
    """Which piece no sheet of the stock key took; or that there are too few sheets for all."""
    nowhere = next((kind for number, kind in enumerate(pool.kinds) if not _lies_somewhere(pool, number)), None)
    stock = pool.kinds[0].sample.stock
    margin = pool.shop.machine.margin_mm
    if nowhere is None:
        largest = pool.kinds[0]
        have = "the rack and the offers have" if any(candidate.once for candidate in pool.ways) else "is on offer"
        needed = sheet_words(largest.sample, margin)
        return StockFault(
            f"there is too little {stock} for all {sum(wanted)} pieces: what {have} "
            f"holds only some; the largest is {largest.name}, of {needed} with its margins",
            mend=f"put a sheet of at least {needed} on offer in workshop.toml, in number enough, or receive more stock",
        )
    return StockFault(
        f"no sheet of {stock} holds {nowhere.name}: it needs a blank of at least "
        f"{sheet_words(nowhere.sample, margin)} that the machine reaches",
        mend=f"put a larger sheet on offer{_with_trims(pool)}, allow the piece to be split, or receive more stock",
    )


def _lies_somewhere(pool: Pool, number: int) -> bool:
    """Whether a sheet takes this kind, though it be alone: larger pieces may have had all sheets to themselves."""
    alone = [int(kind == number) for kind in range(len(pool.kinds))]
    found = any(column.counts[number] for column in pool.columns)
    return found or bool(pool.built(list(pool.places), alone, [1.0] * len(alone)))


def _with_trims(pool: Pool) -> str:
    rates = pool.shop.rates
    doubt = rates.trims_edges and any(candidate.doubtful for candidate in pool.ways)
    return f" (edge trims of {rates.edge_trim_mm:g} mm come off factory edges that are relied on)" if doubt else ""
