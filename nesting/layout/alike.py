"""Pieces alike laid in rows as far as a ground goes: the densest `rows`, turned and moved so that most lie inside.

In: a chain, the order of its pieces. Out: the chain, laid anew; nothing in it overlaps.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from nesting.curves import polygons
from nesting.layout.grounds import is_box
from nesting.layout.outlines import Outline, turned
from nesting.layout.rows import Rows, densest
from nesting.layout.search import Chain, Task, lay_in_order
from nesting.layout.terms import same_turn

MANY, WORTH = 8, 0.1
"""Pieces alike are laid in rows if there are so many, and if they have such a share of the area of all."""
PHASES = 5
"""Moves of rows along each of their vectors that are tried, besides those into the corners of a ground."""
DENSE, CLOSER = 2, 2
"""On a ground that is no box: so many of the densest rows are tried, and of each of them so many moves."""
LOOKS = 64
"""Places looked at together on a ground that is no box."""
ROUNDING_MM = 1e-7
"""What lies out of bounds by less does not."""

F64 = NDArray[np.float64]
Area = Polygon | MultiPolygon
At = tuple[float, float, float]
"""Turn (degrees) and reference point (mm)."""


def many_alike(task: Task, share: float = WORTH) -> bool:
    """Whether there are pieces to be laid in rows, with such a share of the area of all."""
    return any(_many(task, group, share) for group in _alike(task, range(len(task.shapes))))


def lay_in_rows(chain: Chain, order: Sequence[int]) -> None:
    """Lay pieces anew, one kind after another where nothing else lies: in rows if there are many, and as they find a
    place."""
    task = chain.task
    chain.clear()
    for left in _alike(task, order):
        for number in range(len(task.places)) if _many(task, left, WORTH) else ():
            if left and task.allowed[left[0], number]:
                left = _laid_on(chain, left, number)
        lay_in_order(chain, left)


def _many(task: Task, group: Sequence[int], share: float) -> bool:
    return len(group) >= MANY and float(task.areas[group].sum()) >= share * float(task.areas.sum())


def _alike(task: Task, order: Sequence[int]) -> list[list[int]]:
    """Pieces in groups of equal outline, turns and places, each with the most valuable first."""
    groups: dict[tuple[int, bool, bytes], list[int]] = {}
    for i in order:
        key = int(task.table.first[i]), bool(task.table.slot[i] < 0), task.allowed[i].tobytes()
        groups.setdefault(key, []).append(i)
    return [sorted(group, key=lambda i: -task.shapes[i].value) for group in groups.values()]


def _laid_on(chain: Chain, pieces: list[int], number: int) -> list[int]:
    """Lay pieces alike in one of the places; returns those left."""
    task = chain.task
    place, first, free = task.places[number], int(task.table.first[pieces[0]]), task.table.slot[pieces[0]] >= 0
    forms = task.table.forms[first : first + int(task.table.turns[pieces[0]])]
    area = _free(chain, number)
    turns = None if free else tuple(form.turn_deg % 360.0 for form in forms if not form.mirrored)
    found = _most(forms[0].outline, turns, shapely.to_wkb(area), len(pieces)) if area.area > 0.0 else ()
    keep = chain.save()
    for i, (turn, x, y) in zip(pieces, found, strict=False):
        row = 0 if free else next(k for k, form in enumerate(forms) if same_turn(form.turn_deg, turn))
        at = (x + place.aside[0]) / task.scale, (y + place.aside[1]) / task.scale
        keep[i] = *at, first + row, math.radians(turn) if free else 0.0, number
    chain.restore(keep)
    return pieces[len(found) :]


def _free(chain: Chain, number: int) -> Area:
    """The part of a place that nothing lies on, in its ground's frame."""
    task, ground = chain.task, chain.task.places[number].ground
    lying = np.flatnonzero(chain.present).tolist()
    there = [i for i in lying if task.places[int(chain.state.region[i])].ground == ground]
    area = task.places[number].area
    if not there:
        return area
    return MultiPolygon(polygons(area.difference(shapely.union_all([_lying(chain, i) for i in there]))))


def _lying(chain: Chain, i: int) -> shapely.Geometry:
    """The grown outline of a piece where it lies, in its ground's frame."""
    task, state = chain.task, chain.state
    form = task.table.forms[int(state.base[i] if task.table.slot[i] >= 0 else state.row[i])]
    at = np.array((state.x[i], state.y[i])) * task.scale - task.places[int(state.region[i])].aside
    turn = form.turn_deg + math.degrees(state.angle[i])
    return shapely.transform(form.outline.polygon, lambda points: turned(points, turn, form.mirrored) + at)


@lru_cache(maxsize=256)
def _most(outline: Outline, turns: tuple[float, ...] | None, wkb: bytes, need: int) -> tuple[At, ...]:
    """Where most of so many pieces lie, and, if all, at the near end."""
    area = shapely.from_wkb(wkb)
    assert isinstance(area, Area)
    shapely.prepare(area)
    plain = is_box(area)
    by_half = turns is None or all(any(same_turn(turn + 180.0, other) for other in turns) for turn in turns)
    every = densest(outline, by_half)
    best, score = tuple[At, ...](), (0, 0.0)
    for rows in every if plain else every[:DENSE]:
        for whole in _wholes(rows, turns):
            cell = _Cell(outline, rows, whole)
            for at in _inside(cell, area.bounds, None if plain else CLOSER):
                if min(len(at), need) < score[0]:
                    break
                found, reach = _nearest(cell, at, None if plain else area, need)
                if (len(found), -reach) > score:
                    best, score = found, (len(found), -reach)
    return best


def _wholes(rows: Rows, turns: tuple[float, ...] | None) -> list[float]:
    """By what rows as a whole may be turned; where any turn may be, so that they run along the axes."""
    if turns is None:
        along = math.degrees(math.atan2(rows.along[1], rows.along[0]))
        return [-along, 90.0 - along]
    return [turn for turn in turns if len(rows.cell) == 1 or turn < 180.0]


class _Cell:
    """Rows turned as a whole: the turns of their one or two pieces, and these about their reference points, with their
    bounds; where the points lie from that of the first; the two vectors."""

    def __init__(self, outline: Outline, rows: Rows, whole: float) -> None:
        self.turns = [(turn + whole) % 360.0 for turn, _, _ in rows.cell]
        self.shapes = [_turned(outline.polygon, turn) for turn in self.turns]
        self.bounds = np.array([shape.bounds for shape in self.shapes])
        self.offsets = turned(np.array([at for _, *at in rows.cell]), whole, False)
        self.vectors = turned(np.array([rows.along, rows.up]), whole, False)

    def reduced(self, points: F64) -> F64:
        """Points moved by whole vectors to where they lie close to the origin."""
        return points - np.round(points @ np.linalg.inv(self.vectors)) @ self.vectors


def _turned(polygon: Area, turn: float) -> Area:
    return shapely.transform(polygon, lambda points: turned(points, turn, False))


def _inside(cell: _Cell, bounds: tuple[float, float, float, float], most: int | None) -> Iterator[F64]:
    """For each move of the rows, or those few that leave most inside the bounds, what lies inside: which piece of the
    cell, and its reference point, (n, 3). The most first."""
    low, high = np.array(bounds[:2]), np.array(bounds[2:])
    corners = np.array([(x, y) for x in (low[0], high[0]) for y in (low[1], high[1])]) - (low + high) / 2
    count = np.ceil(np.abs(corners @ np.linalg.inv(cell.vectors)).max(axis=0)).astype(int) + 2
    steps = np.stack(np.meshgrid(*(np.arange(-n, n + 1) for n in count.tolist())), axis=-1).reshape(-1, 2)
    points = steps @ cell.vectors + (low + high) / 2 + cell.offsets[:, None]
    least, last = low - cell.bounds[:, None, :2] - ROUNDING_MM, high - cell.bounds[:, None, 2:] + ROUNDING_MM
    moves = _moves(cell, low, high)
    inside = [np.all((points + move >= least) & (points + move <= last), axis=-1) for move in moves]
    counts = np.array([np.count_nonzero(these) for these in inside])
    for k in np.argsort(-counts, kind="stable")[:most].tolist():
        which, at = np.nonzero(inside[k])
        yield np.column_stack((which, points[which, at] + moves[k]))


def _moves(cell: _Cell, low: F64, high: F64) -> F64:
    """Moves of the rows from the middle: even steps of both vectors, and each piece into each corner, (n, 2)."""
    part = np.arange(PHASES) / PHASES
    even = np.stack(np.meshgrid(part, part), axis=-1).reshape(-1, 2) @ cell.vectors
    into = [
        np.array((x, y)) - offset - (low + high) / 2
        for box, offset in zip(cell.bounds, cell.offsets, strict=True)
        for x in (low[0] - box[0], high[0] - box[2])
        for y in (low[1] - box[1], high[1] - box[3])
    ]
    return cell.reduced(np.vstack([even, into]))


def _nearest(cell: _Cell, at: F64, area: Area | None, need: int) -> tuple[tuple[At, ...], float]:
    """At most so many of the pieces from the near end on, of those that lie in the area (None: all do), and how far
    they reach."""
    which = at[:, 0].astype(int)
    far = at[:, 1] + cell.bounds[which, 2]
    order = np.lexsort((at[:, 2], np.round(far, 6)))
    chosen = list[int]()
    for first in range(0, len(order), LOOKS):
        if len(chosen) >= need:
            break
        some = order[first : first + LOOKS]
        if area is not None:
            laid = [shapely.affinity.translate(cell.shapes[which[k]], at[k, 1], at[k, 2]) for k in some]
            some = some[shapely.covers(area, laid)]
        chosen += some.tolist()
    chosen = chosen[:need]
    found = tuple((cell.turns[which[k]], float(at[k, 1]), float(at[k, 2])) for k in chosen)
    return found, float(far[chosen].max(initial=0.0))
