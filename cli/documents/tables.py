"""The plan's tables for the office: one CSV each, and one workbook with all of them and totals as formulas.

In: `Table`s. Out: files. A cell that a spreadsheet would take for a formula is defused in both.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import xlsxwriter
from xlsxwriter.utility import xl_rowcol_to_cell

from cli.documents.rows import Cell, Column, Table
from inventory.formulas import defused

CREATED = datetime(2000, 1, 1)
"""A fixed date, so that the same plan gives the same bytes."""


def write_csv(table: Table, path: Path) -> None:
    """UTF-8 with a byte order mark, as spreadsheets expect it; point as decimal sign."""
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        out = csv.writer(file)
        out.writerow(defused(column.title) for column in table.columns)
        for row in table.rows:
            out.writerow(_csv_cell(cell, column) for cell, column in zip(row, table.columns, strict=True))


def _csv_cell(cell: Cell, column: Column) -> str:
    return defused(cell) if isinstance(cell, str) else f"{cell:.{column.decimals}f}"


def write_workbook(tables: Sequence[Table], path: Path) -> None:
    """One sheet a table: units in the headings, the heading frozen, a total below as a formula."""
    book = xlsxwriter.Workbook(path, {"strings_to_formulas": False, "strings_to_urls": False, "in_memory": True})
    book.set_properties({"created": CREATED})
    for table in tables:
        _write_sheet(book, table)
    book.close()


def _write_sheet(book: xlsxwriter.Workbook, table: Table) -> None:
    sheet = book.add_worksheet(table.title)
    head = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
    sheet.freeze_panes(1, 0)
    for at, column in enumerate(table.columns):
        sheet.write_string(0, at, defused(column.title), head)
        _write_column(book, sheet, table, at)
        longest = max((len(line[at]) for line in table.printed()), default=0)
        sheet.set_column(at, at, min(40, max(9, longest + 2, len(column.head) + 2)))


def _write_column(book: xlsxwriter.Workbook, sheet: xlsxwriter.workbook.Worksheet, table: Table, at: int) -> None:
    column = table.columns[at]
    number = "0" + ("." + "0" * column.decimals if column.decimals else "")
    plain, total = (
        book.add_format({"num_format": number}),
        book.add_format({"num_format": number, "bold": True, "top": 1}),
    )
    for line, row in enumerate(table.rows, start=1):
        cell = row[at]
        if isinstance(cell, str):
            sheet.write_string(line, at, defused(cell))
        else:
            sheet.write_number(line, at, round(float(cell), column.decimals), plain)
    totals, last = table.totals(), len(table.rows)
    if totals is None or not table.rows:
        return
    if column.total:
        cells = f"{xl_rowcol_to_cell(1, at)}:{xl_rowcol_to_cell(last, at)}"
        value = round(float(totals[at] or 0), column.decimals)
        sheet.write_formula(last + 1, at, f"=SUM({cells})", total, value)
    else:
        sheet.write_string(last + 1, at, str(totals[at]), total)
