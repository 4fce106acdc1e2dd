"""The short summary after planning: what a person wants to know before opening the folder."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from nesting.model import Plan, PlannedSheet
from nesting.phrases import counted
from nesting.preferring import either_way_words


def summary_lines(plan: Plan, folder: Path) -> Iterator[str]:
    """Sheets, passes, turns, trims, cost, bound, gap, notes, warnings, and where the files are."""
    yield f"{plan.job.name}: {counted(len(plan.pieces), 'piece')} on {counted(len(plan.sheets), 'sheet')}"
    for sheet in plan.sheets:
        yield "  " + _sheet_line(sheet)
        if sheet.why:
            yield f"       why: {sheet.why}"
    passes = [p for sheet in plan.sheets for p in sheet.passes]
    turns = sum(p.turn_before != "none" for p in passes)
    trims = sum(len(sheet.trims) for sheet in plan.sheets)
    kept = sum(left.keep for sheet in plan.sheets for left in sheet.leftovers)
    yield f"passes {len(passes)}, turns and slides {turns}, trims {trims}, leftovers kept {kept}"
    cost = plan.cost
    yield f"cost {cost.total} {cost.currency}, no plan can cost less than {cost.bound} (gap {cost.gap_percent:.1f} %)"
    if len(cost.by_stock) > 1:
        for each in cost.by_stock:
            stock = f"{each.material} {each.colour} {each.thickness_mm:g} mm"
            yield f"  {stock}: cost {each.cost}, at least {each.bound} (gap {each.gap_percent:.1f} %)"
    for one in plan.either_way:
        yield either_way_words(one, cost.currency)
    for split in plan.splits:
        segments = counted(len(split.seats), "segment")
        yield f"{split.parent.id}: {segments}; fewer than {split.at_least} are impossible: {split.why}"
    for note in plan.notes:
        yield f"note: {note}"
    for warning in plan.warnings:
        yield f"warning: {warning}"
    yield f"files: {folder}/ (open workpack.html first)"


def _sheet_line(sheet: PlannedSheet) -> str:
    xs, ys = zip(*sheet.outline_mm, strict=True)
    size = f"{max(xs) - min(xs):.0f} x {max(ys) - min(ys):.0f}"
    cut = f", cut to {sheet.source.size_words}" if sheet.source.cut_mm else ""
    what = f"buy {sheet.source.offer}{cut}" if sheet.source.offer else f"offcut {sheet.source.stock_id}"
    place = f" ({sheet.place})" if sheet.place else ""
    if not sheet.placements:
        return f"{sheet.id}  {sheet.stock}, {size}: {what}{place}: for the rack, the order must be so large"
    work = [counted(len(sheet.placements), "piece"), counted(len(sheet.passes), "pass", "passes")]
    if sheet.trims:
        work.append(counted(len(sheet.trims), "trim"))
    return f"{sheet.id}  {sheet.stock}, {size}: {what}{place}: {', '.join(work)}"
