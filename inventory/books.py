"""The ledger in the database: write entries and what follows from them, read both back.

In: entries, on a connection whose transaction was opened by `database.writing`. Out: rows of `entry`, `sheet`, `plan`.
Method: the pure rules of `inventory.ledger` decide; as there is one writer at a time, what was read still holds when it
is written, and entries are numbered without gaps.
"""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from inventory.ledger import (
    Entry,
    Kind,
    PlanOnRack,
    PlanState,
    Sheet,
    State,
    fold,
    offcut_as_json,
    offcut_from,
    plan_after,
    sheet_after,
)
from inventory.measures import area_mm2, size_mm
from nesting.faults import RackFault

ENTRY = sa.table("entry", *map(sa.column, ("seq", "at", "who", "why", "kind", "sheet", "plan", "body")))
SHEET = sa.table(
    "sheet",
    *map(sa.column, ("id", "number", "material", "colour", "thickness_mm", "place", "lot", "state", "plan", "parent")),
    *map(sa.column, ("since", "long_mm", "short_mm", "area_mm2", "value_cents", "record", "seq")),
)
PLAN = sa.table("plan", *map(sa.column, ("id", "state", "job", "customer", "at", "who", "seq")))

CHUNK = 5000
"""How many sheets are asked for at once: both databases limit the parameters of a statement."""
NUMBERED = re.compile(r"R([0-9]{1,15})")
"""Numbers that the rack gives by itself."""


def book(conn: Connection, entries: Sequence[Entry]) -> None:
    """Write `entries`, in order, all or none, with the sheets and plans that follow. Raises RackFault."""
    last = conn.execute(sa.select(sa.func.max(ENTRY.c.seq))).scalar() or 0
    sheets_before = find_sheets(conn, {e.sheet for e in entries if e.sheet is not None})
    plans_before = _find_plans(conn, {e.plan for e in entries if e.sheet is None and e.plan is not None})
    sheets, plans, rows = dict(sheets_before), dict(plans_before), []
    sheet_seqs: dict[str, int] = {}
    plan_seqs: dict[str, int] = {}
    for seq, entry in enumerate(entries, last + 1):
        if entry.sheet is not None:
            sheets[entry.sheet] = sheet_after(sheets.get(entry.sheet), entry)
            sheet_seqs[entry.sheet] = seq
        elif entry.plan is not None:
            plans[entry.plan] = plan_after(plans.get(entry.plan), entry)
            plan_seqs[entry.plan] = seq
        rows.append(_entry_row(entry, seq))
    if not rows:
        return
    conn.execute(sa.insert(ENTRY), rows)
    _store(conn, PLAN, plans_before.keys(), [_plan_row(plan, plan_seqs[i]) for i, plan in plans.items()])
    _store(conn, SHEET, sheets_before.keys(), [_sheet_row(sheet, sheet_seqs[i]) for i, sheet in sheets.items()])


def _store(conn: Connection, table: sa.TableClause, known: Collection[str], rows: list[dict[str, Any]]) -> None:
    new = [row for row in rows if row["id"] not in known]
    old = [row | {"key": row["id"]} for row in rows if row["id"] in known]
    if new:
        conn.execute(sa.insert(table), new)
    if old:
        values: dict[str, sa.BindParameter[Any]] = {name: sa.bindparam(name) for name in rows[0] if name != "id"}
        conn.execute(sa.update(table).where(table.c.id == sa.bindparam("key")).values(values), old)


# ── read back ────────────────────────────────────────────────────────────────────────────────────────────────


def find_sheets(conn: Connection, ids: Collection[str]) -> dict[str, Sheet]:
    """The sheets among `ids` that there are, by id."""
    found: dict[str, Sheet] = {}
    wanted = sorted(ids)
    for start in range(0, len(wanted), CHUNK):
        query = sa.select(SHEET).where(SHEET.c.id.in_(wanted[start : start + CHUNK]))
        found |= {row.id: sheet_from(row) for row in conn.execute(query)}
    return found


def find_sheet(conn: Connection, sheet_id: str) -> Sheet:
    """The sheet. Raises RackFault if there is none."""
    found = find_sheets(conn, {sheet_id})
    if not found:
        raise RackFault(f"there is no sheet {sheet_id!r}", mend="look it up with `halfturn rack list --state any`")
    return found[sheet_id]


def find_plan(conn: Connection, plan_id: str) -> PlanOnRack | None:
    """The plan as the rack knows it; None if it was never accepted."""
    return _find_plans(conn, {plan_id}).get(plan_id)


def _find_plans(conn: Connection, ids: Collection[str]) -> dict[str, PlanOnRack]:
    if not ids:
        return {}
    return {row.id: plan_from(row) for row in conn.execute(sa.select(PLAN).where(PLAN.c.id.in_(sorted(ids))))}


def entries_of_plan(conn: Connection, plan_id: str) -> Iterator[Entry]:
    """All that was booked for the plan, oldest first."""
    return _entries(conn, ENTRY.c.plan == plan_id)


def entries_of_sheet(conn: Connection, sheet_id: str) -> Iterator[Entry]:
    """All that was booked on the sheet, oldest first."""
    return _entries(conn, ENTRY.c.sheet == sheet_id)


def last_of_kind(conn: Connection, kind: Kind) -> Iterator[Entry]:
    """All entries of this kind that are about no sheet, newest first."""
    where = sa.and_(ENTRY.c.kind == kind.value, ENTRY.c.sheet.is_(None))
    return map(_entry_from, conn.execute(sa.select(ENTRY).where(where).order_by(ENTRY.c.seq.desc())))


def next_number(conn: Connection) -> int:
    """The first of the numbers R1, R2, ... that no sheet has had yet, without the R."""
    return int(conn.execute(sa.select(sa.func.max(SHEET.c.number))).scalar() or 0) + 1


def recount(conn: Connection) -> tuple[str, ...]:
    """Read the whole ledger again and name every sheet and plan that does not stand where it should."""
    whole = conn.execute(sa.select(ENTRY).order_by(ENTRY.c.seq), execution_options={"yield_per": CHUNK})
    should, should_plans = fold(map(_entry_from, whole))
    sheets = {row.id: sheet_from(row) for row in conn.execute(sa.select(SHEET))}
    plans = {row.id: plan_from(row) for row in conn.execute(sa.select(PLAN))}
    wrong = {i for i in sheets.keys() | should.keys() if sheets.get(i) != should.get(i)}
    wrong |= {i for i in plans.keys() | should_plans.keys() if plans.get(i) != should_plans.get(i)}
    return tuple(sorted(wrong))


def _entries(conn: Connection, where: sa.ColumnElement[bool]) -> Iterator[Entry]:
    return map(_entry_from, conn.execute(sa.select(ENTRY).where(where).order_by(ENTRY.c.seq)))


# ── records and rows ─────────────────────────────────────────────────────────────────────────────────────────


def stamp(at: datetime) -> str:
    """UTC to the second, in an order that text keeps."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def from_stamp(text: str) -> datetime:
    """The moment that `stamp` wrote."""
    return datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)


def _entry_row(entry: Entry, seq: int) -> dict[str, Any]:
    return {
        "seq": seq,
        "at": stamp(entry.at),
        "who": entry.who,
        "why": entry.why,
        "kind": entry.kind.value,
        "sheet": entry.sheet,
        "plan": entry.plan,
        "body": json.dumps(entry.body, ensure_ascii=False, allow_nan=False),
    }


def _entry_from(row: Row[Any]) -> Entry:
    with _whole(f"entry {row.seq}"):
        body = json.loads(row.body)
        return Entry(Kind(row.kind), from_stamp(row.at), row.who, row.why, row.sheet, row.plan, body, row.seq)


def _sheet_row(sheet: Sheet, seq: int) -> dict[str, Any]:
    offcut = sheet.offcut
    short, long = sorted(size_mm(offcut.outline_mm))
    numbered = NUMBERED.fullmatch(offcut.id)
    return {
        "id": offcut.id,
        "number": int(numbered[1]) if numbered else None,
        "material": offcut.material,
        "colour": offcut.colour,
        "thickness_mm": offcut.thickness_mm,
        "place": offcut.place,
        "lot": offcut.lot,
        "state": sheet.state.value,
        "plan": sheet.plan,
        "parent": sheet.parent,
        "since": stamp(sheet.since),
        "long_mm": long,
        "short_mm": short,
        "area_mm2": area_mm2(offcut.outline_mm, offcut.holes_mm),
        "value_cents": int(offcut.book_value.scaleb(2)),
        "record": json.dumps(offcut_as_json(offcut), ensure_ascii=False, allow_nan=False),
        "seq": seq,
    }


def sheet_from(row: Row[Any]) -> Sheet:
    """The sheet of a row of `sheet`. Raises RackFault if the row is damaged."""
    with _whole(f"sheet {row.id}"):
        return Sheet(offcut_from(json.loads(row.record)), State(row.state), from_stamp(row.since), row.plan, row.parent)


@contextmanager
def _whole(what: str) -> Iterator[None]:
    try:
        yield
    except (ValueError, KeyError, TypeError, ArithmeticError):
        raise RackFault(
            f"the record of {what} is damaged", mend="fetch the last copy of the rack; keep this one for inspection"
        ) from None


def _plan_row(plan: PlanOnRack, seq: int) -> dict[str, Any]:
    return {
        "id": plan.id,
        "state": plan.state.value,
        "job": plan.job,
        "customer": plan.customer,
        "at": stamp(plan.at),
        "who": plan.who,
        "seq": seq,
    }


def plan_from(row: Row[Any]) -> PlanOnRack:
    """The plan of a row of `plan`. Raises RackFault if the row is damaged."""
    with _whole(f"plan {row.id}"):
        return PlanOnRack(row.id, PlanState(row.state), row.job, row.customer, from_stamp(row.at), row.who)
