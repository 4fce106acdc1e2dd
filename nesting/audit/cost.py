"""Do the sums add up?

In: PlanRecord. Out: Check `cost`.
Method: exact decimal sums; the gap is what the total lies above the bound, in per cent of the total.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from nesting.audit.checks import Check, Flaw, none_wrong
from nesting.audit.records import PlanRecord

GAP_PERCENT = 0.05
"""Rounding allowed in the gap."""


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
    if cost.bound > cost.total:
        yield Flaw("cost", f"the bound {cost.bound} is above the total {cost.total}")
    gap = 100.0 * float((cost.total - cost.bound) / cost.total) if cost.total else 0.0
    if abs(gap - cost.gap_percent) > GAP_PERCENT:
        yield Flaw("cost", f"the gap is {gap:.2f} %, the plan says {cost.gap_percent:g} %")
