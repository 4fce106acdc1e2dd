"""The ways to get a job's sheets, as a table: for the terminal, for the office, for other programs.

In: a Comparison. Out: lines of text of a given width; a `Table`; plain records for JSON.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import shapely

from cli.documents import rows, words
from cli.documents.rows import Cell, Column, Table
from nesting.buying import Alternative, Comparison, reason, sources, waste_percent
from nesting.model import Plan, Source
from nesting.phrases import counted

LONGEST = 400
"""Characters of a reason, at most."""


@dataclass(frozen=True, slots=True)
class Told:
    """One way as it is told; without a plan, `why` says what rules it out. `same_as` is the number of an earlier way
    that comes to the same sheets at the same cost."""

    number: int
    name: str
    plan: Plan | None
    more: Decimal
    why: str
    same_as: int | None = None


def told(found: Comparison) -> list[Told]:
    """Every way with its number and its reason, cheapest first."""
    plans = [one.plan for one in found.tried if one.plan is not None]
    dearer = [plan for plan in plans if plan.cost.total > plans[0].cost.total]
    return [_told(number, found.tried, plans[0], dearer) for number in range(1, len(found.tried) + 1)]


def _told(number: int, tried: Sequence[Alternative], best: Plan, dearer: Sequence[Plan]) -> Told:
    one = tried[number - 1]
    same = next((n for n, other in enumerate(tried[: number - 1], 1) if _same(one.plan, other.plan)), None)
    why = f"the same sheets and the same cost as way {same}" if same else _why(one, best, dearer)
    return Told(number, one.name, one.plan, _more(one, best), why, same)


def _same(plan: Plan | None, other: Plan | None) -> bool:
    if plan is None or other is None:
        return False
    return plan.cost.total == other.cost.total and sources(plan) == sources(other)


def _more(one: Alternative, best: Plan) -> Decimal:
    return one.plan.cost.total - best.cost.total if one.plan else Decimal(0)


def _why(one: Alternative, best: Plan, dearer: Sequence[Plan]) -> str:
    if one.plan is None:
        return f"not possible: {words.plain(one.refusal, LONGEST)}"
    return words.plain(reason(one.plan, best, dearer[0] if dearer else None), LONGEST)


# ── for the terminal ─────────────────────────────────────────────────────────────────────────────────────────


def lines(job: str, found: Comparison, width: int) -> Iterator[str]:
    """A heading, a line of figures for each way, and below each what to buy, what is left and why."""
    ways = told(found)
    currency = next(way.plan.cost.currency for way in ways if way.plan)
    yield f"{words.plain(job)}: {counted(len(ways), 'way')} to get the sheets, cheapest first"
    heads = ("way", f"cost {words.plain(currency, 8)}", "more", "waste %", "passes", "turns")
    cells = [heads, *(_figures(way) for way in ways)]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    for row, way in zip(cells, [None, *ways], strict=True):
        yield "  ".join(
            cell.rjust(w) if n else cell.ljust(w) for n, (cell, w) in enumerate(zip(row, widths, strict=True))
        )
        for label, text in _below(way) if way else ():
            yield from textwrap.wrap(
                text, width, initial_indent=f"    {label:<5} ", subsequent_indent=" " * 10, break_long_words=True
            )
    if found.stopped:
        missing = f"; not planned: {', '.join(found.not_reached)}" if found.not_reached else ""
        yield from textwrap.wrap(f"stopped on request before all effort was spent{missing}", width)


def _figures(way: Told) -> tuple[str, ...]:
    name = f"{way.number}  {way.name}"
    if way.plan is None:
        return (name, *["-"] * 5)
    passes, turns = _passes(way.plan)
    more = f"{way.more:.2f}" if way.more else ""
    return (name, f"{way.plan.cost.total:.2f}", more, f"{waste_percent(way.plan):.1f}", str(passes), str(turns))


def _below(way: Told) -> Iterator[tuple[str, str]]:
    if way.plan is not None and way.same_as is None:
        yield "buy", _listed(way.plan, bought=True) or "nothing"
        if rack := _listed(way.plan, bought=False):
            yield "rack", rack
        yield "left", _left(way.plan)
    yield "why", way.why


def _passes(plan: Plan) -> tuple[int, int]:
    runs = [run for sheet in plan.sheets for run in sheet.passes]
    return len(runs), sum(run.turn_before != "none" for run in runs)


def _listed(plan: Plan, bought: bool) -> str:
    """Offers, each as often as it is bought and at what price; or offcuts."""
    price = {sheet.source: sheet.price for sheet in plan.sheets}
    used = sorted(
        ((s, n) for s, n in sources(plan).items() if (s.offer is not None) is bought), key=lambda one: str(one[0])
    )
    if not bought:
        return ", ".join(words.plain(source.stock_id or "") for source, _ in used)
    return ", ".join(f"{n} x {_offer(source)} at {price[source]:.2f}" for source, n in used)


def _offer(source: Source) -> str:
    return " ".join(filter(None, (words.plain(source.offer or ""), source.size_words)))


def _left(plan: Plan) -> str:
    kept = [left for sheet in plan.sheets for left in sheet.leftovers if left.keep]
    if not kept:
        return "nothing worth keeping"
    x0, y0, x1, y1 = max(kept, key=lambda left: left.credit).usable_mm
    worth = sum((left.credit for left in kept), Decimal(0))
    area = sum(shapely.Polygon(left.outline_mm, left.holes_mm).area for left in kept) / 1e6
    return (
        f"{counted(len(kept), 'offcut')}, {area:.3f} m², worth {worth:.2f} {plan.cost.currency}, "
        f"the best {x1 - x0:.0f} x {y1 - y0:.0f} mm"
    )


# ── for the office and other programs ────────────────────────────────────────────────────────────────────────


def records(found: Comparison) -> list[dict[str, Any]]:
    """What is told of each way, by name; money as text, as in plan.json; figures are None where there is no plan."""
    return [_record(way) for way in told(found)]


def _record(way: Told) -> dict[str, Any]:
    plan = way.plan
    head = {"number": way.number, "way": way.name, "possible": plan is not None}
    if plan is None:
        return {**head, **dict.fromkeys(FIGURES), "buy": [], "rack": [], "why": way.why}
    passes, turns = _passes(plan)
    kept = [left for sheet in plan.sheets for left in sheet.leftovers if left.keep]
    figures = {
        "currency": plan.cost.currency,
        "cost": str(plan.cost.total),
        "more": str(way.more),
        "bound": str(plan.cost.bound),
        "waste_percent": round(waste_percent(plan), 2),
        "sheets": len(plan.sheets),
        "passes": passes,
        "turns": turns,
        "trims": sum(len(sheet.trims) for sheet in plan.sheets),
        "left": len(kept),
        "left_worth": str(sum((left.credit for left in kept), Decimal(0))),
    }
    price = {sheet.source: sheet.price for sheet in plan.sheets}
    used = sorted(sources(plan).items(), key=lambda one: str(one[0]))
    buy = [
        {"offer": s.offer, "cut_mm": s.cut_mm, "sheets": n, "price": str(price[s])}
        for s, n in used
        if s.offer is not None
    ]
    return {**head, **figures, "buy": buy, "rack": [s.stock_id for s, _ in used if s.offer is None], "why": way.why}


FIGURES = (
    *("currency", "cost", "more", "bound", "waste_percent", "sheets", "passes", "turns", "trims"),
    *("left", "left_worth"),
)


def table(found: Comparison) -> Table:
    """The same for the office, a row a way."""
    ways = told(found)
    currency = next(way.plan.cost.currency for way in ways if way.plan)
    columns = (
        Column("no."),
        Column("way"),
        Column("cost", currency, 2),
        Column("more than the cheapest", currency, 2),
        Column("waste", "%", 1),
        Column("sheets"),
        Column("passes"),
        Column("turns"),
        Column("trims"),
        Column("to buy"),
        Column("from the rack"),
        Column("offcuts left"),
        Column("worth of what is left", currency, 2),
        Column("why"),
    )
    return rows.rounded("ways", "Ways to get the sheets", columns, (_row(way) for way in ways))


def _row(way: Told) -> tuple[Cell, ...]:
    plan = way.plan
    if plan is None:
        return (way.number, way.name, *[""] * 11, way.why)
    record = _record(way)
    return (
        way.number,
        way.name,
        plan.cost.total,
        way.more,
        waste_percent(plan),
        len(plan.sheets),
        record["passes"],
        record["turns"],
        record["trims"],
        _listed(plan, bought=True),
        _listed(plan, bought=False),
        record["left"],
        Decimal(record["left_worth"]),
        way.why,
    )
