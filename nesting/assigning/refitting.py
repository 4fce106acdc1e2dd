"""Refitting: the pieces of a few sheets of the best answer laid again, all at once, where it costs less.

In: columns of the best answer. Out: columns that hold the same pieces: without one of the sheets, on a cheaper sheet,
or on less of a sheet, so that more of it is left in one part.
Method: the true-shape engine's `fit` lays everything on all blanks at once and moves it apart. What cannot pay is not
tried, nor what would be much denser than any sheet has come out so far: (R1) to (R3) of docs/model.md.
"""

from __future__ import annotations

import itertools
import random
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field, replace

import shapely

from nesting.assigning.columns import (
    Column,
    Kind,
    Recipe,
    Shop,
    Way,
    blanks_of,
    column_of,
    ground_of,
    placed,
    shapes_of,
)
from nesting.assigning.stock import Candidate
from nesting.layout import Ground, after_evaluations, fit
from nesting.model import Placement, Point, Turn
from nesting.passes.reach import EPS
from nesting.placing import lay

MOST_BLANKS = 8
"""What comes apart into more blanks is not refitted."""
NEIGHBOURS = 3
"""At most so many sheets take the pieces of one that is given up."""
SQUEEZES = 4
"""Steps of the bisection that looks for the least of a sheet that pieces can lie on."""
WORTH_MM = 3.0
"""Less than so much is not worth squeezing for."""
TRIES = 3
"""Refits tried in each round."""
SHARE = 4
"""A refit may take this fraction of what the engine may try for a sheet built anew."""
TIMES = 3
"""The same is tried at most so often: what failed with three seeds seldom comes off with the next."""
LEARNING = 0.2
"""How much a full sheet moves the density that is expected of the next."""
DENSER = 1.03
"""So much denser than the densest sheet so far is worth a try."""


@dataclass(frozen=True, slots=True)
class Place:
    """A sheet and how it comes onto the bed; where pieces may lie on each of its blanks, as far as passes reach."""

    candidate: Candidate
    recipe: Recipe
    grounds: tuple[Ground, ...]

    @property
    def room_mm2(self) -> float:
        return sum(float(ground.polygon.area) for ground in self.grounds)


def place_of(candidate: Candidate, recipe: Recipe, shop: Shop) -> Place:
    """The sheet with all the blanks that the recipe makes of it."""
    blanks = blanks_of(candidate, recipe, shop)
    grounds = (ground_of(candidate, blank, recipe.one_pass, shop) for blank in blanks)
    return Place(candidate, recipe, tuple(ground for ground in grounds if ground is not None))


def refitted(
    places: Sequence[Place], counts: Sequence[int], kinds: Sequence[Kind], shop: Shop
) -> list[list[Placement]] | None:
    """Lay so many of each kind on these places, moved apart all at once: what lies on each; None if that failed."""
    homes = [place for place in range(len(places)) for _ in places[place].grounds]
    layout = fit(
        shapes_of(kinds, counts, [1.0] * len(kinds)),
        [ground for place in places for ground in place.grounds],
        gap_mm=shop.machine.gap_mm,
        margin_mm=shop.machine.margin_mm,
        stop=after_evaluations(shop.evaluations),
        seed=shop.seed,
    )
    if layout is None:
        return None
    spots: list[list[Placement]] = [[] for _ in places]
    for spot in layout.spots:
        spots[homes[spot.ground]].append(placed(spot))
    return spots


def squeezed(column: Column, axis: int, kinds: Sequence[Kind], shop: Shop, densest: float) -> Column | None:
    """The pieces of the emptiest blank on the least of it that was found, from its low end; None if on no less."""
    assert column.recipe is not None
    held = [[spot for spot in column.sheet.placements if spot.blank == blank.id] for blank in column.sheet.blanks]
    grounds = [
        ground_of(column.candidate, blank.rect_mm, column.recipe.one_pass, shop) for blank in column.sheet.blanks
    ]
    free = [g.polygon.area - _area_mm2(s, kinds) if g else 0.0 for g, s in zip(grounds, held, strict=True)]
    at = free.index(max(free))
    ground = grounds[at]
    assert ground is not None
    low = ground.polygon.bounds[axis]
    least = low + _area_mm2(held[at], kinds) / densest / _across(ground, axis)
    most = _end_mm(held[at], axis, kinds) + shop.machine.margin_mm
    found: list[Placement] | None = None
    for _ in range(SQUEEZES):
        level = (least + most) / 2
        if most - least < WORTH_MM:
            break
        short = Place(column.candidate, column.recipe, (_cut_short(ground, axis, level),))
        spots = refitted([short], _counts(held[at], kinds), kinds, shop)
        if spots is None:
            least = level
        else:
            found, most = spots[0], _end_mm(spots[0], axis, kinds) + shop.machine.margin_mm
    if found is None:
        return None
    stay = [spot for other in (*held[:at], *held[at + 1 :]) for spot in other]
    return column_of(column.candidate, column.recipe, kinds, [*stay, *found], shop)


def _area_mm2(spots: Sequence[Placement], kinds: Sequence[Kind]) -> float:
    counts = _counts(spots, kinds)
    return sum(kind.polygon.area * count for kind, count in zip(kinds, counts, strict=True))


def _counts(spots: Sequence[Placement], kinds: Sequence[Kind]) -> list[int]:
    taken = Counter(spot.piece for spot in spots)
    return [sum(taken[piece.id] for piece in kind.pieces) for kind in kinds]


def _end_mm(spots: Sequence[Placement], axis: int, kinds: Sequence[Kind]) -> float:
    pieces = {piece.id: piece for kind in kinds for piece in kind.pieces}
    return max(lay(pieces[spot.piece], spot).bounds[axis + 2] for spot in spots)


def _across(ground: Ground, axis: int) -> float:
    bounds = ground.polygon.bounds
    return float(bounds[3 - axis] - bounds[1 - axis])


def _size(ground: Ground, margins_mm: float) -> Point:
    x0, y0, x1, y1 = ground.polygon.bounds
    return x1 - x0 - margins_mm, y1 - y0 - margins_mm


def _lies_on_one(kind: Kind, sizes: Sequence[Point]) -> bool:
    """Whether a piece of the kind is no wider and no longer than one of the sizes, as it may be turned."""
    x0, y0, x1, y1 = kind.polygon.bounds
    width, length = x1 - x0 - EPS, y1 - y0 - EPS
    turned = kind.sample.turn is Turn.ANY
    return any((width <= x and length <= y) or (turned and length <= x and width <= y) for x, y in sizes)


def _cut_short(ground: Ground, axis: int, level: float) -> Ground:
    x0, y0, x1, y1 = ground.polygon.bounds
    part = ground.polygon & (shapely.box(x0, y0, level, y1) if axis == 0 else shapely.box(x0, y0, x1, level))
    return replace(ground, polygon=max(shapely.get_parts(part).tolist(), key=lambda one: float(one.area)))


# ── which to try ─────────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class Try:
    """Sheets of the answer to give up, sheets laid anew that stay, a new one, and the cents that this saves at most; or
    the axis along which a sheet that stays is squeezed."""

    out: tuple[int, ...] = ()
    stay: tuple[int, ...] = ()
    new: Way | None = None
    axis: int | None = None
    saves: float = 0.0


@dataclass(slots=True)
class Densities:
    """How much of a blank pieces have come to take so far: the most, and of their room what full sheets usually do."""

    most: float = 0.5
    usual: float = 0.6

    def saw(self, column: Column, kinds: Sequence[Kind], full_mm2: float | None) -> None:
        """Learn from a column; `full_mm2`: the room for pieces on all its blanks, if it left pieces over."""
        areas, rooms = list[float](), list[float]()
        for blank in column.sheet.blanks:
            laid = [spot for spot in column.sheet.placements if spot.blank == blank.id]
            areas.append(_area_mm2(laid, kinds))
            rooms.append(float((column.candidate.polygon & shapely.box(*blank.rect_mm)).area))
        self.most = max([self.most, *(area / room for area, room in zip(areas, rooms, strict=True))])
        if full_mm2 is not None:
            self.usual += LEARNING * (sum(areas) / full_mm2 - self.usual)


@dataclass(slots=True)
class Refits:
    """What has been tried on the way."""

    ways: Mapping[Candidate, Sequence[Recipe]]
    kinds: Sequence[Kind]
    densities: Densities
    threads: Executor
    times: Counter[tuple[object, ...]] = field(default_factory=Counter)
    tight: set[tuple[object, ...]] = field(default_factory=set)
    """What came off where it was squeezed: were it cheaper so, the answer would have it by now."""
    places: dict[Way, Place] = field(default_factory=dict)
    """Those made so far."""
    dense: float = 0.0
    """A little denser than any sheet was when tries were begun last: they may not see what is learned meanwhile."""

    def begun(self, best: Sequence[Column], dice: random.Random, shop: Shop) -> list[Future[list[Column]]]:
        """(R3) the most promising on an answer, tried in other threads: the columns that come of each."""
        self.dense = self.densities.most * DENSER
        shop = replace(shop, evaluations=shop.evaluations // SHARE)
        keys = {one: self._key(one, best) for one in self._tries(best, shop)}
        times = {one: self.times[key] for one, key in keys.items() if key not in self.tight}
        promise = {one: one.saves * dice.random() / (1 + 3 * often) for one, often in times.items() if often < TIMES}
        ranked = sorted(promise, key=lambda one: -promise[one])
        chosen = list(itertools.islice((one for one in ranked if self._may_hold(one, best, shop)), TRIES))
        self.times.update(keys[one] for one in chosen)
        return [self.threads.submit(self._tried, one, best, shop) for one in chosen]

    def _key(self, one: Try, best: Sequence[Column]) -> tuple[object, ...]:
        held = (tuple(sorted((best[i].candidate.id, best[i].counts) for i in group)) for group in (one.out, one.stay))
        return *held, one.new and (one.new[0].id, one.new[1]), one.axis

    def _tried(self, one: Try, best: Sequence[Column], shop: Shop) -> list[Column]:
        if one.axis is not None:
            column = squeezed(best[one.stay[0]], one.axis, self.kinds, shop, self.dense)
            if column is None:
                return []
            self.tight.add(self._key(one, best))
            return [column]
        places, counts = self._places(one, best, shop), self._counts(one, best)
        spots = refitted(places, counts, self.kinds, shop)
        if spots is None:
            return []
        made = [
            column_of(place.candidate, place.recipe, self.kinds, laid, shop)
            for place, laid in zip(places, spots, strict=True)
        ]
        return [column for column in made if column is not None]

    def _places(self, one: Try, best: Sequence[Column], shop: Shop) -> list[Place]:
        """The sheets that stay, and the new one."""
        ways = [(best[i].candidate, best[i].recipe) for i in one.stay] + ([one.new] if one.new else [])
        for candidate, recipe in ways:
            if recipe is not None and (candidate, recipe) not in self.places:
                self.places[candidate, recipe] = place_of(candidate, recipe, shop)
        return [self.places[candidate, recipe] for candidate, recipe in ways if recipe is not None]

    def _counts(self, one: Try, best: Sequence[Column]) -> list[int]:
        return [sum(best[i].counts[kind] for i in one.out + one.stay) for kind in range(len(self.kinds))]

    def _may_hold(self, one: Try, best: Sequence[Column], shop: Shop) -> bool:
        """(R1) the pieces may have room on the sheets: by their area, and each on a blank as wide and as long."""
        if one.axis is not None:
            return True
        places, counts = self._places(one, best, shop), self._counts(one, best)
        grounds = [ground for place in places for ground in place.grounds]
        room = sum(place.room_mm2 for place in places)
        area = sum(kind.polygon.area * count for kind, count in zip(self.kinds, counts, strict=True))
        sizes = [_size(ground, 2 * shop.machine.margin_mm) for ground in grounds]
        return (
            len(grounds) <= MOST_BLANKS
            and area <= room * self.dense
            and all(_lies_on_one(kind, sizes) for kind, count in zip(self.kinds, counts, strict=True) if count)
        )

    def _tries(self, best: Sequence[Column], shop: Shop) -> Iterator[Try]:
        """What may pay: a sheet squeezed; given up; exchanged for another, alone, with a second, or beside one."""
        areas = [_area_mm2(column.sheet.placements, self.kinds) for column in best]
        laid = [i for i, column in enumerate(best) if column.recipe is not None]
        for i in laid:
            saves = best[i].cents - self._least_cents(best[i].candidate, areas[i], shop)
            if saves > 0:
                yield from (Try(stay=(i,), axis=axis, saves=saves) for axis in (0, 1))
        yield from self._given_up(best, laid, areas)
        for i in laid:
            yield from self._exchanged(best, (i,), (), areas, shop)
        for i, j in itertools.permutations(laid, 2):
            yield from self._exchanged(best, (i,), (j,), areas, shop)
            if i < j:
                yield from self._exchanged(best, (i, j), (), areas, shop)

    def _given_up(self, best: Sequence[Column], laid: Sequence[int], areas: Sequence[float]) -> Iterator[Try]:
        """Each sheet on the fewest others that have room for what lies on it."""
        slack = sorted((best[i].candidate.polygon.area * self.dense - areas[i], i) for i in laid)
        for i in laid:
            others = [one for one in slack if one[1] != i]
            for count in range(1, min(NEIGHBOURS, len(others)) + 1):
                if sum(room for room, _ in others[-count:]) >= areas[i]:
                    yield Try((i,), tuple(j for _, j in others[-count:]), saves=float(best[i].cents))
                    break

    def _exchanged(
        self, best: Sequence[Column], out: tuple[int, ...], stay: tuple[int, ...], areas: Sequence[float], shop: Shop
    ) -> Iterator[Try]:
        """The pieces of some sheets on another sheet that may cost less, or shared between it and one that stays."""
        kept = Counter(column.candidate.id for i, column in enumerate(best) if i not in out)
        cents, area = sum(best[i].cents for i in out), sum(areas[i] for i in out)
        room = sum(best[i].candidate.polygon.area * self.dense - areas[i] for i in stay)
        for candidate in self.ways:
            free = candidate.limit is None or kept[candidate.id] < candidate.limit
            same = len(out) == 1 and best[out[0]].candidate.id == candidate.id
            most = candidate.polygon.area * self.dense
            saves = cents - self._least_cents(candidate, min(area, most), shop)
            if free and not same and saves > 0 and area <= room + most:
                yield from (Try(out, stay, (candidate, way), saves=saves) for way in self.ways[candidate])

    def _least_cents(self, candidate: Candidate, area_mm2: float, shop: Shop) -> float:
        """(R2) what a sheet that holds so much costs if the rest of it is left in one part."""
        share = max(0.0, 1.0 - area_mm2 / (candidate.polygon.area * self.dense))
        return 100 * (float(candidate.price) * (1.0 - shop.rates.leftover_credit * share) + shop.setup_cost)
