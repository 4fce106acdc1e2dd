"""Compiled kernels for upright rectangles: fill one bin, and share all out over bins.

In and out: arrays and scalars, lengths with the gap added, so that rectangles may touch. No objects, no exceptions, no
memory of their own: what they note down meanwhile is handed in, as is the state that randomness comes from. Lists are
copied, chosen from and sorted by loops: what numpy has for it takes numba longer to compile than all the rest.

Methods. One bin: the maximal free rectangles are kept; each rectangle goes to the best of them by one of four rules,
and what it covers is cut away (Jylanki 2010, A thousand ways to pack the bin). All bins: part of the answer is taken
out and packed again in another order (Schrimpf et al. 2000, doi 10.1006/jcph.1999.6413); worse answers are accepted
less and less (Kirkpatrick, Gelatt, Vecchi 1983, doi 10.1126/science.220.4598.671). Where bins are to be chosen, full
ones count for themselves; where they are given, what counts is the area that found no place. Searches over all bins
stop at `until` and go on where they stopped.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from nesting.layout.kernels import F64, I64, U64, called, inner

B = NDArray[np.bool_]

EPS = 1e-7
FREE = 400
"""Free rectangles kept at most; with more, the last found are forgotten."""
RULES = 4
SETTING_OUT = 100
"""Beginning to fill a bin counts as so many free rectangles looked at; so that small bins are not tried without end."""
COVERING = 10
"""The same for cutting one rectangle out of the free ones."""
X0, Y0, X1, Y1 = range(4)


class Items(NamedTuple):
    """Rectangles, one row each; `turn`: may lie with its sides swapped."""

    width: F64
    depth: F64
    turn: B


class Bins(NamedTuple):
    """Kinds of bins, one row each: where a rectangle may lie wholly (`free[t, :parts[t]]`), area, what one costs by
    being used and for each unit of area laid in it, the stock it is made of. Of stock `s` there are `limit[s]`."""

    free: F64
    parts: I64
    area: F64
    cost: F64
    rate: F64
    stock: I64
    limit: I64


class Laid(NamedTuple):
    """Where each rectangle lies: its bin (-1: in none), corner, turned or not."""

    bin: I64
    x: F64
    y: F64
    turned: B


class Shared(NamedTuple):
    """An answer: where each rectangle lies, the kind of each bin (-1: not used) and the area laid in it."""

    laid: Laid
    kind: I64
    area: F64


WAITING, MERGED, OUT, TO_LAY, MINE, AGAIN = range(6)
"""Lists of rectangles: what fills a bin, half sorted, taken out of bins, what is to be laid, what lies in one bin, and
in which order to lay that again."""
GONE, NAMES, USED = range(3)
"""Lists for bins: emptied or not; names of bins; how many are used of each stock."""


class Scratch(NamedTuple):
    """Room for notes."""

    free: F64  # (2, FREE, 4) the free rectangles of a bin, and what a rectangle leaves of them
    key: F64  # (items) what they are sorted by
    list: I64  # (6, items) WAITING .. AGAIN
    bin: I64  # (3, bins or stocks) GONE, NAMES, USED
    trial: Laid


@inner
def uniform(state: U64) -> float:
    """In [0, 1), by xorshift (Marsaglia 2003, doi 10.18637/jss.v008.i14)."""
    s = state[0]
    s ^= s << np.uint64(13)
    s ^= s >> np.uint64(7)
    s ^= s << np.uint64(17)
    state[0] = s
    return float(s >> np.uint64(11)) / 9007199254740992.0


@inner
def normal(state: U64) -> float:
    """Standard normal, by Box and Muller."""
    u = 1.0 - uniform(state)
    return math.sqrt(-2.0 * math.log(u)) * math.cos(2.0 * math.pi * uniform(state))


@inner
def _score(rule: int, free: F64, w: float, d: float) -> float:
    """How well a rectangle suits a free one; less is better."""
    over_w, over_d = free[X1] - free[X0] - w, free[Y1] - free[Y0] - d
    if rule == 0:
        return float((free[Y0] + d) * 4096.0 + free[X0])
    if rule == 1:
        return float(min(over_w, over_d) * 4096.0 + max(over_w, over_d))
    if rule == 2:
        return float((free[X1] - free[X0]) * (free[Y1] - free[Y0]) - w * d + min(over_w, over_d) * 1e-3)
    return float((free[X0] + w) * 4096.0 + free[Y0])


@inner
def _cover(free: F64, made: F64, count: int, x0: float, y0: float, x1: float, y1: float) -> int:
    """Cut a rectangle out of the free ones; returns how many there are then. `made` receives what it leaves of them."""
    kept, new = 0, 0
    for k in range(count):
        a, b, c, d = free[k, X0], free[k, Y0], free[k, X1], free[k, Y1]
        if x0 >= c - EPS or x1 <= a + EPS or y0 >= d - EPS or y1 <= b + EPS:
            free[kept, X0], free[kept, Y0], free[kept, X1], free[kept, Y1] = a, b, c, d
            kept += 1
            continue
        for side in range(4):
            e, f, g, h = a, b, c, d
            if side == 0:
                g = x0
            elif side == 1:
                e = x1
            elif side == 2:
                h = y0
            else:
                f = y1
            if g - e > EPS and h - f > EPS and new < FREE:
                made[new, X0], made[new, Y0], made[new, X1], made[new, Y1] = e, f, g, h
                new += 1
    return _keep_largest(free, kept, made, new)


@inner
def _keep_largest(free: F64, kept: int, made: F64, new: int) -> int:
    """Add the new free rectangles that no other one holds."""
    old = kept
    for k in range(new):
        held = False
        for m in range(old):
            if _holds(free[m], made[k]):
                held = True
                break
        if not held:
            for m in range(new):
                if m != k and _holds(made[m], made[k]) and (m < k or not _holds(made[k], made[m])):
                    held = True
                    break
        if not held and kept < len(free):
            for c in range(4):
                free[kept, c] = made[k, c]
            kept += 1
    return kept


@inner
def _holds(a: F64, b: F64) -> bool:
    low = a[X0] <= b[X0] + EPS and a[Y0] <= b[Y0] + EPS
    return bool(low and a[X1] >= b[X1] - EPS and a[Y1] >= b[Y1] - EPS)


@inner
def _fill_bin(
    items: Items,
    order: I64,
    bins: Bins,
    kind: int,
    name: int,
    rule: int,
    ahead: int,
    laid: Laid,
    scratch: Scratch,
    work: I64,
) -> float:
    """Lay what fits, in order, each of the next `ahead` that suits best first; returns the area laid.

    Only rectangles whose `laid.bin` is -1 are laid; they get bin `name`.
    """
    free, waiting, left = scratch.free[0], scratch.list[WAITING], len(order)
    count = int(bins.parts[kind])
    for k in range(count):
        for c in range(4):
            free[k, c] = bins.free[kind, k, c]
    for k in range(left):
        waiting[k] = order[k]
    area, start = 0.0, 0
    work[0] += SETTING_OUT
    while start < left and count > 0:
        best, at, spot, turned = math.inf, -1, -1, False
        seen = 0
        k = start
        while k < left and seen < ahead:
            i = waiting[k]
            found = False
            for swap in range(2 if items.turn[i] else 1):
                w, d = (items.depth[i], items.width[i]) if swap else (items.width[i], items.depth[i])
                for f in range(count):
                    if w <= free[f, X1] - free[f, X0] + EPS and d <= free[f, Y1] - free[f, Y0] + EPS:
                        found = True
                        score = _score(rule, free[f], w, d)
                        if score < best:
                            best, at, spot, turned = score, k, f, swap == 1
                work[0] += count
            if found:
                seen += 1
                k += 1
            else:
                left -= 1
                for m in range(k, left):
                    waiting[m] = waiting[m + 1]
        if at < 0:
            break
        i = waiting[at]
        for m in range(at, start, -1):
            waiting[m] = waiting[m - 1]
        waiting[start] = i
        start += 1
        w, d = (items.depth[i], items.width[i]) if turned else (items.width[i], items.depth[i])
        x, y = free[spot, X0], free[spot, Y0]
        laid.bin[i], laid.x[i], laid.y[i], laid.turned[i] = name, x, y, turned
        area += w * d
        count = _cover(free, scratch.free[1], count, x, y, x + w, y + d)
        work[0] += COVERING
    return area


@inner
def _sort(order: I64, key: F64, merged: I64) -> None:
    """Those of least key first, equal ones as they stood: runs of 1, 2, 4 ... are merged. `merged` has as much room."""
    n, run = len(order), 1
    while run < n:
        for start in range(0, n, 2 * run):
            middle, stop = min(start + run, n), min(start + 2 * run, n)
            a, b = start, middle
            for k in range(start, stop):
                if b >= stop or (a < middle and key[order[a]] <= key[order[b]]):
                    merged[k] = order[a]
                    a += 1
                else:
                    merged[k] = order[b]
                    b += 1
        for k in range(n):
            order[k] = merged[k]
        run *= 2


@inner
def _lying(order: I64, laid: Laid, name: int, kept: I64) -> int:
    """Those that lie in a bin, into `kept` (which may be where they stand); returns how many."""
    size = 0
    for i in order:
        if laid.bin[i] == name:
            kept[size] = i
            size += 1
    return size


@inner
def _disturb(items: Items, chosen: I64, state: U64, scratch: Scratch, order: I64) -> None:
    """The chosen rectangles into `order`, largest first by area, a side or their sum, more or less disturbed."""
    what = int(uniform(state) * 5.0)
    noise = (0.0, 0.05, 0.15, 0.4)[int(uniform(state) * 4.0)]
    for k in range(len(chosen)):
        i = chosen[k]
        order[k] = i
        w, d = items.width[i], items.depth[i]
        if what == 0:
            key = math.sqrt(w * d)
        elif what == 1:
            key = max(w, d)
        elif what == 2:
            key = w + d
        elif what == 3:
            key = w + 1e-3 * d
        else:
            key = d + 1e-3 * w
        scratch.key[i] = -key * math.exp(noise * normal(state)) if noise > 0.0 else -key
    _sort(order, scratch.key, scratch.list[MERGED])


@inner
def _copy_one(source: Laid, to: Laid, i: int) -> None:
    to.bin[i], to.x[i], to.y[i], to.turned[i] = source.bin[i], source.x[i], source.y[i], source.turned[i]


@inner
def _copy(source: Laid, to: Laid) -> None:
    for i in range(len(to.bin)):
        _copy_one(source, to, i)


@called
def most_valuable(
    items: Items, value: F64, bins: Bins, kind: int, most_work: int, state: U64, best: Laid, scratch: Scratch, work: I64
) -> float:
    """The most valuable subset found for one bin, in many orders by value for area; returns its value."""
    n = len(value)
    top, tries = -1.0, 0
    key, order, laid = scratch.key, scratch.list[TO_LAY], scratch.trial
    while tries < 8 or work[0] < most_work:
        noise = 0.0 if tries < 2 else (0.05, 0.15, 0.4)[int(uniform(state) * 3.0)]
        power = (0.0, 1.0, 0.5)[tries % 3]
        for i in range(n):
            area = items.width[i] * items.depth[i]
            worth = (value[i] / area) ** (4.0 * power) * area**0.5
            key[i] = -worth * math.exp(noise * normal(state)) if noise > 0.0 else -worth
            order[i], laid.bin[i] = i, -1
        _sort(order, key, scratch.list[MERGED])
        rule = int(uniform(state) * RULES)
        ahead = (1, 1, 3, 8)[int(uniform(state) * 4.0)]
        _fill_bin(items, order, bins, kind, np.int64(0), rule, ahead, laid, scratch, work)
        worth = 0.0
        missing = False
        for i in range(n):
            if laid.bin[i] == 0:
                worth += value[i]
            else:
                missing = True
        if worth > top:
            top = worth
            _copy(laid, best)
        if not missing:
            break
        tries += 1
    return top


@inner
def _next_bin(
    items: Items, order: I64, bins: Bins, name: int, laid: Laid, state: U64, scratch: Scratch, work: I64
) -> int:
    """Fill one more bin, of the kind that costs least for the area laid, or nearly; -1: none holds any."""
    kinds, used, trial = len(bins.cost), scratch.bin[USED], scratch.trial
    rule = int(uniform(state) * RULES)
    ahead = (1, 1, 3, 8)[int(uniform(state) * 4.0)]
    chosen, least = -1, math.inf
    tries = kinds if kinds <= 3 else 3 + int(uniform(state) * 3.0)
    shift = int(uniform(state) * kinds)
    for k in range(kinds):
        kind = (shift + k * 7) % kinds if kinds % 7 else (shift + k) % kinds
        if k >= tries and chosen >= 0:
            break
        if used[bins.stock[kind]] >= bins.limit[bins.stock[kind]]:
            continue
        for i in order:
            trial.bin[i] = -1
        area = _fill_bin(items, order, bins, kind, name, rule, ahead, trial, scratch, work)
        if area <= 0.0:
            continue
        price = (bins.cost[kind] / area + bins.rate[kind]) * (1.0 + 0.15 * uniform(state) * (kinds > 1))
        if price < least:
            chosen, least = kind, price
            for i in order:
                _copy_one(trial, laid, i)
    return chosen


@inner
def _energy(bins: Bins, kind_of: I64, area_in: F64) -> float:
    """Cost, less a share of each bin by the square of how full it is: one full and one empty beats two halves."""
    total = 0.0
    for b in range(len(kind_of)):
        k = kind_of[b]
        if k >= 0:
            full = area_in[b] / bins.area[k]
            total += bins.cost[k] * (1.0 - 0.4 * full * full) + bins.rate[k] * area_in[b]
    return total


@inner
def cost_of(bins: Bins, kind_of: I64, area_in: F64) -> float:
    """What the bins used cost."""
    total = 0.0
    for b in range(len(kind_of)):
        k = kind_of[b]
        if k >= 0:
            total += bins.cost[k] + bins.rate[k] * area_in[b]
    return total


@inner
def _refill(
    items: Items, out: I64, bins: Bins, kind_of: I64, area_in: F64, laid: Laid, state: U64, scratch: Scratch, work: I64
) -> bool:
    """Pack the rectangles taken out into new bins; False where some find none."""
    used = scratch.bin[USED]
    for k in range(len(bins.limit)):
        used[k] = 0
    for b in range(len(kind_of)):
        if kind_of[b] >= 0:
            used[bins.stock[kind_of[b]]] += 1
    waiting = scratch.list[TO_LAY][: len(out)]
    _disturb(items, out, state, scratch, waiting)
    while len(waiting):
        name = 0
        while kind_of[name] >= 0:
            name += 1
        for i in waiting:
            laid.bin[i] = -1
        kind = _next_bin(items, waiting, bins, name, laid, state, scratch, work)
        if kind < 0:
            return False
        used[bins.stock[kind]] += 1
        kind_of[name], area_in[name] = kind, 0.0
        for i in waiting:
            if laid.bin[i] == name:
                area_in[name] += items.width[i] * items.depth[i]
        _cheapen(items, waiting, bins, kind_of, area_in, name, laid, state, scratch, work)
        waiting = waiting[: _lying(waiting, laid, np.int64(-1), waiting)]
    return True


@inner
def _cheapen(
    items: Items,
    order: I64,
    bins: Bins,
    kind_of: I64,
    area_in: F64,
    name: int,
    laid: Laid,
    state: U64,
    scratch: Scratch,
    work: I64,
) -> None:
    """Where a cheaper kind holds all that was laid in a bin, take that."""
    used, trial = scratch.bin[USED], scratch.trial
    mine = scratch.list[MINE][: _lying(order, laid, name, scratch.list[MINE])]
    again = scratch.list[AGAIN][: len(mine)]
    now = kind_of[name]
    area = area_in[name]
    for kind in range(len(bins.cost)):
        less = bins.cost[kind] + bins.rate[kind] * area < bins.cost[now] + bins.rate[now] * area - EPS
        stock = bins.stock[kind]
        gone = used[stock] >= bins.limit[stock] and stock != bins.stock[now]
        if not less or gone or bins.area[kind] < area - EPS:
            continue
        for _ in range(3):
            for i in mine:
                trial.bin[i] = -1
            rule = int(uniform(state) * RULES)
            ahead = (1, 3)[int(uniform(state) * 2.0)]
            _disturb(items, mine, state, scratch, again)
            found = _fill_bin(items, again, bins, kind, name, rule, ahead, trial, scratch, work)
            if found >= area - EPS * max(1.0, area):
                used[bins.stock[now]] -= 1
                used[stock] += 1
                now = kind
                kind_of[name] = kind
                for i in mine:
                    _copy_one(trial, laid, i)
                break


@inner
def _taken_out(bins: Bins, kind_of: I64, area_in: F64, laid: Laid, state: U64, scratch: Scratch) -> int:
    """Empty one to four bins, poorly filled ones rather; their rectangles into the list OUT. Returns how many."""
    n, many, gone, names = len(kind_of), 0, scratch.bin[GONE], scratch.bin[NAMES]
    for b in range(n):
        gone[b] = 0
        if kind_of[b] >= 0:
            names[many] = b
            many += 1
    count = min(many, (1, 2, 2, 3, 3, 4)[int(uniform(state) * 6.0)])
    for k in range(count):
        pick = names[int(uniform(state) * many)]
        if k == 0:
            for _ in range(2):
                other = names[int(uniform(state) * many)]
                if area_in[other] / bins.area[kind_of[other]] < area_in[pick] / bins.area[kind_of[pick]]:
                    pick = other
        gone[pick] = 1
    out, size = scratch.list[OUT], 0
    for i in range(len(laid.bin)):
        if gone[laid.bin[i]]:
            out[size] = i
            size += 1
    for b in range(n):
        if gone[b]:
            kind_of[b], area_in[b] = -1, 0.0
    return size


@inner
def _all_out(now: Shared, out: I64) -> int:
    """Empty all bins; all rectangles into `out`. Returns how many."""
    for b in range(len(now.kind)):
        now.kind[b], now.area[b] = -1, 0.0
    for i in range(len(out)):
        out[i] = i
    return len(out)


@inner
def _mean(figures: F64) -> float:
    total = 0.0
    for k in range(len(figures)):
        total += figures[k]
    return total / len(figures)


@inner
def _copy_all(source: Shared, to: Shared) -> None:
    _copy(source.laid, to.laid)
    for b in range(len(to.kind)):
        to.kind[b], to.area[b] = source.kind[b], source.area[b]


@called
def share_out(
    items: Items,
    bins: Bins,
    floor: float,
    most_work: int,
    until: int,
    state: U64,
    now: Shared,
    kept: Shared,
    best: Shared,
    figures: F64,
    scratch: Scratch,
    work: I64,
) -> None:
    """Share all rectangles out over bins for the least cost found.

    Ends at `floor`, a cost that cannot be beaten, or when the work is done. `best` holds the answer, `figures` the
    energy of the one kept and the cost of the best: inf while not all find a place.
    """
    n = len(items.width)
    while work[0] < until and figures[1] > floor + EPS:
        left = 1.0 - work[0] / most_work
        if figures[0] == math.inf:
            size = _all_out(now, scratch.list[OUT])
        else:
            size = _taken_out(bins, now.kind, now.area, now.laid, state, scratch)
        whole = _refill(items, scratch.list[OUT][:size], bins, now.kind, now.area, now.laid, state, scratch, work)
        work[0] += n
        new = _energy(bins, now.kind, now.area) if whole else math.inf
        heat = 0.08 * (left * left) * _mean(bins.cost)
        better = new < figures[0] or (heat > 0.0 and uniform(state) < math.exp((figures[0] - new) / heat))
        if whole and better:
            figures[0] = new
            _copy_all(now, kept)
            cost = cost_of(bins, now.kind, now.area)
            if cost < figures[1] - EPS:
                figures[1] = cost
                _copy_all(now, best)
        else:
            _copy_all(kept, now)


@inner
def _some_bins(count: int, state: U64, names: I64) -> int:
    """One to three of the bins, none twice, first in `names`. Returns how many."""
    for k in range(count):
        names[k] = k
    some = min(count, (1, 1, 2, 2, 3, 3)[int(uniform(state) * 6.0)])
    for k in range(some):
        at = k + int(uniform(state) * (count - k))
        names[k], names[at] = names[at], names[k]
    return some


@inner
def _emptied(now: Laid, names: I64, out: I64) -> int:
    """Empty bins; the rectangles that lie in none then into `out`. Returns how many."""
    size = 0
    for i in range(len(now.bin)):
        for name in names:
            if now.bin[i] == name:
                now.bin[i] = -1
        if now.bin[i] == -1:
            out[size] = i
            size += 1
    return size


@called
def lay_all(
    items: Items,
    bins: Bins,
    most_work: int,
    until: int,
    state: U64,
    now: Laid,
    kept: Laid,
    best: Laid,
    figures: F64,
    scratch: Scratch,
    work: I64,
) -> None:
    """Lay all rectangles in one bin of each kind. `figures`: the area without a place in `kept` and in `best`.

    Some bins are emptied and filled again with what they held and what has no place, until all has one.
    """
    n, mean = len(now.bin), 0.0
    for i in range(n):
        mean += items.width[i] * items.depth[i]
    mean /= n
    while work[0] < until and figures[1] > EPS:
        left = 1.0 - work[0] / most_work
        names = scratch.bin[NAMES][: _some_bins(len(bins.cost), state, scratch.bin[NAMES])]
        out = scratch.list[OUT][: _emptied(now, names, scratch.list[OUT])]
        waiting = scratch.list[TO_LAY][: len(out)]
        _disturb(items, out, state, scratch, waiting)
        for name in names:
            rule = int(uniform(state) * RULES)
            ahead = (1, 1, 3, 8)[int(uniform(state) * 4.0)]
            _fill_bin(items, waiting, bins, name, name, rule, ahead, now, scratch, work)
            waiting = waiting[: _lying(waiting, now, np.int64(-1), waiting)]
        work[0] += n
        new = 0.0
        for i in waiting:
            new += items.width[i] * items.depth[i]
        heat = 0.1 * (left * left) * mean
        if new <= figures[0] or (heat > 0.0 and uniform(state) < math.exp((figures[0] - new) / heat)):
            figures[0] = new
            _copy(now, kept)
            if new < figures[1] - EPS:
                figures[1] = new
                _copy(now, best)
        else:
            _copy(kept, now)
