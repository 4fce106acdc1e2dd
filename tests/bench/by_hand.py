"""What a person does by hand, as two stand-ins to measure a plan against: same sheets, machine and costing.

In: a Request. Out: the sheets of an answer made from bounding rectangles, priced line by line as a plan is.
Where a person has a choice that needs no arithmetic (which way to trim a sheet, letters upright or lying), each way is
tried and the best taken: the stand-ins are a careful person.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry import Polygon

from nesting import costing
from nesting.assigning.columns import Column, Kind, Shop, build_column, kinds_of, recipes
from nesting.assigning.copies import with_copies
from nesting.assigning.stock import Candidate, candidates
from nesting.layout import Ground, Layout, Shape, Spot
from nesting.model import CostLine, Machine, Rect, StockKey
from nesting.plan import Request, machine_of, split_oversize

STEP_MM = 5.0
"""How finely a person slides a piece along a sheet."""
Choose = Callable[[Sequence[Candidate], Sequence[Kind], Sequence[Shop]], list[Column]]


def costed(request: Request, choose: Choose, ways: Sequence[Callable[..., Layout]]) -> list[CostLine]:
    """All cost lines of a stand-in's answer, cutting and joints included, as those of a plan."""
    machine, rates = machine_of(request.job, request.workshop), request.workshop.rates
    pieces = [piece for splitting in split_oversize(request, machine) for piece in splitting.segments]
    shops = [Shop(machine, rates, 0, 0, way) for way in ways]
    lines = [*costing.cutting_lines(pieces, machine, rates), *costing.joint_lines(pieces, rates)]
    for stock in sorted({piece.stock for piece in pieces}):
        found = _in_rack_order(stock, request)
        kinds = kinds_of((piece for piece in pieces if piece.stock == stock), machine)
        for sheet in with_copies(choose(found, kinds, shops), kinds, shops[0], len(lines)):
            lines.extend(costing.sheet_lines(sheet, machine, rates))
    return lines


def in_rows(request: Request) -> list[CostLine]:
    """Bounding rectangles in rows on the smallest sheet that takes all; while none does, the fullest comes first."""
    return costed(request, _smallest_that_takes_all, [lying_rows, upright_rows])


def first_that_fits(request: Request) -> list[CostLine]:
    """Piece by piece, large ones first, on the first offcut of the rack with room; then the smallest sheet on offer."""
    return costed(request, _first_with_room, [first_corner])


def _in_rack_order(stock: StockKey, request: Request) -> list[Candidate]:
    """Offcuts as they stand on the rack, then offers, small ones first."""
    order = {cut.id: place for place, cut in enumerate(request.rack)}
    found = candidates(stock, request.rack, request.workshop.offer)
    return sorted(found, key=lambda c: (not c.once, order.get(c.id, 0), c.polygon.area))


# ── which sheet ──────────────────────────────────────────────────────────────────────────────────────────────


def _smallest_that_takes_all(found: Sequence[Candidate], kinds: Sequence[Kind], shops: Sequence[Shop]) -> list[Column]:
    left, chosen = [len(kind.pieces) for kind in kinds], list[Column]()
    while any(left):
        made = [column for c in _unused(found, chosen) if (column := _best_way(c, kinds, left, shops))]
        whole = [column for column in made if list(column.counts) == left]
        if whole:
            chosen.append(min(whole, key=lambda column: (column.candidate.polygon.area, column.cents)))
        else:
            chosen.append(max(made, key=lambda column: (_held_mm2(column, kinds), -column.cents)))
        left = _less(left, chosen[-1])
    return chosen


def _first_with_room(found: Sequence[Candidate], kinds: Sequence[Kind], shops: Sequence[Shop]) -> list[Column]:
    left, chosen = [len(kind.pieces) for kind in kinds], list[Column]()
    while any(left):
        largest = next(k for k, count in enumerate(left) if count)
        for candidate in _unused(found, chosen):
            column = _best_way(candidate, kinds, left, shops)
            if column is not None and (candidate.once or column.counts[largest]):
                break
        else:
            raise AssertionError("no sheet takes the largest piece")
        chosen.append(column)
        left = _less(left, column)
    return chosen


def _unused(found: Sequence[Candidate], chosen: Sequence[Column]) -> Iterator[Candidate]:
    used = {column.candidate.id for column in chosen}
    return (candidate for candidate in found if not candidate.once or candidate.id not in used)


def _best_way(candidate: Candidate, kinds: Sequence[Kind], left: Sequence[int], shops: Sequence[Shop]) -> Column | None:
    """The way to trim and lay that brings most onto the sheet, for least money."""
    areas = [kind.polygon.area for kind in kinds]
    made = [
        column
        for shop in shops
        for recipe in recipes(candidate, kinds, shop.machine, shop.rates)
        if (column := build_column(candidate, recipe, kinds, left, areas, shop))
    ]
    return max(made, key=lambda column: (_held_mm2(column, kinds), -column.cents), default=None)


def _held_mm2(column: Column, kinds: Sequence[Kind]) -> float:
    return round(sum(count * kind.polygon.area for count, kind in zip(column.counts, kinds, strict=True)), 3)


def _less(left: Sequence[int], column: Column) -> list[int]:
    return [n - count for n, count in zip(left, column.counts, strict=True)]


# ── where on it ──────────────────────────────────────────────────────────────────────────────────────────────


def lying_rows(shapes: Sequence[Shape], ground: Ground, shop: Shop) -> Layout:
    """Rows of bounding rectangles, the longer side along the row, deep ones first."""
    return _rows(shapes, _Room(ground, shop.machine), lying=True)


def upright_rows(shapes: Sequence[Shape], ground: Ground, shop: Shop) -> Layout:
    """Rows of bounding rectangles, as drawn, deep ones first."""
    return _rows(shapes, _Room(ground, shop.machine), lying=False)


def first_corner(shapes: Sequence[Shape], ground: Ground, shop: Shop) -> Layout:
    """Piece by piece, large ones first, the bounding rectangle as far down, then left, as it goes."""
    room, spots = _Room(ground, shop.machine), list[Spot]()
    full = set[bytes]()
    for shape in sorted(shapes, key=lambda shape: -shape.polygon.area):
        if shape.polygon.wkb not in full:
            ways = [place for turn in _ways(shape, lying=False) if (place := room.lowest(shape, turn))]
            spots += [room.take(shape, *min(ways, key=lambda way: (way[2], way[1])))] if ways else []
            if not ways:
                full.add(shape.polygon.wkb)
    return _layout(shapes, spots)


def _rows(shapes: Sequence[Shape], room: _Room, *, lying: bool) -> Layout:
    spots: list[Spot] = []
    rows: list[float] = []
    full = set[bytes]()
    top = room.bounds[1]
    for shape in sorted(shapes, key=lambda shape: -_size(shape, _ways(shape, lying=lying)[0])[1]):
        if shape.polygon.wkb in full:
            continue
        for turn in _ways(shape, lying=lying):
            place = room.along(shape, turn, rows)
            if place is None:
                place = room.along(shape, turn, np.arange(top, room.bounds[3], STEP_MM).tolist())
                if place is None:
                    continue
                rows.append(place[2])
            spots.append(room.take(shape, *place))
            top = max(top, room.taken[-1][3])
            break
        else:
            full.add(shape.polygon.wkb)
    return _layout(shapes, spots)


def _layout(shapes: Sequence[Shape], spots: Sequence[Spot]) -> Layout:
    laid = {spot.id for spot in spots}
    order = {shape.id: place for place, shape in enumerate(shapes)}
    missing = tuple(shape.id for shape in shapes if shape.id not in laid)
    value = sum(shape.value for shape in shapes if shape.id in laid)
    return Layout(tuple(sorted(spots, key=lambda spot: order[spot.id])), missing, value)


def _ways(shape: Shape, *, lying: bool) -> list[float]:
    """Turns in the order a person tries them."""
    width, depth = _size(shape, 0.0)
    upright = [turn for turn in (0.0, 90.0) if turn in (shape.turns_deg or (0.0, 90.0))]
    return upright[::-1] if lying and depth > width else upright


def _size(shape: Shape, turn_deg: float) -> tuple[float, float]:
    x0, y0, x1, y1 = shape.polygon.bounds
    return (x1 - x0, y1 - y0) if turn_deg == 0.0 else (y1 - y0, x1 - x0)


class _Room:
    """What is free of a ground: rectangles taken so far, each grown by the gap to the right and up."""

    def __init__(self, ground: Ground, machine: Machine) -> None:
        self.gap_mm = machine.gap_mm
        inside = ground.polygon.buffer(1e-6 - machine.margin_mm, join_style="mitre")
        self.whole = inside
        self.beds: list[Polygon] = [inside & reach for reach in ground.reaches] or [inside]
        self.bounds: Rect = inside.bounds if not inside.is_empty else (0.0, 0.0, 0.0, 0.0)
        self.taken: list[Rect] = []

    def along(self, shape: Shape, turn: float, rows: Sequence[float]) -> tuple[float, float, float] | None:
        """The first place on the first of these rows."""
        ends = {rect[2] for rect in self.taken}
        return self._first(shape, turn, sorted({*np.arange(self.bounds[0], self.bounds[2], STEP_MM), *ends}), rows)

    def lowest(self, shape: Shape, turn: float) -> tuple[float, float, float] | None:
        """The lowest place, and there the one farthest left: at the edges of the sheet and of what lies."""
        xs = {*np.arange(self.bounds[0], self.bounds[2], 4 * STEP_MM), *(rect[2] for rect in self.taken)}
        ys = {*np.arange(self.bounds[1], self.bounds[3], 4 * STEP_MM), *(rect[3] for rect in self.taken)}
        return self._first(shape, turn, sorted(xs), sorted(ys))

    def _first(
        self, shape: Shape, turn: float, xs: Sequence[float], ys: Sequence[float]
    ) -> tuple[float, float, float] | None:
        """Rows in turn: the first x that is free, inside, and wholly in one reach where the shape must be."""
        width, depth = _size(shape, turn)
        for y in ys:
            x = np.array([x for x in xs if x + width <= self.bounds[2] + 1e-6])
            if y + depth > self.bounds[3] + 1e-6 or not len(x):
                continue
            clear = np.ones(len(x), bool)
            for x0, y0, x1, y1 in self.taken:
                if y0 < y + depth + self.gap_mm and y < y1:
                    clear &= (x + width + self.gap_mm <= x0) | (x >= x1)
            boxes = shapely.box(x[clear], y, x[clear] + width, y + depth)
            beds = [self.whole] if shape.reach_charge is not None else self.beds
            fits = np.any([shapely.contains(bed, boxes) for bed in beds], axis=0)
            if fits.any():
                return turn, float(x[clear][fits][0]), y
        return None

    def take(self, shape: Shape, turn: float, x: float, y: float) -> Spot:
        """Lay the shape there."""
        width, depth = _size(shape, turn)
        self.taken.append((x, y, x + width + self.gap_mm, y + depth + self.gap_mm))
        x0, y0, _, y1 = shape.polygon.bounds
        corner = (x0, y0) if turn == 0.0 else (-y1, x0)
        return Spot(shape.id, x - corner[0], y - corner[1], turn)
