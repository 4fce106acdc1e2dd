"""Getting ready: compile the kernels once for an installation, so that the first plan need not wait for it.

In: nothing. Out: the compiled kernels in numba's cache beside their source. Takes half a minute the first time, a
fraction of a second afterwards. `python -m nesting.layout.ready` does it as a part of setting up.

Compiling holds one lock for all threads, so the first time two processes share the work and leave it in the cache.
"""

import signal
from collections.abc import Callable, Sequence
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor
from contextlib import suppress
from multiprocessing import get_context

import numpy as np
import shapely
from shapely.geometry import Polygon

from nesting.layout import kernels, rectangles
from nesting.layout.fill import fill
from nesting.layout.search import Chain, Task
from nesting.layout.terms import Ground, Shape, after_evaluations

SQUARE, FIELD = shapely.box(0, 0, 10, 10), shapely.box(0, 0, 30, 30)
REACHES = (shapely.box(0, 0, 30, 20), shapely.box(0, 10, 30, 30))
SHAPES = [Shape("whole", SQUARE), Shape("shared", SQUARE, (0.0, 90.0), reach_charge=0.0)]


def get_ready() -> None:
    """Lay a few squares: all kernels that a plan needs are compiled, or read from the cache, by it."""
    kernels.uniform(np.zeros(1, np.uint64))
    parts = (_outlines, _rectangles)
    if sum(kernels.uniform.stats.cache_misses.values()):
        with suppress(OSError, BrokenExecutor):  # where no process can be started, this one does it all
            _compile_side_by_side(parts)
    for part in parts:
        part()


def _compile_side_by_side(parts: Sequence[Callable[[], None]]) -> None:
    """Each in a process that leaves Ctrl-C to this one."""
    ignoring = (signal.SIGINT, signal.SIG_IGN)
    with ProcessPoolExecutor(len(parts), get_context("spawn"), signal.signal, ignoring) as pool:
        for done in [pool.submit(part) for part in parts]:
            done.result()


def _outlines() -> None:
    """On a sheet with reaches and a hole; then two on one place, so that they are moved apart."""
    sheet = Polygon(FIELD.exterior, [shapely.box(1, 1, 2, 2).exterior])
    ground = Ground(sheet, REACHES)
    fill(SHAPES, ground, gap_mm=1.0, margin_mm=1.0, stop=after_evaluations(2000), seed=1)
    chain = Chain(Task(SHAPES, [Ground(SQUARE)], 0.0, 0.0), 1)
    for i in range(len(SHAPES)):
        chain.force(i)
    chain.separate(1, after_evaluations(100))


def _rectangles() -> None:
    ground = Ground(FIELD, REACHES)
    rectangles.fill(SHAPES[:1], ground, gap_mm=1.0, margin_mm=1.0, work=100, seed=1)
    for answer in (rectangles.share_out, rectangles.lay_all):
        answer([SHAPES[0]], [rectangles.Bin((ground,), 1.0)], gap_mm=1.0, margin_mm=1.0, work=100, seed=1)


if __name__ == "__main__":
    get_ready()
