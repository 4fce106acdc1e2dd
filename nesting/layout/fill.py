"""The most valuable subset that fits: lay what finds a place, then force in what is missing, or swap it in.

In: shapes with values, grounds, gap, margin. Out: a checked Layout; what found no place is named in it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from nesting.layout.alike import lay_in_rows, many_alike
from nesting.layout.fit import finished, pull_into_reach
from nesting.layout.search import TRIES, Chain, Keep, Task, by_bulk, lay_in_order
from nesting.layout.terms import QUIET, Effort, Ground, Layout, Shape, Spot, Stop, Watch, after_evaluations, first_of

PATIENCE = 25
"""Rounds without gain before a piece forced in is taken out again."""
IDLE = 12
"""Swaps in a row without gain after which the layout is left as it is."""
SHARE = 0.2
"""Of the effort allowed, at most so much for one piece forced in."""
FIRST_SHARE = 0.4
"""Of the effort allowed, at most so much for the first layout."""
ROWS_SHARE = 0.25
"""Of the effort allowed, so much is kept for going on from pieces alike laid in rows."""


def fill(
    shapes: Sequence[Shape],
    ground: Ground | Sequence[Ground],
    *,
    gap_mm: float = 0.0,
    margin_mm: float = 0.0,
    stop: Stop | None = None,
    seed: int = 0,
    watch: Watch = QUIET,
    thorough: bool = True,
) -> Layout:
    """The most valuable subset found; `stop` counts work, by default a fraction of a second for a sheet of letters.
    `thorough`: where pieces are missing, all are laid anew with what finds no place forced in at once, and what could
    not be forced in is tried again; else sooner done."""
    grounds = [ground] if isinstance(ground, Ground) else list(ground)
    stop = stop or after_evaluations(200_000)
    best = Layout((), tuple(shape.id for shape in shapes))
    try:
        for found in filling(shapes, grounds, gap_mm, margin_mm, stop, seed, thorough=thorough):
            if found.value > best.value:
                watch.better(found)
            best = found
    except KeyboardInterrupt:
        pass
    return best


def filling(
    shapes: Sequence[Shape],
    grounds: Sequence[Ground],
    gap_mm: float,
    margin_mm: float,
    stop: Stop,
    seed: int,
    *,
    thorough: bool = False,
    patience: int = PATIENCE,
    spots: Sequence[Spot] = (),
) -> Iterator[Layout]:
    """Ever more valuable layouts, from the spots given if any, the last of them once more with all the effort spent;
    none if there is no place. `thorough`: as in `fill`; `patience`: rounds without gain before a piece forced in is
    taken out again. Where pieces alike laid in rows are worth more at first, both ways are gone."""
    task = Task(shapes, grounds, gap_mm, margin_mm) if shapes else None
    if task is None or not task.places:
        return
    chain, rows, limit = Chain(task, seed), None, stop
    if spots:
        chain.lay(spots)
    else:
        order = _first(chain)
        if thorough and not chain.present.all():
            settle = partial(_settle, chain, stop, patience)
            _lay_anew(chain, order, settle, lambda effort: stop(effort) / FIRST_SHARE)
        rows = _in_rows(chain, seed)
        limit = stop if rows is None else _part(stop, Effort(), 1.0 - ROWS_SHARE)
    best = Layout((), tuple(shape.id for shape in shapes))
    for best in _bettered(chain, limit, patience, thorough):
        yield best
    effort = chain.effort
    if rows is not None and best.missing:
        for found in _bettered(rows, _part(stop, effort, 1.0), patience, thorough):
            if found.value > best.value:
                best = found
                yield best
        effort += rows.effort
    yield replace(best, effort=effort)


def _part(stop: Stop, spent: Effort, share: float) -> Stop:
    """Stop after a share of the effort, some of which is spent already."""
    return lambda effort: stop(effort + spent) / share


def _in_rows(chain: Chain, seed: int) -> Chain | None:
    """A chain with pieces alike in rows, if there are many of them and that is worth more than what stands."""
    if chain.present.all() or not many_alike(chain.task):
        return None
    rows = Chain(chain.task, seed)
    lay_in_rows(rows, by_bulk(chain.task))
    return rows if _value(rows) > _value(chain) else None


def _bettered(chain: Chain, stop: Stop, patience: int, thorough: bool) -> Iterator[Layout]:
    """What lies in a chain, and ever more valuable layouts from there."""
    best = _checked(chain)
    yield best
    yield from _improving(chain, best, partial(_settle, chain, stop, patience), stop, thorough)


def _improving(chain: Chain, best: Layout, settle: Callable[[], bool], stop: Stop, thorough: bool) -> Iterator[Layout]:
    """Ever more valuable layouts, until all lies, nothing helps, or the effort is spent; `settle` moves all apart.
    `thorough`: what could not be forced in is tried again where nothing else is left to try."""
    idle, barred = 0, set[bytes]()
    while best.missing and idle < IDLE and stop(chain.effort) < 1.0:
        before, spent = chain.save(), chain.effort
        idle += 1
        for change in (partial(_force_one, chain, barred), partial(_swap_one, chain)):
            better = _checked(chain) if change() and settle() else best
            if better.value > best.value:
                best, idle = better, 0
                barred.clear()
                yield best
                break
            chain.restore(before)
        if thorough and chain.effort == spent:
            barred.clear()


def _first(chain: Chain) -> list[int]:
    """Two orders, large pieces first and valuable ones first; the one that lays more value stands, and is returned."""
    task = chain.task
    areas = [shape.polygon.area for shape in task.shapes]
    dear = sorted(range(len(areas)), key=lambda i: -task.shapes[i].value / areas[i])
    found = list[tuple[float, Keep, list[int]]]()
    for order in (by_bulk(task), dear):
        chain.clear()
        missing = lay_in_order(chain, order)
        found.append((_value(chain), chain.save(), order))
        if not missing:
            break
    _, keep, order = max(found, key=lambda each: each[0])
    chain.restore(keep)
    return order


def _lay_anew(chain: Chain, order: Sequence[int], settle: Callable[[], bool], stop: Stop) -> None:
    """Lay pieces one after another where they overlap nothing; what finds no place is forced in while few others lie,
    until one of its kind does not come apart. What stood before stands if that lays no more value."""
    before, value = chain.save(), _value(chain)
    full, barred = set[bytes](), set[bytes]()
    chain.clear()
    for i in order:
        kind = chain.task.kinds[i]
        if not chain.task.allowed[i].any() or chain.task.areas[i] > chain.room:
            continue
        if kind not in full and chain.insert(i, TRIES):
            continue
        full.add(kind)
        if kind not in barred and stop(chain.effort) < 1.0 and not _forced(chain, i, settle):
            barred.add(kind)
    if _value(chain) <= value:
        chain.restore(before)


def _forced(chain: Chain, i: int, settle: Callable[[], bool]) -> bool:
    """Force a piece in; where that does not come apart, all stays as it was."""
    before = chain.save()
    chain.force(i)
    apart = settle()
    if not apart:
        chain.restore(before)
    return apart


def _value(chain: Chain) -> float:
    task, present = chain.task, chain.present
    value = sum(shape.value for shape, here in zip(task.shapes, present, strict=True) if here)
    across = (
        shape.reach_charge or 0.0
        for shape, here, place in zip(task.shapes, present, chain.state.region.tolist(), strict=True)
        if here and task.places[place].across
    )
    return value - sum(across)


def _checked(chain: Chain) -> Layout:
    """The chain's layout; should the exact check ever refuse it, pieces are taken off until it passes."""
    pull_into_reach(chain)
    layout = finished(chain)
    while layout is None:
        chain.take_off(int(chain.present.nonzero()[0][-1]))
        layout = finished(chain)
    return layout


def _limit(chain: Chain, stop: Stop) -> Stop:
    """No more than a share of the whole effort for one try."""
    start = stop(chain.effort)
    return first_of(stop, lambda effort: (stop(effort) - start) / SHARE)


def _settle(chain: Chain, stop: Stop, patience: int) -> bool:
    chain.calm()
    return chain.loss == 0.0 or chain.separate(patience, _limit(chain, stop))


def _force_one(chain: Chain, barred: set[bytes]) -> bool:
    """Force the dearest missing piece in that there is area for and that was not yet tried on this layout; equal
    pieces are tried once."""
    task, kinds = chain.task, chain.task.kinds
    missing = [i for i in _missing(chain) if kinds[i] not in barred and task.areas[i] <= chain.room]
    if not missing:
        return False
    i = max(missing, key=lambda i: (task.shapes[i].value, -i))
    barred.add(kinds[i])
    chain.force(i)
    return True


def _swap_one(chain: Chain) -> bool:
    """Take a random piece off for a missing one of more value, if that leaves area enough."""
    task, missing = chain.task, _missing(chain)
    if not missing:
        return False
    i = missing[int(chain.random() * len(missing))]
    lack = task.areas[i] - chain.room
    cheaper = [
        j
        for j in np.flatnonzero(chain.present).tolist()
        if task.shapes[j].value < task.shapes[i].value and task.areas[j] >= lack
    ]
    if not cheaper:
        return False
    chain.take_off(cheaper[int(chain.random() * len(cheaper))])
    chain.force(i)
    return True


def _missing(chain: Chain) -> list[int]:
    """Pieces that do not lie, but might."""
    return [i for i in np.flatnonzero(~chain.present).tolist() if chain.task.allowed[i].any()]
