"""Copies: which copy of each piece lies where on which sheet, once the columns are chosen.

In: chosen columns, kinds. Out: PlannedSheets with final names. Columns may hold more of a kind than is wanted; what is
over is left out and the sheet finished anew. A sheet that holds nothing stays only where the order must be so large.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

from nesting.assigning.columns import Column, Kind, Shop, finish_sheet
from nesting.assigning.orders import unused_sheet
from nesting.model import Piece, Placement, PlannedSheet, Rect


def with_copies(columns: Sequence[Column], kinds: Sequence[Kind], shop: Shop, first: int) -> list[PlannedSheet]:
    """Sheets S01, S02, ... numbered from `first`: offcuts before bought sheets, larger prices first."""
    waiting = {kind.sample.id: [piece.id for piece in kind.pieces] for kind in kinds}
    sample = {piece.id: kind.sample.id for kind in kinds for piece in kind.pieces}
    pieces = {piece.id: piece for kind in kinds for piece in kind.pieces}
    ordered = sorted(columns, key=lambda c: (not c.candidate.once, -c.cents, c.candidate.id))
    ordering = Counter(column.candidate.id for column in columns)
    sheets: list[PlannedSheet] = []
    for column in ordered:
        spots = _spots_taken(column.sheet.placements, waiting, sample)
        name = f"S{first + len(sheets):02d}"
        if spots:
            sheets.append(_finished(column, spots, pieces, shop, name))
        elif 1 < column.candidate.least >= ordering[column.candidate.id]:
            sheets.append(unused_sheet(column.candidate, name, shop))
        else:
            ordering[column.candidate.id] -= 1
    return sheets


def _spots_taken(
    spots: Sequence[Placement], waiting: Mapping[str, list[str]], sample: Mapping[str, str]
) -> list[Placement]:
    taken = []
    for spot in spots:
        copies = waiting[sample[spot.piece]]
        if copies:
            taken.append(replace(spot, piece=copies.pop(0)))
    return taken


def _finished(
    column: Column, spots: Sequence[Placement], pieces: Mapping[str, Piece], shop: Shop, name: str
) -> PlannedSheet:
    used = {spot.blank for spot in spots}
    blanks = [blank for blank in column.sheet.blanks if blank.id in used]
    emptied = [blank.rect_mm for blank in column.sheet.blanks if blank.id not in used]
    spare: list[Rect] = [*column.spare, *emptied]
    return finish_sheet(column.candidate, name, column.sheet.trims, blanks, spots, spare, pieces, shop)
