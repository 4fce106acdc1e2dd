"""Do the lists for the office say what the plan says?

In: a plan folder, PlanRecord. Out: Check `lists`.
Method: each CSV list that is there is read back row by row; every figure must be that of `plan.json`, as far as it is
written out. Words are compared by their letters and digits, since lists shorten and quote them.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from pathlib import Path

import numpy as np
from shapely.geometry import Polygon

from nesting.audit import linework
from nesting.audit.checks import Check, Flaw, none_wrong
from nesting.audit.records import PieceRecord, PlanRecord, SheetRecord, TrimRecord

FILE_BYTES_MAX = 64_000_000
TAKEN = {True: "bought", False: "rack"}
HOW = {"machine": "on the machine", "saw": "saw", "snap": "score and snap"}

Cell = str | float | Decimal
Row = Mapping[str, Cell]


def list_checks(folder: Path, plan: PlanRecord) -> list[Check]:
    """The check of this module; a folder without any list has nothing to compare."""
    there = [name for name in LISTS if (folder / name).is_file()]
    flaws = (flaw for name in LISTS for flaw in _list_flaws(folder / name, plan) if there)
    return [none_wrong("lists", flaws, f"{len(there)} lists say what the plan says, row by row")]


def _list_flaws(path: Path, plan: PlanRecord) -> Iterator[Flaw]:
    try:
        if path.stat().st_size > FILE_BYTES_MAX:
            raise ValueError(f"it is over {FILE_BYTES_MAX // 1_000_000} MB")
        with path.open(encoding="utf-8-sig", newline="") as file:
            told = list(csv.DictReader(file))
    except (OSError, ValueError, csv.Error) as error:
        yield Flaw(path.name, f"cannot be read: {str(error)[:80]}")
        return
    rows = list(LISTS[path.name](plan))
    if len(told) != len(rows):
        yield Flaw(path.name, f"has {len(told)} rows, the plan gives {len(rows)}")
    for number, (cells, row) in enumerate(zip(told, rows, strict=False), 1):
        # A heading may bear its unit: "length (mm)".
        found = {str(head).partition(" (")[0]: cell or "" for head, cell in cells.items()}
        for head, value in row.items():
            if not _agrees(found.get(head, "missing"), value):
                text = f"`{head}` is `{found.get(head, 'missing')[:60]}`, the plan says `{_said(value)}`"
                yield Flaw(f"{path.name} > row {number}", text)


def _agrees(cell: str, value: Cell) -> bool:
    """Words alike, shortened ones at both ends; figures to the last digit that is written, halves either way."""
    if isinstance(value, str):
        told, meant = [_letters(part) for part in cell.split("…")], _letters(value)
        return told == [meant] if len(told) == 1 else meant.startswith(told[0]) and meant.endswith(told[-1])
    try:
        last = 10.0 ** -len(cell.partition(".")[2])
        return abs(float(cell) - float(value)) <= 0.6 * last
    except ValueError:
        return False


def _letters(text: str) -> str:
    return "".join(character for character in text if character.isalnum())


def _said(value: Cell) -> str:
    return value[:60] if isinstance(value, str) else f"{value:.2f}"


# ── what the lists should say ────────────────────────────────────────────────────────────────────────────────


def _cut_rows(plan: PlanRecord) -> Iterator[Row]:
    spots = {spot.piece: (sheet, spot) for sheet in plan.sheets for spot in sheet.placements}
    for number, piece in enumerate(plan.pieces, 1):
        row = _piece_row(number, piece)
        if piece.id in spots:
            sheet, spot = spots[piece.id]
            runs = sorted(run.order for run in sheet.passes if piece.id in (*run.whole, *run.part))
            row |= {"sheet": sheet.id, "blank": spot.blank, "pass": " + ".join(map(str, runs))}
            row |= {"turned": spot.turn_deg, "mirrored": "yes" if spot.mirrored else ""}
        yield row


def _piece_row(number: int, piece: PieceRecord) -> dict[str, Cell]:
    outer, *inner = (linework.trace(np.array(ring), True) for ring in (piece.outline, *piece.holes))
    width, height = np.ptp(outer.points, axis=0).tolist()
    area = Polygon(outer.points).area - math.fsum(Polygon(hole.points).area for hole in inner)
    return {
        "no.": float(number),
        "piece": piece.name,
        "copy": float(piece.copy_number),
        "part of": piece.segment_of or "",
        "material": piece.material,
        "colour": piece.colour,
        "thickness": piece.thickness_mm,
        "width": width,
        "height": height,
        "edge to cut": outer.length + math.fsum(hole.length for hole in inner),
        "area": area / 1e6,
    }


def _trim_rows(plan: PlanRecord) -> Iterator[Row]:
    for sheet in plan.sheets:
        yield from (_trim_row(sheet, trim) for trim in sheet.trims)


def _trim_row(sheet: SheetRecord, trim: TrimRecord) -> Row:
    (x0, y0), (x1, y1) = trim.from_mm, trim.to_mm
    return {
        "sheet": sheet.id,
        "order": float(trim.order),
        "how": HOW[trim.method],
        "measure": trim.measure,
        "from x": x0,
        "from y": y0,
        "to x": x1,
        "to y": y1,
        "length": math.dist(trim.from_mm, trim.to_mm),
        "uncut at start": trim.uncut_ends_mm[0],
        "uncut at end": trim.uncut_ends_mm[1],
        "drawing": trim.file or "",
    }


def _bill_rows(plan: PlanRecord) -> Iterator[Row]:
    for sheet in plan.sheets:
        area = Polygon(sheet.outline_mm, sheet.holes_mm)
        x0, y0, x1, y1 = area.bounds
        yield {
            "sheet": sheet.id,
            "taken from": TAKEN[sheet.source.offer is not None],
            "stock number or offer": sheet.source.offer or sheet.source.stock_id or "",
            "material": sheet.material,
            "colour": sheet.colour,
            "thickness": sheet.thickness_mm,
            "length": x1 - x0,
            "width": y1 - y0,
            "area": area.area / 1e6,
            "value": sheet.price,
            "credit for leftovers": sum((left.credit for left in sheet.leftovers if left.keep), Decimal(0)),
        }


LISTS: dict[str, Callable[[PlanRecord], Iterator[Row]]] = {
    "cut_list.csv": _cut_rows,
    "trim_cuts.csv": _trim_rows,
    "material_bill.csv": _bill_rows,
}
