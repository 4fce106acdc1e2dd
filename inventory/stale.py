"""Is a plan still true of the rack? Its sheets must be there, free or held for it, and as it was made with.

In: the plan and the sheets as they stand. Out: nothing, or a RackFault that names every sheet
that has changed, and how.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set

from sqlalchemy.engine import Connection

from inventory.books import entries_of_plan, find_plan, find_sheets
from inventory.ledger import Kind, Sheet, State
from inventory.measures import size_mm
from nesting.faults import RackFault
from nesting.model import Plan, PlannedSheet, Point

SAME_MM = 0.01
"""A corner that moved by more makes a plan stale."""


def refuse_stale(
    conn: Connection, plan: Plan, stock: Mapping[str, str], holder: str | None = None, only: str | None = None
) -> None:
    """Raises RackFault naming each sheet that is no longer as the plan took it.

    `stock` gives the stock number of each sheet of the plan that is on the rack, `holder` the plan that should hold it;
    `only` looks at one sheet of the plan.
    """
    sheets = find_sheets(conn, set(stock.values()))
    faced = {piece.id for piece in plan.pieces if piece.one_lot}
    reasons = [
        reason
        for planned in plan.sheets
        if planned.id in stock and only in (None, planned.id)
        for reason in _changes(sheets[stock[planned.id]], planned, holder, faced)
    ]
    if reasons:
        mend = (
            "plan again" if holder is None else "stop the plan with `halfturn rack mishap`, which plans the rest again"
        )
        raise RackFault("the plan is stale: " + "; ".join(reasons), mend=mend)


def _changes(sheet: Sheet, planned: PlannedSheet, holder: str | None, faced: Set[str]) -> Iterator[str]:
    """What is no longer as it was planned with."""
    offcut = sheet.offcut
    if sheet.state is not State.ON_RACK:
        yield f"{offcut.id} is {sheet.state}"
    elif sheet.plan != holder:
        yield f"{offcut.id} is {f'reserved for {sheet.plan}' if sheet.plan else 'not reserved any more'}"
    if offcut.stock != planned.stock:
        yield f"{offcut.id} is {offcut.stock}, planned as {planned.stock}"
    if offcut.lot != planned.lot and any(spot.piece in faced for spot in planned.placements):
        yield f"{offcut.id} is of lot {offcut.lot or 'unknown'}, planned as {planned.lot or 'unknown'}"
    if not _same(offcut.outline_mm, planned.outline_mm) or not _all_same(offcut.holes_mm, planned.holes_mm):
        (w, h), (pw, ph) = size_mm(offcut.outline_mm), size_mm(planned.outline_mm)
        yield f"{offcut.id} has another outline ({w:g} x {h:g}, planned as {pw:g} x {ph:g} mm)"


def _all_same(rings: Sequence[Sequence[Point]], others: Sequence[Sequence[Point]]) -> bool:
    return len(rings) == len(others) and all(map(_same, rings, others))


def _same(ring: Sequence[Point], other: Sequence[Point]) -> bool:
    return len(ring) == len(other) and all(
        abs(x - u) <= SAME_MM and abs(y - v) <= SAME_MM for (x, y), (u, v) in zip(ring, other, strict=True)
    )


def check_all_free(conn: Connection, ids: Sequence[str]) -> None:
    """Raises RackFault naming every sheet of `ids` that cannot be had, and who has it, not only the first."""
    found = find_sheets(conn, set(ids))
    taken = [f"{i} is {_holder(conn, found[i].plan)}" for i in ids if i in found and found[i].plan is not None]
    gone = [f"{i} is {found[i].state}" for i in ids if i in found and found[i].state is not State.ON_RACK]
    unknown = [f"{i} is not known" for i in ids if i not in found]
    if taken or gone or unknown:
        raise RackFault("; ".join([*taken, *gone, *unknown]), mend="plan again: the rack has changed")


def _holder(conn: Connection, plan_id: str | None) -> str:
    """Who has it: the plan, its job and the person who accepted it."""
    assert plan_id is not None
    plan = find_plan(conn, plan_id)
    took = next(e for e in entries_of_plan(conn, plan_id) if e.kind is Kind.ACCEPTED)
    job = f" ({plan.job})" if plan and plan.job else ""
    return f"reserved for the plan {plan_id}{job} by {took.who}, {took.at:%Y-%m-%d %H:%M}"
