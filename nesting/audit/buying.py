"""Is what is bought one order, each face from one lot, and what a sheet is compared with no better than the plan?

In: PlanRecord. Out: Checks `orders`, `lots` and `next best`.
Method: sheets of one source are compared with each other; nothing is priced anew.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from nesting.audit.checks import Check, Flaw, none_wrong
from nesting.audit.records import PlanRecord, SheetRecord, SourceRecord


def buying_checks(plan: PlanRecord) -> list[Check]:
    """The checks of this module."""
    return [
        none_wrong("orders", _order_flaws(plan), "sheets of one offer are alike and cost the same"),
        none_wrong("lots", _lot_flaws(plan), "pieces of one face come from one lot"),
        none_wrong(
            "next best", _next_best_flaws(plan), "no sheet's next best costs less than the plan, or uses the sheet"
        ),
    ]


def _order_flaws(plan: PlanRecord) -> Iterator[Flaw]:
    orders: dict[SourceRecord, list[SheetRecord]] = defaultdict(list)
    for sheet in plan.sheets:
        if sheet.source.offer is not None:
            orders[sheet.source].append(sheet)
    for source, (first, *others) in orders.items():
        offer, most = source.offer, source.cut_mm
        if most is not None and any(x > most[0] + 1e-6 or y > most[1] + 1e-6 for x, y in first.outline_mm):
            yield Flaw(first.id, f"is counted on as larger than the {most[0]:g} x {most[1]:g} mm that are ordered")
        for sheet in others:
            if sheet.price != first.price:
                yield Flaw(sheet.id, f"costs {sheet.price}, {first.id} of the same offer {offer} costs {first.price}")
            if sheet.outline_mm != first.outline_mm:
                yield Flaw(sheet.id, f"is of another size than {first.id} of the same offer {offer}")


def _lot_flaws(plan: PlanRecord) -> Iterator[Flaw]:
    faces = {piece.id: (piece.one_lot, piece.material, piece.colour, piece.thickness_mm) for piece in plan.pieces}
    seen: dict[tuple[str, str, str, float], tuple[SheetRecord, str]] = {}
    for sheet in plan.sheets:
        lot = f"lot {sheet.lot}" if sheet.lot else f"{sheet.source.stock_id or ''}/{sheet.source.offer or ''}"
        for piece in (spot.piece for spot in sheet.placements):
            face = faces.get(piece)
            if face is not None and face[0]:
                first, first_lot = seen.setdefault(face, (sheet, lot))
                if lot != first_lot:
                    yield Flaw(
                        f"{sheet.id}, piece {piece}", f"is of another lot than {first.id}; `{face[0]}` asks for one"
                    )


def _next_best_flaws(plan: PlanRecord) -> Iterator[Flaw]:
    used = {sheet.source.stock_id for sheet in plan.sheets}
    for sheet in plan.sheets:
        other = sheet.next_best
        if other is None:
            continue
        if other.extra < 0:
            yield Flaw(sheet.id, f"without it the plan would cost {-other.extra} less")
        if sheet.source in other.instead:
            yield Flaw(sheet.id, "is said to be replaced by itself")
        for source in other.instead:
            if source.stock_id is not None and source.stock_id in used:
                yield Flaw(sheet.id, f"is said to be replaced by offcut {source.stock_id}, which the plan uses already")
