"""Compiled kernels: whether upright rectangles go into one room, and which of them are worth most that do.

In and out: arrays and scalars in whole numbers, int64 all of them. No objects, no exceptions, no chance: work is
counted, and what it leaves undecided is told.

Methods. One set of rectangles: any packing, pushed left and down, can be built up so that each rectangle begins in a
corner of the staircase round those before it, below and left of which nothing more will lie (Martello, Pisinger and
Vigo 2000, doi 10.1287/opre.48.2.256.12386). A branch ends where the rest have more area than the corners leave, or
one of them fits into none. The most valuable set: one piece more at a time, kinds in order; only such kinds go on into
a branch as went in where it began, and it ends where, of these, what is left of the room can hold no more of worth
than the best so far (Gilmore and Gomory 1966, doi 10.1287/opre.14.6.1045). What was found of a set is kept.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from nesting.layout.kernels import called, inner

I64 = NDArray[np.int64]

MOST = 40
"""Pieces in one set at most; of more nothing is told."""
WIDENED = 9
"""Pieces in a set of which all sums of sides are looked at, at most."""
LARGEST = 1 << 60
NEW, YES, NO, OPEN = range(4)
"""What is known of a set: nothing yet; it goes in; it does not; that is not found out in the work allowed."""
WIDTH, DEPTH, TURN, COPIES = range(4)
"""Rows of `kinds` (4, n): sides, whether a quarter turn is allowed, how many there are."""
X, Y = 0, 1
KIND, CORNER_X, CORNER_Y, TURNED = range(4)
"""Columns of `place` (MOST, 4): which kind lies where."""
WORTH, LEAST, BEST, UNDECIDED = range(4)
"""Worth of the pieces counted; asked for at least; of the best set; the most that sets not decided on
can come to."""
GOES_IN = 2


class Asked(NamedTuple):
    """A room and what may go into it; `table`: what is known of sets in this room, open addressing, in each cell a key
    four times and NEW to OPEN, in the last how many."""

    kinds: I64  # (4, n)
    value: I64  # (n,) what one piece is worth
    room: I64  # (2,)
    scales: I64  # (r, n) what one piece takes of the room at least, seen in several ways
    orders: I64  # (r, n) kinds, those first that are worth most for it
    table: I64
    most_work: int
    most_each: int
    """For one set."""


class State(NamedTuple):
    """A search under way: the set it is at, how it lies, the best so far; and room to work in."""

    tally: I64
    counts: I64  # (n,)
    left: I64  # (r,) of the room, by each scale
    found: I64  # (n,)
    may: I64  # (MOST + 1, n) 0: goes not in beside what there is; 1: may; GOES_IN
    key: I64  # (MOST + 1,)
    chosen: I64  # (MOST + 1,) the kind added at each depth
    sides: I64  # (3, MOST) of the kinds in the set looked at: as wide and deep as they may be taken; whether they turn
    rest: I64  # (MOST,) how many of each are still to be laid
    place: I64  # (MOST, 4)
    corner: I64  # (MOST + 2, 3, MOST + 2) x, y, whether usable, at each depth
    sums: I64  # (2 to the power WIDENED,)
    work: I64  # (1,)


@inner
def _nearest_sum(side: I64, of: I64, count: int, but: int, room: int, sums: I64) -> int:
    """The largest sum of the sides of some pieces that is no more than the room; piece `but` is left out."""
    size, most = 1, np.int64(0)
    for i in range(count):
        known = 0 if i == but else size
        for s in range(known):
            one = sums[s] + side[of[i]]
            if one <= room:
                sums[size] = one
                size += 1
                most = max(most, one)
    return int(most)


@inner
def _widen(sides: I64, left: I64, kinds_in: int, room: I64, of: I64, sums: I64) -> None:
    """Make sides longer as far as no packing is lost: what no sum of the others can fill beside a piece is its own
    (Boschetti and Mingozzi 2003, doi 10.1007/s10288-002-0005-z); where there are several of a kind it stays."""
    count = np.int64(0)
    for j in range(kinds_in):
        for _ in range(left[j]):
            of[count] = j
            count += 1
    for axis in range(2):
        for i in range(count):
            free = room[axis] - sides[axis, of[i]]
            if left[of[i]] == 1 and free > 0:
                sides[axis, of[i]] = room[axis] - _nearest_sum(sides[axis], of, count, i, free, sums)


@inner
def _usable_area(sides: I64, left: I64, kinds_in: int, room: I64, corner: I64, corners: int, usable: I64) -> int:
    """The area above all corners that take one of the pieces left; -1 where one of these fits into none."""
    area, above = 0, room[Y]
    nowhere = (1 << kinds_in) - 1
    for c in range(corners):
        usable[c] = 0
        over_x, over_y = room[X] - corner[X, c], room[Y] - corner[Y, c]
        for j in range(kinds_in):
            w, d = sides[X, j], sides[Y, j]
            if left[j] == 0:
                nowhere &= ~(1 << j)
            elif (w <= over_x and d <= over_y) or (sides[2, j] and d <= over_x and w <= over_y):
                nowhere &= ~(1 << j)
                usable[c] = 1
        if usable[c]:
            area += over_x * (above - corner[Y, c])
            above = corner[Y, c]
    return -1 if nowhere else area


@inner
def _build_up(corner: I64, corners: int, right: int, top: int, new: I64) -> int:
    """The corners of the staircase once a piece reaches to `right` and `top`; returns how many."""
    count, c = 0, 0
    while corner[Y, c] > top:
        new[X, count], new[Y, count] = corner[X, c], corner[Y, c]
        count += 1
        c += 1
    new[X, count], new[Y, count] = corner[X, c], top
    count += 1
    under = 0
    while c < corners and corner[X, c] <= right:
        under = corner[Y, c]
        c += 1
    new[X, count], new[Y, count] = right, under
    count += 1
    while c < corners:
        new[X, count], new[Y, count] = corner[X, c], corner[Y, c]
        count += 1
        c += 1
    return count


@inner
def _could_come_first(corner: I64, corners: int, last: I64, x: int, y: int, right: int) -> bool:
    """Whether a piece could have been laid here before the last one, which begins farther right, to the same end."""
    if right > last[CORNER_X]:
        return False
    found = False
    for c in range(corners):
        found = found or (corner[X, c] == x and corner[Y, c] == y)
    return found


@inner
def _goes_in(kinds: I64, counts: I64, room: I64, most_work: int, state: State) -> int:
    """YES, NO or OPEN: whether so many of each kind go into the room; `state.place` tells how.

    Branches over the corner, the kind that begins there, its turn.
    """
    scratch, place, work = state.corner, state.place, state.work
    sides, left = state.sides, state.rest
    of, corners, at, laid = scratch[MOST, 0], scratch[MOST, 1], scratch[MOST, 2], scratch[MOST + 1, 0]
    kinds_in, pieces, turns = np.int64(0), np.int64(0), np.int64(0)
    for k in range(len(counts)):
        if counts[k] > 0:
            of[kinds_in], left[kinds_in] = k, counts[k]
            sides[X, kinds_in], sides[Y, kinds_in] = kinds[WIDTH, k], kinds[DEPTH, k]
            sides[2, kinds_in] = kinds[TURN, k]
            turns += kinds[TURN, k]
            kinds_in += 1
            pieces += counts[k]
    if pieces <= WIDENED and turns == 0:
        work[0] += pieces << pieces
        _widen(sides, left, kinds_in, room, at, state.sums)
    rest, alone, largest = np.int64(0), -1, 0
    for j in range(kinds_in):
        area = sides[X, j] * sides[Y, j]
        rest += area * left[j]
        # Mirrored either way it is a packing still: one piece is kept to the lower left.
        if left[j] == 1 and area > largest:
            alone, largest = j, area
    corners[0], scratch[0, X, 0], scratch[0, Y, 0] = 1, 0, 0
    depth, entered, until = np.int64(0), True, work[0] + most_work
    while depth >= 0:
        corner, usable = scratch[depth], scratch[depth, 2]
        options = corners[depth] * kinds_in * 2
        if entered:
            entered = False
            if rest == 0:
                return YES
            if work[0] > until:
                return OPEN
            work[0] += options
            some = _usable_area(sides, left, kinds_in, room, corner, corners[depth], usable) >= rest
            at[depth] = 0 if some else options
        while at[depth] < options and not entered:
            c, j, turned = at[depth] // (2 * kinds_in), at[depth] // 2 % kinds_in, at[depth] % 2
            at[depth] += 1
            if usable[c] == 0 or left[j] == 0 or (turned and (not sides[2, j] or sides[X, j] == sides[Y, j])):
                continue
            w, d = sides[turned, j], sides[1 - turned, j]
            x, y = corner[X, c], corner[Y, c]
            if x + w > room[X] or y + d > room[Y] or (j == alone and (2 * x > room[X] - w or 2 * y > room[Y] - d)):
                continue
            if depth and _could_come_first(scratch[depth - 1], corners[depth - 1], place[depth - 1], x, y, x + w):
                continue
            place[depth, KIND], place[depth, CORNER_X], place[depth, CORNER_Y] = of[j], x, y
            place[depth, TURNED] = turned
            laid[depth] = j
            left[j] -= 1
            rest -= w * d
            corners[depth + 1] = _build_up(corner, corners[depth], x + w, y + d, scratch[depth + 1])
            depth += 1
            entered = True
        if not entered:
            depth -= 1
            if depth >= 0:
                left[laid[depth]] += 1
                rest += sides[X, laid[depth]] * sides[Y, laid[depth]]
    return NO


@inner
def _key(key: int, k: int, kinds: int) -> int:
    """The key of a set with one more piece of kind `k`, the kinds in order: a number to the base of kinds and one; -1,
    none, where that grows too large."""
    return key * (kinds + 1) + k + 1 if 0 <= key < LARGEST // (kinds + 1) - 1 else -1


@inner
def _looked_up(asked: Asked, state: State, key: int) -> int:
    """Whether the pieces counted go in, by the table where that knows it."""
    size = len(asked.table) - 1
    at = max(key, 0) * 0x9E3779B1 % LARGEST % size
    while key >= 0 and asked.table[at] != 0:
        if asked.table[at] // 4 == key:
            return int(asked.table[at] % 4)
        at = at + 1 if at + 1 < size else 0
    known = _goes_in(asked.kinds, state.counts, asked.room, asked.most_each, state)
    if key >= 0 and 2 * asked.table[size] < size:
        asked.table[size] += 1
        asked.table[at] = 4 * key + known
    return known


@inner
def _may_be_worth(
    kinds: I64,
    value: I64,
    scales: I64,
    orders: I64,
    left: I64,
    may: I64,
    first: int,
    counts: I64,
    worth: int,
    best: int,
) -> int:
    """The most that a set can come to with more pieces of the kinds from `first` on that may be added, seen on each
    scale, where parts of pieces are allowed; once that is no more than `best`, that."""
    least = int(LARGEST)
    for r in range(len(scales)):
        rest, most = left[r], worth
        for k in orders[r]:
            if k >= first and may[k] > 0:
                some = kinds[COPIES, k] - counts[k]
                if scales[r, k] * some > rest:
                    most += rest * value[k] // scales[r, k]
                    break
                most += value[k] * some
                rest -= scales[r, k] * some
                if most >= least:
                    break
        least = min(least, most)
        if least <= best:
            break
    return int(least)


@inner
def _take(k: int, times: int, scales: I64, left: I64, counts: I64) -> bool:
    """So many pieces more, or fewer, of a kind; False where that is more than the room has, on some scale."""
    counts[k] += times
    fits = True
    for r in range(len(scales)):
        left[r] -= times * scales[r, k]
        fits = fits and left[r] >= 0
    return fits


@inner
def _look_ahead(asked: Asked, state: State, depth: int, first: int) -> None:
    """Which kinds from `first` on go in beside what there is; from the last on, so that each is told of those after."""
    allowed, counts, tally = state.may[depth], state.counts, state.tally
    for k in range(len(counts) - 1, first - 1, -1):
        if allowed[k] == 0:
            continue
        worth = tally[WORTH] + asked.value[k]
        fits = _take(k, 1, asked.scales, state.left, counts) and counts[k] <= asked.kinds[COPIES, k]
        if not fits:
            allowed[k] = 0
        else:
            state.work[0] += asked.scales.size
            bound = _may_be_worth(
                asked.kinds, asked.value, asked.scales, asked.orders, state.left, allowed, k, counts, worth, tally[BEST]
            )
            if bound > tally[BEST]:
                known = OPEN
                if depth + 1 < MOST and state.work[0] < asked.most_work:
                    known = _looked_up(asked, state, _key(state.key[depth], k, len(counts)))
                if known == NO:
                    allowed[k] = 0
                elif known == OPEN:
                    tally[UNDECIDED] = max(tally[UNDECIDED], bound)
                else:
                    allowed[k] = GOES_IN
                    _keep_best(state, worth)
        _take(k, -1, asked.scales, state.left, counts)


@inner
def _keep_best(state: State, worth: int) -> None:
    """The pieces counted are the best set so far, if they are worth more than that."""
    if worth > state.tally[BEST]:
        state.tally[BEST] = worth
        for k in range(len(state.counts)):
            state.found[k] = state.counts[k]


@inner
def _next(asked: Asked, state: State, depth: int, k: int) -> int:
    """Adds a piece of the first kind from `k` on that goes in and may come to something; returns it, or how many kinds
    there are."""
    n = len(state.counts)
    while k < n:
        if state.may[depth, k] == GOES_IN:
            _take(k, 1, asked.scales, state.left, state.counts)
            state.work[0] += asked.scales.size
            bound = _may_be_worth(
                asked.kinds,
                asked.value,
                asked.scales,
                asked.orders,
                state.left,
                state.may[depth],
                k,
                state.counts,
                state.tally[WORTH] + asked.value[k],
                state.tally[BEST],
            )
            if bound > state.tally[BEST]:
                return k
            _take(k, -1, asked.scales, state.left, state.counts)
        k += 1
    return n


@called
def most_valuable(asked: Asked, state: State) -> int:
    """The most that any set that goes into the room is worth, or the least asked for where that is no more; a bound on
    it where the work did not do. In `state.found` and `state.place`: the best set worth more than the least, if there
    is one, and how it lies."""
    n = len(asked.value)
    tally, chosen = state.tally, state.chosen
    depth, entered = np.int64(0), True
    while depth >= 0:
        if entered:
            first = chosen[depth - 1] if depth else np.int64(0)
            _look_ahead(asked, state, depth, first)
            chosen[depth] = first - 1
        k = _next(asked, state, depth, chosen[depth] + 1)
        chosen[depth] = k
        entered = k < n
        if entered:
            tally[WORTH] += asked.value[k]
            state.key[depth + 1] = _key(state.key[depth], k, n)
            for j in range(n):
                state.may[depth + 1, j] = 1 if state.may[depth, j] and j >= k else 0
            depth += 1
        else:
            depth -= 1
            if depth >= 0:
                tally[WORTH] -= asked.value[chosen[depth]]
                _take(chosen[depth], -1, asked.scales, state.left, state.counts)
    if tally[BEST] > tally[LEAST]:
        _goes_in(asked.kinds, state.found, asked.room, asked.most_each, state)
    return max(tally[BEST], tally[UNDECIDED])
