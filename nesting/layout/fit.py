"""Does this set fit? One after another first; what finds no place is forced in and everything moves apart.

In: shapes, grounds, gap, margin. Out: a checked Layout that holds all shapes, or None.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from nesting.layout.alike import lay_in_rows, many_alike
from nesting.layout.lattice import spots_on_lattice
from nesting.layout.search import TRIES, WIDE, Chain, Keep, Task, by_bulk, checked, lay_in_order
from nesting.layout.terms import QUIET, Ground, Layout, Shape, Spot, Stop, Watch, after_evaluations

DISTURBANCES = 1000
"""Fresh starts before giving up, should the stop rule not come first."""
PATIENCE, STRIKES = 40, 2
"""Rounds without gain before a strike; strikes before a separation is given up."""
POOL = 2
"""Failed layouts kept to go on from."""
MANY = 4
"""A piece in conflict tries so many times more positions anywhere, if there are so many grounds."""


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
    shape that no place is large enough for, is refused at once; Ctrl-C ends the search as the stop rule does.
    """
    grounds = [ground] if isinstance(ground, Ground) else list(ground)
    stop = stop or after_evaluations(400_000)
    if not shapes:
        return Layout(())
    task = Task(shapes, grounds, gap_mm, margin_mm)
    if task.hopeless or task.overfull:
        return None
    try:
        layout = _settled(crowded(task, seed), stop)
    except KeyboardInterrupt:
        return None
    if layout is not None:
        watch.better(layout)
    return layout


def crowded(task: Task, seed: int, spots: Sequence[Spot] = ()) -> Chain:
    """A chain on which all pieces lie: as the spots say, else where there is room, else in rows if those hold all, else
    forced in where they overlap least."""
    chain = _chain(task, seed)
    missing = set(chain.lay(spots))
    left = lay_in_order(chain, [i for i in by_bulk(task) if i in missing])
    if left and not spots and many_alike(task):
        rows = _chain(task, seed)
        lay_in_rows(rows, by_bulk(task))
        if rows.present.all():
            return rows
    for i in left:
        if not chain.insert(i, TRIES):
            chain.force(i)
    return chain


def _chain(task: Task, seed: int) -> Chain:
    chain = Chain(task, seed)
    chain.wide = WIDE * min(MANY, len(task.grounds))
    return chain


def _settled(chain: Chain, stop: Stop) -> Layout | None:
    for layout in settling(chain):
        if layout is not None or stop(chain.effort) >= 1.0:
            return layout
    return None


def settling(chain: Chain) -> Iterator[Layout | None]:
    """Move everything apart: from how it lies, then from how pieces lie on a lattice, if they do, then again and again
    from one of the least bad layouts with two large pieces swapped. Yields None every few hundredths of a second, and
    the layout at the end."""
    pool: list[tuple[float, Keep]] = []
    for disturbed in range(DISTURBANCES):
        for apart in chain.separating(PATIENCE, STRIKES):
            if apart is not None:
                break
            yield None
        layout = _finished_in_reach(chain) if chain.loss == 0.0 else None
        yield layout
        if layout is not None:
            return
        pool = sorted([*pool, (chain.loss, chain.save())], key=lambda kept: kept[0])[:POOL]
        chain.calm()
        if disturbed or chain.lay(spots_on_lattice(chain.task)):
            chain.disturb(pool[int(chain.random() ** 2 * len(pool))][1])


def _finished_in_reach(chain: Chain) -> Layout | None:
    pull_into_reach(chain)
    return finished(chain)
