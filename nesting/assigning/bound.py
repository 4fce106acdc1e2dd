"""A lower bound on the cost of any plan for the pieces of one stock key, whatever the layout.

In: candidates, kinds, machine, rates. Out: money. Method: the pieces need not be laid, only not exceed what a sheet
holds: each piece, grown by half the gap, takes its area of the sheet's inside; a sheet's price comes back through
leftovers at most on the area no piece takes. A small model in CP-SAT; its proven bound is used, so that stopping early
only weakens it. The numbers (B1) to (B10) are those of docs/model.md.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal

import numpy as np
import shapely
from ortools.sat.python import cp_model
from shapely.geometry import Polygon

from nesting import curves
from nesting.assigning.columns import Kind, Shop
from nesting.assigning.leftovers import largest_rectangle
from nesting.assigning.stock import Candidate, Tier
from nesting.layout.scales import in_parts, strongest_shares
from nesting.model import CutToSize, Machine, Point, Ring, Turn
from nesting.passes.reach import EPS, reaches
from nesting.solving import NoAnswer, solved

EFFORT = 1.0
UNITS = 1000
"""Of length, to the millimetre: sides are told in whole units."""


SHARES = 6
"""Ways of seeing upright rectangles as shares of a sheet, for each candidate."""
WHOLE = 1_000_000
"""A whole sheet, in units of shares."""


@dataclass(frozen=True, slots=True)
class MostHeld:
    """What a piece of each kind is worth, and the most of it that one sheet of each candidate can hold, None where
    nothing is told of that."""

    worth: tuple[int, ...]
    most: tuple[int | None, ...]


def lower_bound(
    found: Sequence[Candidate], kinds: Sequence[Kind], shop: Shop, rows: Sequence[MostHeld] = ()
) -> Decimal:
    """Proven: no plan for these pieces on these sheets costs less. `rows`: what else is known of the sheets."""
    model, sheets, cost = _model(found, kinds, shop)
    for row in rows:
        for sheet, most in zip(sheets, row.most, strict=True):
            if most is not None:
                worths = (worth * held for worth, held in zip(row.worth, sheet.held, strict=True))
                model.add(sum(worths) <= most * sheet.used)  # (B9), (B10)
    model.minimize(cost)
    try:
        solver = solved(model, EFFORT)
    except NoAnswer:
        return Decimal(0)
    milli = max(0.0, solver.best_objective_bound)
    return (Decimal(math.floor(milli)) / SCALE).quantize(Decimal("0.01"), ROUND_DOWN)


def roomiest(
    found: Sequence[Candidate], kinds: Sequence[Kind], shop: Shop, below: Decimal, but: Sequence[Sequence[int]]
) -> list[int] | None:
    """The sheets, so many of each candidate, with most area that may hold all pieces and, by (B1), cost less.

    None where there are no others than those of `but`, and fewer, or none were found.
    """
    model, sheets, cost = _model(found, kinds, shop)
    model.add(cost <= math.ceil(below * SCALE) - SCALE // 100)
    for others in but:
        more = [model.new_bool_var("") for _ in sheets]
        for sheet, count, one in zip(sheets, others, more, strict=True):
            model.add(sheet.used > count).only_enforce_if(one)
        model.add_bool_or(more)
    areas = [_inside_mm2(candidate, shop.machine) for candidate in found]
    model.maximize(sum(area * sheet.used for area, sheet in zip(areas, sheets, strict=True)))
    try:
        solver = solved(model, EFFORT / 2)
    except NoAnswer:
        return None
    return [solver.value(sheet.used) for sheet in sheets]


def _model(
    found: Sequence[Candidate], kinds: Sequence[Kind], shop: Shop
) -> tuple[cp_model.CpModel, list[_Sheet], cp_model.LinearExprT]:
    """Pieces shared out over sheets, and what these cost."""
    model = cp_model.CpModel()
    sizes = _sizes(kinds, shop)
    sheets = [_sheet(model, candidate, kinds, sizes, shop) for candidate in found]
    for number, kind in enumerate(kinds):
        model.add(sum(sheet.whole[number] + sheet.joined[number] for sheet in sheets) == len(kind.pieces))  # (B2)
    for candidate, sheet in zip(found, sheets, strict=True):
        _keep_to_room(model, candidate, sheet, kinds, sizes, shop.machine)
    costs = (_cost(candidate, sheet, sizes, shop) for candidate, sheet in zip(found, sheets, strict=True))
    return model, sheets, sum(costs)


SLACK_MM = 4 * curves.FLATTEN_MM
"""A hole may be so much wider and longer than its polygon and what is told of it."""


@dataclass(frozen=True, slots=True)
class Size:
    """What a piece keeps from all others, of the room on a sheet: itself and half the gap all round. What it keeps from
    leftovers: its own area. Of both, with the holes in which nothing else can lie."""

    room_mm2: int
    lost_mm2: Decimal


@dataclass(frozen=True, slots=True)
class _Sheet:
    """What the model knows of a candidate: how many are used, how many bought at which price, in how many passes, and
    the pieces of each kind that lie on them, cut whole in one pass or joined from several."""

    used: cp_model.IntVar
    bought: tuple[tuple[Decimal, cp_model.IntVar], ...]
    passes: cp_model.IntVar
    whole: tuple[cp_model.IntVar, ...]
    joined: tuple[cp_model.IntVar, ...]

    @property
    def held(self) -> tuple[cp_model.LinearExpr, ...]:
        return tuple(whole + joined for whole, joined in zip(self.whole, self.joined, strict=True))


def _sheet(
    model: cp_model.CpModel, candidate: Candidate, kinds: Sequence[Kind], sizes: Sequence[Size], shop: Shop
) -> _Sheet:
    copies = sum(len(kind.pieces) for kind in kinds)
    most = copies if candidate.limit is None else min(copies, candidate.limit)
    may = [len(kind.pieces) if _may_lie(kind, candidate, shop.machine) else 0 for kind in kinds]
    in_one = [0 if _must_be_joined(kind, shop.machine) else n for kind, n in zip(kinds, may, strict=True)]
    in_parts = [n if _may_pay_to_join(kind, size, shop) else 0 for kind, size, n in zip(kinds, sizes, may, strict=True)]
    used = model.new_int_var(0, most, f"used_{candidate.id}")
    return _Sheet(
        used,
        ((candidate.price, used),)
        if candidate.any_number or candidate.once
        else _orders(model, candidate, used, copies),
        model.new_int_var(0, 2 * copies + most, f"passes_{candidate.id}"),
        tuple(model.new_int_var(0, n, "") for n in in_one),
        tuple(model.new_int_var(0, n, "") for n in in_parts),
    )


def _orders(
    model: cp_model.CpModel, candidate: Candidate, used: cp_model.IntVar, copies: int
) -> tuple[tuple[Decimal, cp_model.IntVar], ...]:
    """(B8) how many are bought at each price: all of them at one, as many as an order at that price is of."""
    first = Tier(candidate.least, candidate.most, candidate.price)
    bought, chosen = [], []
    for tier in (first, *candidate.other_prices):
        most = max(copies, tier.least) if tier.most is None else tier.most
        number = model.new_int_var(0, most, f"bought_{candidate.id}_{tier.least}")
        order = model.new_bool_var(f"order_{candidate.id}_{tier.least}")
        model.add(number >= tier.least * order)
        model.add(number <= most * order)
        bought.append((tier.price, number))
        chosen.append(order)
    model.add_at_most_one(chosen)
    model.add(sum(number for _, number in bought) >= used)
    return tuple(bought)


def _keep_to_room(
    model: cp_model.CpModel,
    candidate: Candidate,
    sheet: _Sheet,
    kinds: Sequence[Kind],
    sizes: Sequence[Size],
    machine: Machine,
) -> None:
    """What no layout can put on a sheet, or into a pass."""
    grown = [size.room_mm2 for size in sizes]
    taken = sum(area * held for area, held in zip(grown, sheet.held, strict=True))
    model.add(taken <= _inside_mm2(candidate, machine) * sheet.used)  # (B3)
    model.add(sheet.passes >= sheet.used)
    model.add(sum(a * whole for a, whole in zip(grown, sheet.whole, strict=True)) <= _pass_mm2(machine) * sheet.passes)
    copies = sum(len(kind.pieces) for kind in kinds)
    turned = model.new_bool_var(f"turned_{candidate.id}")
    model.add(sum(sheet.joined) <= copies * turned)
    model.add(sheet.passes >= sheet.used + turned)  # (B4) a piece across two reaches needs a turn
    for row in _shares(candidate, kinds, machine):
        model.add(sum(share * held for share, held in zip(row, sheet.held, strict=True)) <= WHOLE * sheet.used)  # (B6)
    alone = _no_two_on_one(candidate, kinds, machine)
    model.add(sum(sheet.held[number] for number in alone) <= sheet.used)  # (B7)


def _cost(candidate: Candidate, sheet: _Sheet, sizes: Sequence[Size], shop: Shop) -> cp_model.LinearExprT:
    """(B1) what a candidate's sheets cost at least."""
    setup, turn = (_minutes_cents(minutes, shop) for minutes in (shop.machine.setup_min, shop.machine.turn_min))
    once = setup + _trims_cents(candidate, shop) - min(setup, turn)
    pieces = [_per_piece(candidate, size, shop) for size in sizes]
    joins = math.floor(2 * shop.rates.join_cost * SCALE)
    return (
        sum(_cents(price, candidate, shop) * number for price, number in sheet.bought)
        + once * sheet.used
        + min(setup, turn) * sheet.passes
        + sum(each * held for each, held in zip(pieces, sheet.held, strict=True))
        + joins * sum(sheet.joined)
    )


SCALE = 100_000
"""Thousandths of a cent in one unit of money: prices a piece are small."""


def _cents(price: Decimal, candidate: Candidate, shop: Shop) -> int:
    """What a sheet costs at least at this price: less the most its leftovers can bring, or it whole, if none is cut."""
    return math.floor(price * Decimal(str(1.0 - _credit_share(candidate, shop))) * SCALE)


def _credit_share(candidate: Candidate, shop: Shop) -> float:
    """The share of the price that leftovers can bring back: none where the whole sheet would be too small to keep."""
    x0, y0, x1, y1 = candidate.rect
    sides, keep = sorted((x1 - x0, y1 - y0)), sorted(shop.rates.keep_mm)
    return shop.rates.leftover_credit if sides[0] >= keep[0] and sides[1] >= keep[1] else 0.0


def _trims_cents(candidate: Candidate, shop: Shop) -> int:
    """Trims that a sheet needs that does not lie flat in the machine as it comes: by hand, one at least."""
    lies = candidate.cut is not None or reaches(shop.machine, candidate.rect)
    return 0 if lies else _minutes_cents(shop.rates.saw_trim_min, shop)


def _minutes_cents(minutes: float, shop: Shop) -> int:
    # A cost line is rounded half up on its own: it may come out half a cent lower.
    spent = Decimal(str(minutes)) * shop.rates.labour_per_hour / 60 - Decimal("0.005")
    return max(0, math.floor(spent * SCALE))


def _per_piece(candidate: Candidate, size: Size, shop: Shop) -> int:
    """(B5) the credit that a piece's net area takes away at least."""
    if candidate.cut is not None:
        return _per_cut_piece(candidate.cut, size, shop)
    per_mm2 = candidate.lowest_price / Decimal(str(round(candidate.polygon.area, 3)))
    return math.floor(size.lost_mm2 * per_mm2 * Decimal(str(_credit_share(candidate, shop))) * SCALE)


def _per_cut_piece(cut: CutToSize, size: Size, shop: Shop) -> int:
    """Of a panel cut to size, what a piece adds to its price at least, leftovers brought back but not its own area.

    Its own and half the gap all round lie in the panel; by more than the margin, where the gap is that wide.
    """
    beyond = max(0.0, shop.machine.gap_mm - 2 * shop.machine.margin_mm)
    inside = math.prod(side / (side + beyond) for side in cut.smallest_mm)
    back = Decimal(str(shop.rates.leftover_credit))
    taken = Decimal(str(size.room_mm2 * inside))
    return math.floor(cut.price_per_m2 / 1_000_000 * (taken * (1 - back) + size.lost_mm2 * back) * SCALE)


def _may_pay_to_join(kind: Kind, size: Size, shop: Shop) -> bool:
    """Whether cutting it in parts may cost less: a piece cut whole takes up no more than a pass."""
    saved = min(_minutes_cents(minutes, shop) for minutes in (shop.machine.setup_min, shop.machine.turn_min))
    fits = size.room_mm2 <= _pass_mm2(shop.machine)
    return _must_be_joined(kind, shop.machine) or not fits or math.floor(2 * shop.rates.join_cost * SCALE) < saved


def _must_be_joined(kind: Kind, machine: Machine) -> bool:
    """Whether no turn whatever lets one pass hold the piece."""
    return _least_width(kind.polygon) > min(machine.travel_mm)


def _sizes(kinds: Sequence[Kind], shop: Shop) -> list[Size]:
    least = [(_least_width(kind.polygon), _longer_side(kind)) for kind in kinds]
    return [_size_of(kind, least, shop) for kind in kinds]


def _longer_side(kind: Kind) -> float:
    x0, y0, x1, y1 = curves.bounds([kind.sample.outline])
    return max(x1 - x0, y1 - y0)


def _size_of(kind: Kind, others: Sequence[tuple[float, float]], shop: Shop) -> Size:
    """A hole is open if by its width and its diameter it might hold a piece, or a leftover worth keeping."""
    keep = min(shop.rates.keep_mm), math.hypot(*shop.rates.keep_mm)
    holes = [(hole, _least_width(hole) + SLACK_MM, _diameter(hole) + SLACK_MM) for hole in _holes(kind)]
    open_for = [
        [width <= across and length <= along for width, length in (*others, keep)] for _, across, along in holes
    ]
    rings = [ring for ring, fits in zip(kind.sample.holes, open_for, strict=True) if any(fits[:-1])]
    dead = math.fsum(hole.area for (hole, _, _), fits in zip(holes, open_for, strict=True) if not any(fits))
    lost = Decimal(str(curves.area(kind.sample) + dead - 1e-3))
    return Size(_grown(kind.sample.outline, tuple(rings), shop.machine.gap_mm / 2), max(lost, Decimal(0)))


def _holes(kind: Kind) -> list[Polygon]:
    """In the order of the piece's holes, no larger than these."""
    return [Polygon(curves.polygon(kind.sample.outline, (hole,)).interiors[0]) for hole in kind.sample.holes]


def _diameter(polygon: Polygon) -> float:
    corners = shapely.get_coordinates(polygon.convex_hull)
    return float(np.hypot(*(corners[:, None] - corners[None]).T).max())


@functools.lru_cache(maxsize=1024)
def _grown(outline: Ring, holes: tuple[Ring, ...], by_mm: float) -> int:
    fine = curves.polygon(outline, holes, tolerance=1e-3)
    # Chords and tangents err by less than a thousandth: rounding down keeps the bound valid.
    return math.floor(fine.buffer(by_mm, quad_segs=16).area * 0.999)


def _inside_mm2(candidate: Candidate, machine: Machine) -> int:
    """What a sheet can hold of grown pieces: its inside margins, grown by half the gap."""
    inside = candidate.polygon.buffer(machine.gap_mm / 2 - machine.margin_mm, join_style="mitre")
    return math.ceil(inside.area)


def _pass_mm2(machine: Machine) -> int:
    """What one pass can hold of grown pieces that it cuts whole."""
    sides = (side + machine.gap_mm + 2 * EPS for side in machine.travel_mm)
    return math.ceil(math.prod(sides))


def _room(candidate: Candidate, machine: Machine) -> Point:
    x0, y0, x1, y1 = candidate.rect
    return x1 - x0 - 2 * machine.margin_mm, y1 - y0 - 2 * machine.margin_mm


def _shares(candidate: Candidate, kinds: Sequence[Kind], machine: Machine) -> list[list[int]]:
    """(B6) the shares of a sheet that pieces take by the rectangle that lies upright in each, whatever the layout.

    Two rectangles a gap apart are at least gap/sqrt 2 apart along one of the axes: by so much each of them is grown.
    """
    sides, room = upright_sides(kinds, machine), room_in_units(candidate, machine)
    if min(room) <= 0 or not any(map(min, sides)):
        return []
    return in_parts(strongest_shares(sides, [len(kind.pieces) for kind in kinds], room, SHARES), WHOLE)


def upright_sides(kinds: Sequence[Kind], machine: Machine) -> list[tuple[int, int]]:
    """Sides, in units, of the upright rectangle in each kind, with what it keeps from others; 0, 0 if it may turn."""
    apart = machine.gap_mm / math.sqrt(2.0)
    return [
        (math.floor((w + apart) * UNITS + 1e-6), math.floor((d + apart) * UNITS + 1e-6)) if w and d else (0, 0)
        for w, d in map(_upright_rectangle, kinds)
    ]


def room_in_units(candidate: Candidate, machine: Machine) -> tuple[int, int]:
    """What upright rectangles, so grown, have of a sheet."""
    apart = machine.gap_mm / math.sqrt(2.0)
    width, depth = (math.ceil((side + apart) * UNITS - 1e-6) for side in _room(candidate, machine))
    return width, depth


def _upright_rectangle(kind: Kind) -> Point:
    """Sides of a rectangle inside the piece that stays upright however it is laid; none if it may be turned at will."""
    if kind.sample.turn is Turn.ANY:
        return 0.0, 0.0
    x0, y0, x1, y1 = curves.bounds([kind.sample.outline])
    if kind.sample.holes or abs((x1 - x0) * (y1 - y0) - kind.polygon.area) > 1e-6 * (x1 - x0 + y1 - y0):
        inside = largest_rectangle(kind.polygon.buffer(-2 * curves.FLATTEN_MM))
        x0, y0, x1, y1 = inside or (0.0, 0.0, 0.0, 0.0)
    return x1 - x0, y1 - y0


def _no_two_on_one(candidate: Candidate, kinds: Sequence[Kind], machine: Machine) -> list[int]:
    """(B7) kinds of which no two pieces lie on one sheet: not even the discs do that lie in them."""
    width, depth = _room(candidate, machine)
    alone = []
    for number, kind in enumerate(kinds):
        across = 2 * _inscribed_radius(kind.polygon)
        if math.hypot(max(0.0, width - across), max(0.0, depth - across)) < across + machine.gap_mm - EPS:
            alone.append(number)
    return alone


@functools.lru_cache(maxsize=1024)
def _inscribed_radius(polygon: Polygon) -> float:
    """Of a disc that surely lies in the piece; its polygon may be larger than it by the flattening."""
    return max(0.0, float(shapely.maximum_inscribed_circle(polygon, tolerance=1.0).length) - 2 * curves.FLATTEN_MM)


def _may_lie(kind: Kind, candidate: Candidate, machine: Machine) -> bool:
    """False only where no layout at all can put the piece on this sheet."""
    room = _room(candidate, machine)
    px0, py0, px1, py1 = curves.bounds([kind.sample.outline])
    size = px1 - px0 - 1e-6, py1 - py0 - 1e-6
    if kind.sample.turn is not Turn.ANY:
        return size[0] <= room[0] and size[1] <= room[1]
    # Turned at will, the piece still has a least width and a diameter that the sheet must hold.
    return _least_width(kind.polygon) <= min(room) and max(size) <= math.hypot(*room)


@functools.lru_cache(maxsize=1024)
def _least_width(polygon: Polygon) -> float:
    """Least distance of two parallel lines that hold the piece: attained along a side of its hull."""
    corners = shapely.get_coordinates(shapely.get_exterior_ring(polygon.convex_hull))
    steps = np.diff(corners, axis=0)
    sides = np.hypot(*steps.T)
    along = steps[sides > 1e-9] / sides[sides > 1e-9, None]
    starts = corners[:-1][sides > 1e-9]
    beside = along[:, :1] * (corners[:, 1] - starts[:, 1:]) - along[:, 1:] * (corners[:, 0] - starts[:, :1])
    return float(np.abs(beside).max(axis=1).min()) - 2 * curves.FLATTEN_MM
