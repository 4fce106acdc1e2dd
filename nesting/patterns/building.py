"""Limited quantities: rectangles built up from pairs, the most promising first.

In: a Task and its Tables. Out: a Pattern. Method: built rectangles are joined side by side or one above another (Wang
1983, doi 10.1287/opre.31.3.573), best first by what the sheet round them can still bring (Viswanathan and Bagchi 1993,
doi 10.1287/opre.41.4.768); of those with the same pieces, none larger or of more stages than another is kept.
"""

from __future__ import annotations

import heapq
import operator
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from nesting.patterns.tables import Tables
from nesting.patterns.terms import Ints, Part, Pattern, Size, Task, cut_in_two, floor, floors, moved


@dataclass(frozen=True, slots=True)
class Made:
    """How a built rectangle came about: a form, or two built ones joined along an axis."""

    form: int = -1
    axis: int = 0
    low: int = -1
    high: int = -1


@dataclass(slots=True)
class Builder:
    """Rectangles built so far, as growing arrays: sides, value, counts, stages by first axis: in a part of their own
    size, and in one that is larger across that axis, where every strip is trimmed by itself."""

    task: Task
    tables: Tables
    stages: int | None
    least: int
    made: list[Made] = field(default_factory=list)
    known: dict[bytes, list[tuple[int, ...]]] = field(default_factory=dict)
    heap: list[tuple[int, int, int]] = field(default_factory=list)
    rows: Ints = field(init=False)
    counts: Ints = field(init=False)
    promise: Ints = field(init=False)
    most: Ints = field(init=False)
    best: int = -1

    def __post_init__(self) -> None:
        wants = self.task.wants
        # width, depth, value, stages upright first, lying first, and both again in a larger part
        self.rows = np.zeros((1024, 7), dtype=np.int64)
        self.counts = np.zeros((1024, len(wants)), dtype=np.int64)
        self.promise = promise_round(self.tables)
        self.most = np.array([self.task.fit(w) if w.most is None else w.most for w in wants], dtype=np.int64)

    def run(self, nodes: int) -> Pattern:
        """Open the most promising rectangle, join it to all opened before, until none promises more than is found."""
        for number, form in enumerate(self.task.forms):
            count = np.zeros((1, len(self.most)), dtype=np.int64)
            count[0, form.want] = 1
            row = np.array([[form.width, form.depth, form.value, 0, 0, 2, 2]], dtype=np.int64)
            self._add(row, count, [Made(form=number)])
        opened: list[int] = []
        bound = max(self.least - 1, int(self.tables.best(self.tables.depth)[-1, -1]))
        while self.heap and len(self.made) < nodes:
            promise, _, number = heapq.heappop(self.heap)
            bound = min(bound, -promise)
            if bound <= max(self.least - 1, self._value()):
                break
            opened.append(number)
            for axis in (0, 1):
                self._join(number, np.array(opened), axis)
        value = self._value()
        if not self.heap:
            bound = max(self.least - 1, value)
        return Pattern(value, max(bound, value), self.task.whole(self._root()))

    def _value(self) -> int:
        return 0 if self.best < 0 else int(self.rows[self.best, 2])

    def _join(self, number: int, others: Ints, axis: int) -> None:
        """All joins of one rectangle with others, along an axis, that fit and promise more than the best found."""
        one, rows = self.rows[number], self.rows[others]
        along = one[axis] + rows[:, axis]
        across = np.maximum(one[1 - axis], rows[:, 1 - axis])
        value = one[2] + rows[:, 2]
        fits = along <= self.task.size[axis]
        fits &= (self.counts[number] + self.counts[others] <= self.most).all(axis=1)
        at = np.flatnonzero(fits)
        width, depth = (along[at], across[at]) if axis == 0 else (across[at], along[at])
        gain = self.promise[floors(self.task.xs, width), floors(self.task.ys, depth)]
        at = at[(value[at] + gain >= max(self.least, self._value() + 1))]
        if not len(at):
            return
        new = np.empty((len(at), 7), dtype=np.int64)
        new[:, axis], new[:, 1 - axis], new[:, 2] = along[at], across[at], value[at]
        first = np.maximum(_stages_in(one[None, :], across[at], axis), _stages_in(rows[at], across[at], axis))
        new[:, 3 + axis], new[:, 4 - axis] = first, first + 1
        new[:, 5 + axis], new[:, 6 - axis] = np.maximum(one[5 + axis], rows[at, 5 + axis]), first + 1
        made = [Made(axis=axis, low=number, high=int(other)) for other in others[at]]
        self._add(new, self.counts[number] + self.counts[others[at]], made)

    def _add(self, rows: Ints, counts: Ints, made: Sequence[Made]) -> None:
        for row, count, how in zip(rows, counts, made, strict=True):
            width, depth, value = (int(n) for n in row[:3])
            if self._too_many_stages(min(int(row[3]), int(row[4]))) or self._dominated(count, row):
                continue
            number = len(self.made)
            if number == len(self.rows):
                self.rows = np.concatenate([self.rows, np.zeros_like(self.rows)])
                self.counts = np.concatenate([self.counts, np.zeros_like(self.counts)])
            self.rows[number], self.counts[number] = row, count
            self.made.append(how)
            gain = int(self.promise[floor(self.task.xs, width), floor(self.task.ys, depth)])
            heapq.heappush(self.heap, (-value - gain, -value, number))
            if value > self._value() and not self._too_many_stages(self._stages_on_sheet(row)):
                self.best = number

    def _too_many_stages(self, stages: int) -> bool:
        return self.stages is not None and stages > self.stages

    def _dominated(self, count: Ints, row: Ints) -> bool:
        """Whether the same pieces were built no larger and in no more stages before."""
        sides, stages = row[:2].tolist(), row[3:].tolist()
        mine = (*sides, *(stages if self.stages is not None else ()))
        seen = self.known.setdefault(count.tobytes(), [])
        if any(all(map(operator.le, other, mine)) for other in seen):
            return True
        seen.append(mine)
        return False

    def _stages_on_sheet(self, row: Ints) -> int:
        """Stages that free the built rectangle from the corner of the sheet, and all in it."""
        if (int(row[0]), int(row[1])) == self.task.size:
            return min(int(row[3]), int(row[4]))
        return min(int(_stages_in(row[None, :], np.array([self.task.size[1 - axis]]), axis)[0]) for axis in (0, 1))

    def _root(self) -> Part:
        if self.best < 0:
            return Part((0, 0), self.task.size)
        row = self.rows[self.best]
        axis = min((0, 1), key=lambda a: int(_stages_in(row[None, :], np.array([self.task.size[1 - a]]), a)[0]))
        return self._in_place(self.best, (0, 0), self.task.size, axis)

    def _in_place(self, number: int, corner: Size, size: Size, axis: int) -> Part:
        """A built rectangle in a part that may be larger, the first cuts running along `axis`."""
        built, how = self.rows[number, :2].tolist(), self.made[number]
        if built[axis] < size[axis]:
            low, high = cut_in_two(size, axis, built[axis])
            rest = Part(moved(corner, axis, built[axis]), high)
            parts = (self._in_place(number, corner, low, axis), rest)
            return Part(corner, size, axis=axis, at=corner[axis] + built[axis] - self.task.cut, parts=parts)
        if how.form >= 0 and (built[0], built[1]) == size:
            form = self.task.forms[how.form]
            return Part(corner, size, form.want, form.turned)
        if how.form >= 0 or how.axis != axis:
            return self._in_place(number, corner, size, 1 - axis)
        at = int(self.rows[how.low, axis])
        low, high = cut_in_two(size, axis, at)
        parts = (
            self._in_place(how.low, corner, low, axis),
            self._in_place(how.high, moved(corner, axis, at), high, axis),
        )
        return Part(corner, size, axis=axis, at=corner[axis] + at - self.task.cut, parts=parts)


def _stages_in(rows: Ints, across: Ints, axis: int) -> Ints:
    """Stages, 1 at least, within a strip `across` wide cut along `axis` first: what is narrower is trimmed."""
    return np.where(rows[:, 1 - axis] < across, rows[:, 5 + axis], np.maximum(rows[:, 3 + axis], 1))


def promise_round(tables: Tables) -> Ints:
    """What the sheet round a rectangle in its corner can bring at most: h(x, y) of Viswanathan and Bagchi."""
    best, xs, ys = tables.best(tables.depth), tables.xs, tables.ys
    gain = np.zeros_like(best)
    for i in range(len(xs) - 1, -1, -1):
        if i < len(xs) - 1:
            widths = floors(xs, xs[i + 1 :] - xs[i])
            gain[i] = (gain[i + 1 :] + best[widths]).max(axis=0)
        for j in range(len(ys) - 2, -1, -1):
            depths = floors(ys, ys[j + 1 :] - ys[j])
            gain[i, j] = max(int(gain[i, j]), int((gain[i, j + 1 :] + best[i, depths]).max()))
    return gain
