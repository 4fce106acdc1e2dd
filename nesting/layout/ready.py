"""Getting ready: compile the kernels once for an installation, so that the first plan need not wait for it.

In: nothing. Out: the compiled kernels in numba's cache beside their source. Takes some twenty seconds the first time, a
fraction of a second afterwards. `python -m nesting.layout.ready` does it as a part of setting up.

Compiling holds one lock for all threads, so the first time two processes share the work and leave it in the cache: at
first what several kernels rest on, one half each, then what moves a piece, then what is called, which finds that there.
"""

import gc
import signal
from collections.abc import Callable, Sequence
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor
from contextlib import suppress
from multiprocessing import get_context
from typing import Any

import numpy as np
import shapely
from numba import float32, float64, int64, typeof
from shapely.geometry import Polygon

from nesting.layout import kernels, packing, rectangles
from nesting.layout.compaction import Parts, compact
from nesting.layout.search import Chain, Task
from nesting.layout.terms import Ground, Shape

SQUARE, FIELD = shapely.box(0, 0, 10, 10), shapely.box(0, 0, 30, 30)
REACHES = (shapely.box(0, 0, 30, 20), shapely.box(0, 10, 30, 30))
SHAPE = Shape("square", SQUARE)
PROCESSES = 2
CONFLICT = (
    *(float32[:, :, :, ::1], float64[:, :, ::1], float64[:, ::1]),
    *(float64[:, ::1], float32[:, :, ::1], float32[:, ::1], int64[:, ::1], int64[::1], int64[:, ::1], float32[::1]),
    *(int64, float64, float64, float64),
)
"""Types of what `kernels.conflict` is given: of the rows, of the state, of the candidate. As numba knows them from a
chain, but a chain has kernels of its own to compile."""


def get_ready(*, outlines_only: bool = False) -> None:
    """Lay a few squares: all kernels that a plan needs are compiled, or read from the cache, by it."""
    kernels.uniform(np.zeros(1, np.uint64))
    parts = (_moves, _layouts) if outlines_only else (_moves, _rectangles, _layouts, _packing)
    if sum(kernels.uniform.stats.cache_misses.values()):
        with suppress(OSError, BrokenExecutor):  # where no process can be started, this one does it all
            _compile_side_by_side(parts)
    for part in parts:
        part()


def _compile_side_by_side(parts: Sequence[Callable[[], None]]) -> None:
    """Each in one of the processes, once these have made what the parts have in common."""
    with ProcessPoolExecutor(PROCESSES, get_context("spawn"), _only_compile) as pool:
        for stage in ((_pairs, _places), (_scouting, _settling), parts):
            for done in [pool.submit(part) for part in stage]:
                done.result()


def _only_compile() -> None:
    """A process of its own leaves Ctrl-C to the one that started it, and forgets nothing of what compiling makes: to
    look through that again and again for what could be forgotten takes an eighth of the time."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.disable()


def _pairs() -> None:
    """How much a piece overlaps others."""
    kernels.conflict.compile(CONFLICT)


def _places() -> None:
    """How far a piece leaves the place it may lie in, as it is and turned."""
    chain = _chain(FIELD)
    _compile(kernels.out_loss, chain.rows, chain.regions, 0, 0, 0.0, 0.0)
    _compile(kernels.turn_row, chain.rows, 0, 0, 0.0)


def _scouting() -> None:
    """Where a piece might lie."""
    chain = _chain(FIELD)
    _compile(kernels.scout, *chain.arrays, 0, kernels.Job(kernels.INSERT))
    _compile(kernels.survey, chain.rows, chain.state, 0)


def _settling() -> None:
    """Where near that it lies best, and what it then overlaps."""
    chain = _chain(FIELD)
    state = chain.state
    _compile(kernels.settle, *chain.arrays, 0, 0.0)
    _compile(kernels.measure, chain.rows, chain.regions, state, 0)
    _compile(kernels.reweigh, state.loss, state.weight, state.out, state.weight_out)


def _compile(kernel: Any, *arguments: object) -> None:
    """For arguments such as these."""
    kernel.compile(tuple(map(typeof, arguments)))


def _chain(field: Polygon) -> Chain:
    return Chain(Task([SHAPE], [Ground(field)], 0.0, 0.0), 1)


def _moves() -> None:
    """Pieces moved, one or all: what rests on all before."""
    _chain(FIELD).force(0)


def _layouts() -> None:
    """A layout saved, restored and pushed together, on a sheet that is no box."""
    chain = _chain(Polygon(FIELD.exterior, [SQUARE.exterior]))
    keep = chain.save()
    keep[:, 4] = 0.0
    chain.restore(keep)
    compact(chain, Parts(chain.task.table))


def _rectangles() -> None:
    ground = Ground(FIELD, REACHES)
    rectangles.fill([SHAPE], ground, gap_mm=1.0, margin_mm=1.0, work=100, seed=1)
    for answer in (rectangles.share_out, rectangles.lay_all):
        answer([SHAPE], [rectangles.Bin((ground,), 1.0)], gap_mm=1.0, margin_mm=1.0, work=100, seed=1)


def _packing() -> None:
    packing.Room([(1, 1)], [1], [False], (1, 1)).most_valuable([1], 0, 1)


if __name__ == "__main__":
    get_ready()
