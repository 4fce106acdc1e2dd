"""A lower bound on the cost of any plan for the pieces of one stock key, whatever the layout.

In: candidates, kinds, machine, rates. Out: money. Method: the pieces need not be laid, only not exceed what a sheet
holds: each piece, grown by half the gap, takes its area of the sheet's inside; a sheet's price comes back through
leftovers at most on the area no piece takes. A small model in CP-SAT; its proven bound is used, so that stopping early
only weakens it. The numbers (B1) to (B5) are those of docs/model.md.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from decimal import ROUND_DOWN, Decimal

import shapely
from ortools.sat.python import cp_model

from nesting import curves
from nesting.assigning.columns import Kind, Shop
from nesting.assigning.stock import Candidate
from nesting.model import Machine, Turn
from nesting.solving import NoAnswer, solved

EFFORT = 1.0


def lower_bound(found: Sequence[Candidate], kinds: Sequence[Kind], shop: Shop) -> Decimal:
    """Proven: no plan for these pieces on these sheets costs less."""
    model = cp_model.CpModel()
    terms = []
    held: list[list[cp_model.IntVar]] = [[] for _ in kinds]
    for candidate in found:
        copies = sum(len(kind.pieces) for kind in kinds)
        most = copies if candidate.limit is None else min(copies, candidate.limit)
        used = model.new_int_var(0, most, f"used_{candidate.id}")
        lies = [
            model.new_int_var(0, len(kind.pieces) if _may_lie(kind, candidate, shop.machine) else 0, "")
            for kind in kinds
        ]
        for row, var in zip(held, lies, strict=True):
            row.append(var)
        taken = sum(_grown_mm2(kind, shop.machine) * var for kind, var in zip(kinds, lies, strict=True))
        model.add(taken <= _inside_mm2(candidate, shop.machine) * used)  # (B3)
        terms.append(_cents(candidate, shop) * used)
        terms.extend(_per_piece(candidate, kind, shop) * var for kind, var in zip(kinds, lies, strict=True))
        joined = [var for kind, var in zip(kinds, lies, strict=True) if _must_be_joined(kind, shop.machine)]
        if joined:
            turned = model.new_bool_var(f"turned_{candidate.id}")
            model.add(sum(joined) <= copies * turned)  # (B4) a piece across two reaches needs a turn
            terms.append(_minutes_cents(shop.machine.turn_min, shop) * turned)
    for row, kind in zip(held, kinds, strict=True):
        model.add(sum(row) == len(kind.pieces))  # (B2)
    model.minimize(sum(terms))  # (B1)
    try:
        solver = solved(model, EFFORT)
    except NoAnswer:
        return Decimal(0)
    milli = max(0.0, solver.best_objective_bound)
    return (Decimal(math.floor(milli)) / SCALE).quantize(Decimal("0.01"), ROUND_DOWN)


SCALE = 100_000
"""Thousandths of a cent in one unit of money: prices a piece are small."""


def _cents(candidate: Candidate, shop: Shop) -> int:
    """(B1) what a sheet costs at least by being used: its price less the most its leftovers can bring, and a set-up."""
    lost = candidate.price * Decimal(str(1.0 - shop.rates.leftover_credit))
    return math.floor(lost * SCALE) + _minutes_cents(shop.machine.setup_min, shop)


def _minutes_cents(minutes: float, shop: Shop) -> int:
    # A cost line is rounded half up on its own: it may come out half a cent lower.
    spent = Decimal(str(minutes)) * shop.rates.labour_per_hour / 60 - Decimal("0.005")
    return max(0, math.floor(spent * SCALE))


def _per_piece(candidate: Candidate, kind: Kind, shop: Shop) -> int:
    """(B5) what a piece costs at least: the credit its net area takes away, and two joins if no pass can hold it."""
    area = Decimal(str(curves.area(kind.sample) - 1e-3))
    credit = area * candidate.price_per_mm2 * Decimal(str(shop.rates.leftover_credit))
    joins = 2 * shop.rates.join_cost if _must_be_joined(kind, shop.machine) else Decimal(0)
    return math.floor((max(credit, Decimal(0)) + joins) * SCALE)


def _must_be_joined(kind: Kind, machine: Machine) -> bool:
    """Whether no turn whatever lets one pass hold the piece."""
    return _least_width(kind) > min(machine.travel_mm)


def _grown_mm2(kind: Kind, machine: Machine) -> int:
    """Area that a piece keeps from all others: itself and half the gap all round."""
    fine = curves.polygon(kind.sample.outline, kind.sample.holes, tolerance=1e-3)
    # Chords and tangents err by less than a thousandth: rounding down keeps the bound valid.
    return math.floor(fine.buffer(machine.gap_mm / 2, quad_segs=16).area * 0.999)


def _inside_mm2(candidate: Candidate, machine: Machine) -> int:
    """What a sheet can hold of grown pieces: its inside margins, grown by half the gap."""
    inside = candidate.polygon.buffer(machine.gap_mm / 2 - machine.margin_mm, join_style="mitre")
    return math.ceil(inside.area)


def _may_lie(kind: Kind, candidate: Candidate, machine: Machine) -> bool:
    """False only where no layout at all can put the piece on this sheet."""
    x0, y0, x1, y1 = candidate.rect
    room = x1 - x0 - 2 * machine.margin_mm, y1 - y0 - 2 * machine.margin_mm
    px0, py0, px1, py1 = curves.bounds([kind.sample.outline])
    size = px1 - px0 - 1e-6, py1 - py0 - 1e-6
    if kind.sample.turn is not Turn.ANY:
        return size[0] <= room[0] and size[1] <= room[1]
    # Turned at will, the piece still has a least width and a diameter that the sheet must hold.
    return _least_width(kind) <= min(room) and max(size) <= math.hypot(*room)


def _least_width(kind: Kind) -> float:
    """Least distance of two parallel lines that hold the piece: attained along a side of its hull."""
    hull = shapely.get_exterior_ring(kind.polygon.convex_hull)
    corners = [(float(x), float(y)) for x, y in shapely.get_coordinates(hull)]
    widths = []
    for (ax, ay), (bx, by) in itertools.pairwise(corners):
        side = math.hypot(bx - ax, by - ay)
        if side > 1e-9:
            widths.append(max(abs((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / side for x, y in corners))
    return min(widths) - 2 * curves.FLATTEN_MM
