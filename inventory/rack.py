"""The rack's daily bread: what is there, put a sheet in, take note of what happens to it.

In: a connection from `database.writing` (or `database.reading` for questions), and who says so, when and why.
Out: sheets; entries in the ledger.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from inventory.books import SHEET, book, find_sheet, next_number, sheet_from
from inventory.ledger import Entry, Kind, State, offcut_as_json
from nesting.faults import RackFault
from nesting.model import Offcut, Point, StockKey

CORRECTABLE = frozenset({"material", "colour", "thickness_mm", "lot", "faces", "grain_deg", "book_value", "square"})


def on_hand(conn: Connection, stock: Collection[StockKey] | None = None) -> tuple[Offcut, ...]:
    """All sheets that a plan may use, oldest first: on the rack and not reserved; of these stock keys if given."""
    query = sa.select(SHEET).where(SHEET.c.state == State.ON_RACK.value, SHEET.c.plan.is_(None))
    if stock is not None:
        wanted = [(key.material, key.colour, key.thickness_mm) for key in stock]
        query = query.where(sa.tuple_(SHEET.c.material, SHEET.c.colour, SHEET.c.thickness_mm).in_(wanted))
    return tuple(sheet_from(row).offcut for row in conn.execute(query.order_by(SHEET.c.since, SHEET.c.id)))


def receive(conn: Connection, offcut: Offcut, *, at: datetime, who: str, why: str = "") -> Offcut:
    """Put a sheet on the rack, as it is returned; without an id it gets the next number. Raises RackFault."""
    return receive_all(conn, [offcut], at=at, who=who, why=why)[0]


def receive_all(
    conn: Connection, offcuts: Sequence[Offcut], *, at: datetime, who: str, why: str = ""
) -> tuple[Offcut, ...]:
    """Put sheets on the rack, all or none. Raises RackFault."""
    from inventory.checking import checked  # brings shapely, which a list of the rack need not wait for

    number = next_number(conn)
    numbered = []
    for offcut in offcuts:
        numbered.append(offcut if offcut.id else replace(offcut, id=f"R{number}"))
        number += not offcut.id
    sheets = tuple(checked(offcut) for offcut in numbered)
    book(conn, [Entry(Kind.RECEIVED, at, who, why, s.id, body={"sheet": offcut_as_json(s)}) for s in sheets])
    return sheets


def move(conn: Connection, sheet: str, place: str, *, at: datetime, who: str, why: str = "") -> None:
    """The sheet is at another place now. Raises RackFault."""
    from inventory.checking import checked_text

    book(conn, [Entry(Kind.MOVED, at, who, why, sheet, body={"place": checked_text(place, "place")})])


def scrap(conn: Connection, sheet: str, *, at: datetime, who: str, why: str) -> None:
    """The sheet is no good any more, or is gone for good. Raises RackFault."""
    book(conn, [Entry(Kind.SCRAPPED, at, who, why, sheet)])


def report_missing(conn: Connection, sheet: str, *, at: datetime, who: str, why: str = "") -> None:
    """The sheet is not where it should be: no plan may count on it. Raises RackFault."""
    book(conn, [Entry(Kind.COUNTED, at, who, why, sheet, body={"found": False})])


def measure(
    conn: Connection,
    sheet: str,
    outline_mm: tuple[Point, ...],
    holes_mm: tuple[tuple[Point, ...], ...] = (),
    *,
    at: datetime,
    who: str,
    why: str = "",
) -> Offcut:
    """The sheet's shape is another than recorded; which edges are true is not known any more. Raises RackFault."""
    from inventory.checking import checked

    shaped = checked(replace(find_sheet(conn, sheet).offcut, outline_mm=outline_mm, holes_mm=holes_mm, true_edges=()))
    body = {"outline_mm": shaped.outline_mm, "holes_mm": shaped.holes_mm, "true_edges": shaped.true_edges}
    book(conn, [Entry(Kind.MEASURED, at, who, why, sheet, body=body)])
    return shaped


def correct(
    conn: Connection, sheet: str, changes: Mapping[str, object], *, at: datetime, who: str, why: str, back: bool = False
) -> Offcut:
    """The record was wrong: `changes` are fields of Offcut as they really are; `back` undoes a scrapping or a loss.

    Shape, place and number have commands of their own. Raises RackFault.
    """
    from inventory.checking import checked

    if not changes.keys() <= CORRECTABLE:
        raise RackFault(f"{min(changes.keys() - CORRECTABLE)} cannot be corrected", mend=", ".join(sorted(CORRECTABLE)))
    offcut = checked(replace(find_sheet(conn, sheet).offcut, **changes))  # type: ignore[arg-type]
    values = offcut_as_json(offcut)
    body = {name: values[name] for name in changes} | ({"on_rack": True} if back else {})
    book(conn, [Entry(Kind.CORRECTED, at, who, why, sheet, body=body)])
    return offcut
