"""The shortest strip that holds all: separate, shorten, separate again; explore first, squeeze at the end.

In: shapes, width, gap, margin. Out: a checked Layout with its length.

Two chains work side by side, with random numbers of their own, and exchange their best at fixed amounts of work, so
that one thread or two give the same layout. Exploring, a strip is shortened by small steps, more gently than pieces
need, since a strip shortened in a hurry jams early; when even the smallest step fails, two large pieces of the shortest
layout are swapped, the strip is lengthened until all lie apart, and it is shortened anew. What brings nothing again and
again is done in haste; at last one chain starts afresh, by itself, since few pieces, or many alike, can lie so that no
swap leads on. Squeezing, ever smaller steps are taken from the shortest layout only. At the end all pieces slide
together as far as they go (`compaction`), not before: pieces pushed tight together are harder to move apart.

How short a strip of many pieces gets is decided early, and by chance. Where the effort is ample, there is a race first:
many strips are begun, and the shortest third goes on to the next heat, shaken up in turns, and so on.

Separation and squeezing: Gardeyn et al. (2025), arXiv:2509.13329; shaking a layout up and letting it settle: iterated
local search, Lourenço, Martin, Stützle (2003), doi 10.1007/0-306-48056-5_11; heats: successive halving,
Jamieson, Talwalkar (2016), AISTATS, 240-248. Ours: the exchange at fixed work, the step that follows the ease of
separation, room given instead of a fixed length, haste and a fresh start.
"""

from __future__ import annotations

import math
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from shapely.geometry import box

from nesting.layout import kernels
from nesting.layout.alike import lay_in_rows, many_alike
from nesting.layout.compaction import Parts, compact
from nesting.layout.lattice import spots_on_lattice
from nesting.layout.outlines import laid
from nesting.layout.search import CHUNK, Chain, Keep, Task, by_bulk, checked, lay_in_order
from nesting.layout.terms import QUIET, Effort, Ground, Layout, Shape, Spot, Stop, Watch, after_evaluations

CHAINS = 2
EXCHANGE = 150_000
"""Evaluations of each chain between two exchanges: a tenth of a second."""
FIRST_STEP, GENTLE, LAST_STEP = 0.04, 0.003, 0.0005
"""Shares by which a strip is shortened while exploring: first, as long as it goes well, last."""
EASY, HARD = 8, 24
"""Rounds of a separation up to which the next step is longer, from which it is shorter."""
ROOM = 0.01
"""The share by which a strip is lengthened, again and again until pieces swapped lie apart."""
EXPLORING = 0.8
"""The share of the effort spent exploring; the rest is for squeezing."""
SQUEEZE = (5e-4, 1e-5)
"""Shares by which a strip is shortened while squeezing: first, last."""
PATIENCE = 80
"""Rounds without gain before a separation is given up."""
STALE = 3
"""Layouts shaken in vain, one after another, from which on more are shaken in less time: with HASTY rounds without gain
before they get more room, and twice the last step."""
HASTY = 25
AMPLE = 1 / 120
"""The share of the effort within which a first strip must be done for a race to pay: some ten minutes."""
MANY = 32
"""Pieces from which on a race pays: fewer find their way from anywhere, and a race only takes time from that."""
NEARLY_ALL = 0.8
"""If pieces alike have such a share of the area, one chain begins with rows of them."""
RACE = 0.6
"""The share of the effort that a race takes."""
HEATS, THIRD = 3, 3
"""Heats of a race, each of the same effort; one layout of so many goes on to the next, but at least one a chain."""
AFRESH = 12
"""Layouts shaken in vain after which every chain but the first starts afresh, and listens to no other until it is to
squeeze."""


@dataclass(slots=True)
class _Best:
    """A layout and its length in the engine's scale."""

    keep: Keep
    length: float


def strip(
    shapes: Sequence[Shape],
    width_mm: float,
    *,
    gap_mm: float = 0.0,
    margin_mm: float = 0.0,
    stop: Stop | None = None,
    seed: int = 0,
    watch: Watch = QUIET,
    threads: int = 2,
) -> Layout:
    """The shortest strip found, 0 <= y <= width, 0 <= x <= length; the same for one thread and two."""
    stop = stop or after_evaluations(2_000_000)
    length = _ample(shapes, width_mm, gap_mm, margin_mm)
    task = Task(shapes, [Ground(box(0.0, 0.0, length, width_mm))], gap_mm, margin_mm)
    chains = [Chain(task, seed * CHAINS + number) for number in range(CHAINS)]
    starts = _starts(task, chains)
    best = min(starts, key=_length)
    layout = _taken(chains[0], best.keep)
    watch.better(layout)
    runs = [
        _Run(chain, start, AFRESH if at else math.inf)
        for at, (chain, start) in enumerate(zip(chains, starts, strict=True))
    ]
    with ThreadPoolExecutor(threads) as pool:
        try:
            while (share := stop(_effort(chains))) < 1.0 and best.length > runs[0].least * (1.0 + SQUEEZE[1]):
                list(pool.map(lambda run, share=share: run.advance(share), runs))
                shortest = min((found for run in runs for found in run.field), key=_length)
                if shortest.length < best.length:
                    best = shortest
                    layout = _taken(chains[0], best.keep)
                    watch.better(layout)
                for run in runs:
                    run.told = best
                _deal([run for run in runs if run.racing], share)
        except KeyboardInterrupt:
            pass
    chains[0].restore(best.keep)
    if compact(chains[0], Parts(task.table)):
        layout = _taken(chains[0], chains[0].save())
    return replace(layout, effort=_effort(chains))


def _starts(task: Task, chains: Sequence[Chain]) -> list[_Best]:
    """What each chain begins with: pieces on a lattice, else one by one; the second in rows, if they are alike."""
    if chains[0].lay(_of_least_length(task)):
        lay_in_order(chains[0], by_bulk(task))
    starts = [_best_of(chains[0])] * CHAINS
    if many_alike(task, NEARLY_ALL):
        lay_in_rows(chains[1], by_bulk(task))
        if chains[1].present.all():
            starts[1] = _best_of(chains[1])
    return starts


def _effort(chains: Sequence[Chain]) -> Effort:
    return sum((chain.effort for chain in chains), Effort())


def _best_of(chain: Chain) -> _Best:
    return _Best(chain.save(), float(chain.state.box[:, kernels.X1].max()))


def _length(found: _Best) -> float:
    return found.length


def _deal(runs: Sequence[_Run], share: float) -> None:
    """Once a heat is over, its shortest layouts go on, dealt to the chains in turn: to the next heat, or out of the
    race."""
    heat = int(share / RACE * HEATS)
    if not runs or heat == runs[0].heat:
        return
    ranked = sorted((found for run in runs for found in run.field), key=_length)
    ranked = ranked[: max(len(runs), len(ranked) // THIRD)]
    for number, run in enumerate(runs):
        run.go_on(heat, ranked[number :: len(runs)])


class _Run:
    """One chain at work on layouts, its `field`, of which number `at` has its turn until the share `due` of the effort
    is used up. `told` is the shortest layout of all at the last exchange, `best` its own, since it started (from
    `first`) if there is no race; `share` of the effort is used up. So many layouts were shaken in `vain`; with `afresh`
    of them it starts again, and is `alone` from then on."""

    def __init__(self, chain: Chain, first: _Best, afresh: float) -> None:
        self.chain, self.first, self.afresh = chain, first, afresh
        self.field, self.at, self.due = [first], 0, EXPLORING
        self.told = first
        self.racing, self.heat = False, 0
        self.vain, self.alone = 0, False
        self.share = 0.0
        self.least = _least_length(chain.task)
        self.work = self._begin()

    def go_on(self, heat: int, field: list[_Best]) -> None:
        """Go on from these layouts, in this heat of the race or, if it has no more, with the shortest of all."""
        self.heat, self.field, self.at = heat, field, 0
        self.racing = heat < HEATS
        self.work = self._race() if self.racing else self._explore()

    def advance(self, share: float) -> None:
        """Work until so many evaluations more are spent."""
        self.share = share
        mark = self.chain.effort.evaluations + EXCHANGE
        for _ in range(EXCHANGE // CHUNK * 10):
            if self.chain.effort.evaluations >= mark:
                break
            next(self.work)

    @property
    def best(self) -> _Best:
        return self.field[self.at]

    @best.setter
    def best(self, found: _Best) -> None:
        self.field[self.at] = found

    @property
    def _due(self) -> bool:
        return self.share >= self.due

    @property
    def _shortest(self) -> _Best:
        return self.told if self.told.length < self.best.length else self.best

    @property
    def _stale(self) -> bool:
        return self.vain >= STALE

    @property
    def _home(self) -> _Best:
        """What a chain goes on from: the shortest layout, but its own in a race and since it started afresh."""
        return self.best if self.racing or self.alone else self._shortest

    def _begin(self) -> Iterator[None]:
        """A first strip; then, if the effort is ample, one after another for the first heat. Yields every few
        hundredths of a second, as all of these do. What a strip took is known from the first exchange on."""
        yield from self._compress(self.first)
        if not 0.0 < self.share <= AMPLE or len(self.chain.state.x) < MANY:
            yield from self._explore()
        self.racing = True
        while True:
            self.field.append(self.first)
            self.at += 1
            yield from self._compress(self.first)
            yield

    def _race(self) -> Iterator[None]:
        """Each layout of the field shaken up for its part of the heat, the last until the next is dealt."""
        begun, span, last = self.heat * RACE / HEATS, RACE / HEATS / len(self.field), len(self.field) - 1
        for at in range(len(self.field)):
            self.at, self.vain, self.due = at, 0, begun + (at + 1) * span if at < last else EXPLORING
            while not self._due:
                yield from self._settle()
                yield

    def _explore(self) -> Iterator[None]:
        """Shake up the shortest layout of all, then squeeze it, without end."""
        self.vain, self.due = 0, EXPLORING
        while not self._due:
            yield from self._settle()
            if self.vain >= self.afresh:
                self.best, self.vain, self.alone = self.first, 0, True
                yield from self._compress(self.first)
            yield
        while True:
            yield from self._squeeze()
            yield

    def _settle(self) -> Iterator[None]:
        """Shake a layout up, and shorten what comes of it."""
        before = self._home.length
        here = yield from self._shaken(self._home)
        yield from self._compress(here)
        self.vain = self.vain + 1 if self._home.length >= before else 0

    def _compress(self, here: _Best) -> Iterator[None]:
        """Shorten gently, until even the smallest step fails: the step follows how easily pieces come apart."""
        step, last = FIRST_STEP, LAST_STEP * (2 if self._stale else 1)
        while not self._due and step >= last and here.length > self.least:
            before = self.chain.effort.rounds
            _shorten(self.chain, here.keep, max(self.least, here.length * (1.0 - step)))
            if (yield from self._separate(PATIENCE)):
                here = _best_of(self.chain)
                self.best = min(self.best, here, key=_length)
                step = _eased(step, self.chain.effort.rounds - before)
            else:
                step /= 2

    def _shaken(self, home: _Best) -> Generator[None, None, _Best]:
        """Two large pieces swapped, and room given until all lies apart again."""
        self.chain.restore(home.keep)
        length, swapped = home.length, False
        while not self._due:
            length *= 1.0 + ROOM
            _lengthen(self.chain, length)
            if not swapped:
                self.chain.disturb(self.chain.save())
                swapped = True
            if (yield from self._separate(HASTY if self._stale else PATIENCE)):
                return _best_of(self.chain)
        return home

    def _squeeze(self) -> Generator[None, None, None]:
        """One small step from the shortest layout, the smaller the later, unless another chain gets there first."""
        self.best = self._shortest
        late = (self.share - EXPLORING) / (1.0 - EXPLORING)
        step = SQUEEZE[0] * (1.0 - late) + SQUEEZE[1] * late
        target = max(self.least, self.best.length * (1.0 - step))
        _shorten(self.chain, self.best.keep, target)
        if (yield from self._separate(PATIENCE, target)):
            self.best = _best_of(self.chain)

    def _separate(self, patience: int, unless: float = 0.0) -> Generator[None, None, bool]:
        """Separate at this length, unless another chain has told of one as short."""
        self.chain.calm()
        for state in self.chain.separating(patience, 1):
            if state is not None:
                return state
            yield
            if self.told.length <= unless:
                return False
        return False


def _eased(step: float, rounds: int) -> float:
    """The next step after one that took so many rounds."""
    if rounds <= EASY:
        return min(FIRST_STEP, step * 1.5)
    return max(GENTLE, step / 1.5) if rounds >= HARD and step > GENTLE else step


def _taken(chain: Chain, keep: Keep) -> Layout:
    """A saved layout on a strip just as long as it needs."""
    task = chain.task
    spots = chain.spots_of(keep)
    polygons = {shape.id: shape.polygon for shape in task.shapes}
    length = max(laid(polygons[spot.id], spot).bounds[2] for spot in spots) + task.margin_mm
    width = task.grounds[0].polygon.bounds[3]
    layout = checked(task, spots, chain.effort, [Ground(box(0.0, 0.0, length, width))])
    assert layout is not None
    return replace(layout, length_mm=length)


def _least_length(task: Task) -> float:
    """No strip can be shorter, in the engine's scale: the area's share of the width, and the longest shape turned."""
    box = task.table.rows.trait
    narrow = [
        float(np.min(box[first : first + turns, kernels.X1] - box[first : first + turns, kernels.X0]))
        for first, turns, slot in zip(task.table.first, task.table.turns, task.table.slot, strict=True)
        if slot < 0
    ]
    width = task.grounds[0].polygon.bounds[3] - 2 * task.margin_mm
    area = sum(shape.polygon.area for shape in task.shapes)
    return max([area / width / task.scale, *narrow])


def _of_least_length(task: Task) -> list[Spot]:
    """Spots on a lattice of the shortest strip there can be; none where there are none that lie apart."""
    width = task.grounds[0].polygon.bounds[3]
    ground = Ground(box(0.0, 0.0, _least_length(task) * task.scale + 2 * task.margin_mm, width))
    shortest = Task(task.shapes, [ground], task.gap_mm, task.margin_mm)
    spots = spots_on_lattice(shortest)
    return spots if spots and checked(shortest, spots, Effort()) else []


def _shorten(chain: Chain, keep: Keep, length: float) -> None:
    """Lay as saved, but on a shorter strip: what lies beyond a random cut moves in by as much."""
    chain.restore(keep)
    extent = float(chain.state.box[:, kernels.X1].max())
    cut = chain.random() * extent
    region = chain.regions.box[0]
    region[2] = length
    x, reach = chain.state.x, chain.rows.trait[chain.state.row]
    x[x > cut] -= extent - length
    x[:] = np.clip(x, region[0] - reach[:, kernels.X0], length - reach[:, kernels.X1])
    chain.remeasure()


def _lengthen(chain: Chain, length: float) -> None:
    """Give room at a random cut: what lies beyond moves out to the new length."""
    extent = float(chain.state.box[:, kernels.X1].max())
    chain.regions.box[0, 2] = length
    x = chain.state.x
    x[x > chain.random() * extent] += length - extent
    chain.remeasure()


def _ample(shapes: Sequence[Shape], width_mm: float, gap_mm: float, margin_mm: float) -> float:
    boxes = [shape.polygon.bounds for shape in shapes]
    longest = max(math.hypot(x1 - x0, y1 - y0) for x0, y0, x1, y1 in boxes)
    area = sum(shape.polygon.area for shape in shapes)
    return 2 * margin_mm + 4 * area / width_mm + 2 * longest + gap_mm * len(shapes)
