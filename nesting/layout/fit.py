"""Does this set fit? One after another first; what finds no place is forced in and everything moves apart.

In: shapes, grounds, gap, margin. Out: a checked Layout that holds all shapes, or None.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from nesting.layout import checks
from nesting.layout.search import Chain, Keep, Task
from nesting.layout.terms import QUIET, Ground, Layout, Shape, Stop, Watch, after_evaluations

TRIES = 200
"""Positions tried for a piece laid where it overlaps nothing."""
DISTURBANCES = 1000
"""Fresh starts before giving up, should the stop rule not come first."""
PATIENCE = 60
"""Rounds without gain before a separation is given up."""


def finished(chain: Chain, grounds: Sequence[Ground] | None = None) -> Layout | None:
    """The chain's layout, checked exactly (on grounds other than the task's, if given); None if it breaks a rule."""
    task, spots = chain.task, chain.spots()
    shapes = {shape.id: shape for shape in task.shapes}
    if checks.broken(shapes, spots, grounds or task.grounds, task.gap_mm, task.margin_mm):
        return None
    laid = {spot.id for spot in spots}
    charges = sum(shapes[spot.id].reach_charge or 0.0 for spot in spots if spot.across)
    value = sum(shapes[i].value for i in laid) - charges
    missing = tuple(shape.id for shape in task.shapes if shape.id not in laid)
    return Layout(tuple(spots), missing, value, None, chain.effort)


def lay_in_order(chain: Chain, order: Sequence[int], tries: int = TRIES) -> list[int]:
    """Lay pieces one after another where they overlap nothing; returns those that found no place."""
    return [i for i in order if chain.task.allowed[i].any() and not chain.insert(i, tries)]


def by_bulk(task: Task) -> list[int]:
    """Large and long pieces first."""
    order: list[int] = np.argsort(-task.bulk, kind="stable").tolist()
    return order


def disturb(chain: Chain, keep: Keep) -> None:
    """Swap two of the larger pieces of a saved layout, each then where the other lay."""
    order = by_bulk(chain.task)
    large = [i for i in order if keep[i, 4] >= 0][: max(2, len(order) // 2)]
    chain.restore(keep)
    if len(large) < 2:
        return
    a = large[int(chain.random() * len(large))]
    b = large[int(chain.random() * len(large))]
    swapped = keep.copy()
    swapped[[a, b], :2] = keep[[b, a], :2]
    if chain.task.allowed[a, int(keep[b, 4])] and chain.task.allowed[b, int(keep[a, 4])]:
        swapped[[a, b], 4] = keep[[b, a], 4]
        chain.restore(swapped)


def pull_into_reach(chain: Chain) -> None:
    """Try to lay pieces that lie across reaches wholly in one, where nothing is in the way."""
    for i, place in enumerate(chain.state.region.tolist()):
        if chain.state.live[i] and chain.task.places[place].across:
            chain.insert_within_reach(i, TRIES)


def fit(
    shapes: Sequence[Shape],
    ground: Ground | Sequence[Ground],
    *,
    gap_mm: float = 0.0,
    margin_mm: float = 0.0,
    stop: Stop | None = None,
    seed: int = 0,
    watch: Watch = QUIET,
) -> Layout | None:
    """A layout that holds all shapes, on one ground or several, or None if none was found.

    `stop` counts work; by default a fraction of a second for a sheet of letters. A set of too large area, or one with a
    shape that no place is large enough for, is refused at once.
    """
    grounds = [ground] if isinstance(ground, Ground) else list(ground)
    stop = stop or after_evaluations(400_000)
    if not shapes:
        return Layout(())
    task = Task(shapes, grounds, gap_mm, margin_mm)
    if task.hopeless or task.overfull:
        return None
    chain = Chain(task, seed)
    for i in lay_in_order(chain, by_bulk(task)):
        chain.force(i)
    pool: list[tuple[float, Keep]] = []
    for _ in range(DISTURBANCES):
        if chain.loss == 0.0 or chain.separate(PATIENCE, stop, strikes=2):
            pull_into_reach(chain)
            layout = finished(chain)
            if layout is not None:
                watch.better(layout)
                return layout
        if stop(chain.effort) >= 1.0:
            break
        pool = sorted([*pool, (chain.loss, chain.save())], key=lambda kept: kept[0])[:8]
        disturb(chain, pool[int(chain.random() ** 2 * len(pool))][1])
        chain.calm()
    return None
