"""The rack's lists in words, one line a sheet, in columns that line up.

In: sheets and sums from `inventory.views`. Out: lines of text.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from inventory.ledger import Entry, Kind, PlanOnRack, Sheet
from inventory.measures import size_mm
from inventory.views import Life, Listing, Worth
from nesting.phrases import counted

if TYPE_CHECKING:
    from inventory.stocktake import Differences
    from inventory.tables import Fate

HEADINGS = ("sheet", "material", "colour", "mm", "size mm", "value", "days", "place", "lot", "held for")
RIGHT = frozenset({"mm", "value", "days", "sheets", "m²", "oldest, days"})


def sheet_lines(sheets: Sequence[Sheet], plans: Mapping[str, PlanOnRack], *, now: datetime) -> Iterator[str]:
    """A heading, then a line for each sheet."""
    return _table(HEADINGS, (_cells(sheet, plans, now) for sheet in sheets))


def plan_lines(plans: Iterable[tuple[PlanOnRack, tuple[str, ...]]]) -> Iterator[str]:
    """A heading, then a line for each plan: what it is, for whom, who said so last, which sheets it holds."""
    rows = ((p.id, p.state, p.job, p.customer, p.who, f"{p.at:%Y-%m-%d}", ", ".join(held)) for p, held in plans)
    return _table(("plan", "state", "job", "customer", "who", "since", "holds"), rows)


def worth_lines(found: Iterable[Worth], *, now: datetime) -> Iterator[str]:
    """A heading, then a line for each stock key."""
    headings = ("material", "colour", "mm", "sheets", "m²", "value", "oldest, days")
    return _table(headings, (_worth_cells(w, (now - w.oldest).days) for w in found))


def fate_line(fate: Fate) -> str:
    """What becomes of one row of a table, and why."""
    place = f" {fate.column}:" if fate.column else ""
    return shown(f"row {fate.row}: {fate.sheet or 'no number'}: {fate.verdict}{place} {fate.text}".rstrip())


def shown(text: str) -> str:
    """Names come from files: what could move the cursor or turn the direction of reading is shown as a box."""
    return text if text.isprintable() else "".join(ch if ch.isprintable() else "□" for ch in text)


def _worth_cells(w: Worth, days: int) -> tuple[str, ...]:
    area, money = f"{w.area_mm2 / 1e6:.3f}", f"{w.value:.2f}"
    return w.material, w.colour, f"{w.thickness_mm:g}", str(w.count), area, money, str(days)


def life_lines(life: Life, depth: int = 0) -> Iterator[str]:
    """The sheet, what was booked on it, and below it, indented, every offcut that was cut from it."""
    offcut, pad = life.sheet.offcut, "    " * depth
    yield f"{pad}{offcut.id}: {offcut.stock}, {_size(life.sheet)}, {life.sheet.state}"
    for entry in life.entries:
        told = ", ".join(word for word in (entry.why, _told(entry), entry.plan and f"plan {entry.plan}") if word)
        yield f"{pad}  {entry.at:%Y-%m-%d %H:%M}  {entry.kind:<9}  {entry.who}{f': {shown(told)}' if told else ''}"
    for below in life.offcuts:
        yield from life_lines(below, depth + 1)


def _told(entry: Entry) -> str:
    """What the entry's kind needs, in words."""
    body = entry.body
    match entry.kind:
        case Kind.CUT:
            pieces = ", ".join(name if name == piece else f"{name} ({piece})" for piece, name in body["pieces"])
            left = f"; leftovers {', '.join(body['leftovers'])}" if body["leftovers"] else ""
            lost = f"kerf {body['kerf_mm2'] / 1e6:.4f}, scrap {body['scrap_mm2'] / 1e6:.4f} m²"
            return f"{pieces or 'no piece'}{left}; {lost}"
        case Kind.MOVED:
            return f"to {body['place']}"
        case Kind.COUNTED:
            return "seen" if body["found"] else "not found"
        case Kind.MEASURED:
            width, height = size_mm(body["outline_mm"])
            return f"{width:g} x {height:g} mm"
        case Kind.CORRECTED:
            return ", ".join(f"{name} {value}" for name, value in body.items())
        case _:
            return ""


def difference_lines(found: Differences) -> Iterator[str]:
    """What a count found out, a line for each kind of difference that there is."""
    told = (
        ("as recorded", found.right),
        ("missing, booked as not found", found.missing),
        ("were missing, are back", found.found_again),
        ("stood elsewhere on record, booked as here", found.elsewhere),
        ("cut or scrapped on record, look again", found.gone),
        ("not known, look again", found.unknown),
    )
    for words, numbers in told:
        if numbers:
            yield f"{len(numbers)} {words}: {', '.join(numbers)}"


def _table(headings: Sequence[str], cells: Iterable[Sequence[str]]) -> Iterator[str]:
    rows = [headings, *(tuple(map(shown, row)) for row in cells)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        line = zip(headings, row, widths, strict=True)
        yield "  ".join(cell.rjust(w) if name in RIGHT else cell.ljust(w) for name, cell, w in line).rstrip()


def sums_line(found: Listing) -> str:
    """How many sheets, how much of them, worth how much."""
    shown = f" ({len(found.sheets)} shown)" if len(found.sheets) < found.count else ""
    return f"{counted(found.count, 'sheet')}{shown}, {found.area_mm2 / 1e6:.3f} m², book value {found.value:.2f}"


def _cells(sheet: Sheet, plans: Mapping[str, PlanOnRack], now: datetime) -> tuple[str, ...]:
    offcut = sheet.offcut
    return (
        offcut.id,
        offcut.material,
        offcut.colour,
        f"{offcut.thickness_mm:g}",
        _size(sheet),
        f"{offcut.book_value:.2f}",
        str((now - sheet.since).days),
        offcut.place,
        offcut.lot or "unknown",
        _held_for(sheet, plans),
    )


def _size(sheet: Sheet) -> str:
    """The bounding rectangle, and what it does not tell."""
    width, height = size_mm(sheet.offcut.outline_mm)
    corners, holes = len(sheet.offcut.outline_mm), len(sheet.offcut.holes_mm)
    words = [f"{corners} corners"] * (corners != 4) + [counted(holes, "hole")] * (holes > 0)
    return f"{width:g} x {height:g}" + (f" ({', '.join(words)})" if words else "")


def _held_for(sheet: Sheet, plans: Mapping[str, PlanOnRack]) -> str:
    if sheet.plan is None:
        return ""
    plan = plans[sheet.plan]
    return " / ".join(word for word in (plan.job or plan.id, plan.customer) if word)
