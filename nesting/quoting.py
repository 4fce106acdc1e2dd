"""From a plan's cost to a price: what a quote is made of, before any commitment.

In: a Plan for some copies of a job, the shop's quoting figures, extras. Out: Prices, with every term. Pure; Decimal,
rounded half up once a line. Mark-up is a share of the cost, margin a share of the price: k = m / (1 - m).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from nesting import curves
from nesting.costing import cutting_seconds, marking_seconds, mass_kg, money, sheet_area_mm2, total
from nesting.model import CostLine, Extra, Piece, Plan, PlannedSheet, StockKey, Workshop
from nesting.timing import machine_minutes

MATERIAL = "material"
"""What the line is called that a change of material prices acts on."""


@dataclass(frozen=True, slots=True)
class Price:
    """What some copies cost the shop and the customer; `planned_copies` are those of the plan behind it."""

    copies: int
    planned_copies: int
    lines: tuple[CostLine, ...]
    markup: Decimal
    tax: Decimal
    mass_kg: float

    @property
    def estimated(self) -> bool:
        """Whether no number of runs of its plan gives just these copies; a plan run several times is no estimate."""
        return self.copies % self.planned_copies != 0

    @property
    def cost(self) -> Decimal:
        return total(self.lines)

    @property
    def net(self) -> Decimal:
        return self.cost + self.markup

    @property
    def gross(self) -> Decimal:
        return self.net + self.tax

    @property
    def each(self) -> Decimal:
        """Net, for one copy."""
        return money(self.net / self.copies)

    @property
    def margin(self) -> float:
        """The share of the net price that is not cost."""
        return float(self.markup / self.net) if self.net else 0.0


def price(plan: Plan, copies: int, shop: Workshop, extras: Sequence[Extra] = ()) -> Price:
    """The price of a plan made for `copies` of the job."""
    mass = pieces_kg(plan.pieces, shop)
    lines = [
        *_material(plan, shop),
        *_work(plan, shop),
        *_finishing(plan, shop),
        *_freight(mass, shop),
        *_extras(extras, copies),
    ]
    return _priced(copies, copies, lines, mass, shop)


def scaled(known: Price, copies: int, shop: Workshop, extras: Sequence[Extra] = ()) -> Price:
    """More copies than were planned, the plan run again and again: every term in proportion, extras as they are asked
    for (the same that the known price has)."""
    share = Decimal(copies) / known.copies
    work = known.lines[: len(known.lines) - len(extras)]
    lines = [
        *(replace(line, quantity=line.quantity * float(share), amount=money(line.amount * share)) for line in work),
        *_extras(extras, copies),
    ]
    return _priced(copies, known.planned_copies, lines, known.mass_kg * float(share), shop)


def with_dearer_material(known: Price, by: float, shop: Workshop) -> Price:
    """The same work, its material dearer by a share of its price."""
    factor = Decimal(str(1 + by))
    lines = [
        replace(line, amount=money(line.amount * factor)) if line.what.startswith(f"{MATERIAL}: ") else line
        for line in known.lines
    ]
    return _priced(known.copies, known.planned_copies, lines, known.mass_kg, shop)


def pieces_kg(pieces: Sequence[Piece], shop: Workshop) -> float:
    """Mass of the finished pieces; those of unknown density weigh nothing here."""
    density = {material.name: material.density_kg_m3 for material in shop.material}
    return math.fsum(mass_kg(curves.area(p), p.thickness_mm, density.get(p.material, 0.0)) for p in pieces)


def _priced(copies: int, planned: int, lines: Sequence[CostLine], mass: float, shop: Workshop) -> Price:
    cost = total(lines)
    markup = money(cost * Decimal(str(shop.quoting.markup)))
    tax = money((cost + markup) * Decimal(str(shop.quoting.tax)))
    return Price(copies, planned, tuple(lines), markup, tax, mass)


# ── the terms ────────────────────────────────────────────────────────────────────────────────────────────────


def _material(plan: Plan, shop: Workshop) -> list[CostLine]:
    """Sheets at their price less what goes back on the rack, or the pieces' share of them; a line a stock key."""
    by_stock: dict[StockKey, list[PlannedSheet]] = {}
    for sheet in plan.sheets:
        by_stock.setdefault(sheet.stock, []).append(sheet)
    if shop.quoting.material == "share":
        return [_share(stock, plan, sheets, shop) for stock, sheets in by_stock.items()]
    lines = []
    for stock, sheets in by_stock.items():
        credit = sum((left.credit for sheet in sheets for left in sheet.leftovers if left.keep), Decimal(0))
        amount = sum((sheet.price for sheet in sheets), Decimal(0)) - credit
        lines.append(CostLine(f"{MATERIAL}: {stock}", len(sheets), "sheet", money(amount)))
    return lines


def _share(stock: StockKey, plan: Plan, sheets: Sequence[PlannedSheet], shop: Workshop) -> CostLine:
    """Area of the pieces divided by (1 - waste), at the mean price per area of the sheets planned."""
    area = math.fsum(curves.area(piece) for piece in plan.pieces if piece.stock == stock)
    charged = area / (1 - shop.quoting.waste)
    bought = math.fsum(sheet_area_mm2(sheet) for sheet in sheets)
    value = sum((sheet.price for sheet in sheets), Decimal(0))
    amount = money(value * Decimal(str(charged / bought)))
    return CostLine(f"{MATERIAL}: {stock}", round(charged / 1e6, 4), "m²", amount)


def _work(plan: Plan, shop: Workshop) -> list[CostLine]:
    """Machine and hands: the plan's own lines for work, gathered by kind, and the rapid moves they leave out."""
    gathered: dict[tuple[str, str], CostLine] = {}
    for line in plan.cost.lines:
        kind = line.what.rpartition(": ")[2]
        if kind in NOT_WORK:
            continue
        name = next((work for work in ("cutting", "marking") if kind.startswith(work)), kind)
        before = gathered.get((name, line.unit), CostLine(name, 0, line.unit, Decimal(0)))
        gathered[(name, line.unit)] = CostLine(
            name, before.quantity + line.quantity, line.unit, before.amount + line.amount
        )
    working = math.fsum(cutting_seconds(p, plan.machine) + marking_seconds(p, plan.machine) for p in plan.pieces) / 60
    moved = max(0.0, round(machine_minutes(plan) - working, 2))
    amount = money(Decimal(str(moved)) * shop.rates.machine_per_hour / 60)
    return [*gathered.values(), CostLine("moves between cuts", moved, "min", amount)]


NOT_WORK = {"stock", "leftover kept"}


def _finishing(plan: Plan, shop: Workshop) -> list[CostLine]:
    if not shop.quoting.finishing_per_m:
        return []
    edge_m = math.fsum(curves.length(ring, True) for p in plan.pieces for ring in (p.outline, *p.holes)) / 1000
    amount = money(Decimal(str(round(edge_m, 3))) * shop.quoting.finishing_per_m)
    return [CostLine("finishing of edges", round(edge_m, 2), "m", amount)]


def _freight(mass: float, shop: Workshop) -> list[CostLine]:
    if not shop.quoting.freight_per_kg:
        return []
    amount = money(Decimal(str(round(mass, 3))) * shop.quoting.freight_per_kg)
    return [CostLine("freight", round(mass, 2), "kg", amount)]


def _extras(extras: Sequence[Extra], copies: int) -> list[CostLine]:
    times = [copies if extra.each_copy else 1 for extra in extras]
    return [CostLine(extra.what, n, "", extra.amount * n) for extra, n in zip(extras, times, strict=True)]
