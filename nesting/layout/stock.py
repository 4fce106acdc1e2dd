"""The cheapest sheets that hold all: fill one after another, then try to do with less.

In: shapes, stock (grounds with cost and quantity). Out: a checked Layout and which sheets it lies on.

First the sheet that gives most area laid for its cost is taken, again and again, until everything lies. Then, the
loosest first, every choice that is one sheet fewer or one sheet cheaper is tried: what lay on that sheet is forced in
among the rest and everything moves apart on all sheets at once, as in `fit`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from nesting.layout.fill import fill
from nesting.layout.fit import fit, settled
from nesting.layout.search import Chain, Task, by_bulk
from nesting.layout.terms import QUIET, Effort, Ground, Layout, Shape, Spot, Stop, Watch, after_evaluations, first_of

FIRST_SHARE = 0.05
"""Of the effort allowed, so much for the first try of a choice; it grows by half with every round through them."""


@dataclass(frozen=True, slots=True)
class Stock:
    """A kind of sheet: what it costs, and how many there are (None: any number)."""

    ground: Ground
    cost: float = 1.0
    quantity: int | None = None


@dataclass(frozen=True, slots=True)
class Stocked:
    """A layout on several sheets: spot.ground counts `sheets`, each the number of a kind of stock."""

    layout: Layout
    sheets: tuple[int, ...]
    cost: float


def cheapest(
    shapes: Sequence[Shape],
    stock: Sequence[Stock],
    *,
    gap_mm: float = 0.0,
    margin_mm: float = 0.0,
    stop: Stop | None = None,
    seed: int = 0,
    watch: Watch = QUIET,
) -> Stocked:
    """The cheapest sheets found that hold all shapes; shapes that the stock has no room for are missing."""
    stop = stop or after_evaluations(5_000_000)
    asked = _Asked(list(shapes), list(stock), gap_mm, margin_mm, seed)
    best = _first(asked, stop)
    if best.layout.missing:
        best = _everything(asked, best, stop)
    watch.better(best.layout)
    try:
        for better in _improving(asked, best, stop):
            if better.cost < best.cost:
                watch.better(better.layout)
            best = better
    except KeyboardInterrupt:
        pass
    return best


def _improving(asked: _Asked, best: Stocked, stop: Stop) -> Iterator[Stocked]:
    """Ever cheaper layouts, until none could be cheaper or the effort is spent; each knows the effort so far."""
    spent, share = best.layout.effort.evaluations, FIRST_SHARE
    while not best.layout.missing and stop(Effort(spent)) < 1.0:
        choices = list(_cheaper(asked, best))
        if not choices:
            break
        for sheets in choices:
            found, used = _try(asked, best, sheets, _within(stop, spent, share))
            spent += used
            best = found or best
            yield replace(best, layout=replace(best.layout, effort=Effort(spent)))
            if found is not None:
                break
            if stop(Effort(spent)) >= 1.0:
                break
        else:
            share *= 1.5


def _everything(asked: _Asked, best: Stocked, stop: Stop) -> Stocked:
    """Where sheets are few and one after another did not do: lay everything on all of them at once."""
    if any(stock.quantity is None for stock in asked.stock):
        return best
    sheets = tuple(kind for kind, stock in enumerate(asked.stock) for _ in range(stock.quantity or 0))
    rest = _within(stop, best.layout.effort.evaluations, 1.0)
    grounds = [asked.stock[kind].ground for kind in sheets]
    layout = fit(asked.shapes, grounds, gap_mm=asked.gap_mm, margin_mm=asked.margin_mm, stop=rest, seed=asked.seed)
    return best if layout is None else Stocked(layout, sheets, asked.cost(sheets))


@dataclass(frozen=True, slots=True)
class _Asked:
    shapes: list[Shape]
    stock: list[Stock]
    gap_mm: float
    margin_mm: float
    seed: int

    def cost(self, sheets: Sequence[int]) -> float:
        return sum(self.stock[kind].cost for kind in sheets)

    def room(self, sheets: Sequence[int]) -> float:
        """Area to lay on."""
        return sum(_room(self.stock[kind].ground) for kind in sheets)

    def available(self, sheets: Sequence[int], kind: int) -> bool:
        most = self.stock[kind].quantity
        return most is None or list(sheets).count(kind) < most


def _room(ground: Ground) -> float:
    return float(ground.polygon.area - sum(pinned.intersection(ground.polygon).area for pinned in ground.pinned))


def _within(stop: Stop, spent: int, share: float) -> Stop:
    """Stop with the whole, or after a share of it; counts from `spent`."""
    start = stop(Effort(spent))

    def whole(effort: Effort) -> float:
        return stop(Effort(spent + effort.evaluations))

    return first_of(whole, lambda effort: (whole(effort) - start) / share)


def _first(asked: _Asked, stop: Stop) -> Stocked:
    """Sheet after sheet, each the one that gives most area for its cost."""
    left, spent = list(asked.shapes), 0
    sheets: list[int] = []
    spots: list[Spot] = []
    while left:
        best: tuple[float, int, Layout] | None = None
        for kind, stock in enumerate(asked.stock):
            if asked.available(sheets, kind):
                layout = _filled(asked, left, stock.ground, stop, spent)
                spent += layout.effort.evaluations
                rate = layout.value / stock.cost if layout.missing else 1e6 * layout.value / stock.cost
                if layout.spots and (best is None or rate > best[0]):
                    best = (rate, kind, layout)
        if best is None:
            break
        spots += [replace(spot, ground=len(sheets)) for spot in best[2].spots]
        sheets.append(best[1])
        left = [shape for shape in left if shape.id in best[2].missing]
    missing = tuple(shape.id for shape in left)
    order = {shape.id: k for k, shape in enumerate(asked.shapes)}
    spots.sort(key=lambda spot: order[spot.id])
    value = sum(shape.value for shape in asked.shapes) - sum(shape.value for shape in left)
    return Stocked(Layout(tuple(spots), missing, value, None, Effort(spent)), tuple(sheets), asked.cost(sheets))


def _filled(asked: _Asked, shapes: Sequence[Shape], ground: Ground, stop: Stop, spent: int) -> Layout:
    """As much area as fits, of large pieces rather than small ones, with little effort."""
    worth = [replace(shape, value=shape.polygon.area) for shape in shapes]
    return fill(
        worth,
        ground,
        gap_mm=asked.gap_mm,
        margin_mm=asked.margin_mm,
        seed=asked.seed,
        stop=_within(stop, spent, FIRST_SHARE / 10),
    )


def _cheaper(asked: _Asked, best: Stocked) -> Iterator[tuple[int, ...]]:
    """Choices of sheets that cost less and have area enough: one sheet fewer, one or two others instead; loosest
    first. A sheet kept stands where it stood; -1 stands for one left out."""
    need = sum(shape.polygon.area for shape in asked.shapes) * (1.0 - 1e-9)
    found: dict[tuple[int, ...], tuple[int, ...]] = {}
    for at, old in enumerate(best.sheets):
        rest = (*best.sheets[:at], -1, *best.sheets[at + 1 :])
        for new in (-1, *range(len(asked.stock))):
            sheets = rest if new < 0 else (*rest, new)
            kept = tuple(kind for kind in sheets if kind >= 0)
            if new == old or (new >= 0 and not asked.available([*best.sheets[:at], *best.sheets[at + 1 :]], new)):
                continue
            if asked.cost(kept) < best.cost - 1e-9 and asked.room(kept) >= need:
                # Of equal choices, the one that gives up the sheet with least on it.
                found.setdefault(tuple(sorted(kept)), sheets)
    emptiest = _laid_area(asked, best)
    for kinds in sorted(found, key=lambda kinds: -asked.room(kinds)):
        sheets = found[kinds]
        out = next(at for at, kind in enumerate(sheets) if kind < 0)
        same = [at for at, kind in enumerate(best.sheets) if kind == best.sheets[out]]
        least = min(same, key=lambda at: emptiest[at])
        yield (*best.sheets[:least], -1, *best.sheets[least + 1 :], *sheets[len(best.sheets) :])


def _laid_area(asked: _Asked, best: Stocked) -> list[float]:
    areas = {shape.id: shape.polygon.area for shape in asked.shapes}
    laid = np.zeros(len(best.sheets))
    for spot in best.layout.spots:
        laid[spot.ground] += areas[spot.id]
    return [float(area) for area in laid]


def _try(asked: _Asked, best: Stocked, sheets: Sequence[int], stop: Stop) -> tuple[Stocked | None, int]:
    """Lay everything on other sheets, from the layout at hand; None if that failed. Also the evaluations spent."""
    kept = [at for at, kind in enumerate(sheets) if kind >= 0]
    kinds = tuple(sheets[at] for at in kept)
    task = Task(asked.shapes, [asked.stock[kind].ground for kind in kinds], asked.gap_mm, asked.margin_mm)
    if task.hopeless:
        return None, 0
    chain = Chain(task, asked.seed + len(kinds))
    move = {old: new for new, old in enumerate(kept) if old < len(best.sheets)}
    spots = [replace(spot, ground=move[spot.ground]) for spot in best.layout.spots if spot.ground in move]
    missing = set(chain.lay(spots))
    for i in by_bulk(task):
        if i in missing and not chain.insert(i, 100):
            chain.force(i)
    layout = settled(chain, stop)
    used = chain.effort.evaluations
    return (None if layout is None else Stocked(layout, kinds, asked.cost(kinds))), used
