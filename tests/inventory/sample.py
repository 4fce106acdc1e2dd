"""A small plan for the tests: one sheet from the rack cut in two passes, one bought sheet cut in one."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from nesting.model import (
    Blank,
    Cost,
    CuttingFigure,
    Job,
    Leftover,
    Machine,
    Offcut,
    Pass,
    Piece,
    Placement,
    Plan,
    PlannedSheet,
    Point,
    Source,
)

LASER = Machine("laser", "laser", (600, 400), (620, 420), (CuttingFigure("acrylic", 5.0, 0.2, 10, 0.5),))
A1 = Offcut(
    "A1", "acrylic", "opal", 5.0, ((0, 0), (600, 0), (600, 700), (0, 700)), (), Decimal("9.50"), "bay 1", "OP-1"
)


def rectangle(width: float, height: float, x: float = 0, y: float = 0) -> tuple[Point, ...]:
    return (x, y), (x + width, y), (x + width, y + height), (x, y + height)


def piece(name: str) -> Piece:
    ring = tuple((x, y, 0.0) for x, y in rectangle(200, 300))
    return Piece(name, name, 1, "acrylic", "opal", 5.0, ring)


def run(order: int, *whole: str, part: tuple[str, ...] = ()) -> Pass:
    turn = "none" if order == 1 else "half"
    return Pass(order, "B1", 0, (0, 0), turn, f"p{order}.dxf", whole, part)


def sheet(
    sheet_id: str,
    source: Source,
    size: Point,
    spots: dict[str, Point],
    passes: tuple[Pass, ...],
    leftovers: tuple[Leftover, ...] = (),
) -> PlannedSheet:
    placements = tuple(Placement(name, "B1", x, y, 0) for name, (x, y) in spots.items())
    blanks = (Blank("B1", (0, 0, *size)),)
    key = ("acrylic", "opal", 5.0)
    price, outline = Decimal("9.50"), rectangle(*size)
    return PlannedSheet(sheet_id, source, *key, outline, (), price, "bay 1", (), blanks, placements, passes, leftovers)


def kept(width: float, height: float, x: float, y: float, credit: str) -> Leftover:
    return Leftover(rectangle(width, height, x, y), (), True, (x, y, x + width, y + height), Decimal(credit))


def sample_plan(stock_id: str | None = "A1", job: str = "Entrance") -> Plan:
    """Pieces p1 (pass 1), p2 (both passes), p3 (pass 2) from a 600 x 700 sheet; p4 from a bought 1000 x 500 one."""
    first = sheet(
        "S1",
        Source(stock_id=stock_id) if stock_id else Source(offer="600x700"),
        (600, 700),
        {"p1": (10, 10), "p2": (250, 200), "p3": (10, 390)},
        (run(1, "p1", part=("p2",)), run(2, "p3", part=("p2",))),
        (kept(140, 700, 460, 0, "1.20"),),
    )
    second = sheet(
        "S2",
        Source(offer="1000x500"),
        (1000, 500),
        {"p4": (10, 10)},
        (run(1, "p4"),),
        (kept(780, 500, 220, 0, "4.00"), replace(kept(200, 180, 10, 315, "0"), keep=False)),
    )
    cost = Cost("EUR", (), Decimal(19), Decimal(15), 21.0)
    pieces = tuple(map(piece, ("p1", "p2", "p3", "p4")))
    return Plan(Job(job, customer="The planetarium"), 1, 1, LASER, pieces, (first, second), cost)


def plan_for(*stock_ids: str, job: str = "Entrance") -> Plan:
    """A plan that wants these sheets, all like A1, and cuts nothing from them."""
    sheets = tuple(sheet(f"S{n}", Source(stock_id=i), (600, 700), {}, ()) for n, i in enumerate(stock_ids, 1))
    return Plan(Job(job), 1, 1, LASER, (), sheets, Cost("EUR", (), Decimal(0), Decimal(0), 0.0))
