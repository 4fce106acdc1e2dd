"""What a person asks the rack: which sheets, how old, worth what, held for whom; and the life of one sheet.

In: a connection from `database.reading`, and a wish. Out: sheets and sums, counted by the database itself, so that a
rack of a hundred thousand sheets answers like one of a hundred.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, Literal

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from inventory.books import (
    PLAN,
    SHEET,
    entries_of_sheet,
    find_sheet,
    from_stamp,
    plan_from,
    sheet_from,
    stamp,
)
from inventory.ledger import OPEN, Entry, PlanOnRack, Sheet, State
from nesting.model import Point

Order = Literal["age", "size", "value", "id"]


@dataclass(frozen=True, slots=True)
class Wish:
    """Which sheets to show; what is None or empty is not asked for. `fits_mm`: the bounding rectangle holds it."""

    state: State | None = State.ON_RACK
    material: str | None = None
    colour: str | None = None
    thickness_mm: float | None = None
    place: str | None = None
    lot: str | None = None
    fits_mm: Point | None = None
    reserved: bool | None = None
    plan: str | None = None
    before: datetime | None = None


@dataclass(frozen=True, slots=True)
class Listing:
    """The first sheets of those wished for, and the sums over all of them."""

    sheets: tuple[Sheet, ...]
    count: int
    area_mm2: float
    value: Decimal


def listing(conn: Connection, wish: Wish, *, order: Order = "age", limit: int | None = None) -> Listing:
    """Sheets that answer `wish`, the first `limit` of them in this order."""
    where = sa.and_(sa.true(), *_conditions(wish))
    sums = sa.select(sa.func.count(), sa.func.sum(SHEET.c.area_mm2), sa.func.sum(SHEET.c.value_cents))
    count, area, cents = conn.execute(sums.select_from(SHEET).where(where)).one()
    rows = conn.execute(sa.select(SHEET).where(where).order_by(*_ORDERS[order]).limit(limit))
    return Listing(tuple(map(sheet_from, rows)), count, float(area or 0), Decimal(int(cents or 0)).scaleb(-2))


def plans_of(conn: Connection, sheets: tuple[Sheet, ...]) -> Mapping[str, PlanOnRack]:
    """The plans that hold or have cut these sheets, by id: for whom a sheet is reserved."""
    ids = sorted({sheet.plan for sheet in sheets if sheet.plan})
    return {row.id: plan_from(row) for row in conn.execute(sa.select(PLAN).where(PLAN.c.id.in_(ids)))} if ids else {}


def plans_on_rack(conn: Connection, *, every: bool = False) -> tuple[tuple[PlanOnRack, tuple[str, ...]], ...]:
    """Plans with the sheets they hold, newest first; only those that may hold any, unless `every`."""
    where = sa.true() if every else PLAN.c.state.in_([state.value for state in OPEN])
    plans = [plan_from(row) for row in conn.execute(sa.select(PLAN).where(where).order_by(PLAN.c.seq.desc()))]
    held: dict[str, list[str]] = {}
    on_rack = SHEET.c.state == State.ON_RACK.value
    for row in conn.execute(sa.select(SHEET.c.id, SHEET.c.plan).where(SHEET.c.plan.is_not(None), on_rack)):
        held.setdefault(row.plan, []).append(row.id)
    return tuple((plan, tuple(sorted(held.get(plan.id, ())))) for plan in plans)


def plan_ids(conn: Connection, base: str) -> list[str]:
    """The runs of a plan: `base`, `base.2`, `base.3`, ... as far as they were accepted."""
    found = set(conn.scalars(sa.select(PLAN.c.id).where(PLAN.c.id.startswith(base, autoescape=True))))
    runs = [base] if base in found else []
    while f"{base}.{len(runs) + 1}" in found:
        runs.append(f"{base}.{len(runs) + 1}")
    return runs


@dataclass(frozen=True, slots=True)
class Life:
    """A sheet, all that was booked on it, and the lives of the offcuts that were cut from it."""

    sheet: Sheet
    entries: tuple[Entry, ...]
    offcuts: tuple[Life, ...]


def history(conn: Connection, sheet_id: str) -> Life:
    """The whole life of the sheet that this one came from: from purchase to the last offcut. Raises RackFault."""
    root = find_sheet(conn, sheet_id)
    while root.parent is not None:
        root = find_sheet(conn, root.parent)
    return _life(conn, root)


def _life(conn: Connection, sheet: Sheet) -> Life:
    children = sa.select(SHEET).where(SHEET.c.parent == sheet.offcut.id).order_by(SHEET.c.number, SHEET.c.id)
    offcuts = tuple(_life(conn, sheet_from(row)) for row in conn.execute(children).all())
    return Life(sheet, tuple(entries_of_sheet(conn, sheet.offcut.id)), offcuts)


@dataclass(frozen=True, slots=True)
class Worth:
    """What is on the rack of one stock key."""

    material: str
    colour: str
    thickness_mm: float
    count: int
    area_mm2: float
    value: Decimal
    oldest: datetime


def worth(conn: Connection) -> tuple[Worth, ...]:
    """Area, value and age of what is on the rack, by stock key."""
    key = (SHEET.c.material, SHEET.c.colour, SHEET.c.thickness_mm)
    sums = (
        sa.func.count(),
        sa.func.sum(SHEET.c.area_mm2),
        sa.func.sum(SHEET.c.value_cents),
        sa.func.min(SHEET.c.since),
    )
    query = sa.select(*key, *sums).where(SHEET.c.state == State.ON_RACK.value).group_by(*key).order_by(*key)
    return tuple(
        Worth(m, c, t, n, float(area), Decimal(int(cents)).scaleb(-2), from_stamp(oldest))
        for m, c, t, n, area, cents, oldest in conn.execute(query)
    )


_ORDERS: Mapping[Order, tuple[sa.ColumnElement[Any], ...]] = {
    "age": (SHEET.c.since, SHEET.c.id),
    "size": (SHEET.c.area_mm2, SHEET.c.id),
    "value": (SHEET.c.value_cents.desc(), SHEET.c.id),
    "id": (SHEET.c.id,),
}


def _conditions(wish: Wish) -> list[sa.ColumnElement[bool]]:
    found = [
        column == value
        for column, value in (
            (SHEET.c.state, wish.state and wish.state.value),
            (SHEET.c.material, wish.material),
            (SHEET.c.colour, wish.colour),
            (SHEET.c.thickness_mm, wish.thickness_mm),
            (SHEET.c.place, wish.place),
            (SHEET.c.lot, wish.lot),
            (SHEET.c.plan, wish.plan),
        )
        if value is not None
    ]
    if wish.reserved is not None:
        found.append(SHEET.c.plan.is_not(None) if wish.reserved else SHEET.c.plan.is_(None))
    if wish.before is not None:
        found.append(SHEET.c.since < stamp(wish.before))
    if wish.fits_mm is not None:
        short, long = sorted(wish.fits_mm)
        found += [SHEET.c.short_mm >= short, SHEET.c.long_mm >= long]
    return found
