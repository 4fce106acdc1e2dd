"""Where all pieces are rectangles: whole answers from the rectangle packer, as columns for the master.

In: candidates, kinds, machine, rates. Out: Columns. Each candidate, brought onto the bed by each recipe, is a kind of
bin that costs what the bound counts for it: the price less what leftovers bring back at most, handling, and the credit
that each mm2 laid takes away. The master then knows the columns' true cost. Pure.
Method: one answer by sharing all pieces out; then all pieces laid on sheets that cost less, the set with most area
first (`bound.roomiest`); then fillings of single bins priced by the duals of a linear program over all fillings so far
(Gilmore and Gomory 1961, doi 10.1287/opre.9.6.849), the cheapest of them that hold all, and what its answer rounded
down leaves, shared out anew.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence, Sized
from dataclasses import dataclass, replace
from decimal import Decimal

from ortools.sat.python import cp_model

from nesting.assigning.bound import roomiest
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
from nesting.layout import Ground, Shape, Spot, rectangles
from nesting.layout.rectangles import Bin, Filled
from nesting.solving import NoAnswer, Relaxed, relaxed, solved

WORK = 4_000_000
"""Free rectangles looked at for one whole answer, for each round of effort asked for."""
LAY_WORK = 20_000_000
"""The same for laying all pieces on given sheets, where they are as many as `FULL`; less where they are fewer."""
FULL = 60
FILL_WORK = 5_000
"""The same for one bin priced by duals, for each round of effort; four times as much after each round in vain."""
EXACT_WORK = 200_000
"""What packing a bin exactly may take, likewise."""
MOST_AT_ONCE = 16
"""A bin of the area of more usual pieces is not packed exactly."""
VAIN = 3
"""Rounds in vain before no more fillings are priced."""
MOST_ROUNDS = 16
"""Rounds of effort that this comes to at most: who asks for more wants the search after it, which tells how it goes."""
MISSES = 3
"""Sets of sheets on which not all pieces could be laid, before no more are tried."""
MOST = 1000
"""Pieces beyond which no whole answer is looked for at once."""
PRICED = 200
"""Times at most that the linear program is solved and all bins are filled by its duals."""
CHOICE = 2.0
"""Effort for choosing among all fillings."""


Tell = Callable[[str, float], None]
"""Told the step under way and what the best answer costs so far: inf while there is none."""


@dataclass(frozen=True, slots=True)
class _Task:
    """The question to the packer: the pieces, how they are grouped, the bins; who is told, who may ask to stop."""

    kinds: Sequence[Kind]
    shapes: Sequence[Shape]
    kind_of: Mapping[str, int]
    ways: Sequence[Way]
    stock: Sequence[Bin]
    shop: Shop
    effort: int
    stop: Sized
    tell: Tell

    @property
    def copies(self) -> list[int]:
        return [len(kind.pieces) for kind in self.kinds]

    def counts(self, filled: Filled) -> Counter[int]:
        """How many of each kind lie there."""
        return Counter(self.kind_of[spot.id] for spot in filled.spots)

    def share_out(
        self,
        shapes: Sequence[Shape],
        stock: Sequence[Bin],
        floor: float = 0.0,
        tell: Callable[[float], None] = lambda cost: None,
    ) -> list[Filled]:
        machine, part = self.shop.machine, len(shapes) / len(self.shapes)
        return rectangles.share_out(
            shapes,
            stock,
            gap_mm=machine.gap_mm,
            margin_mm=machine.margin_mm,
            work=round(WORK * self.effort * part),
            seed=self.shop.seed,
            floor=floor,
            stop=self.stop,
            tell=tell,
        )

    def cost(self, filled: Sequence[Filled]) -> float:
        """What sheets so filled cost, by the bins' terms."""
        areas = (sum(n * self.kinds[kind].polygon.area for kind, n in self.counts(one).items()) for one in filled)
        return sum(
            self.stock[one.bin].cost + self.stock[one.bin].rate * float(area)
            for one, area in zip(filled, areas, strict=True)
        )


def rectangular_columns(
    found: Sequence[Candidate],
    kinds: Sequence[Kind],
    shop: Shop,
    effort: int,
    floor: float,
    stop: Sized,
    tell: Tell = lambda step, cost: None,
) -> tuple[list[Column], list[Column]]:
    """The columns of the best whole answer found, and others that go with them well; none unless all pieces are
    rectangles that one pass holds.

    No more is looked for than an answer that costs `floor`, nor once there is one and `stop` holds something. `tell`
    hears of every step, and of every answer that costs less than those before."""
    shapes = shapes_of(kinds, [len(kind.pieces) for kind in kinds], [1.0] * len(kinds))
    if len(shapes) > MOST or not rectangles.are_rectangles(shapes, ()):
        return [], []
    ways = [(way, grounds) for way, grounds in _ways(found, kinds, shop) if rectangles.are_rectangles((), grounds)]
    if not ways:
        return [], []
    kind_of = {piece.id: number for number, kind in enumerate(kinds) for piece in kind.pieces}
    stock = [_bin(way, grounds, shop) for way, grounds in ways]
    task = _Task(kinds, shapes, kind_of, [way for way, _ in ways], stock, shop, min(effort, MOST_ROUNDS), stop, tell)
    best, others = _whole_answers(task, floor)
    return _columns(task, best), _columns(task, others)


def _columns(task: _Task, filled: Sequence[Filled]) -> list[Column]:
    made = (column_of(*task.ways[o.bin], task.kinds, [placed(spot) for spot in o.spots], task.shop) for o in filled)
    return [priced for column in made if column is not None for priced in at_every_price(column, task.shop)]


def _whole_answers(task: _Task, floor: float) -> tuple[list[Filled], list[Filled]]:
    """The sheets of the best answer, and others; each way is tried only while what is found costs more than the floor,
    and nobody asks to stop."""
    filled = task.share_out(task.shapes, task.stock, floor, lambda cost: task.tell("sharing out rectangles", cost))
    if not filled or task.cost(filled) <= floor + 0.005:
        return filled, []
    filled = _cheaper(task, filled)
    if task.stop or task.cost(filled) <= floor + 0.005:
        return filled, []
    used, chosen = _priced(task, filled)
    both = sorted((answer for answer in (filled, chosen) if answer), key=task.cost)
    return both[0], [one for answer in (*both[1:], used) for one in answer]


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
    cost = float(candidate.price) * (1.0 - kept) + shop.setup_cost * len(grounds)
    return Bin(tuple(grounds), cost, kept * float(candidate.price_per_mm2), candidate.limit, candidate.id)


# ── given sheets that cost less ──────────────────────────────────────────────────────────────────────────────────


def _cheaper(task: _Task, best: list[Filled]) -> list[Filled]:
    """All pieces on cheaper and cheaper sheets, the set with most area first, until several hold not all of them."""
    roomy = _roomiest_ways(task)
    found, missed = [task.ways[at][0] for at in roomy], list[list[int]]()
    while len(missed) < MISSES and not task.stop:
        task.tell("laying rectangles on cheaper sheets", task.cost(best))
        sheets = roomiest(found, task.kinds, task.shop, Decimal(task.cost(best)), missed)
        if sheets is None:
            break
        chosen = [at for at, count in zip(roomy, sheets, strict=True) for _ in range(count)]
        filled = _laid(task, chosen, seed=task.shop.seed + len(missed))
        if filled and task.cost(filled) < task.cost(best) - 0.005:
            best = filled
        else:
            missed.append(sheets)
    return best


def _roomiest_ways(task: _Task) -> list[int]:
    """For each candidate the way that has most of it to lay pieces on."""
    rooms = [sum(ground.polygon.area for ground in kind.grounds) for kind in task.stock]
    by_candidate: dict[str, int] = {}
    for at in sorted(range(len(rooms)), key=lambda at: (-rooms[at], task.stock[at].cost)):
        by_candidate.setdefault(task.ways[at][0].id, at)
    return sorted(by_candidate.values())


def _laid(task: _Task, chosen: Sequence[int], seed: int) -> list[Filled]:
    """All pieces on one sheet of each of these ways; none if they found no place."""
    machine = task.shop.machine
    filled = rectangles.lay_all(
        task.shapes,
        [task.stock[at] for at in chosen],
        gap_mm=machine.gap_mm,
        margin_mm=machine.margin_mm,
        work=LAY_WORK * task.effort * min(FULL, len(task.shapes)) // FULL,
        seed=seed,
        stop=task.stop,
    )
    return [replace(one, bin=chosen[one.bin]) for one in filled]


# ── fillings priced by duals ─────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class _Filling:
    """A sheet as laid; how many of each kind it holds, what it costs."""

    filled: Filled
    counts: Counter[int]
    cost: float

    def gain(self, duals: Sequence[float]) -> float:
        """What it is worth by the duals more than it costs."""
        return sum(duals[kind] * n for kind, n in self.counts.items()) - self.cost


def _priced(task: _Task, first: Sequence[Filled]) -> tuple[list[Filled], list[Filled]]:
    """Fillings that the linear program uses and sheets for what its answer, rounded down, leaves; and the cheapest of
    all that hold all pieces."""
    fillings = _fillings(task, first)
    mix = _relaxed(task, fillings)
    exact = _exact(task)
    vain = 0
    for number in range(PRICED):
        task.tell("filling sheets with rectangles", task.cost(first))
        found, all_told = _fillings_by(task, exact, mix.duals, number, 4**vain * task.effort)
        better = [one for one in _fillings(task, found) if one.gain(mix.duals) > 1e-6]
        vain += not better
        if vain == VAIN or task.stop or (all_told and not better):
            break
        if better:
            fillings += better
            mix = _relaxed(task, fillings)
    used = [one for one, often in zip(fillings, mix.uses, strict=True) if often > 1e-6]
    rest = _rest(task, fillings, [math.floor(often + 1e-6) for often in mix.uses])
    # An answer costs `mix.cost` at least, and with one of the others no less than the first (reduced cost fixing).
    slack = task.cost(first) - mix.cost
    promising = [one for one in (*fillings, *rest) if -one.gain(mix.duals) < slack]
    return [one.filled for one in (*used, *rest)], _cheapest(task, promising)


def _fillings(task: _Task, several: Iterable[Filled]) -> list[_Filling]:
    return [_Filling(one, task.counts(one), task.cost([one])) for one in several]


def _exact(task: _Task) -> dict[int, rectangles.Exact]:
    """The bins that may be packed exactly."""
    alike: dict[int, list[Shape]] = {}
    for shape in task.shapes:
        alike.setdefault(task.kind_of[shape.id], []).append(shape)
    usual = sum(shape.polygon.area for shape in task.shapes) / len(task.shapes)
    kinds = [alike[kind] for kind in sorted(alike)]
    gaps = task.shop.machine.gap_mm, task.shop.machine.margin_mm
    return {
        at: rectangles.Exact(kinds, bin, *gaps)
        for at, bin in enumerate(task.stock)
        if rectangles.is_plain(bin, *gaps) and bin.grounds[0].polygon.area <= MOST_AT_ONCE * usual
    }


def _fillings_by(
    task: _Task, exact: Mapping[int, rectangles.Exact], duals: Sequence[float], number: int, effort: int
) -> tuple[list[Filled], bool]:
    """Each bin filled with what is worth most by the duals; whether there is proven to be nothing else that pays."""
    found, all_told = [], True
    for at in range(len(task.stock)):
        spots, told = exact[at].fill(duals, EXACT_WORK * effort) if at in exact else ((), False)
        if not spots and not told:
            spots = _spots_by(task, at, duals, number, FILL_WORK * effort)
        if spots:
            found.append(Filled(at, spots))
        all_told = all_told and told
    return found, all_told


def _spots_by(task: _Task, at: int, duals: Sequence[float], number: int, work: int) -> tuple[Spot, ...]:
    """The same for one bin, as far as it is found by trying."""
    machine, kind = task.shop.machine, task.stock[at]
    valued = [replace(shape, value=duals[task.kind_of[shape.id]]) for shape in task.shapes]
    shapes = [shape for shape in valued if shape.value > kind.rate * shape.polygon.area]
    if len(kind.grounds) > 1 or not shapes:
        return ()
    layout = rectangles.fill(
        shapes,
        kind.grounds[0],
        gap_mm=machine.gap_mm,
        margin_mm=machine.margin_mm,
        work=work,
        seed=task.shop.seed * 1009 + number,
    )
    return layout.spots if layout else ()


def _limits(task: _Task, fillings: Sequence[_Filling]) -> list[tuple[list[int], int]]:
    """(M3) the fillings of each candidate of which there are only so many, and how many."""
    return [
        ([k for k, one in enumerate(fillings) if task.ways[one.filled.bin][0].id == candidate.id], candidate.limit)
        for candidate in {candidate.id: candidate for candidate, _ in task.ways}.values()
        if candidate.limit is not None
    ]


def _relaxed(task: _Task, fillings: Sequence[_Filling]) -> Relaxed:
    """(M1) to (M3) without whole numbers, over these fillings."""
    counts, costs = [one.counts for one in fillings], [one.cost for one in fillings]
    return relaxed(counts, costs, task.copies, _limits(task, fillings))


def _cheapest(task: _Task, fillings: Sequence[_Filling]) -> list[Filled]:
    """(M1) to (M3) over these fillings: those that the best answer found uses."""
    model = cp_model.CpModel()
    use = [model.new_int_var(0, max(task.copies), "") for _ in fillings]
    for kind, wanted in enumerate(task.copies):
        model.add(
            sum(one.counts[kind] * var for one, var in zip(fillings, use, strict=True) if one.counts[kind]) >= wanted
        )
    for several, most in _limits(task, fillings):
        model.add(sum(use[k] for k in several) <= most)
    model.minimize(sum(round(100 * one.cost) * var for one, var in zip(fillings, use, strict=True)))
    try:
        solver = solved(model, CHOICE * task.effort / 8, linear=2)
    except NoAnswer:
        return []
    return [one.filled for one, var in zip(fillings, use, strict=True) for _ in range(solver.value(var))]


def _rest(task: _Task, fillings: Sequence[_Filling], times: Sequence[int]) -> list[_Filling]:
    """The sheets for the pieces that fillings, each used so often, do not hold."""
    held: Counter[int] = Counter()
    taken: Counter[str] = Counter()
    for one, n in zip(fillings, times, strict=True):
        for kind, count in one.counts.items():
            held[kind] += n * count
        taken[task.stock[one.filled.bin].of] += n
    left = [max(0, copies - held[number]) for number, copies in enumerate(task.copies)]
    stock = [replace(bin, limit=None if bin.limit is None else bin.limit - taken[bin.of]) for bin in task.stock]
    shapes = shapes_of(task.kinds, left, [1.0] * len(left))
    return _fillings(task, task.share_out(shapes, stock)) if shapes else []
