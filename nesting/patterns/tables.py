"""Quantities without limits: the best pattern of every part of the sheet, stage by stage.

In: a Task. Out: Tables, and the tree of cuts that reaches what they say. Method: the recursion of Gilmore and Gomory
(1966), doi 10.1287/opre.14.6.1045, over normal patterns, until the stages allowed are used up or another stage gains
nothing (Beasley 1985, doi 10.1057/jors.1985.51). The numbers (T1) and (T2) are those of docs/model.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from nesting.patterns.terms import Ints, Part, Size, Task, cut_in_two, floor, moved


@dataclass(frozen=True, slots=True)
class Tables:
    """`tables[axis][k][i, j]`: the most from a part `xs[i]` by `ys[j]` in at most k stages, the first along `axis`."""

    xs: Ints
    ys: Ints
    tables: tuple[list[Ints], list[Ints]]

    @classmethod
    def of(cls, task: Task, stages: int | None) -> Tables:
        whole = np.zeros((len(task.xs), len(task.ys)), dtype=np.int64)
        for form in task.forms:
            i, j = np.searchsorted(task.xs, form.width), np.searchsorted(task.ys, form.depth)
            whole[i, j] = max(whole[i, j], form.value)  # (T1)
        upright, lying = [whole], [whole]
        while stages is None or len(upright) <= stages:
            upright.append(_strips(lying[-1], task.xs))
            lying.append(_strips(upright[-2].T, task.ys).T)
            if (upright[-1] == upright[-2]).all() and (lying[-1] == lying[-2]).all():
                break
        return cls(task.xs, task.ys, (upright, lying))

    @property
    def depth(self) -> int:
        """Stages that the tables look at."""
        return len(self.tables[0]) - 1

    def best(self, stages: int) -> Ints:
        """The most whichever way the first cuts run."""
        return np.maximum(self.tables[0][stages], self.tables[1][stages])

    def tree(self, task: Task) -> Part:
        """The cuts that reach the most from the whole sheet."""
        stages = self.depth
        axis = 0 if self.tables[0][stages][-1, -1] >= self.tables[1][stages][-1, -1] else 1
        return self._part(task, (0, 0), task.size, (axis, stages))

    def _part(self, task: Task, corner: Size, size: Size, first: Size) -> Part:
        axis, stages = first
        index = floor(self.xs, size[0]), floor(self.ys, size[1])
        worth = int(self.tables[axis][stages][index])
        if worth == 0:
            return Part(corner, size)
        if stages == 0:
            form = next(f for f in task.forms if (f.width, f.depth) == size and f.value == worth)
            return Part(corner, size, form.want, form.turned)
        points = self.xs if axis == 0 else self.ys
        exact = int(points[index[axis]]) == size[axis]
        if exact and int(self.tables[1 - axis][stages - 1][index]) == worth:
            return self._part(task, corner, size, (1 - axis, stages - 1))
        at = self._first_strip(index, first, worth)
        low_size, high_size = cut_in_two(size, axis, at)
        low = self._part(task, corner, low_size, (1 - axis, stages - 1))
        high = self._part(task, moved(corner, axis, at), high_size, first)
        return Part(corner, size, axis=axis, at=corner[axis] + at - task.cut, parts=(low, high))

    def _first_strip(self, index: Size, first: Size, worth: int) -> int:
        """Where the first strip ends: it in fewer stages, and the rest in as many, are worth as much."""
        axis, stages = first
        points = self.xs if axis == 0 else self.ys
        line: tuple[slice | int, slice | int] = (slice(None), index[1]) if axis == 0 else (index[0], slice(None))
        strip, rest = self.tables[1 - axis][stages - 1][line], self.tables[axis][stages][line]
        length = int(points[index[axis]])
        for point, value in zip(points.tolist(), strip.tolist(), strict=True):
            if 0 < point <= length and value and value + int(rest[floor(points, length - point)]) == worth:
                return int(point)
        raise AssertionError("a table's value comes from a strip and its rest")


def _strips(strip: Ints, points: Ints) -> Ints:
    """(T2) the most from cutting strips off along the first axis, by what a strip is worth; waste at the end."""
    best = strip.copy()
    for i in range(1, len(points)):
        row = np.maximum(best[i], best[i - 1])
        rests = np.searchsorted(points, points[i] - points[1:i], side="right") - 1
        if len(rests):
            row = np.maximum(row, (strip[1:i] + best[rests]).max(axis=0))
        best[i] = row
    return best
