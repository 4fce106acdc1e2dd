"""Stock as a table, in and out: CSV or XLSX, one row a sheet, the unit in the column's name (`_mm` or `_in`).

In: a file as any office program writes it. Out: a fate for every row, and the sheets on the rack if all rows are good.
Method: pandas reads everything as text, each cell is read by its column's rule, each sheet passes `checking.checked`.
On the way out a cell that a spreadsheet would run as a formula is defused by an apostrophe, which is taken off again
on the way in.
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import zipfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any, Literal

import pandas as pd
from sqlalchemy.engine import Connection

from inventory.books import book, find_sheets, last_of_kind
from inventory.checking import checked
from inventory.formulas import defused, undefused
from inventory.ledger import Entry, Kind, Sheet
from inventory.measures import area_mm2, size_mm
from inventory.rack import receive_all
from inventory.shapes import corner_list, rectangle
from nesting.faults import Fault, RackFault, within
from nesting.model import Offcut, Point

TEXTS = ("id", "material", "colour", "place", "lot", "faces")
LENGTHS = ("thickness", "length", "width", "corners", "holes")
OTHERS = ("book_value", "grain_deg", "true_edges", "square")
YES, NO = "yes", "no"
TOLD = ("state", "reserved_for", "parent", "since", "area_m2")
"""Columns of an export that say how things stand; an import leaves them alone."""
MM = {"mm": 1.0, "in": 25.4}
Unit = Literal["mm", "in"]

MOST_BYTES = 60_000_000


@dataclass(frozen=True, slots=True)
class Fate:
    """What becomes of a row (numbered as in the file, the heading is row 1); `column` and `text` say why not."""

    row: int
    sheet: str
    verdict: Literal["new", "known", "refused"]
    column: str = ""
    text: str = ""


@dataclass(frozen=True, slots=True)
class Reading:
    """A table read against the rack: the fate of every row, and the sheets that are new."""

    fates: tuple[Fate, ...]
    sheets: tuple[Offcut, ...]
    digest: str

    @property
    def refused(self) -> int:
        return sum(fate.verdict == "refused" for fate in self.fates)


# ── in ───────────────────────────────────────────────────────────────────────────────────────────────────────


def import_sheets(conn: Connection, path: Path, *, at: datetime, who: str, unit: Unit = "mm") -> Reading:
    """Put all sheets of the table on the rack, or none if a row is refused; a second time it does nothing.

    Raises RackFault if the file cannot be read or any row is refused.
    """
    reading = examine(conn, path, unit=unit)
    if reading.refused:
        bad = next(fate for fate in reading.fates if fate.verdict == "refused")
        raise RackFault(
            f"{reading.refused} of {len(reading.fates)} rows cannot be read: {bad.text}",
            mend="see every row's fate with `halfturn rack import --dry-run`, mend the rows, import again",
            where=(path.name, f"row {bad.row}", bad.column),
        )
    if reading.sheets:
        body = {"file": path.name, "digest": reading.digest, "sheets": len(reading.sheets)}
        book(conn, [Entry(Kind.IMPORTED, at, who, f"imported from {path.name}", body=body)])
        receive_all(conn, reading.sheets, at=at, who=who, why=f"imported from {path.name}")
    return reading


def examine(conn: Connection, path: Path, *, unit: Unit = "mm") -> Reading:
    """The dry run: what would become of every row. Raises RackFault if the file is no table of stock."""
    data = _bytes(path)
    digest = hashlib.sha256(data).hexdigest()
    columns, rows = _cells(path, data)
    _check_columns(path, columns)
    if any(entry.body["digest"] == digest for entry in last_of_kind(conn, Kind.IMPORTED)):
        told = "this very file was imported before"
        return Reading(tuple(Fate(n, row.get("id", ""), "known", text=told) for n, row in rows), (), digest)
    known = find_sheets(conn, {row["id"] for _, row in rows if row.get("id")})
    seen: set[str] = set()
    fates, sheets = [], []
    for number, row in rows:
        fate, sheet = _fate(number, row, unit, known, seen)
        fates.append(fate)
        if sheet is not None:
            sheets.append(sheet)
    return Reading(tuple(fates), tuple(sheets), digest)


def _fate(
    number: int, row: Mapping[str, str], unit: Unit, known: Mapping[str, Sheet], seen: set[str]
) -> tuple[Fate, Offcut | None]:
    name = row.get("id", "")
    try:
        # A sheet without a number is checked under a stand-in; the rack gives it its number when it is booked.
        sheet = checked(_sheet(row, unit, name or "new"))
    except Fault as fault:
        column = fault.where[0] if fault.where else ""
        return Fate(number, name, "refused", column, f"{fault.what}; {fault.mend}" if fault.mend else fault.what), None
    if name in seen:
        return Fate(number, name, "refused", "id", f"the number {name} stands in an earlier row too"), None
    if not name:
        return Fate(number, "", "new"), replace(sheet, id="")
    seen.add(name)
    if name not in known:
        return Fate(number, name, "new"), sheet
    if known[name].offcut == sheet:
        return Fate(number, name, "known", text="on record, and the same"), None
    told = "the number is taken by a sheet that differs; give this one another"
    return Fate(number, name, "refused", "id", told), None


def _bytes(path: Path) -> bytes:
    if path.exists() and not path.is_file():
        raise RackFault("this is no table, but a folder or a device", mend="name the file itself", where=(str(path),))
    try:
        if path.stat().st_size > MOST_BYTES:
            raise RackFault("the table is too large", mend="split it", where=(path.name,))
        return path.read_bytes()
    except OSError as error:
        raise RackFault(
            f"the table cannot be read: {error.strerror}", mend="check its name and folder", where=(str(path),)
        ) from None


def _cells(path: Path, data: bytes) -> tuple[list[str], list[tuple[int, dict[str, str]]]]:
    """Headings, and the rows that hold anything with their numbers in the file; every cell is trimmed text."""
    try:
        frame = _read_xlsx(data) if path.suffix.lower() == ".xlsx" else _read_csv(data)
    except (ValueError, KeyError, OSError, zipfile.BadZipFile, pd.errors.ParserError, csv.Error) as error:
        first = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise RackFault(
            f"this is no table that can be read: {first}", mend="save it as CSV (UTF-8) or XLSX", where=(path.name,)
        ) from None
    lines = [[undefused(str(cell).strip()) for cell in line] for line in frame.fillna("").to_numpy()]
    used = [n for n in range(frame.shape[1]) if any(line[n] for line in lines)]  # office programs add empty columns
    lines = [[line[n] for n in used] for line in lines]
    columns = [cell.lower().replace(" ", "_") for cell in lines[0]] if lines else []
    rows = (dict(zip(columns, line, strict=True)) for line in lines[1:])
    return columns, [(number, row) for number, row in enumerate(rows, 2) if any(row.values())]


def _read_csv(data: bytes) -> pd.DataFrame:
    text = _text(data)
    heading = text.partition("\n")[0]
    separator = max(",;\t", key=heading.count)
    return pd.read_csv(
        io.StringIO(text), sep=separator, header=None, dtype=str, keep_default_na=False, skip_blank_lines=False
    )


def _text(data: bytes) -> str:
    """UTF-8, with its mark or without; UTF-16 by its mark; else what an office program on an older desktop writes."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _read_xlsx(data: bytes) -> pd.DataFrame:
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        if sum(part.file_size for part in packed.infolist()) > MOST_BYTES:
            raise ValueError("it unpacks to more than a table of stock can be")
    return pd.read_excel(io.BytesIO(data), header=None, dtype=str, keep_default_na=False, engine="openpyxl")


def _check_columns(path: Path, columns: Sequence[str]) -> None:
    lengths = {f"{name}{unit}" for name in LENGTHS for unit in ("", "_mm", "_in")}
    unknown = [c for c in columns if c not in {*TEXTS, *OTHERS, *TOLD, *lengths}]
    if unknown:
        raise RackFault(
            f"a column {unknown[0]!r} is not known",
            mend="columns are " + ", ".join((*TEXTS, *(f"{name}_mm" for name in LENGTHS), *OTHERS)),
            where=(path.name,),
        )
    repeated = next((c for c in columns if columns.count(c) > 1), None)
    if repeated is not None:
        raise RackFault(f"the column {repeated!r} stands twice", mend="keep one of them", where=(path.name,))
    twice = next((name for name in LENGTHS if sum(c in lengths and c.startswith(name) for c in columns) > 1), None)
    if twice:
        raise RackFault(f"the table gives the {twice} twice", mend="keep one of the columns", where=(path.name,))
    missing = [name for name in ("material", "colour", "thickness") if not _column(columns, name)]
    if missing or not (_column(columns, "corners") or (_column(columns, "length") and _column(columns, "width"))):
        lacking = missing[0] if missing else "length and width, or corners"
        raise RackFault(f"the table lacks {lacking}", mend="add the column", where=(path.name,))


def _column(columns: Iterable[str], name: str) -> str | None:
    return next((c for c in columns if c in (name, f"{name}_mm", f"{name}_in")), None)


def _sheet(row: Mapping[str, str], unit: Unit, sheet_id: str) -> Offcut:
    def length(name: str, read: Callable[[str, float], Any]) -> Any:
        column = _column(row, name) or name
        return _read(row, column, lambda text: read(text, MM.get(column[-2:], MM[unit])))

    corners = length("corners", corner_list)
    if not corners:
        x, y = length("length", _length), length("width", _length)
        if not x or not y:
            raise RackFault("the sheet has no size", mend="give length and width, or corners", where=("length",))
        corners = rectangle(x, y)
    return Offcut(
        id=sheet_id,
        material=row["material"],
        colour=row["colour"],
        thickness_mm=length("thickness", _length) or 0.0,
        outline_mm=corners,
        holes_mm=length("holes", _holes),
        book_value=_read(row, "book_value", lambda text: Decimal(_plain(text) or 0)),
        place=row.get("place", ""),
        lot=row.get("lot", ""),
        faces=row.get("faces", ""),
        grain_deg=_read(row, "grain_deg", lambda text: float(_plain(text)) if text else None),
        true_edges=_read(row, "true_edges", lambda text: tuple(map(int, text.split()))),
        square=_read(row, "square", _said),
    )


def _read(row: Mapping[str, str], column: str, read: Callable[[str], Any]) -> Any:
    text = row.get(column, "")
    with within(column):
        try:
            return read(text)
        except (ValueError, InvalidOperation):
            raise RackFault(f"{text[:40]!r} cannot be read", mend="give a number") from None


def _plain(number: str) -> str:
    """A decimal comma is a decimal point; a thousands mark is none of our guesses."""
    return number.replace(",", ".") if number.count(",") == 1 and "." not in number else number


def _said(text: str) -> bool:
    if text not in (YES, NO, ""):
        raise RackFault(f"{text[:40]!r} cannot be read", mend=f"give {YES} or {NO}")
    return text == YES


def _length(text: str, mm: float) -> float | None:
    return float(_plain(text)) * mm if text else None


def _holes(text: str, mm: float) -> tuple[tuple[Point, ...], ...]:
    """Corners of each hole, a semicolon between holes."""
    return tuple(corner_list(hole, mm) for hole in text.split(";") if hole.strip())


# ── out ──────────────────────────────────────────────────────────────────────────────────────────────────────


def export_sheets(sheets: Sequence[Sheet], path: Path, *, unit: Unit = "mm") -> None:
    """Write sheets as CSV or XLSX, by the name's ending; an import of the file gives the same sheets.

    Raises RackFault if the file cannot be written.
    """
    frame = pd.DataFrame([_row(sheet, unit) for sheet in sheets], columns=_headings(unit))
    frame = frame.map(lambda cell: defused(cell) if isinstance(cell, str) else cell)
    try:
        if path.suffix.lower() == ".xlsx":
            options = {"options": {"strings_to_formulas": False, "strings_to_urls": False}}
            with pd.ExcelWriter(path, engine="xlsxwriter", engine_kwargs=options) as writer:
                frame.to_excel(writer, sheet_name="rack", index=False, freeze_panes=(1, 0))
        else:
            frame.to_csv(path, index=False, lineterminator="\r\n", encoding="utf-8-sig")
    except OSError as error:
        raise RackFault(
            f"the table cannot be written: {error.strerror}", mend="check folder and room", where=(str(path),)
        ) from None


def _headings(unit: Unit) -> list[str]:
    return [*TEXTS[:3], *(f"{name}_{unit}" for name in LENGTHS), *OTHERS, *TEXTS[3:], *TOLD]


def _row(sheet: Sheet, unit: Unit) -> dict[str, Any]:
    offcut = sheet.offcut
    width, height = size_mm(offcut.outline_mm)
    lengths = {"thickness": offcut.thickness_mm, "length": width, "width": height}
    return (
        {name: getattr(offcut, name) for name in TEXTS}
        | {f"{name}_{unit}": round(mm / MM[unit], 6) for name, mm in lengths.items()}
        | {
            f"corners_{unit}": _corner_text(offcut.outline_mm, MM[unit]),
            f"holes_{unit}": "; ".join(_corner_text(hole, MM[unit]) for hole in offcut.holes_mm),
            "book_value": str(offcut.book_value),
            "grain_deg": "" if offcut.grain_deg is None else offcut.grain_deg,
            "true_edges": " ".join(map(str, offcut.true_edges)),
            "square": YES if offcut.square else NO,
            "state": sheet.state.value,
            "reserved_for": sheet.plan or "",
            "parent": sheet.parent or "",
            "since": f"{sheet.since:%Y-%m-%d}",
            "area_m2": round(area_mm2(offcut.outline_mm, offcut.holes_mm) / 1e6, 6),
        }
    )


def _corner_text(corners: Iterable[Point], mm: float) -> str:
    return " ".join(f"{round(x / mm, 6):.10g},{round(y / mm, 6):.10g}" for x, y in corners)
