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
import random
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
from nesting.layout import Ground, Shape, Spot, packing, rectangles
from nesting.layout.rectangles import Bin, Filled
from nesting.solving import NoAnswer, relaxed, solved

WORK = 4_000_000
"""Free rectangles looked at for one whole answer, for each round of effort asked for."""
LAY_WORK = 20_000_000
"""The same for laying all pieces on given sheets, where they are as many as `FULL`; less where they are fewer."""
FULL = 60
FILL_WORK = 5_000
"""The same for one bin priced by duals, for each round of effort."""
EXACT_WORK, TURNING_WORK = 1_000_000, 200_000
"""What packing it exactly may take, likewise: more where all stay upright, as shares of the bin then tell sooner what
does not go in."""
VAIN, LONGER = 3, 4
"""Rounds in vain before no more fillings are priced; all after it take so many times as long, and count as so many."""
MOST_ROUNDS = 16
"""Rounds of effort that this comes to at most: who asks for more wants the search after it, which tells how it goes."""
MISSES = 3
"""Sets of sheets on which not all pieces could be laid, before no more are tried."""
MOST = 1000
"""Pieces beyond which no whole answer is looked for at once."""
PRICED = 200
"""Times at most that all bins are filled by the duals of the linear program."""
PARTS = 16
"""Parts of an answer that are priced by themselves, for each round of effort."""
SHEETS = 3, 6
"""Sheets in one part, from least to most."""
FIRST_CHOICE, CHOICE = 0.25, 2.0
"""Effort for choosing among all fillings: before parts of the answer are priced, and after."""
NARROW = 1 / 3
"""What a filling may cost by the duals, of what may be saved, for those that are chosen among first."""


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
    exact = _exact(task)
    if len(exact) < len(task.stock) or len({candidate.id for candidate, _ in task.ways}) == 1:
        # Otherwise fillings do better: sheets of several sizes, each of few pieces.
        filled = _cheaper(task, filled)
    if task.stop or task.cost(filled) <= floor + 0.005:
        return filled, []
    used, chosen = _priced(task, exact, filled)
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
    """A sheet of a candidate as laid; how many of each kind it holds, what it costs."""

    filled: Filled
    candidate: str
    counts: Counter[int]
    cost: float

    def is_within(self, copies: Sequence[int]) -> bool:
        """Whether it holds no more of any kind."""
        return all(n <= copies[kind] for kind, n in self.counts.items())


@dataclass(frozen=True, slots=True)
class _Wanted:
    """So many pieces of each kind; how many sheets there are of each candidate of which there are only so many."""

    copies: Sequence[int]
    sheets: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class _Mix:
    """Fillings mixed in fractions: how often each is used, what all cost; what one more piece of each kind costs, and
    what a sheet of each candidate costs beyond its price, as there are only so many."""

    uses: Sequence[float]
    cost: float
    duals: Sequence[float]
    rents: Mapping[str, float]

    def gain(self, one: _Filling) -> float:
        """What a filling is worth by the duals more than it costs."""
        worth = sum(self.duals[kind] * n for kind, n in one.counts.items())
        return worth - one.cost - self.rents.get(one.candidate, 0.0)


def _priced(
    task: _Task, exact: Mapping[int, rectangles.Exact], first: Sequence[Filled]
) -> tuple[list[Filled], list[Filled]]:
    """Fillings that the linear program uses and sheets for what its answer, rounded down, leaves; and the cheapest of
    all that hold all pieces.

    Where parts of an answer are priced by themselves, fillings turn up that pay beside whole ones, not in fractions."""
    fillings = _Fillings(task, exact, first)
    mix, some = fillings.grown(_all(task), VAIN)
    used = [one.filled for one, often in zip(some, mix.uses, strict=True) if often > 1e-6]
    rest = _rest(task, some, [math.floor(often + 1e-6) for often in mix.uses])
    fillings.add(rest)
    best = _cheapest(task, fillings.listed, first, FIRST_CHOICE, below=True)
    dice = random.Random(task.shop.seed)
    # Where bins hold many, or pieces turn, pricing takes too long for it.
    for _ in range(PARTS * task.effort if fillings.quick else 0):
        if task.stop:
            break
        task.tell("filling sheets with rectangles", task.cost(best))
        fillings.grown(_part(task, best, dice), 1)
    best = _cheapest(task, fillings.listed, best, CHOICE / 2, below=True, narrow=True)
    return [*used, *rest], _cheapest(task, fillings.listed, best, CHOICE / 2)


def _all(task: _Task) -> _Wanted:
    candidates = (candidate for candidate, _ in task.ways)
    return _Wanted(task.copies, {one.id: one.limit for one in candidates if one.limit is not None})


def _part(task: _Task, best: Sequence[Filled], dice: random.Random) -> _Wanted:
    """What lies on some sheets of an answer, and the sheets that the others leave."""
    out = set(dice.sample(range(len(best)), min(len(best), dice.randint(*SHEETS))))
    held = sum((task.counts(best[at]) for at in sorted(out)), Counter[int]())
    taken = Counter(task.ways[one.bin][0].id for at, one in enumerate(best) if at not in out)
    return _Wanted(
        [min(copies, held[kind]) for kind, copies in enumerate(task.copies)],
        {candidate: limit - taken[candidate] for candidate, limit in _all(task).sheets.items()},
    )


class _Fillings:
    """The fillings found so far, each once; and the looking for more."""

    def __init__(self, task: _Task, exact: Mapping[int, rectangles.Exact], first: Sequence[Filled]) -> None:
        self._task, self._exact = task, exact
        turns = any(shape.turns_deg is None or 90.0 in shape.turns_deg for shape in task.shapes)
        self.quick = not turns and len(exact) == len(task.stock)
        self._exact_work = TURNING_WORK if turns else EXACT_WORK
        self._known: dict[tuple[int, frozenset[tuple[int, int]]], _Filling] = {}
        self._looked = 0
        self.add(first)

    @property
    def listed(self) -> list[_Filling]:
        return list(self._known.values())

    def add(self, several: Iterable[Filled]) -> list[_Filling]:
        """Those of them that were not known."""
        fresh = []
        for filled in several:
            counts = self._task.counts(filled)
            key = filled.bin, frozenset(counts.items())
            if key not in self._known:
                candidate = self._task.ways[filled.bin][0].id
                self._known[key] = _Filling(filled, candidate, counts, self._task.cost([filled]))
                fresh.append(self._known[key])
        return fresh

    def grown(self, wanted: _Wanted, vain: int) -> tuple[_Mix, list[_Filling]]:
        """More and more fillings, as long as they pay for what is wanted, until looked for in vain so often; those that
        hold no more than that, mixed."""
        some = [one for one in self.listed if one.is_within(wanted.copies)]
        mix = _mix(some, wanted)
        missed = rounds = 0
        while rounds < PRICED:
            rounds += LONGER**missed
            found, all_told = self._looked_for(mix, wanted, LONGER**missed * self._task.effort)
            better = [one for one in self.add(found) if mix.gain(one) > 1e-6]
            missed += not better
            if missed == vain or self._task.stop or (all_told and not better):
                break
            if better:
                some += better
                mix = _mix(some, wanted)
        return mix, some

    def _looked_for(self, mix: _Mix, wanted: _Wanted, effort: int) -> tuple[list[Filled], bool]:
        """Each bin filled with what is worth most by the duals; whether there is proven to be nothing else that
        pays."""
        found, all_told = [], True
        self._looked += 1
        for at, (candidate, _) in enumerate(self._task.ways):
            rent = mix.rents.get(candidate.id, 0.0)
            spots, told = tuple[Spot, ...](), False
            if at in self._exact:
                spots, told = self._exact[at].fill(mix.duals, self._exact_work * effort, rent, wanted.copies)
            if not spots and not told:
                spots = self._tried(at, mix.duals, wanted.copies, FILL_WORK * effort)
            if spots:
                found.append(Filled(at, spots))
            all_told = all_told and told
        return found, all_told

    def _tried(self, at: int, duals: Sequence[float], copies: Sequence[int], work: int) -> tuple[Spot, ...]:
        """One bin, as far as it is found by trying."""
        machine, kind = self._task.shop.machine, self._task.stock[at]
        valued = shapes_of(self._task.kinds, copies, duals)
        shapes = [shape for shape in valued if shape.value > kind.rate * shape.polygon.area]
        if len(kind.grounds) > 1 or not shapes:
            return ()
        layout = rectangles.fill(
            shapes,
            kind.grounds[0],
            gap_mm=machine.gap_mm,
            margin_mm=machine.margin_mm,
            work=work,
            seed=self._task.shop.seed * 1009 + self._looked,
        )
        return layout.spots if layout else ()


def _exact(task: _Task) -> dict[int, rectangles.Exact]:
    """The bins that may be packed exactly."""
    kinds = [shapes_of([kind], [len(kind.pieces)], [1.0]) for kind in task.kinds]
    areas = [kind.polygon.area for kind in task.kinds]
    gaps = task.shop.machine.gap_mm, task.shop.machine.margin_mm
    return {
        at: rectangles.Exact(kinds, bin, *gaps)
        for at, bin in enumerate(task.stock)
        if rectangles.is_plain(bin, *gaps) and packing.holds_few(bin.grounds[0].polygon.area, areas, task.copies)
    }


def _limits(fillings: Sequence[_Filling], sheets: Mapping[str, int]) -> list[tuple[list[int], int]]:
    """(M3) the fillings of each candidate of which there are only so many, and how many."""
    return [([k for k, one in enumerate(fillings) if one.candidate == name], most) for name, most in sheets.items()]


def _mix(fillings: Sequence[_Filling], wanted: _Wanted) -> _Mix:
    """(M1) to (M3) without whole numbers, over these fillings."""
    counts, costs = [one.counts for one in fillings], [one.cost for one in fillings]
    mix = relaxed(counts, costs, wanted.copies, _limits(fillings, wanted.sheets))
    rents = {name: -dual for name, dual in zip(wanted.sheets, mix.limit_duals, strict=True)}
    return _Mix(mix.uses, mix.cost, mix.duals, rents)


def _cheapest(
    task: _Task,
    listed: Sequence[_Filling],
    known: Sequence[Filled],
    effort: float,
    below: bool = False,
    narrow: bool = False,
) -> list[Filled]:
    """(M1) to (M3) over these fillings: those that the best answer found uses, if it costs less than the known one.

    below: such an answer is asked for outright, which ends a small model sooner; of a large one any answer is a start.
    narrow: a small model, of those that are nearly in the linear program's mix; what it uses, rounded down, is kept."""
    wanted = _all(task)
    mix = _mix(listed, wanted)
    # An answer costs `mix.cost` at least, and with one of the others no less than the known one (reduced cost fixing).
    slack = (NARROW if narrow else 1.0) * (task.cost(known) - mix.cost)
    chosen = [
        (one, often) for one, often in zip(listed, mix.uses, strict=True) if often >= 1.0 or -mix.gain(one) < slack
    ]
    fillings = [one for one, _ in chosen]
    model = cp_model.CpModel()
    use = [model.new_int_var(math.floor(often + 1e-6) if narrow else 0, max(wanted.copies), "") for _, often in chosen]
    for kind, copies in enumerate(wanted.copies):
        held = (one.counts[kind] * var for one, var in zip(fillings, use, strict=True) if one.counts[kind])
        model.add(sum(held) >= copies)
    for several, most in _limits(fillings, wanted.sheets):
        model.add(sum(use[k] for k in several) <= most)
    cost = sum(round(100 * one.cost) * var for one, var in zip(fillings, use, strict=True))
    if below:
        model.add(cost < round(100 * task.cost(known)))
    model.minimize(cost)
    try:
        solver = solved(model, effort * task.effort / 8, linear=2)
    except NoAnswer:
        return list(known)
    found = [one.filled for one, var in zip(fillings, use, strict=True) for _ in range(solver.value(var))]
    return min(found, list(known), key=task.cost)


def _rest(task: _Task, fillings: Sequence[_Filling], times: Sequence[int]) -> list[Filled]:
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
    return task.share_out(shapes, stock) if shapes else []
