"""The tables of a plan as plain rows, rounded and worded once: for the office's files and for the work pack.

In: a Plan and the Workshop. Out: `Table`s whose cells are text, whole numbers, floats or Decimal (money).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from cli.documents import states, words
from nesting import curves
from nesting.costing import masses_kg, money
from nesting.model import Piece, Plan, PlannedSheet, Workshop

Cell = str | int | float | Decimal


@dataclass(frozen=True, slots=True)
class Column:
    """A heading with its unit; `decimals` for numbers, `total` if the column is to be summed. In print, cells of more
    than `wrap` characters go on in a second line."""

    head: str
    unit: str = ""
    decimals: int = 0
    total: bool = False
    wrap: int = 1000

    @property
    def title(self) -> str:
        return f"{self.head} ({self.unit})" if self.unit else self.head


def text(cell: Cell, column: Column) -> str:
    """A cell as it is printed."""
    if isinstance(cell, str):
        return cell
    return f"{cell:.{column.decimals}f}"


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of cells under columns; `name` is the file's stem and the sheet's tab."""

    name: str
    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]

    def totals(self) -> tuple[Cell, ...] | None:
        """The last line: sums of the columns that have one; None if none has."""
        if not any(column.total for column in self.columns):
            return None
        sums = [self._sum(i) if column.total else "" for i, column in enumerate(self.columns)]
        return ("total", *sums[1:])

    def is_number(self, column: int) -> bool:
        """Whether a column holds figures only, and is set to the right."""
        return bool(self.rows) and not any(isinstance(row[column], str) and row[column] for row in self.rows)

    @property
    def characters(self) -> int:
        """Across the widest cell of every column."""
        lines = [tuple(column.head for column in self.columns), *self.printed()]
        wraps = [column.wrap for column in self.columns]
        return sum(min(wrap, max(map(len, cells))) for wrap, cells in zip(wraps, zip(*lines, strict=True), strict=True))

    def printed(self) -> list[tuple[str, ...]]:
        return [self._line(row) for row in self.rows]

    def printed_totals(self) -> tuple[str, ...]:
        return self._line(self.totals() or ())

    def _line(self, row: tuple[Cell, ...]) -> tuple[str, ...]:
        return tuple(text(cell, column) for cell, column in zip(row, self.columns, strict=True))

    def _sum(self, column: int) -> Cell:
        values = [row[column] for row in self.rows]
        if all(isinstance(value, Decimal) for value in values):
            return sum((value for value in values if isinstance(value, Decimal)), Decimal(0))
        return math.fsum(float(value) for value in values if value != "")


def rounded(name: str, title: str, columns: Iterable[Column], rows: Iterable[Iterable[Cell]]) -> Table:
    """A table whose figures are rounded once, to their column's decimals, so that sums agree wherever they are made."""
    heads = tuple(columns)
    cells = (tuple(_rounded(cell, head) for cell, head in zip(row, heads, strict=True)) for row in rows)
    return Table(name, title, heads, tuple(cells))


def _rounded(cell: Cell, column: Column) -> Cell:
    # A zero is added so that a small negative figure does not print as -0.0.
    return round(cell, column.decimals) + 0.0 if isinstance(cell, float) else cell


def numbers(plan: Plan) -> dict[str, int]:
    """Piece id to the short number it bears in every picture and table, 1 up, in the plan's order."""
    return {piece.id: i for i, piece in enumerate(plan.pieces, start=1)}


def cut_list(plan: Plan) -> Table:
    """Every piece: what it is, where it lies, in which passes it is cut."""
    columns = (
        Column("no."),
        Column("piece"),
        Column("copy"),
        Column("part of"),
        Column("material"),
        Column("colour"),
        Column("thickness", "mm", 1),
        Column("width", "mm", 1),
        Column("height", "mm", 1),
        Column("edge to cut", "mm", 0, total=True),
        Column("area", "m²", 4, total=True),
        Column("sheet"),
        Column("blank"),
        Column("pass"),
        Column("turned", "°", 1),
        Column("mirrored"),
    )
    tags = numbers(plan)
    where = {at.piece: (sheet, at) for sheet in plan.sheets for at in sheet.placements}
    rows = []
    for piece in plan.pieces:
        place: tuple[Cell, ...] = ("", "", "", "", "")
        if piece.id in where:
            sheet, at = where[piece.id]
            runs = " + ".join(str(run.order) for run in states.passes_of(sheet, piece.id))
            place = (words.plain(sheet.id), words.plain(at.blank), runs, at.turn_deg, "yes" if at.mirrored else "")
        rows.append((tags[piece.id], *_piece_cells(piece), *place))
    return rounded("cut_list", "Cut list", columns, tuple(rows))


def by_sheet(plan: Plan) -> Table:
    """The cut list the other way round: every sheet, and which pieces lie where on it."""
    columns = (
        Column("sheet"),
        Column("taken from"),
        Column("blank"),
        Column("pass"),
        Column("no."),
        Column("piece"),
        Column("copy"),
        Column("x", "mm", 1),
        Column("y", "mm", 1),
        Column("turned", "°", 1),
        Column("mirrored"),
    )
    tags = numbers(plan)
    table: list[tuple[Cell, ...]] = []
    for sheet in plan.sheets:
        for at in sorted(sheet.placements, key=lambda at: tags[at.piece]):
            piece = plan.piece(at.piece)
            runs = " + ".join(str(run.order) for run in states.passes_of(sheet, at.piece))
            where = (words.plain(sheet.id), words.source(sheet), words.plain(at.blank), runs)
            turned = (at.x_mm, at.y_mm, at.turn_deg, "yes" if at.mirrored else "")
            table.append((*where, tags[at.piece], words.plain(piece.name), piece.copy, *turned))
    return rounded("by_sheet", "Pieces by sheet", columns, table)


def _piece_cells(piece: Piece) -> tuple[Cell, ...]:
    x0, y0, x1, y1 = curves.bounds([piece.outline])
    edge = math.fsum(curves.length(ring, closed=True) for ring in (piece.outline, *piece.holes))
    of = words.plain(piece.segment_of or "")
    stock = (words.plain(piece.material), words.plain(piece.colour), piece.thickness_mm)
    return (words.plain(piece.name), piece.copy, of, *stock, x1 - x0, y1 - y0, edge, curves.area(piece) / 1e6)


def trim_cuts(plan: Plan) -> Table:
    """Every straight cut that frees a blank, in order."""
    columns = (
        Column("sheet"),
        Column("order"),
        Column("how"),
        Column("measure"),
        Column("from x", "mm", 1),
        Column("from y", "mm", 1),
        Column("to x", "mm", 1),
        Column("to y", "mm", 1),
        Column("length", "mm", 1, total=True),
        Column("uncut at start", "mm", 1),
        Column("uncut at end", "mm", 1),
        Column("drawing"),
    )
    rows = tuple(
        (
            words.plain(sheet.id),
            trim.order,
            TRIM_METHODS[trim.method],
            words.plain(trim.measure, 200),
            *trim.from_mm,
            *trim.to_mm,
            math.dist(trim.from_mm, trim.to_mm),
            *trim.uncut_ends_mm,
            trim.file or "",
        )
        for sheet in plan.sheets
        for trim in sheet.trims
    )
    return rounded("trim_cuts", "Trim cuts", columns, rows)


TRIM_METHODS = {"machine": "on the machine", "saw": "saw", "snap": "score and snap"}


def material_bill(plan: Plan, workshop: Workshop) -> Table:
    """Every sheet used: bought or from the rack, its size, mass and value, and the credit for what goes back."""
    columns = (
        Column("sheet"),
        Column("taken from"),
        Column("stock number or offer"),
        Column("supplier"),
        Column("place"),
        Column("material"),
        Column("colour"),
        Column("thickness", "mm", 1),
        Column("length", "mm", 1),
        Column("width", "mm", 1),
        Column("area", "m²", 4, total=True),
        Column("mass", "kg", 2, total=True),
        Column("value", plan.cost.currency, 2, total=True),
        Column("credit for leftovers", plan.cost.currency, 2, total=True),
        Column("order cut to"),
        Column("lot"),
        Column("next best costs more by", plan.cost.currency, 2),
        Column("why this sheet"),
    )
    return rounded(
        "material_bill", "Material bill", columns, tuple(_bill_row(plan, workshop, sheet) for sheet in plan.sheets)
    )


def _bill_row(plan: Plan, workshop: Workshop, sheet: PlannedSheet) -> tuple[Cell, ...]:
    bought = sheet.source.offer is not None
    supplier = next((o.supplier for o in workshop.offer if o.id == sheet.source.offer), "")
    x0, y0, x1, y1 = states.sheet_shape(sheet).bounds
    credit = sum((left.credit for left in sheet.leftovers if left.keep), Decimal(0))
    return (
        words.plain(sheet.id),
        "bought" if bought else "rack",
        words.plain(sheet.source.offer or sheet.source.stock_id or ""),
        words.plain(supplier),
        words.plain(sheet.place),
        words.plain(sheet.material),
        words.plain(sheet.colour),
        sheet.thickness_mm,
        x1 - x0,
        y1 - y0,
        states.sheet_shape(sheet).area / 1e6,
        mass_kg(workshop, sheet) or "",
        money(sheet.price),
        money(credit),
        words.size(*sheet.source.cut_mm) if sheet.source.cut_mm else "",
        _lot(plan, sheet),
        money(sheet.next_best.extra) if sheet.next_best else "none found",
        words.plain(sheet.why, 300),
    )


def _lot(plan: Plan, sheet: PlannedSheet) -> str:
    """An offcut's lot; of a bought sheet, whether all of its order must be of one."""
    if sheet.source.offer is None:
        return words.plain(sheet.lot) or "unknown"
    return "all of one lot" if any(plan.piece(spot.piece).one_lot for spot in sheet.placements) else ""


def mass_kg(workshop: Workshop, sheet: PlannedSheet) -> float | None:
    """Mass as the sheet comes; None if the workshop file has no density for the material."""
    return masses_kg([sheet], {material.name: material.density_kg_m3 for material in workshop.material}).get(sheet.id)


def cost_lines(plan: Plan) -> Table:
    """What the plan costs, term by term."""
    columns = (
        Column("what"),
        Column("quantity", "", 1),
        Column("unit"),
        Column("amount", plan.cost.currency, 2, total=True),
    )
    rows = tuple(
        (words.plain(line.what), line.quantity, words.plain(line.unit), money(line.amount)) for line in plan.cost.lines
    )
    return rounded("cost", "Cost", columns, rows)
