"""Rectangles that lie upright: fill one ground, share all out over sheets, or lay all on given ones, far faster than
the true-shape engine.

In: shapes that are rectangles, grounds that are rectangles, gap, margin (mm). Out: Layouts, checked exactly. A ground's
reaches are free rectangles that overlap; the gap is added to each rectangle and once to each ground. The methods are
those of `rectangle_kernels`; work is counted in free rectangles looked at.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence, Sized
from dataclasses import dataclass

import numpy as np
from shapely.geometry import Polygon

from nesting.layout import packing
from nesting.layout import rectangle_kernels as kernels
from nesting.layout.checks import broken
from nesting.layout.kernels import U64
from nesting.layout.scales import in_parts, strongest_shares
from nesting.layout.terms import Effort, Ground, Layout, Shape, Spot
from nesting.model import Rect

SOLID = 0.9
"""A shape is laid as a rectangle if it fills at least so much of it: in larger holes other shapes could lie."""
SIDE_MM = 1e-6
UNITS = 1000
"""Of length, to the millimetre, where sides are told in whole units."""
WORTH = 1_000_000
"""What a bin costs, or a shape is worth if that is more, in units of worth."""
SHARES = 8
"""Ways of seeing rectangles as shares of a bin that is packed exactly."""
SLICE = 2_000_000
"""Work between two looks at whether to stop."""


@dataclass(frozen=True, slots=True)
class Bin:
    """A kind of sheet: its grounds, what one costs by being used and for each mm2 laid on it, how many there are (None:
    any number). Kinds `of` one stock, trimmed in several ways, share its limit; "" is a stock by itself."""

    grounds: tuple[Ground, ...]
    cost: float
    rate: float = 0.0
    limit: int | None = None
    of: str = ""


@dataclass(frozen=True, slots=True)
class Filled:
    """A sheet of a kind of bin; each spot's `ground` counts the bin's grounds."""

    bin: int
    spots: tuple[Spot, ...]


def are_rectangles(shapes: Sequence[Shape], grounds: Sequence[Ground]) -> bool:
    """Whether all lie upright and can be laid here: no shape across reaches, nothing pinned, no zones."""
    return all(_upright(shape) for shape in shapes) and all(
        _is_box(ground.polygon) and not ground.pinned and not ground.zones and all(map(_is_box, ground.reaches))
        for ground in grounds
    )


def is_plain(bin: Bin, gap_mm: float, margin_mm: float) -> bool:
    """Whether it is a single ground that is reached at once, with room within its margin."""
    return len(bin.grounds) == 1 and len(_free(bin.grounds[0], gap_mm, margin_mm)) == 1


def _upright(shape: Shape) -> bool:
    plain = shape.turns_deg is None or 0.0 in shape.turns_deg
    return plain and shape.reach_charge is None and _is_box(Polygon(shape.polygon.exterior)) and _solid(shape.polygon)


def _is_box(polygon: Polygon) -> bool:
    x0, y0, x1, y1 = polygon.bounds
    return abs((x1 - x0) * (y1 - y0) - polygon.area) <= SIDE_MM * (x1 - x0 + y1 - y0)


def _solid(polygon: Polygon) -> bool:
    return bool(polygon.area >= SOLID * Polygon(polygon.exterior).area)


def fill(
    shapes: Sequence[Shape], ground: Ground, *, gap_mm: float, margin_mm: float, work: int, seed: int
) -> Layout | None:
    """The most valuable subset found; None should the exact check refuse it."""
    items, bins = _items(shapes, gap_mm), _bins([Bin((ground,), 1.0)], len(shapes), gap_mm, margin_mm)
    laid, done = _nowhere(len(shapes)), np.zeros(1, np.int64)
    values = np.array([shape.value for shape in shapes], dtype=np.float64)
    kernels.most_valuable(items, values, bins, 0, work, _state(seed), laid, _scratch(items, bins), done)
    spots = tuple(_spot(shapes[i], laid, i) for i in np.flatnonzero(laid.bin == 0).tolist())
    if broken({shape.id: shape for shape in shapes}, spots, [ground], gap_mm, margin_mm):
        return None
    here = {spot.id for spot in spots}
    value = sum(shape.value for shape in shapes if shape.id in here)
    missing = tuple(shape.id for shape in shapes if shape.id not in here)
    return Layout(spots, missing, value, None, Effort(int(done[0])))


class Exact:
    """One plain bin, as often as it is to be filled with the most valuable of some shapes.

    kinds: shapes that are alike, kind by kind.
    """

    def __init__(self, kinds: Sequence[Sequence[Shape]], bin: Bin, gap_mm: float, margin_mm: float) -> None:
        (ground,) = bin.grounds
        (free,) = _free(ground, gap_mm, margin_mm)
        items = _items([shapes[0] for shapes in kinds], gap_mm)
        ceiled = [
            (math.ceil(w * UNITS - SIDE_MM), math.ceil(d * UNITS - SIDE_MM))
            for w, d in zip(items.width.tolist(), items.depth.tolist(), strict=True)
        ]
        room = math.floor((free[2] - free[0]) * UNITS + SIDE_MM), math.floor((free[3] - free[1]) * UNITS + SIDE_MM)
        copies, turn = [len(shapes) for shapes in kinds], items.turn.tolist()
        # What may turn takes its share either way round: no more is told of it than its area.
        rows = [] if any(turn) else in_parts(strongest_shares(ceiled, copies, room, SHARES), WORTH)
        self._kinds, self._bin, self._corner, self._gaps = kinds, bin, free[:2], (gap_mm, margin_mm)
        self._areas = [shapes[0].polygon.area for shapes in kinds]
        self._room = packing.Room(ceiled, copies, turn, room, [[*row, WORTH] for row in rows])

    def fill(
        self, values: Sequence[float], work: int, rent: float = 0.0, copies: Sequence[int] | None = None
    ) -> tuple[tuple[Spot, ...], bool]:
        """The most valuable set found that is worth more than the bin and its rent cost, none if there is none or the
        exact check refuses it; and whether that is proven. values: what a shape of each kind is worth; copies: how many
        there are now, if fewer."""
        net = [max(0.0, value - self._bin.rate * area) for value, area in zip(values, self._areas, strict=True)]
        cost = self._bin.cost + rent
        dearest = max(cost, *net)
        scale = WORTH / dearest if dearest > 0.0 else 0.0
        units, least = [math.floor(one * scale) for one in net], int(cost * scale)
        packed = self._room.most_valuable(units, least, work, copies)
        waiting = [iter(shapes) for shapes in self._kinds]
        spots = tuple(self._spot(next(waiting[kind]), x, y, turned) for kind, x, y, turned in packed.spots)
        shapes = {shape.id: shape for kind in self._kinds for shape in kind}
        if broken(shapes, spots, self._bin.grounds, *self._gaps):
            return (), False
        return spots, packed.proven

    def _spot(self, shape: Shape, x: int, y: int, turned: bool) -> Spot:
        return _at(shape, self._corner[0] + x / UNITS, self._corner[1] + y / UNITS, turned)


def share_out(
    shapes: Sequence[Shape],
    stock: Sequence[Bin],
    *,
    gap_mm: float,
    margin_mm: float,
    work: int,
    seed: int,
    floor: float = 0.0,
    stop: Sized = (),
    tell: Callable[[float], None] = lambda cost: None,
) -> list[Filled]:
    """The cheapest sheets found that hold all shapes; none where no answer was found, or the exact check refuses it.

    Ends sooner at a cost of `floor`, which nothing can beat, or once it holds an answer and `stop` holds something.
    `tell` is told the cost of the best answer now and then.
    """
    items, bins = _items(shapes, gap_mm), _bins(stock, len(shapes), gap_mm, margin_mm)
    now, kept, best = (_unshared(len(shapes)) for _ in range(3))
    figures, done, state = np.full(2, math.inf), np.zeros(1, np.int64), _state(seed)
    scratch = _scratch(items, bins)
    while done[0] < work and figures[1] > floor + kernels.EPS and not (stop and math.isfinite(figures[1])):
        until = min(work, int(done[0]) + SLICE)
        kernels.share_out(items, bins, floor, work, until, state, now, kept, best, figures, scratch, done)
        tell(float(figures[1]))
    if not math.isfinite(figures[1]):
        return []
    used = {int(name): int(best.kind[name]) for name in np.flatnonzero(best.kind >= 0)}
    return _filled(shapes, stock, used, best.laid, items, gap_mm, margin_mm)


def lay_all(
    shapes: Sequence[Shape],
    sheets: Sequence[Bin],
    *,
    gap_mm: float,
    margin_mm: float,
    work: int,
    seed: int,
    stop: Sized = (),
) -> list[Filled]:
    """All shapes on these sheets, one of each; none where no way was found before `stop` held something."""
    items, bins = _items(shapes, gap_mm), _bins(sheets, len(shapes), gap_mm, margin_mm)
    now, kept, best = (_nowhere(len(shapes)) for _ in range(3))
    figures = np.full(2, float(np.sum(items.width * items.depth)))
    done, state, scratch = np.zeros(1, np.int64), _state(seed), _scratch(items, bins)
    while done[0] < work and figures[1] > kernels.EPS and not stop:
        until = min(work, int(done[0]) + SLICE)
        kernels.lay_all(items, bins, work, until, state, now, kept, best, figures, scratch, done)
    used = {name: name for name in range(len(sheets)) if (best.bin == name).any()}
    return [] if (best.bin < 0).any() else _filled(shapes, sheets, used, best, items, gap_mm, margin_mm)


def _filled(
    shapes: Sequence[Shape],
    stock: Sequence[Bin],
    used: Mapping[int, int],
    laid: kernels.Laid,
    items: kernels.Items,
    gap_mm: float,
    margin_mm: float,
) -> list[Filled]:
    """The sheets used, each of a kind, as laid; none should the exact check refuse one."""
    filled = []
    for name, kind in used.items():
        spots = [
            _on_ground(_spot(shapes[i], laid, i), stock[kind], items, laid, i)
            for i in np.flatnonzero(laid.bin == name).tolist()
        ]
        if broken({shape.id: shape for shape in shapes}, spots, stock[kind].grounds, gap_mm, margin_mm):
            return []
        filled.append(Filled(kind, tuple(spots)))
    return filled


def _items(shapes: Sequence[Shape], gap_mm: float) -> kernels.Items:
    sides = np.array([_sides(shape) for shape in shapes], dtype=np.float64).reshape(len(shapes), 2)
    turn = [shape.turns_deg is None or 90.0 in shape.turns_deg for shape in shapes]
    return kernels.Items(sides[:, 0] + gap_mm, sides[:, 1] + gap_mm, np.array(turn, dtype=np.bool_))


def _sides(shape: Shape) -> tuple[float, float]:
    x0, y0, x1, y1 = shape.polygon.bounds
    return x1 - x0, y1 - y0


def _bins(stock: Sequence[Bin], most: int, gap_mm: float, margin_mm: float) -> kernels.Bins:
    listed = [[rect for ground in kind.grounds for rect in _free(ground, gap_mm, margin_mm)] for kind in stock]
    free = np.zeros((len(stock), max(1, *(len(rects) for rects in listed)), 4))
    for row, rects in zip(free, listed, strict=True):
        row[: len(rects)] = np.array(rects).reshape(len(rects), 4)
    areas = [sum(ground.polygon.area for ground in kind.grounds) for kind in stock]
    names = [kind.of or f"\0{number}" for number, kind in enumerate(stock)]
    limits = {name: most if kind.limit is None else kind.limit for name, kind in zip(names, stock, strict=True)}
    return kernels.Bins(
        free,
        np.array([len(rects) for rects in listed], dtype=np.int64),
        np.array(areas, dtype=np.float64),
        np.array([kind.cost for kind in stock], dtype=np.float64),
        np.array([kind.rate for kind in stock], dtype=np.float64),
        np.array([list(limits).index(name) for name in names], dtype=np.int64),
        np.array(list(limits.values()), dtype=np.int64),
    )


def _free(ground: Ground, gap_mm: float, margin_mm: float) -> list[Rect]:
    """Where a shape may lie wholly: the ground within its margin, or what each reach has of it; the gap added."""
    x0, y0, x1, y1 = ground.polygon.bounds
    inside = x0 + margin_mm, y0 + margin_mm, x1 - margin_mm, y1 - margin_mm
    boxes = [reach.bounds for reach in ground.reaches] or [inside]
    cut = [(*np.maximum(inside[:2], box[:2]), *(np.minimum(inside[2:], box[2:]) + gap_mm)) for box in boxes]
    return [(float(a), float(b), float(c), float(d)) for a, b, c, d in cut if c > a and d > b]


def _nowhere(count: int) -> kernels.Laid:
    return kernels.Laid(np.full(count, -1, np.int64), np.zeros(count), np.zeros(count), np.zeros(count, dtype=np.bool_))


def _unshared(count: int) -> kernels.Shared:
    return kernels.Shared(_nowhere(count), np.full(count + 1, -1, np.int64), np.zeros(count + 1))


def _scratch(items: kernels.Items, bins: kernels.Bins) -> kernels.Scratch:
    count = len(items.width)
    return kernels.Scratch(
        free=np.zeros((2, kernels.FREE, 4)),
        key=np.zeros(count),
        list=np.zeros((6, count), np.int64),
        bin=np.zeros((3, max(count + 1, len(bins.cost), len(bins.limit))), np.int64),
        trial=_nowhere(count),
    )


def _state(seed: int) -> U64:
    return np.array([(seed * 0x9E3779B97F4A7C15 + 0x1234567) % (1 << 64) | 1], dtype=np.uint64)


def _spot(shape: Shape, laid: kernels.Laid, i: int) -> Spot:
    """The shape with the lower left corner of its rectangle where the kernel laid it."""
    return _at(shape, float(laid.x[i]), float(laid.y[i]), bool(laid.turned[i]))


def _at(shape: Shape, x: float, y: float, turned: bool) -> Spot:
    x0, y0, _, y1 = shape.polygon.bounds
    if turned:
        return Spot(shape.id, x + y1, y - x0, 90.0)
    return Spot(shape.id, x - x0, y - y0, 0.0)


def _on_ground(spot: Spot, kind: Bin, items: kernels.Items, laid: kernels.Laid, i: int) -> Spot:
    """The spot with the number of the ground that its middle lies on."""
    sides = (items.depth[i], items.width[i]) if laid.turned[i] else (items.width[i], items.depth[i])
    x, y = laid.x[i] + sides[0] / 2, laid.y[i] + sides[1] / 2
    for number, ground in enumerate(kind.grounds):
        x0, y0, x1, y1 = ground.polygon.bounds
        if x0 <= x <= x1 and y0 <= y <= y1:
            return Spot(spot.id, spot.x_mm, spot.y_mm, spot.turn_deg, ground=number)
    return spot
