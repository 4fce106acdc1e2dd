"""The shortest strip that holds all: separate, shorten, separate again.

In: shapes, width, gap, margin. Out: a checked Layout with its length.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from shapely.geometry import box

from nesting.layout.fit import by_bulk, finished, lay_in_order
from nesting.layout.outlines import laid
from nesting.layout.search import Chain, Keep, Task
from nesting.layout.terms import QUIET, Ground, Layout, Shape, Stop, Watch, after_evaluations

FIRST_STEP, LAST_STEP = 0.03, 0.0003


def strip(
    shapes: Sequence[Shape],
    width_mm: float,
    *,
    gap_mm: float = 0.0,
    margin_mm: float = 0.0,
    stop: Stop | None = None,
    seed: int = 0,
    watch: Watch = QUIET,
) -> Layout:
    """The shortest strip found, 0 <= y <= width, 0 <= x <= length."""
    stop = stop or after_evaluations(2_000_000)
    length = _ample(shapes, width_mm, gap_mm, margin_mm)
    chain = Chain(Task(shapes, [Ground(box(0.0, 0.0, length, width_mm))], gap_mm, margin_mm), seed)
    lay_in_order(chain, by_bulk(chain.task))
    best, shortest = _taken(chain)
    step = FIRST_STEP
    watch.better(best)
    kept = chain.save()
    while stop(chain.effort) < 1.0:
        _shorten(chain, kept, _extent(chain, kept) * (1.0 - step))
        if chain.separate(100, stop):
            layout, length = _taken(chain)
            if length < shortest:
                best, shortest, kept = layout, length, chain.save()
                watch.better(best)
                continue
        step = max(LAST_STEP, step * 0.7)
    return best


def _taken(chain: Chain) -> tuple[Layout, float]:
    """The chain's layout on a strip just as long as it needs, and that length."""
    task = chain.task
    polygons = {shape.id: shape.polygon for shape in task.shapes}
    length = max(laid(polygons[spot.id], spot).bounds[2] for spot in chain.spots()) + task.margin_mm
    width = task.grounds[0].polygon.bounds[3]
    layout = finished(chain, [Ground(box(0.0, 0.0, length, width))])
    assert layout is not None
    return replace(layout, length_mm=length), length


def _extent(chain: Chain, keep: Keep) -> float:
    """Length of a saved layout in the engine's scale."""
    chain.restore(keep)
    return float(chain.state.box[:, 2].max())


def _shorten(chain: Chain, keep: Keep, length: float) -> None:
    """Lay as saved, but on a shorter strip: what lies beyond a random cut moves in by as much."""
    chain.restore(keep)
    extent = float(chain.state.box[:, 2].max())
    cut = chain.random() * extent
    chain.regions.box[0, 2] = length
    x, rows = chain.state.x, chain.rows
    x[x > cut] -= extent - length
    reach = rows.box[chain.state.row]
    x[:] = np.clip(x, chain.regions.box[0, 0] - reach[:, 0], length - reach[:, 2])
    chain.remeasure()
    chain.calm()


def _ample(shapes: Sequence[Shape], width_mm: float, gap_mm: float, margin_mm: float) -> float:
    longest = [
        math.hypot(*(b - a for a, b in zip(s.polygon.bounds[:2], s.polygon.bounds[2:], strict=True))) for s in shapes
    ]
    area = sum(shape.polygon.area for shape in shapes)
    return 2 * margin_mm + 4 * area / width_mm + 2 * max(longest) + gap_mm * len(shapes)
