"""Getting ready: compile the kernels once for an installation, so that the first plan need not wait for it.

In: nothing. Out: the compiled kernels in numba's cache beside their source. Takes some twenty seconds the first time, a
fraction of a second afterwards. `python -m nesting.layout.ready` does it as a part of setting up.

Compiling holds one lock for all threads, so the first time two processes share the work and leave it in the cache.
"""

import gc
import signal
from collections.abc import Callable, Sequence
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor
from contextlib import suppress
from multiprocessing import get_context

import numpy as np
import shapely
from shapely.geometry import Polygon

from nesting.layout import kernels, packing, rectangles
from nesting.layout.compaction import Parts, compact
from nesting.layout.search import Chain, Task
from nesting.layout.terms import Ground, Shape

SQUARE, FIELD = shapely.box(0, 0, 10, 10), shapely.box(0, 0, 30, 30)
REACHES = (shapely.box(0, 0, 30, 20), shapely.box(0, 10, 30, 30))
SHAPE = Shape("square", SQUARE)
PROCESSES = 2


def get_ready(*, outlines_only: bool = False) -> None:
    """Lay a few squares: all kernels that a plan needs are compiled, or read from the cache, by it."""
    kernels.uniform(np.zeros(1, np.uint64))
    parts = (_moves, _layouts) if outlines_only else (_moves, _rectangles, _layouts)
    if sum(kernels.uniform.stats.cache_misses.values()):
        with suppress(OSError, BrokenExecutor):  # where no process can be started, this one does it all
            _compile_side_by_side(parts)
    for part in parts:
        part()


def _compile_side_by_side(parts: Sequence[Callable[[], None]]) -> None:
    """Each in one of the processes."""
    with ProcessPoolExecutor(PROCESSES, get_context("spawn"), _only_compile) as pool:
        for done in [pool.submit(part) for part in parts]:
            done.result()


def _only_compile() -> None:
    """A process of its own leaves Ctrl-C to the one that started it, and forgets nothing of what compiling makes: to
    look through that again and again for what could be forgotten takes an eighth of the time."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.disable()


def _moves() -> None:
    """What moves a piece takes longest to compile, as long as all other kernels of outlines and rectangles together."""
    Chain(Task([SHAPE], [Ground(SQUARE)], 0.0, 0.0), 1).force(0)


def _layouts() -> None:
    """A layout saved, restored and pushed together, on a sheet that is no box."""
    chain = Chain(Task([SHAPE], [Ground(Polygon(FIELD.exterior, [SQUARE.exterior]))], 0.0, 0.0), 1)
    keep = chain.save()
    keep[:, 4] = 0.0
    chain.restore(keep)
    compact(chain, Parts(chain.task.table))


def _rectangles() -> None:
    packing.Room([(1, 1)], [1], [False], (1, 1)).most_valuable([1], 0, 1)
    ground = Ground(FIELD, REACHES)
    rectangles.fill([SHAPE], ground, gap_mm=1.0, margin_mm=1.0, work=100, seed=1)
    for answer in (rectangles.share_out, rectangles.lay_all):
        answer([SHAPE], [rectangles.Bin((ground,), 1.0)], gap_mm=1.0, margin_mm=1.0, work=100, seed=1)


if __name__ == "__main__":
    get_ready()
