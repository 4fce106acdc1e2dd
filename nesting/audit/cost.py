"""Do the sums add up?

In: PlanRecord. Out: Check `cost`.
Method: exact decimal sums; the gap is what the total lies above the bound, in per cent of the total; the stock keys'
costs and bounds add up to the whole plan's; each sheet's price and the credit for its leftovers are among the lines.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from decimal import Decimal

from nesting.audit.checks import Check, Flaw, none_wrong
from nesting.audit.records import PlanRecord

GAP_PERCENT = 0.05
"""Rounding allowed in the gap."""
CENT = Decimal("0.01")


def cost_checks(plan: PlanRecord) -> list[Check]:
    """The check of this module."""
    return [
        none_wrong("cost", _flaws(plan), "the lines add up to the total, the bound is not above it, the gap is theirs")
    ]


def _flaws(plan: PlanRecord) -> Iterator[Flaw]:
    cost = plan.cost
    total = sum((line.amount for line in cost.lines), Decimal(0))
    if total != cost.total:
        yield Flaw("cost", f"the lines add up to {total}, the total says {cost.total}")
    yield from _gap_flaws("cost", cost.total, cost.bound, cost.gap_percent)
    yield from _sheet_flaws(plan)
    for each in cost.by_stock:
        where = f"cost of {each.material} {each.colour} {each.thickness_mm:g} mm"
        yield from _gap_flaws(where, each.cost, each.bound, each.gap_percent)
    if cost.by_stock:
        yield from _sum_flaws(plan)


def _sheet_flaws(plan: PlanRecord) -> Iterator[Flaw]:
    """The lines that are named after a sheet: what it costs, what its leftovers bring back."""
    amounts: dict[str, Decimal] = defaultdict(Decimal)
    for line in plan.cost.lines:
        amounts[line.what] += line.amount
    for sheet in plan.sheets:
        kept = [left.credit for left in sheet.leftovers if left.keep]
        for what, due in (("stock", sheet.price), ("leftover kept", -sum(kept, Decimal(0)))):
            told = amounts[f"sheet {sheet.id}: {what}"]
            if abs(told - due) > CENT * max(1, len(kept)):
                yield Flaw(f"sheet {sheet.id}", f"the cost line `{what}` says {told}, the sheet {due}")


def _gap_flaws(where: str, cost: Decimal, bound: Decimal, gap_percent: float) -> Iterator[Flaw]:
    if bound > cost:
        yield Flaw(where, f"the bound {bound} is above the total {cost}")
    gap = 100.0 * float((cost - bound) / cost) if cost else 0.0
    if abs(gap - gap_percent) > GAP_PERCENT:
        yield Flaw(where, f"the gap is {gap:.2f} %, the plan says {gap_percent:g} %")


def _sum_flaws(plan: PlanRecord) -> Iterator[Flaw]:
    """The stock keys' shares: they are those of the sheets, and add up, each rounded by itself."""
    by_stock, forgiven = plan.cost.by_stock, CENT * len(plan.cost.by_stock)
    for what, shares, whole in (
        ("cost", [each.cost for each in by_stock], plan.cost.total),
        ("bound", [each.bound for each in by_stock], plan.cost.bound),
    ):
        if abs(sum(shares, Decimal(0)) - whole) > forgiven:
            yield Flaw("cost by stock", f"each {what} of a stock key adds up to {sum(shares)}, the plan says {whole}")
    told = {(each.material, each.colour, each.thickness_mm) for each in by_stock}
    for sheet in plan.sheets:
        if (sheet.material, sheet.colour, sheet.thickness_mm) not in told:
            yield Flaw(f"sheet {sheet.id}", "its stock key has no cost of its own")
