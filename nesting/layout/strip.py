"""The shortest strip that holds all: separate, shorten, separate again; explore first, squeeze at the end.

In: shapes, width, gap, margin. Out: a checked Layout with its length.

Two chains work side by side, with random numbers of their own, and exchange their best at fixed amounts of work, so
that one thread or two give the same layout. Exploring, a strip is shortened and pieces are separated; where that fails,
large pieces of one of the least bad layouts are swapped and it is tried again at the same length. Squeezing, ever
smaller steps are taken from the best layout only. Method: Gardeyn et al. (2025), arXiv:2509.13329; ours are the
exchange at fixed work, the step that adapts, and the swap of unlike pieces.
"""

from __future__ import annotations

import math
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from shapely.geometry import box

from nesting.layout import kernels
from nesting.layout.outlines import laid
from nesting.layout.search import CHUNK, Chain, Keep, Task, by_bulk, checked, lay_in_order
from nesting.layout.terms import QUIET, Effort, Ground, Layout, Shape, Stop, Watch, after_evaluations

CHAINS = 2
EXCHANGE = 150_000
"""Evaluations of each chain between two exchanges: a sixth of a second."""
FIRST_STEP, LAST_STEP = 0.04, 0.001
"""Shares by which a strip is shortened while exploring: the step halves whenever a length is not reached."""
EXPLORING = 0.8
"""The share of the effort spent exploring; the rest is for squeezing."""
SQUEEZE = (5e-4, 1e-5)
"""Shares by which a strip is shortened while squeezing: first, last."""
PATIENCE = 80
"""Rounds without gain before a strike."""
STRIKES = 3
POOL = 12
"""Failed layouts kept to go on from."""


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
    lay_in_order(chains[0], by_bulk(task))
    best = _best_of(chains[0])
    layout = _taken(chains[0], best.keep)
    watch.better(layout)
    runs = [_Run(chain, best) for chain in chains]
    with ThreadPoolExecutor(threads) as pool:
        try:
            while (share := stop(_effort(chains))) < 1.0 and best.length > runs[0].least * (1.0 + SQUEEZE[1]):
                list(pool.map(lambda run, share=share: run.advance(share), runs))
                shortest = min((run.best for run in runs), key=lambda found: found.length)
                for run in runs:
                    run.told = shortest
                if shortest.length < best.length:
                    best = shortest
                    layout = _taken(chains[0], best.keep)
                    watch.better(layout)
        except KeyboardInterrupt:
            pass
    return replace(layout, effort=_effort(chains))


def _effort(chains: Sequence[Chain]) -> Effort:
    efforts = [chain.effort for chain in chains]
    return Effort(sum(effort.evaluations for effort in efforts), sum(effort.rounds for effort in efforts))


def _best_of(chain: Chain) -> _Best:
    return _Best(chain.save(), float(chain.state.box[:, kernels.X1].max()))


class _Run:
    """One chain at work. `told` is the shortest layout at the last exchange, `best` its own; `step` its next step."""

    def __init__(self, chain: Chain, best: _Best) -> None:
        self.chain, self.best, self.told = chain, best, best
        self.share, self.step = 0.0, FIRST_STEP
        self.least = _least_length(chain.task)
        self.work = self._explore()

    def advance(self, share: float) -> None:
        """Work until so many evaluations more are spent."""
        self.share = share
        mark = self.chain.effort.evaluations + EXCHANGE
        for _ in range(EXCHANGE // CHUNK * 10):
            if self.chain.effort.evaluations >= mark:
                break
            next(self.work)

    def _explore(self) -> Iterator[None]:
        """Shorten and separate without end; yields every few hundredths of a second."""
        while True:
            if self.told.length < self.best.length:
                self.best = self.told
            squeezing = self.share >= EXPLORING
            if squeezing:
                late = (self.share - EXPLORING) / (1.0 - EXPLORING)
                self.step = SQUEEZE[0] * (1.0 - late) + SQUEEZE[1] * late
            target = max(self.least, self.best.length * (1.0 - self.step))
            _shorten(self.chain, self.best.keep, target)
            pool: list[tuple[float, Keep]] = []
            while self.told.length > target and (self.share >= EXPLORING) == squeezing:
                patient = self.step <= LAST_STEP and not squeezing
                if (yield from self._separate(target, STRIKES if patient else 1)):
                    self.best = _best_of(self.chain)
                    break
                if not patient:
                    self.step = max(LAST_STEP, self.step / 2)
                    break
                pool = sorted([*pool, (self.chain.loss, self.chain.save())], key=lambda kept: kept[0])[:POOL]
                self.chain.disturb(pool[int(self.chain.random() ** 2 * len(pool))][1])
                yield
            yield

    def _separate(self, target: float, strikes: int) -> Generator[None, None, bool]:
        """Separate at this length, unless another chain gets there first."""
        self.chain.calm()
        for state in self.chain.separating(PATIENCE, strikes):
            if state is not None:
                return state
            yield
            if self.told.length <= target:
                return False
        return False


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


def _ample(shapes: Sequence[Shape], width_mm: float, gap_mm: float, margin_mm: float) -> float:
    boxes = [shape.polygon.bounds for shape in shapes]
    longest = max(math.hypot(x1 - x0, y1 - y0) for x0, y0, x1, y1 in boxes)
    area = sum(shape.polygon.area for shape in shapes)
    return 2 * margin_mm + 4 * area / width_mm + 2 * longest + gap_mm * len(shapes)
