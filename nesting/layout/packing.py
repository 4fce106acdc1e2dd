"""The most valuable rectangles that one room holds: exact where few go in, with a bound where that takes too long.

In: sides, turns, copies and worths of rectangles, and a room, all in whole units. Out: what the best set is worth at
most, the best set found, and how it lies. The method is that of `packing_kernels`; work is counted there. Pure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nesting.layout import packing_kernels as kernels

Ints = npt.NDArray[np.int64]
SETS = 1 << 16
"""Sets of which it is kept whether they go in, for each room."""
EACH = 20_000
"""Work for one set at most, as the kernel counts it."""

MOST_AT_ONCE = 16
"""A room of the area of more usual pieces is not packed exactly: that proves nothing in fair time."""
PARTS = 10**9
"""Of a room's area, at most."""


@dataclass(frozen=True, slots=True)
class Packing:
    """`most`: what no set that goes in is worth more than. `spots`: the best set found, worth more than the least asked
    for: kind, lower left corner, whether turned; none where there is none or none was found. `proven`: whether `most`
    is what that set is worth, or, without one, the least asked for."""

    most: int
    spots: tuple[tuple[int, int, int, bool], ...]
    counts: tuple[int, ...]
    proven: bool
    work: int


def holds_few(room: float, areas: Sequence[float], copies: Sequence[int]) -> bool:
    """Whether so few pieces go into a room of this area that packing it exactly may pay."""
    return room * sum(copies) <= MOST_AT_ONCE * sum(area * n for area, n in zip(areas, copies, strict=True))


class Room:
    """A room, rectangles that may go into it, and what is known of sets of them: asked again, it answers sooner.

    sides (n, 2), room: whole units of length; copies: how many of each there are; turn: whether a quarter turn is
    allowed; scales (r, n + 1): what each takes of the room at least, seen in several ways, and what there is of it.
    """

    def __init__(
        self,
        sides: Sequence[tuple[int, int]],
        copies: Sequence[int],
        turn: Sequence[bool],
        room: tuple[int, int],
        scales: Sequence[Sequence[int]] = (),
    ) -> None:
        step = int(np.gcd.reduce([*room, *(side for pair in sides for side in pair)]))
        width, depth = (np.array([pair[axis] // step for pair in sides], dtype=np.int64) for axis in (0, 1))
        self._room = np.array(room, dtype=np.int64) // step
        # Large ones first: what does not go in is known early.
        self._order = np.argsort(-(width * depth), kind="stable")
        # Areas in parts of the room's, rounded so that nothing is lost, as worths are multiplied by them.
        part = 1 + int(self._room.prod()) // PARTS
        area = [*(width * depth // part).tolist(), -(-int(self._room.prod()) // part)]
        rows = np.array([area, *scales], dtype=np.int64)
        self._scales, self._full = np.ascontiguousarray(rows[:, :-1][:, self._order]), rows[:, -1].copy()
        kinds = np.array([width, depth, np.array(turn, dtype=np.int64), np.array(copies, dtype=np.int64)])
        self._kinds = np.ascontiguousarray(kinds[:, self._order])
        self._step = step
        self._table = np.zeros(2 * SETS + 1, dtype=np.int64)

    def most_valuable(
        self, worth: Sequence[int], least: int, work: int, copies: Sequence[int] | None = None
    ) -> Packing:
        """The best set, if it is worth more than `least`; `most` is `least` where none is. copies: how many there are
        now, if fewer."""
        value = np.array(worth, dtype=np.int64)[self._order]
        kinds = self._kinds.copy()
        if copies is not None:
            kinds[kernels.COPIES] = np.minimum(kinds[kernels.COPIES], np.array(copies, dtype=np.int64)[self._order])
        n = len(value)
        orders = np.argsort(-value / np.maximum(self._scales, 0.5), axis=1, kind="stable")
        asked = kernels.Asked(kinds, value, self._room, self._scales, orders, self._table, work, EACH)
        state = _state(n, self._full, least)
        for k in np.flatnonzero((value <= 0) | (kinds[kernels.COPIES] <= 0)).tolist():
            state.may[0, k] = 0
        most = int(kernels.most_valuable(asked, state))
        counts = np.zeros(n, dtype=np.int64)
        counts[self._order] = state.found
        spots = tuple(
            (int(self._order[k]), x * self._step, y * self._step, bool(turned))
            for k, x, y, turned in state.place[: int(state.found.sum())].tolist()
        )
        proven = most == int(state.tally[kernels.BEST])
        return Packing(most, spots, tuple(counts.tolist()), proven, int(state.work[0]))


def _state(kinds: int, full: Ints, least: int) -> kernels.State:
    deep = kernels.MOST
    return kernels.State(
        np.array([0, least, least, least]),
        np.zeros(kinds, np.int64),
        full.copy(),
        np.zeros(kinds, np.int64),
        np.ones((deep + 1, kinds), np.int64),
        np.zeros(deep + 1, np.int64),
        np.zeros(deep + 1, np.int64),
        np.zeros((3, deep), np.int64),
        np.zeros(deep, np.int64),
        np.zeros((deep, 4), np.int64),
        np.zeros((deep + 2, 3, deep + 2), np.int64),
        np.zeros(1 << kernels.WIDENED, np.int64),
        np.zeros(1, np.int64),
    )
