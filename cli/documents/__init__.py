"""What people hold in their hands: work pack, cut list, trim cuts, material bill.

In: a Plan and the Workshop. Out: files in a folder that the caller moves into place when all are written.
Figures and words are made once as plain rows and steps, pictures once as drawing primitives; page and print place them.
"""

from __future__ import annotations

from pathlib import Path

from cli.documents import page, pdf, pictures, rows, steps, tables
from cli.documents.inches import step_in_inches
from cli.documents.pdf import Paper
from cli.documents.png import png
from cli.documents.svg import svg
from cli.documents.words import file_name
from nesting.model import Plan, Workshop


def write_documents(plan: Plan, folder: Path, workshop: Workshop, paper: Paper = "A4", inches: bool = False) -> None:
    """Write the work pack (HTML, PDF) and the tables (CSV, XLSX) into an existing folder; same plan, same bytes."""
    pack = steps.steps(plan, workshop)
    if inches:
        pack = [step_in_inches(step) for step in pack]
    (folder / "workpack.html").write_text(page.html(plan, pack, "work pack", paper), encoding="utf-8", newline="\n")
    (folder / "workpack.pdf").write_bytes(pdf.write_pdf(pack, paper))
    office = (rows.cut_list(plan), rows.trim_cuts(plan), rows.material_bill(plan, workshop))
    for table in office:
        tables.write_csv(table, folder / f"{table.name}.csv")
    tables.write_workbook([*office, rows.by_sheet(plan), rows.cost_lines(plan)], folder / "tables.xlsx")


def write_pictures(plan: Plan, folder: Path) -> None:
    """Every sheet's layout, and all sheets on one picture, as SVG and PNG, into an existing folder."""
    named = {file_name(sheet.id): pictures.sheet_picture(plan, sheet) for sheet in plan.sheets}
    for name, picture in {**named, "all-sheets": pictures.contact_picture(plan)}.items():
        (folder / f"{name}.svg").write_text(svg(picture), encoding="utf-8", newline="\n")
        (folder / f"{name}.png").write_bytes(png(picture))
