"""Does this set fit? One after another first; what finds no place is forced in and everything moves apart.

In: shapes, grounds, gap, margin. Out: a checked Layout that holds all shapes, or None.
"""

from __future__ import annotations

from collections.abc import Sequence

from nesting.layout.search import TRIES, Chain, Keep, Task, by_bulk, checked, lay_in_order
from nesting.layout.terms import QUIET, Ground, Layout, Shape, Stop, Watch, after_evaluations

DISTURBANCES = 1000
"""Fresh starts before giving up, should the stop rule not come first."""
PATIENCE, STRIKES = 60, 2
"""Rounds without gain before a strike; strikes before a separation is given up."""
POOL = 8
"""Failed layouts kept to go on from."""


def finished(chain: Chain) -> Layout | None:
    """The chain's layout, checked exactly; None if it breaks a rule."""
    return checked(chain.task, chain.spots_of(chain.save()), chain.effort)


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
    missing = lay_in_order(chain, by_bulk(task))
    for i in missing:
        if not chain.insert(i, TRIES):
            chain.force(i)
    layout = settled(chain, stop)
    if layout is not None:
        watch.better(layout)
    return layout


def settled(chain: Chain, stop: Stop) -> Layout | None:
    """Move everything apart, again and again from one of the least bad layouts with two large pieces swapped."""
    pool: list[tuple[float, Keep]] = []
    for _ in range(DISTURBANCES):
        if chain.loss == 0.0 or chain.separate(PATIENCE, stop, strikes=STRIKES):
            pull_into_reach(chain)
            layout = finished(chain)
            if layout is not None:
                return layout
        if stop(chain.effort) >= 1.0:
            break
        pool = sorted([*pool, (chain.loss, chain.save())], key=lambda kept: kept[0])[:POOL]
        chain.disturb(pool[int(chain.random() ** 2 * len(pool))][1])
        chain.calm()
    return None
