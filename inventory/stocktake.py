"""Stocktake: what should be at a place against what was seen there; differences are booked as such.

In: the numbers seen, and the rack. Out: the differences; entries that say what was counted, moved, missing.
A number that nobody knows, or of a sheet that was cut or scrapped, is told and not booked: a person must look.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.engine import Connection

from inventory.books import book, find_sheets
from inventory.ledger import Entry, Kind, State
from inventory.views import Wish, listing


@dataclass(frozen=True, slots=True)
class Differences:
    """Sheet numbers by what was found out; those as recorded are in `right`."""

    right: tuple[str, ...]
    missing: tuple[str, ...]
    found_again: tuple[str, ...]
    elsewhere: tuple[str, ...]
    gone: tuple[str, ...]
    unknown: tuple[str, ...]


def compare(conn: Connection, seen: Collection[str], place: str | None = None) -> Differences:
    """What differs at `place`, or on the whole rack where no place is given."""
    here = {sheet.offcut.id for sheet in listing(conn, Wish(place=place), order="id").sheets}
    known = find_sheets(conn, {*seen})
    there = {i: known[i] for i in sorted({*seen}) if i in known}
    on_rack = {i for i, sheet in there.items() if sheet.state is State.ON_RACK}
    back = {i for i, sheet in there.items() if sheet.state is State.MISSING}
    return Differences(
        right=tuple(i for i in there if i in here),
        missing=tuple(sorted(here - {*seen})),
        found_again=tuple(i for i in there if i in back),
        elsewhere=tuple(i for i in there if i in on_rack - here),
        gone=tuple(i for i in there if i not in on_rack | back),
        unknown=tuple(sorted({*seen} - there.keys())),
    )


def count(
    conn: Connection, seen: Collection[str], place: str | None = None, *, at: datetime, who: str, why: str = "stocktake"
) -> Differences:
    """Book what was seen at `place` and what was not; a sheet recorded elsewhere is moved here. Raises RackFault."""
    found = compare(conn, seen, place)
    seen_here = (*found.right, *found.found_again, *found.elsewhere)
    entries = [Entry(Kind.COUNTED, at, who, why, sheet, body={"found": True}) for sheet in seen_here]
    entries += [Entry(Kind.COUNTED, at, who, why, sheet, body={"found": False}) for sheet in found.missing]
    if place is not None:
        moved = (*found.found_again, *found.elsewhere)
        entries += [Entry(Kind.MOVED, at, who, why, sheet, body={"place": place}) for sheet in moved]
    book(conn, entries)
    return found
