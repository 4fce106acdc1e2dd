"""The rack's lists in words, one line a sheet, in columns that line up.

In: sheets and sums from `inventory.views`. Out: lines of text.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime

from inventory.ledger import PlanOnRack, Sheet
from inventory.measures import size_mm
from inventory.views import Listing

HEADINGS = ("sheet", "material", "colour", "mm", "size mm", "value", "days", "place", "lot", "held for")
RIGHT = frozenset({"mm", "value", "days"})


def sheet_lines(sheets: Sequence[Sheet], plans: Mapping[str, PlanOnRack], *, now: datetime) -> Iterator[str]:
    """A heading, then a line for each sheet."""
    return _table(HEADINGS, (_cells(sheet, plans, now) for sheet in sheets))


def plan_lines(plans: Iterable[tuple[PlanOnRack, tuple[str, ...]]]) -> Iterator[str]:
    """A heading, then a line for each plan: what it is, for whom, who said so last, which sheets it holds."""
    rows = ((p.id, p.state, p.job, p.customer, p.who, f"{p.at:%Y-%m-%d}", ", ".join(held)) for p, held in plans)
    return _table(("plan", "state", "job", "customer", "who", "since", "holds"), rows)


def _table(headings: Sequence[str], cells: Iterable[Sequence[str]]) -> Iterator[str]:
    rows = [headings, *cells]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        line = zip(headings, row, widths, strict=True)
        yield "  ".join(cell.rjust(w) if name in RIGHT else cell.ljust(w) for name, cell, w in line).rstrip()


def sums_line(found: Listing) -> str:
    """How many sheets, how much of them, worth how much."""
    shown = f" ({len(found.sheets)} shown)" if len(found.sheets) < found.count else ""
    sheets = "1 sheet" if found.count == 1 else f"{found.count} sheets"
    return f"{sheets}{shown}, {found.area_mm2 / 1e6:.3f} m2, book value {found.value:.2f}"


def _cells(sheet: Sheet, plans: Mapping[str, PlanOnRack], now: datetime) -> tuple[str, ...]:
    offcut = sheet.offcut
    width, height = size_mm(offcut.outline_mm)
    return (
        offcut.id,
        offcut.material,
        offcut.colour,
        f"{offcut.thickness_mm:g}",
        f"{width:g} x {height:g}{_shape(sheet)}",
        f"{offcut.book_value:.2f}",
        str((now - sheet.since).days),
        offcut.place,
        offcut.lot or "unknown",
        _held_for(sheet, plans),
    )


def _shape(sheet: Sheet) -> str:
    """What the bounding rectangle does not tell."""
    corners, holes = len(sheet.offcut.outline_mm), len(sheet.offcut.holes_mm)
    words = [f"{corners} corners"] * (corners != 4) + [f"{holes} hole" + "s" * (holes > 1)] * (holes > 0)
    return f" ({', '.join(words)})" if words else ""


def _held_for(sheet: Sheet, plans: Mapping[str, PlanOnRack]) -> str:
    if sheet.plan is None:
        return ""
    plan = plans[sheet.plan]
    return " / ".join(word for word in (plan.job or plan.id, plan.customer) if word)
