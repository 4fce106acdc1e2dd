"""The most valuable subset that fits: lay what finds a place, then force in what is missing, or swap it in.

In: shapes with values, grounds, gap, margin. Out: a checked Layout; what found no place is named in it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial

from nesting.layout.fit import finished, pull_into_reach
from nesting.layout.search import Chain, Keep, Task, by_bulk, lay_in_order
from nesting.layout.terms import QUIET, Ground, Layout, Shape, Stop, Watch, after_evaluations, first_of

PATIENCE = 25
"""Rounds without gain before a piece forced in is taken out again."""
IDLE = 12
"""Swaps in a row without gain after which the layout is left as it is."""
SHARE = 0.2
"""Of the effort allowed, at most so much for one piece forced in."""


def fill(
    shapes: Sequence[Shape],
    ground: Ground | Sequence[Ground],
    *,
    gap_mm: float = 0.0,
    margin_mm: float = 0.0,
    stop: Stop | None = None,
    seed: int = 0,
    watch: Watch = QUIET,
) -> Layout:
    """The most valuable subset found; `stop` counts work, by default a fraction of a second for a sheet of letters."""
    grounds = [ground] if isinstance(ground, Ground) else list(ground)
    best = Layout((), tuple(shape.id for shape in shapes))
    try:
        for found in filling(shapes, grounds, gap_mm, margin_mm, stop or after_evaluations(200_000), seed):
            if found.value > best.value:
                watch.better(found)
            best = found
    except KeyboardInterrupt:
        pass
    return best


def filling(
    shapes: Sequence[Shape], grounds: Sequence[Ground], gap_mm: float, margin_mm: float, stop: Stop, seed: int
) -> Iterator[Layout]:
    """Ever more valuable layouts, the last of them once more with all the effort spent; none if there is no place."""
    task = Task(shapes, grounds, gap_mm, margin_mm) if shapes else None
    if task is not None and task.places:
        chain = Chain(task, seed)
        _first(chain)
        best = _checked(chain)
        yield best
        for better in _improving(chain, best, stop):
            best = better
            yield best
        yield replace(best, effort=chain.effort)


def _improving(chain: Chain, best: Layout, stop: Stop) -> Iterator[Layout]:
    """Ever more valuable layouts, until all lies, nothing helps, or the effort is spent."""
    idle, barred = 0, set[bytes]()
    while best.missing and idle < IDLE and stop(chain.effort) < 1.0:
        before = chain.save()
        idle += 1
        for change in (partial(_force_one, chain, stop, barred), partial(_swap_one, chain, stop)):
            better = _checked(chain) if change() else best
            if better.value > best.value:
                best, idle = better, 0
                barred.clear()
                yield best
                break
            chain.restore(before)


def _first(chain: Chain) -> None:
    """Two orders, large pieces first and valuable ones first; the one that lays more value stands."""
    task = chain.task
    areas = [shape.polygon.area for shape in task.shapes]
    dear = sorted(range(len(areas)), key=lambda i: -task.shapes[i].value / areas[i])
    best: tuple[float, Keep] | None = None
    for order in (by_bulk(task), dear):
        for i in range(len(order)):
            chain.take_off(i)
        missing = lay_in_order(chain, order)
        value = _value(chain)
        if best is None or value > best[0]:
            best = (value, chain.save())
        if not missing:
            break
    assert best is not None
    chain.restore(best[1])


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


def _settle(chain: Chain, stop: Stop) -> bool:
    chain.calm()
    return chain.loss == 0.0 or chain.separate(PATIENCE, _limit(chain, stop))


def _force_one(chain: Chain, stop: Stop, barred: set[bytes]) -> bool:
    """Force the dearest missing piece in that was not yet tried on this layout; equal pieces are tried once."""
    task, present = chain.task, chain.present
    kinds = task.kinds
    missing = [i for i in range(len(kinds)) if not present[i] and task.allowed[i].any() and kinds[i] not in barred]
    if not missing:
        return False
    i = max(missing, key=lambda i: (task.shapes[i].value, -i))
    barred.add(kinds[i])
    chain.force(i)
    return _settle(chain, stop)


def _swap_one(chain: Chain, stop: Stop) -> bool:
    """Take a random piece off for a missing one of more value."""
    task, present = chain.task, chain.present
    missing = [i for i in range(len(present)) if not present[i] and task.allowed[i].any()]
    if not missing:
        return False
    i = missing[int(chain.random() * len(missing))]
    cheaper = [j for j in range(len(present)) if present[j] and task.shapes[j].value < task.shapes[i].value]
    if not cheaper:
        return False
    chain.take_off(cheaper[int(chain.random() * len(cheaper))])
    chain.force(i)
    return _settle(chain, stop)
