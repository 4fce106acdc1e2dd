"""Compiled kernels: how much pieces overlap, and where a piece had better lie.

In and out: arrays and scalars in the engine's frame (lengths scaled so that a mean piece has area 1), grouped in the
named tuples below. No objects, no exceptions. Every kernel releases the GIL; randomness comes from `state.rng`. All
that one kernel calls stands in this one file, since numba's cache notices no change of a function in another.

Method: a pair's overlap is measured with inscribed circles (float32, a fixed number per piece, no branches), and,
only where no two circles meet, decided by the crossing of the true edges. A piece moves to the best of sampled
positions under weighted overlap, refined by coordinate descent; weights of pairs that stay in conflict grow (guided
local search).
Egeblad, Nielsen, Odgaard (2007), EJOR 183, 1249-1266; Imamichi, Yagiura, Nagamochi (2009), Discrete Optimization 6,
345-361; Umetani, Murakami (2022), EJOR 300, 1009-1026; Gardeyn, Vanden Berghe, Wauters (2025), arXiv:2509.13329.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numba import config, njit
from numpy.typing import NDArray

CIRCLES = 8
LANES = CIRCLES * CIRCLES
NOOKS = 4
KEPT = 3

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

I64 = NDArray[np.int64]
U8 = NDArray[np.uint8]
U64 = NDArray[np.uint64]

f4 = np.float32
ZERO = f4(0.0)
ONE = f4(1.0)
FAR = 1e30
TOUCH = 1e-9
NOTHING = 1e-12
HEAVIEST = f4(1e12)
EVALUATIONS, ROUNDS = 0, 1
LEAST, MARK, IDLE = 0, 1, 2


class Rows(NamedTuple):
    """Outlines, one row per shape and orientation, about the shape's reference point."""

    circle: F32  # (rows, 2, 3, LANES) x, y, radius of CIRCLES inscribed circles, largest first, padded with radius 0;
    # each of them CIRCLES times, and the whole list CIRCLES times: one row's first against another's second meets
    # all pairs in one loop
    edge: F64  # (rows, 8, edges) ends and boxes (AX .. HY), the outer ring first
    trait: F64  # (rows, 11) box and diagonal box (X0 .. M1), SIZE, SOFT, COUNT
    nook: F64  # (rows, NOOKS, 3) largest circle in each hole of the shape: x, y, radius (0: none)


AX, AY, BX, BY, LX, LY, HX, HY = range(8)
"""An edge runs from a to b; l and h are the lower and the higher corner of its box."""
X0, Y0, X1, Y1, P0, M0, P1, M1, SIZE, SOFT, COUNT = range(11)
"""Least and greatest x and y; of x + y (P) and x - y (M); fourth root of the hull's area; the depth under which an
overlap fades out instead of vanishing; number of edges."""
AT_X, AT_Y, WEIGHT = range(8, 11)


class Pieces(NamedTuple):
    """What is to be laid. A piece with fixed turns has `turns` rows from `first`; a free one has `turns` base rows
    (as drawn, mirrored) and a slot row of its own, rewritten whenever it turns."""

    first: I64
    turns: I64
    slot: I64  # -1: fixed turns
    allowed: U8  # (pieces, regions)


class Regions(NamedTuple):
    """Where pieces may lie: boxes, or rings with a signed-distance raster (positive inside) over a padded box."""

    box: F64  # (regions, 7) the box, and its raster's origin and cell (GRID_X, GRID_Y, CELL)
    table: I64  # (regions + 1, 6) PLAIN .. NY
    edge: F64  # (4, edges) AX .. BY
    ring: I64  # edges that start a ring
    field: F32


GRID_X, GRID_Y, CELL = range(4, 7)
PLAIN, START, RING, FIELD, NX, NY = range(6)
"""1: the box is all there is; where its edges, rings and raster nodes start (the next region ends them); nodes
along x and y."""


class State(NamedTuple):
    """A layout under way. A piece that takes no part has an empty box."""

    x: F64
    y: F64
    angle: F64
    base: I64  # base row of a free piece
    row: I64
    region: I64
    box: F64
    live: U8
    loss: F32  # (pieces, pieces)
    out: F32
    weight: F32
    weight_out: F32
    rng: U64
    work: I64  # evaluations, rounds so far
    run: F64  # a separation under way: least loss, the loss that a gain is measured from, rounds without gain
    lane: F32  # (LANES) scratch: weighted depths
    near: I64  # (3, edges) scratch: edge numbers
    order: I64
    other: F64  # (11, pieces) all but the piece that moves: boxes (X0 .. M1), x, y, weight
    core: F32  # (blocks, 5, LANES) of the same: largest circle (x, y, radius), weight x size, softness
    bound: F32  # (blocks, LANES) scratch: the least loss with each
    meet: I64  # (3, pieces) of the same: row; scratch: those whose boxes meet the candidate's
    crowd: I64  # how many others; which of them last ruled a candidate out
    best: F64  # (KEPT + 1, 6) loss, x, y, row or base, angle, region


INSERT, FORCE, SEPARATE = range(3)


class Job(NamedTuple):
    """INSERT piece `piece` where it overlaps nothing, of `wide` positions tried at the one farthest against the lean;
    FORCE it to where it overlaps least; SEPARATE all, each moved as if forced. What a job has no use for is 0."""

    what: int
    piece: int = 0
    wide: int = 0  # positions tried anywhere
    close: int = 0  # and near where the piece lies
    floor: float = 0.0  # the least step of a descent, as a share of the piece's width
    lean_x: float = 0.0
    lean_y: float = 0.0
    patience: int = 0  # rounds without a gain of 2 % after which a separation ends
    most: int = 0  # evaluations after which it does


config.OPT = type(config.OPT)(2)  # type: ignore[attr-defined]
"""How hard the compiler tries: at 3, as numba would have it, it takes a fifth longer, and kernels are no faster."""
OPTIONS: dict[str, Any] = {
    "nogil": True,
    "error_model": "numpy",
    "_nrt": False,
    "no_cfunc_wrapper": True,
    "forceinline": False,
}
"""Without `_nrt`, numba's counting of references: it costs a kernel more than its arithmetic does. What a `_merged`
kernel calls would be merged as well, if it did not say no.

What is written as a whole number or a truth value in a call is a type of its own for numba, and compiled for itself:
shared kernels are called with variables.
"""
CALLED: dict[str, Any] = OPTIONS | {"cache": True}
"""For what is called from Python too."""
INNER: dict[str, Any] = OPTIONS | {"no_cpython_wrapper": True}
"""For what only kernels call: without the wrapper for a call from Python, which takes long to compile."""


def called(function):  # type: ignore[no-untyped-def]
    return njit(**CALLED)(function)


def inner(function):  # type: ignore[no-untyped-def]
    return njit(**INNER)(function)


def shared(function):  # type: ignore[no-untyped-def]
    """For what only kernels call, but takes long enough to be kept: `ready` compiles these side by side."""
    return njit(**INNER | {"cache": True})(function)


def _inlined(function):  # type: ignore[no-untyped-def]
    """For what is called for every evaluation with named tuples, which would be copied at every call. It is copied into
    its caller before anything is known of types, and compiled as a part of it: worth it where it is called once."""
    return njit(**OPTIONS, inline="always")(function)


def _merged(function):  # type: ignore[no-untyped-def]
    """For small ones called for every evaluation from several places: compiled once, then merged into each of them."""
    return njit(**INNER | {"forceinline": True})(function)


# ── randomness ───────────────────────────────────────────────────────────────────────────────────────────────


@called
def uniform(rng: U64) -> float:
    """[0, 1): splitmix64, Steele, Lea, Flood (2014), doi 10.1145/2660193.2660195."""
    rng[0] += np.uint64(0x9E3779B97F4A7C15)
    z = rng[0]
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    z = z ^ (z >> np.uint64(31))
    return float(z >> np.uint64(11)) * 1.1102230246251565e-16


@inner
def below(rng: U64, n: int) -> int:
    """0 .. n - 1."""
    return int(uniform(rng) * n)


# ── surrogates ───────────────────────────────────────────────────────────────────────────────────────────────


@inner
def depth(edge: F64, start: int, stop: int, x: float, y: float) -> float:
    """Signed distance of a point to rings of edges start..stop, positive inside (even-odd)."""
    least = FAR
    inside = False
    for e in range(start, stop):
        ax, ay, bx, by = edge[AX, e], edge[AY, e], edge[BX, e], edge[BY, e]
        ux, uy, vx, vy = bx - ax, by - ay, x - ax, y - ay
        length = ux * ux + uy * uy
        t = (ux * vx + uy * vy) / length if length > 0.0 else 0.0
        t = min(1.0, max(0.0, t))
        dx, dy = vx - t * ux, vy - t * uy
        d = dx * dx + dy * dy
        least = d if d < least else least
        if (ay > y) != (by > y) and vx < ux * vy / uy:
            inside = not inside
    return math.sqrt(least) if inside else -math.sqrt(least)


@called
def raster(edge: F64, grid: F64, nx: int, ny: int, out: F32) -> None:
    """Signed distances to rings (4, edges) at the nodes of a grid (x0, y0, cell), row by row, into out (nx * ny)."""
    n = edge.shape[1]
    for j in range(ny):
        for i in range(nx):
            out[j * nx + i] = depth(edge, np.int64(0), n, grid[0] + i * grid[2], grid[1] + j * grid[2])


@inner
def _clearance(edge: F64, x: float, y: float, circles: F64, done: int) -> float:
    d = depth(edge, np.int64(0), edge.shape[1], x, y)
    for c in range(done):
        ux, uy = x - circles[c, 0], y - circles[c, 1]
        gap = math.sqrt(ux * ux + uy * uy) - circles[c, 2]
        d = gap if gap < d else d
    return d


@called
def inscribed(edge: F64, box: F64, circles: F64) -> None:
    """Largest circle inside rings (4, edges), then the largest beside those before, into circles (CIRCLES, 3)."""
    fine = 24
    w, h = box[2] - box[0], box[3] - box[1]
    for c in range(len(circles)):
        best, px, py = 0.0, 0.0, 0.0
        for j in range(fine):
            for i in range(fine):
                x, y = box[0] + (i + 0.5) * w / fine, box[1] + (j + 0.5) * h / fine
                d = _clearance(edge, x, y, circles, c)
                if d > best:
                    best, px, py = d, x, y
        if best <= 0.0:
            circles[c, 0], circles[c, 1], circles[c, 2] = circles[0, 0], circles[0, 1], 0.0
            continue
        step = max(w, h) / fine
        while step > 1e-3 * best:
            moved = False
            for k in range(8):
                x, y = px + step * math.cos(k * math.pi / 4), py + step * math.sin(k * math.pi / 4)
                d = _clearance(edge, x, y, circles, c)
                if d > best:
                    best, px, py, moved = d, x, y, True
            if not moved:
                step *= 0.5
        circles[c, 0], circles[c, 1], circles[c, 2] = px, py, best


@shared
def turn_row(rows: Rows, source: int, target: int, angle: float) -> None:
    """Row `target` becomes row `source` turned by `angle` (radians)."""
    c, s = math.cos(angle), math.sin(angle)
    fc, fs = f4(c), f4(s)
    for side in range(2):
        a, b = rows.circle[source, side], rows.circle[target, side]
        for k in range(LANES):
            b[0, k], b[1, k], b[2, k] = fc * a[0, k] - fs * a[1, k], fs * a[0, k] + fc * a[1, k], a[2, k]
    for k in range(NOOKS):
        x, y = rows.nook[source, k, 0], rows.nook[source, k, 1]
        rows.nook[target, k, 0], rows.nook[target, k, 1] = c * x - s * y, s * x + c * y
        rows.nook[target, k, 2] = rows.nook[source, k, 2]
    t = rows.trait[target]
    for k in range(len(t)):
        t[k] = rows.trait[source, k]
    t[X0], t[Y0], t[P0], t[M0] = FAR, FAR, FAR, FAR
    t[X1], t[Y1], t[P1], t[M1] = -FAR, -FAR, -FAR, -FAR
    old, new = rows.edge[source], rows.edge[target]
    for e in range(int(t[COUNT])):
        x, y = c * old[AX, e] - s * old[AY, e], s * old[AX, e] + c * old[AY, e]
        u, v = c * old[BX, e] - s * old[BY, e], s * old[BX, e] + c * old[BY, e]
        new[AX, e], new[AY, e], new[BX, e], new[BY, e] = x, y, u, v
        new[LX, e], new[HX, e], new[LY, e], new[HY, e] = min(x, u), max(x, u), min(y, v), max(y, v)
        t[X0], t[Y0], t[P0], t[M0] = min(t[X0], x), min(t[Y0], y), min(t[P0], x + y), min(t[M0], x - y)
        t[X1], t[Y1], t[P1], t[M1] = max(t[X1], x), max(t[Y1], y), max(t[P1], x + y), max(t[M1], x - y)


# ── evaluation ───────────────────────────────────────────────────────────────────────────────────────────────
# Functions called for every pair take plain arrays: named tuples are copied at every call.


@inner
def _inside(edge: F64, n: int, x: float, y: float) -> bool:
    """Whether a point lies inside rings of n edges (8, edges), even-odd, by the stored ends of every edge."""
    inside = False
    for e in range(n):
        if (edge[AY, e] > y) != (edge[BY, e] > y):
            ax, ay = edge[AX, e], edge[AY, e]
            if x - ax < (edge[BX, e] - ax) * (y - ay) / (edge[BY, e] - ay):
                inside = not inside
    return inside


@inner
def _meet(ax: float, ay: float, bx: float, by: float, cx: float, cy: float, dx: float, dy: float) -> bool:
    """Whether two closed segments whose boxes touch share a point. Touching counts, since outlines are laid a hair
    smaller than true; segments on one line share a point if their boxes do."""
    ux, uy, vx, vy = bx - ax, by - ay, dx - cx, dy - cy
    if (ux * (cy - ay) - uy * (cx - ax)) * (ux * (dy - ay) - uy * (dx - ax)) > 0.0:
        return False
    return (vx * (ay - cy) - vy * (ax - cx)) * (vx * (by - cy) - vy * (bx - cx)) <= 0.0


@inner
def _gather(edge: F64, n: int, x0: float, y0: float, x1: float, y1: float, dx: float, dy: float, near: I64) -> int:
    """How many of n edges (8, edges), shifted by (dx, dy), have a box that meets the box given; which, in near[0]."""
    for e in range(n):
        across = (edge[LX, e] + dx <= x1) & (edge[HX, e] + dx >= x0)
        near[1, e] = 1 if across & (edge[LY, e] + dy <= y1) & (edge[HY, e] + dy >= y0) else 0
    m = 0
    for e in range(n):
        near[0, m] = e
        m += near[1, e]
    return m


@inner
def _cross(p: F64, tp: F64, q: F64, tq: F64, dx: float, dy: float, near: I64) -> bool:
    """Whether edges p (8, edges), shifted by (dx, dy), meet edges q: only those in the common box are tried."""
    x0, y0 = max(tp[X0] + dx, tq[X0]), max(tp[Y0] + dy, tq[Y0])
    x1, y1 = min(tp[X1] + dx, tq[X1]), min(tp[Y1] + dy, tq[Y1])
    m = _gather(q, int(tq[COUNT]), x0, y0, x1, y1, 0.0, 0.0, near[:2])
    if m == 0:
        return False
    # Shifted just as the box was, so that an edge on the box's border rounds the same way.
    n = _gather(p, int(tp[COUNT]), x0, y0, x1, y1, dx, dy, near[1:])
    for h in range(n):
        e = near[1, h]
        lx, ly, hx, hy = p[LX, e] + dx, p[LY, e] + dy, p[HX, e] + dx, p[HY, e] + dy
        ax, ay, bx, by = p[AX, e] + dx, p[AY, e] + dy, p[BX, e] + dx, p[BY, e] + dy
        for k in range(m):
            f = near[0, k]
            if (q[LX, f] > hx) | (q[HX, f] < lx) | (q[LY, f] > hy) | (q[HY, f] < ly):
                continue
            if _meet(ax, ay, bx, by, q[AX, f], q[AY, f], q[BX, f], q[BY, f]):
                return True
    return False


@inner
def _overlap(p: F64, tp: F64, q: F64, tq: F64, dx: float, dy: float, near: I64) -> bool:
    """Whether outline p, shifted by (dx, dy), and outline q have inner points in common."""
    if _cross(p, tp, q, tq, dx, dy, near):
        return True
    # Nothing crosses: one lies in the other or they are apart; a vertex of each outer ring tells.
    x0, y0, x1, y1 = tp[X0] + dx, tp[Y0] + dy, tp[X1] + dx, tp[Y1] + dy
    if (x0 >= tq[X0]) & (y0 >= tq[Y0]) & (x1 <= tq[X1]) & (y1 <= tq[Y1]):
        return _inside(q, int(tq[COUNT]), p[AX, 0] + dx, p[AY, 0] + dy)
    if (x0 <= tq[X0]) & (y0 <= tq[Y0]) & (x1 >= tq[X1]) & (y1 >= tq[Y1]):
        return _inside(p, int(tp[COUNT]), q[AX, 0] - dx, q[AY, 0] - dy)
    return False


@njit(**INNER, fastmath={"reassoc"})
def _counted(count: f4, more: f4) -> f4:
    """Their sum, in whatever order it comes among others: exact for whole numbers, and so all lanes are put to use."""
    return count + more


@inner
def _apart(each: F32, tile: F32, fx: f4, fy: f4) -> bool:
    """Whether no circle, shifted by (fx, fy), meets one of the other's."""
    met = ZERO
    for k in range(LANES):
        ux, uy, rs = each[0, k] + fx - tile[0, k], each[1, k] + fy - tile[1, k], each[2, k] + tile[2, k]
        met = _counted(met, ONE if ux * ux + uy * uy < rs * rs else ZERO)
    return met == ZERO


@shared
def pair_loss(circle: F32, edge: F64, trait: F64, i: int, j: int, dx: float, dy: float, near: I64, lane: F32) -> float:
    """How much row i, shifted by (dx, dy), overlaps row j: a length, 0 if and only if they do not overlap."""
    fx, fy = f4(dx), f4(dy)
    each, tile = circle[i, 0], circle[j, 1]
    if _apart(each, tile, fx, fy) and not _overlap(edge[i], trait[i], edge[j], trait[j], dx, dy, near):
        return 0.0
    soft = f4(max(trait[i, SOFT], trait[j, SOFT]))
    square, twice = soft * soft, soft + soft
    for k in range(LANES):
        ux, uy = each[0, k] + fx - tile[0, k], each[1, k] + fy - tile[1, k]
        r, s = each[2, k], tile[2, k]
        p = r + s - np.sqrt(ux * ux + uy * uy)
        v = p if p > soft else square / (twice - p)
        lane[k] = v * (r if r < s else s)
    return math.sqrt(_sum(lane, LANES) + square) * trait[i, SIZE] * trait[j, SIZE]


@inner
def _sum(lane: F32, n: int) -> float:
    """The sum of n numbers, n a power of two from 8: in halves, so that it needs few steps. `lane` is spoilt."""
    while n > 4:
        n //= 2
        for k in range(n):
            lane[k] += lane[k + n]
    return float((lane[0] + lane[1]) + (lane[2] + lane[3]))


@inner
def _field(regions: Regions, k: int, x: float, y: float) -> float:
    """Signed distance in region k by bilinear interpolation; the raster is padded, so every piece's circle is on it."""
    box, nx, ny = regions.box[k], regions.table[k, NX], regions.table[k, NY]
    u, v = (x - box[GRID_X]) / box[CELL], (y - box[GRID_Y]) / box[CELL]
    i, j = min(nx - 2, max(0, int(u))), min(ny - 2, max(0, int(v)))
    u, v = u - i, v - j
    field, at = regions.field, regions.table[k, FIELD] + j * nx + i
    low = (1.0 - u) * field[at] + u * field[at + 1]
    high = (1.0 - u) * field[at + nx] + u * field[at + nx + 1]
    return (1.0 - v) * low + v * high


@inner
def _leaves(rows: Rows, regions: Regions, r: int, k: int, x: float, y: float) -> bool:
    """Whether row r at (x, y) is not wholly inside region k; decided by edges and a vertex of every ring."""
    edge, t = rows.edge[r], rows.trait[r]
    n = int(t[COUNT])
    x0, y0, x1, y1 = t[X0] + x, t[Y0] + y, t[X1] + x, t[Y1] + y
    ring, table = regions.edge, regions.table
    start, stop = table[k, START], table[k + 1, START]
    for e in range(start, stop):
        ax, ay, bx, by = ring[AX, e], ring[AY, e], ring[BX, e], ring[BY, e]
        if (ax < x0) & (bx < x0) | (ax > x1) & (bx > x1) | (ay < y0) & (by < y0) | (ay > y1) & (by > y1):
            continue
        for f in range(n):
            if (edge[LX, f] + x > max(ax, bx)) | (edge[HX, f] + x < min(ax, bx)):
                continue
            if (edge[LY, f] + y > max(ay, by)) | (edge[HY, f] + y < min(ay, by)):
                continue
            if _meet(edge[AX, f] + x, edge[AY, f] + y, edge[BX, f] + x, edge[BY, f] + y, ax, ay, bx, by):
                return True
    if depth(ring, start, stop, edge[AX, 0] + x, edge[AY, 0] + y) < 0.0:
        return True
    for q in range(table[k, RING], table[k + 1, RING]):
        px, py = ring[AX, regions.ring[q]], ring[AY, regions.ring[q]]
        if x0 <= px <= x1 and y0 <= py <= y1 and _inside(edge, n, px - x, py - y):
            return True
    return False


@inner
def _over(t: F64, g: F64, x: float, y: float) -> float:
    """How far a box (of traits t, at x, y) stands over the box g: 0 inside."""
    over_x = max(0.0, g[0] - t[X0] - x) + max(0.0, t[X1] + x - g[2])
    return over_x + max(0.0, g[1] - t[Y0] - y) + max(0.0, t[Y1] + y - g[3])


@shared
def out_loss(rows: Rows, regions: Regions, r: int, k: int, x: float, y: float) -> float:
    """How far row r at (x, y) leaves region k: a length like `pair_loss`, 0 if and only if it lies wholly inside."""
    t = rows.trait[r]
    over = _over(t, regions.box[k], x, y)
    soft, slack = t[SOFT], 0.75 * regions.box[k, CELL]
    total, proven = over * t[SIZE], over > 1e-9
    if regions.table[k, PLAIN]:
        return 2.0 * math.sqrt(total + soft * soft) * (t[SIZE] * t[SIZE]) if proven else 0.0
    circle = rows.circle[r, 1]
    for a in range(CIRCLES):
        radius = float(circle[2, a])
        p = radius - _field(regions, k, x + float(circle[0, a]), y + float(circle[1, a]))
        proven |= p > slack
        total += (p if p > soft else soft * soft / (2.0 * soft - p)) * radius
    if not proven and not _leaves(rows, regions, r, k, x, y):
        return 0.0
    return 2.0 * math.sqrt(total + soft * soft) * (t[SIZE] * t[SIZE])


@shared
def survey(rows: Rows, state: State, i: int) -> None:
    """Bring together what candidates for piece i are held against: all others that lie, in the order of the pieces."""
    other, core, meet, m = state.other, state.core, state.meet, 0
    for j in range(len(state.x)):
        if state.live[j] == 0 or j == i:
            continue
        r, x, y, w = state.row[j], state.x[j], state.y[j], state.weight[i, j]
        for k in range(8):
            other[k, m] = state.box[j, k]
        other[AT_X, m], other[AT_Y, m], other[WEIGHT, m] = x, y, w
        circle = rows.circle[r, 1]
        b, a = m // LANES, m % LANES
        core[b, 0, a], core[b, 1, a], core[b, 2, a] = f4(x) + circle[0, 0], f4(y) + circle[1, 0], circle[2, 0]
        core[b, 3, a], core[b, 4, a] = w * f4(rows.trait[r, SIZE]), f4(rows.trait[r, SOFT])
        meet[0, m] = r
        m += 1
    state.crowd[0], state.crowd[1] = m, -1
    for k in range(m, -(-m // LANES) * LANES):
        core[k // LANES, 2, k % LANES] = f4(-FAR)


@inner
def _least(core: F32, bound: F32, m: int, x: f4, y: f4, r: f4, size: f4, soft: f4, lane: F32) -> float:
    """What a candidate's loss with all others is at least, from their largest circles alone; each one's into bound."""
    for k in range(LANES):
        lane[k] = ZERO
    for b in range(-(-m // LANES)):
        c, least = core[b], bound[b]
        for a in range(LANES):
            ux, uy, s = c[0, a] - x, c[1, a] - y, c[2, a]
            p = r + s - np.sqrt(ux * ux + uy * uy)
            q = c[4, a] if c[4, a] > soft else soft
            v = c[3, a] * size * np.sqrt(p * (r if r < s else s) + q * q)
            v = v if p > q else ZERO
            least[a] = v
            lane[a] += v
    return _sum(lane, LANES)


@inner
def _meeting(other: F64, meet: I64, m: int, t: F64, x: float, y: float) -> int:
    """How many of the m others have a box and diagonal box that meets the candidate's; which, in meet[1]."""
    # Boxes that touch to within rounding do not meet, so that equal edges may lie side by side.
    x0, y0, x1, y1 = t[X0] + x + TOUCH, t[Y0] + y + TOUCH, t[X1] + x - TOUCH, t[Y1] + y - TOUCH
    p0, m0, p1, m1 = t[P0] + x + y + TOUCH, t[M0] + x - y + TOUCH, t[P1] + x + y - TOUCH, t[M1] + x - y - TOUCH
    for j in range(m):
        across = (x0 < other[X1, j]) & (x1 > other[X0, j]) & (y0 < other[Y1, j]) & (y1 > other[Y0, j])
        slanted = (p0 < other[P1, j]) & (p1 > other[P0, j]) & (m0 < other[M1, j]) & (m1 > other[M0, j])
        meet[2, j] = 1 if across & slanted else 0
    count = 0
    for j in range(m):
        meet[1, count] = j
        count += meet[2, j]
    return count


@shared
def conflict(
    circle: F32,
    edge: F64,
    trait: F64,
    other: F64,
    core: F32,
    bound: F32,
    meet: I64,
    crowd: I64,
    near: I64,
    lane: F32,
    r: int,
    x: float,
    y: float,
    limit: float,
) -> float:
    """Weighted loss of row r at (x, y) with all others; gives up with a value >= limit once it is reached. The
    surest go first: what the largest circles say, then those whose circles meet, then what last ruled one out."""
    m, t = crowd[0], trait[r]
    rest = _least(
        core,
        bound,
        m,
        f4(x) + circle[r, 1, 0, 0],
        f4(y) + circle[r, 1, 1, 0],
        circle[r, 1, 2, 0],
        f4(t[SIZE]),
        f4(t[SOFT]),
        lane,
    )
    if rest >= limit:
        return rest
    count = _meeting(other, meet, m, t, x, y)
    total = 0.0
    for a in range(count):
        j = meet[1, a]
        if bound[j // LANES, j % LANES] > ZERO:
            rest -= bound[j // LANES, j % LANES]
            dx, dy = x - other[AT_X, j], y - other[AT_Y, j]
            total += other[WEIGHT, j] * pair_loss(circle, edge, trait, r, meet[0, j], dx, dy, near, lane)
            if total + rest >= limit:
                return total + rest
        elif j == crowd[1]:
            meet[1, a], meet[1, 0] = meet[1, 0], j
    for a in range(count):
        j = meet[1, a]
        if bound[j // LANES, j % LANES] <= ZERO:
            dx, dy = x - other[AT_X, j], y - other[AT_Y, j]
            total += other[WEIGHT, j] * pair_loss(circle, edge, trait, r, meet[0, j], dx, dy, near, lane)
            if total >= limit:
                crowd[1] = j
                return total
    return total


@_inlined
def assess(
    rows: Rows, regions: Regions, state: State, i: int, r: int, k: int, x: float, y: float, limit: float
) -> float:
    """Weighted loss of piece i as row r at (x, y) in region k; gives up with a value >= limit once it is reached.
    `survey` must have been called for piece i since anything moved or was weighed anew."""
    state.work[EVALUATIONS] += 1
    total = 0.0
    if regions.table[k, PLAIN] == 0 or _over(rows.trait[r], regions.box[k], x, y) > TOUCH:
        total = out_loss(rows, regions, r, k, x, y) * state.weight_out[i]
    if total >= limit:
        return total
    return total + conflict(
        rows.circle,
        rows.edge,
        rows.trait,
        state.other,
        state.core,
        state.bound,
        state.meet,
        state.crowd,
        state.near,
        state.lane,
        r,
        x,
        y,
        limit - total,
    )


@inner
def _set_box(t: F64, x: float, y: float, box: F64) -> None:
    """The box and diagonal box of a row of traits t that lies at (x, y)."""
    box[X0], box[Y0], box[X1], box[Y1] = t[X0] + x, t[Y0] + y, t[X1] + x, t[Y1] + y
    box[P0], box[M0], box[P1], box[M1] = t[P0] + x + y, t[M0] + x - y, t[P1] + x + y, t[M1] + x - y


@called
def take_off(state: State, i: int) -> None:
    """Piece i takes no part: its box is empty, its losses nil."""
    state.live[i] = 0
    box = state.box[i]
    box[0], box[1], box[4], box[5] = FAR, FAR, FAR, FAR
    box[2], box[3], box[6], box[7] = -FAR, -FAR, -FAR, -FAR
    state.out[i] = ZERO
    for j in range(len(state.x)):
        state.loss[i, j] = ZERO
        state.loss[j, i] = ZERO


@inner
def _boxes_meet(a: F64, b: F64) -> bool:
    """Whether two boxes and diagonal boxes meet by more than rounding."""
    for k in range(2):
        near, far, slanted, beyond = X0 + k, X1 + k, P0 + k, P1 + k
        if (a[near] + TOUCH >= b[far]) | (a[far] - TOUCH <= b[near]):
            return False
        if (a[slanted] + TOUCH >= b[beyond]) | (a[beyond] - TOUCH <= b[slanted]):
            return False
    return True


@shared
def measure(rows: Rows, regions: Regions, state: State, i: int) -> None:
    """Losses of piece i with all others, afresh."""
    r, box = state.row[i], state.box
    state.out[i] = out_loss(rows, regions, r, state.region[i], state.x[i], state.y[i])
    for j in range(len(state.x)):
        v, dx, dy = ZERO, state.x[i] - state.x[j], state.y[i] - state.y[j]
        if _boxes_meet(box[i], box[j]) and j != i:
            v = f4(pair_loss(rows.circle, rows.edge, rows.trait, r, state.row[j], dx, dy, state.near, state.lane))
        state.loss[i, j] = v
        state.loss[j, i] = v


@called
def measure_all(rows: Rows, pieces: Pieces, regions: Regions, state: State) -> float:
    """Rebuild everything that follows from positions; returns the total loss."""
    n = len(state.x)
    for i in range(n):
        if state.live[i]:
            if pieces.slot[i] >= 0:
                state.row[i] = pieces.slot[i]
                turn_row(rows, state.base[i], pieces.slot[i], state.angle[i])
            _set_box(rows.trait[state.row[i]], state.x[i], state.y[i], state.box[i])
        else:
            take_off(state, i)
    for i in range(n):
        if state.live[i]:
            measure(rows, regions, state, i)
    return total_loss(state.loss, state.out)


@called
def total_loss(loss: F32, out: F32) -> float:
    total = 0.0
    for i in range(len(out)):
        total += out[i]
        for j in range(i):
            total += loss[i, j]
    return total


@inner
def piece_loss(loss: F32, weight: F32, out: F32, weight_out: F32, i: int) -> float:
    """Weighted loss of piece i as it lies."""
    total = float(out[i] * weight_out[i])
    for j in range(len(out)):
        total += loss[i, j] * weight[i, j]
    return total


# ── where a piece had better lie ─────────────────────────────────────────────────────────────────────────────


@_merged
def _fits(trait: F64, room: F64, r: int, k: int) -> bool:
    """Whether the box of row r is no larger than that of region k."""
    t, g = trait[r], room[k]
    return t[X1] - t[X0] <= g[2] - g[0] and t[Y1] - t[Y0] <= g[3] - g[1]


@inner
def _clamped(low: float, high: float, v: float) -> float:
    return low if v < low else (high if v > high else v)


@_merged
def _clamp_x(trait: F64, room: F64, r: int, k: int, x: float) -> float:
    return _clamped(room[k, 0] - trait[r, X0], room[k, 2] - trait[r, X1], x)


@_merged
def _clamp_y(trait: F64, room: F64, r: int, k: int, y: float) -> float:
    return _clamped(room[k, 1] - trait[r, Y0], room[k, 3] - trait[r, Y1], y)


@inner
def _keep(best: F64, loss: float, x: float, y: float, form: int, angle: float, region: int) -> None:
    """Insert a candidate among the KEPT best, sorted by loss."""
    at = KEPT - 1
    if loss >= best[at, 0]:
        return
    while at > 0 and best[at - 1, 0] > loss:
        for k in range(6):
            best[at, k] = best[at - 1, k]
        at -= 1
    best[at, 0], best[at, 1], best[at, 2] = loss, x, y
    best[at, 3], best[at, 4], best[at, 5] = form, angle, region


@_merged
def _random_region(allowed: U8, rng: U64, i: int) -> int:
    """One of the regions piece i may lie in."""
    k = below(rng, allowed.shape[1])
    while allowed[i, k] == 0:
        k = below(rng, allowed.shape[1])
    return k


@_merged
def _try_turn(rows: Rows, free: bool, form: int, angle: float) -> int:
    """The row that stands for a candidate orientation: a fixed row, or the spare row turned for it."""
    if not free:
        return form
    spare = len(rows.trait) - 1
    turn_row(rows, form, spare, angle)
    return spare


@inner
def _random_angle(rng: U64) -> float:
    """Any, but rather one of the four main ones."""
    if uniform(rng) < 0.6:
        return below(rng, np.int64(4)) * (math.pi / 2)
    return uniform(rng) * (2 * math.pi)


@_inlined
def _sample(rows: Rows, pieces: Pieces, regions: Regions, state: State, i: int, kind: int) -> None:
    """Try one position. kind 0: anywhere; 1: near where it lies; 2: a vertex on another's vertex; 3: in a nook."""
    rng, trait, room, free = state.rng, rows.trait, regions.box, pieces.slot[i] >= 0
    k = state.region[i] if kind == 1 and state.region[i] >= 0 else _random_region(pieces.allowed, rng, i)
    form = pieces.first[i] + below(rng, pieces.turns[i])
    angle = 0.0
    if free:
        if kind == 1 and uniform(rng) < 0.5:
            form, angle = state.base[i], state.angle[i] + 0.2 * (uniform(rng) - 0.5)
        else:
            angle = _random_angle(rng)
    r = _try_turn(rows, free, form, angle)
    if not _fits(trait, room, r, k):
        return
    b, g = trait[r], room[k]
    if kind == 1:
        w, h = b[2] - b[0], b[3] - b[1]
        x = state.x[i] + (uniform(rng) - 0.5) * w
        y = state.y[i] + (uniform(rng) - 0.5) * h
    elif kind == 0:
        x = g[0] - b[0] + uniform(rng) * (g[2] - g[0] - b[2] + b[0])
        y = g[1] - b[1] + uniform(rng) * (g[3] - g[1] - b[3] + b[1])
    else:
        j = below(rng, len(state.x))
        if j == i or state.live[j] == 0:
            # In a corner of the region's box: clamping brings it there.
            x = -FAR if uniform(rng) < 0.5 else FAR
            y = -FAR if uniform(rng) < 0.5 else FAR
        else:
            k = state.region[j]
            if pieces.allowed[i, k] == 0 or not _fits(trait, room, r, k):
                return
            s = state.row[j]
            if kind == 2:
                e, f = below(rng, int(trait[r, COUNT])), below(rng, int(trait[s, COUNT]))
                x = state.x[j] + rows.edge[s, AX, f] - rows.edge[r, AX, e]
                y = state.y[j] + rows.edge[s, AY, f] - rows.edge[r, AY, e]
                # A hair away from the other, so that edges which should touch do not cross by rounding.
                away = 1e-7 / (abs(x - state.x[j]) + abs(y - state.y[j]) + 1e-9)
                x, y = x + away * (x - state.x[j]), y + away * (y - state.y[j])
            else:
                q = below(rng, rows.nook.shape[1])
                if rows.nook[s, q, 2] < rows.circle[r, 1, 2, 0]:
                    return
                x = state.x[j] + rows.nook[s, q, 0] - rows.circle[r, 1, 0, 0]
                y = state.y[j] + rows.nook[s, q, 1] - rows.circle[r, 1, 1, 0]
    x, y = _clamp_x(trait, room, r, k, x), _clamp_y(trait, room, r, k, y)
    loss = assess(rows, regions, state, i, r, k, x, y, state.best[KEPT - 1, 0])
    _keep(state.best, loss, x, y, form, angle, k)


@shared
def scout(rows: Rows, pieces: Pieces, regions: Regions, state: State, i: int, job: Job) -> None:
    """Try positions for piece i. The best of `close` near where it lies, if it does, `wide` anywhere and half as many
    at others are kept; or, of `wide` anywhere and at others where it overlaps nothing, the one farthest against the
    lean, in best[KEPT]."""
    best, merit, clear, close = state.best, FAR, job.what == INSERT, job.close if state.live[i] else 0
    for t in range(job.wide if clear else close + job.wide + job.wide // 2):
        if clear:
            kind = 0 if t % 4 < 2 else t % 4
            for at in range(KEPT):
                best[at, 0] = NOTHING
        else:
            kind = 1 if t < close else (0 if t < close + job.wide else 2 + t % 2)
        _sample(rows, pieces, regions, state, i, kind)
        if clear and best[0, 0] == 0.0:
            m = best[0, 5] * 1e6 + job.lean_x * best[0, 1] + job.lean_y * best[0, 2]
            if m < merit:
                merit = m
                for k in range(6):
                    best[KEPT, k] = best[0, k]


@_inlined
def _descend(
    rows: Rows, pieces: Pieces, regions: Regions, state: State, i: int, at: int, step: float, floor: float
) -> None:
    """Coordinate descent from candidate `at`: along x, y, both diagonals and, where free, the angle."""
    best, rng, trait, room = state.best, state.rng, rows.trait, regions.box
    loss, x, y = best[at, 0], best[at, 1], best[at, 2]
    form, angle, k = int(best[at, 3]), best[at, 4], int(best[at, 5])
    free = pieces.slot[i] >= 0
    r = _try_turn(rows, free, form, angle)
    sx, sy, sa = step, step, 0.25 * step
    while loss > 0.0 and (sx > floor or sy > floor):
        axis = below(rng, 5 if free else 4)
        dx = sx if axis in (0, 2, 3) else 0.0
        dy = (sy if axis < 3 else -sy) if axis in (1, 2, 3) else 0.0
        from_x, from_y, from_angle, found = x, y, angle, False
        for side in range(2):
            sign = 1.0 if side == 0 else -1.0
            turned = from_angle + sign * sa if axis == 4 else from_angle
            if axis == 4:
                r = _try_turn(rows, free, form, turned)
                if not _fits(trait, room, r, k):
                    continue
            u = _clamp_x(trait, room, r, k, from_x + sign * dx)
            v = _clamp_y(trait, room, r, k, from_y + sign * dy)
            t = assess(rows, regions, state, i, r, k, u, v, loss)
            if t < loss:
                loss, x, y, angle, found = t, u, v, turned, True
        if axis == 4:
            r = _try_turn(rows, free, form, angle)
            sa *= 1.1 if found else 0.5
        elif axis < 2:
            grow = 1.1 if found else 0.5
            sx *= grow if axis == 0 else 1.0
            sy *= grow if axis == 1 else 1.0
        else:
            grow = 1.1 if found else math.sqrt(0.5)
            sx *= grow
            sy *= grow
    best[at, 0], best[at, 1], best[at, 2], best[at, 4] = loss, x, y, angle


@_inlined
def _put(rows: Rows, pieces: Pieces, regions: Regions, state: State, i: int, at: int) -> None:
    """Lay piece i as candidate `at` says."""
    best = state.best
    state.x[i], state.y[i], state.region[i] = best[at, 1], best[at, 2], int(best[at, 5])
    if pieces.slot[i] >= 0:
        state.base[i], state.angle[i], state.row[i] = int(best[at, 3]), best[at, 4], pieces.slot[i]
        turn_row(rows, state.base[i], pieces.slot[i], state.angle[i])
    else:
        state.row[i] = int(best[at, 3])
    state.live[i] = 1
    _set_box(rows.trait[state.row[i]], state.x[i], state.y[i], state.box[i])
    measure(rows, regions, state, i)


@shared
def settle(rows: Rows, pieces: Pieces, regions: Regions, state: State, i: int, floor: float) -> int:
    """Descend from every candidate kept, unless one loses nothing, then from the best of them in finer steps. Returns
    which that is."""
    best, top, trait = state.best, 0, rows.trait
    b = trait[pieces.first[i]]
    span = min(b[2] - b[0], b[3] - b[1])
    for at in range(KEPT + 1):
        last = at == KEPT or best[at, 0] >= FAR or best[top, 0] == 0.0
        if last:
            at = top
        if best[at, 0] >= FAR:
            break
        step, least = (0.01, floor) if last else (0.25, 0.02)
        _descend(rows, pieces, regions, state, i, at, step * span, least * span)
        if last:
            break
        if best[at, 0] < best[top, 0]:
            top = at
    return top


@_inlined
def _slide(rows: Rows, pieces: Pieces, regions: Regions, state: State, i: int, lean_x: float, lean_y: float) -> None:
    """Move the candidate best[KEPT], which overlaps nothing, on against the lean as long as that is so."""
    best, rng, trait, room = state.best[KEPT], state.rng, rows.trait, regions.box
    form, angle, k = int(best[3]), best[4], int(best[5])
    r = _try_turn(rows, pieces.slot[i] >= 0, form, angle)
    x, y = best[1], best[2]
    b = trait[r]
    step, floor = 0.5 * max(b[2] - b[0], b[3] - b[1]), 1e-4
    while step > floor:
        found = False
        for axis in range(3):
            dx = -step * (lean_x > 0) + step * (lean_x < 0) if axis != 1 else 0.0
            dy = -step * (lean_y > 0) + step * (lean_y < 0) if axis != 0 else 0.0
            if axis == 2:
                dx, dy = (dx, -0.3 * dy) if uniform(rng) < 0.5 else (dx, dy)
            u, v = _clamp_x(trait, room, r, k, x + dx), _clamp_y(trait, room, r, k, y + dy)
            gain = lean_x * (x - u) + lean_y * (y - v)
            if gain > 1e-9 and assess(rows, regions, state, i, r, k, u, v, NOTHING) == 0.0:
                x, y, found = u, v, True
        if not found:
            step *= 0.5
    best[1], best[2] = x, y


@_inlined
def _move(rows: Rows, pieces: Pieces, regions: Regions, state: State, i: int, job: Job) -> float:
    """Insert piece i, or move it to where it loses least; without a better place it stays as it is. Returns its
    weighted loss, FAR if it does not lie."""
    best, clear, here = state.best, job.what == INSERT, FAR
    for at in range(KEPT + 1):
        best[at, 0] = FAR
    survey(rows, state, i)
    if state.live[i] and not clear:
        here = np.float64(piece_loss(state.loss, state.weight, state.out, state.weight_out, i))
        form = state.base[i] if pieces.slot[i] >= 0 else state.row[i]
        _keep(best, here, state.x[i], state.y[i], form, state.angle[i], state.region[i])
    scout(rows, pieces, regions, state, i, job)
    top = KEPT
    if not clear:
        top = settle(rows, pieces, regions, state, i, job.floor)
    elif best[KEPT, 0] < FAR:
        _slide(rows, pieces, regions, state, i, job.lean_x, job.lean_y)
    if best[top, 0] < here:
        _put(rows, pieces, regions, state, i, top)
        here = best[top, 0]
    return here


# ── separation ───────────────────────────────────────────────────────────────────────────────────────────────


@shared
def reweigh(loss: F32, weight: F32, out: F32, weight_out: F32) -> None:
    """Guided local search: conflicts grow heavier by 1.2 to 2.0, the deeper the more; what is settled fades by 0.95."""
    n, worst = len(out), ZERO
    for i in range(n):
        worst = max(worst, out[i])
        for j in range(i):
            worst = max(worst, loss[i, j])
    if worst <= ZERO:
        return
    scale, low, fade = f4(0.8) / worst, f4(1.2), f4(0.95)
    for i in range(n):
        w, v = weight_out[i], out[i]
        weight_out[i] = w * (low + scale * v) if v > ZERO else max(ONE, w * fade)
        for j in range(n):
            w, v = weight[i, j], loss[i, j]
            up, down = w * (low + scale * v), w * fade
            down = down if down > ONE else ONE
            up = up if up < HEAVIEST else HEAVIEST
            weight[i, j] = up if v > ZERO else down


@inner
def _in_conflict(loss: F32, weight: F32, out: F32, weight_out: F32, live: U8, rng: U64, order: I64) -> int:
    """How many pieces are in conflict; which, in random order, into `order`."""
    m = 0
    for i in range(len(order)):
        if live[i] and piece_loss(loss, weight, out, weight_out, i) > 0.0:
            order[m] = i
            m += 1
    for a in range(m - 1, 0, -1):
        b = below(rng, a + 1)
        order[a], order[b] = order[b], order[a]
    return m


@called
def save(pieces: Pieces, state: State, keep: F64) -> None:
    for i in range(len(state.x)):
        keep[i, 0], keep[i, 1] = state.x[i], state.y[i]
        keep[i, 2] = state.base[i] if pieces.slot[i] >= 0 else state.row[i]
        keep[i, 3], keep[i, 4] = state.angle[i], state.region[i] if state.live[i] else -1.0


# ── what is asked of a chain ─────────────────────────────────────────────────────────────────────────────────


@called
def work(rows: Rows, pieces: Pieces, regions: Regions, state: State, keep: F64, job: Job) -> float:
    """Do a job. Returns the loss of the one piece moved (FAR if it found no place), or the least total loss seen.

    A separation goes on in rounds: all in conflict are moved once, then conflicts weigh more. It ends once nothing
    overlaps, without gain for long, or with so many evaluations; `keep` (pieces, 5: x, y, row or base, angle, region)
    receives the best layout seen, `state` holds the last one. `state.run` says how it stands, so that a call may go on
    where the last one ended; least < 0 starts afresh.

    One kernel for all jobs, since what they share takes long to compile, and would be compiled for each.
    """
    run, order, alone, reached, m = state.run, state.order, job.what != SEPARATE, FAR, 1
    loss, weight, out, weight_out = state.loss, state.weight, state.out, state.weight_out
    end = state.work[EVALUATIONS] + job.most
    if not alone and run[LEAST] < 0.0:
        run[LEAST] = run[MARK] = total_loss(loss, out)
        run[IDLE] = 0.0
        save(pieces, state, keep)
    while alone or (run[LEAST] > 0.0 and run[IDLE] < job.patience and state.work[EVALUATIONS] < end):
        if alone:
            order[0] = job.piece
        else:
            m = _in_conflict(loss, weight, out, weight_out, state.live, state.rng, order)
        for a in range(m):
            i = order[a]
            if alone or piece_loss(loss, weight, out, weight_out, i) > 0.0:
                reached = _move(rows, pieces, regions, state, i, job)
        if alone:
            return reached
        state.work[ROUNDS] += 1
        reweigh(loss, weight, out, weight_out)
        reached = total_loss(loss, out)
        run[IDLE] += 1.0
        if reached < run[LEAST]:
            run[LEAST] = reached
            save(pieces, state, keep)
            if reached < 0.98 * run[MARK]:
                run[MARK], run[IDLE] = reached, 0.0
    return run[LEAST]
