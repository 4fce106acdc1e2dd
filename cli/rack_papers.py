"""`halfturn rack import`, `export`, `labels`, `picture`, `count-sheet`, `count`: tables and papers of the rack.

In: files and options, and the workshop's rack. Out: files; entries in the ledger where sheets come in or are counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from cli.options import WhoOption, WorkshopOption, person
from cli.rack_desk import asking, booking, now
from cli.whole_folder import written_file
from nesting.faults import RackFault
from nesting.phrases import counted

if TYPE_CHECKING:
    from cli.documents.labels import LabelPaper
    from inventory.ledger import Sheet

Unit = Literal["mm", "in"]
UnitOption = Annotated[Unit, typer.Option("--unit", help="Unit of columns that do not name theirs.")]
PlaceOption = Annotated[str | None, typer.Option("--place", help="Only this place.", show_default=False)]


def import_table(
    table: Annotated[Path, typer.Argument(help="CSV or XLSX, one row a sheet.")],
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Tell every row's fate, book nothing.")] = False,
    unit: UnitOption = "mm",
    workshop: WorkshopOption = None,
    who: WhoOption = "",
) -> None:
    """Put all sheets of a table on the rack, or none if a row cannot be read."""
    from cli.rack_lines import fate_line
    from inventory.tables import examine, import_sheets

    if dry_run:
        with asking(workshop) as conn:
            found = examine(conn, table, unit=unit)
        for fate in found.fates:
            typer.echo(fate_line(fate))
        typer.echo(f"{len(found.fates)} rows, {len(found.sheets)} new, {found.refused} refused", err=True)
        if found.refused:
            raise typer.Exit(1)
        return
    with booking(workshop) as conn:
        done = import_sheets(conn, table, at=now(), who=person(who), unit=unit)
    told = f"{counted(len(done.sheets), 'new sheet')} on the rack"
    typer.echo(f"{told}, {len(done.fates) - len(done.sheets)} on record before")


def export_table(
    out: Annotated[Path, typer.Argument(help="A name that ends in .csv or .xlsx.")],
    unit: Annotated[Unit, typer.Option("--unit", help="Unit of all lengths.")] = "mm",
    every: Annotated[bool, typer.Option("--all", help="Also what was cut, scrapped or lost.")] = False,
    workshop: WorkshopOption = None,
) -> None:
    """Write what is on the rack as a table that can be imported again."""
    from inventory.ledger import State
    from inventory.tables import export_sheets
    from inventory.views import Wish, listing

    _check_ending(out, ".csv", ".xlsx")
    with asking(workshop) as conn:
        sheets = listing(conn, Wish(state=None if every else State.ON_RACK), order="id").sheets
    with written_file(out) as fresh:
        export_sheets(sheets, fresh, unit=unit)
    typer.echo(f"{counted(len(sheets), 'sheet')} in {out}")


def labels(
    out: Annotated[Path, typer.Argument(help="The PDF to write.")],
    sheets: Annotated[list[str] | None, typer.Argument(help="Numbers; all that is on the rack if none.")] = None,
    size: Annotated[str, typer.Option("--size", help="Size of one label in mm.")] = "70x37",
    columns: Annotated[int, typer.Option("--columns", min=1, help="Labels side by side.")] = 3,
    rows: Annotated[int, typer.Option("--rows", min=1, help="Labels one above the other.")] = 8,
    paper: Annotated[Literal["A4", "Letter"], typer.Option("--paper", help="What the printer holds.")] = "A4",
    first: Annotated[int, typer.Option("--first", min=1, help="Place of the first label on its sheet.")] = 1,
    workshop: WorkshopOption = None,
) -> None:
    """Print labels: number, QR code, outline, size, material, lot, date, place."""
    from cli.documents.labels import LabelPaper
    from inventory.shapes import two_lengths

    write_labels(workshop, sheets or [], out, LabelPaper(*two_lengths(size), columns, rows, paper), first - 1)


def write_labels(
    workshop: Path | None, numbers: Sequence[str], out: Path, paper: LabelPaper | None = None, first: int = 0
) -> None:
    """Labels for these sheets, or for all that is on the rack, as a PDF. Raises RackFault."""
    from cli.documents import labels as printing
    from inventory.books import find_sheet

    with asking(workshop) as conn:
        sheets = [find_sheet(conn, number) for number in numbers] or _on_rack(workshop, None)
    _write(out, printing.write_labels(sheets, paper or printing.LabelPaper(), first))
    typer.echo(f"{counted(len(sheets), 'label')} in {out}")


def picture(
    out: Annotated[Path, typer.Argument(help="A name that ends in .svg or .png.")],
    place: PlaceOption = None,
    workshop: WorkshopOption = None,
) -> None:
    """Draw all sheets on the rack to one scale."""
    from cli.documents.png import png
    from cli.documents.rack_picture import rack_picture
    from cli.documents.svg import svg

    _check_ending(out, ".svg", ".png")
    sheets = _on_rack(workshop, place)
    drawn = rack_picture(sheets)
    _write(out, png(drawn) if out.suffix.lower() == ".png" else svg(drawn).encode())
    typer.echo(f"{counted(len(sheets), 'sheet')} in {out}")


def count_sheet(
    out: Annotated[Path, typer.Argument(help="The PDF to write.")],
    place: PlaceOption = None,
    workshop: WorkshopOption = None,
) -> None:
    """Print what should be on the rack, place by place, with a box to tick."""
    from cli.documents.count_sheet import write_count_sheet

    sheets = _on_rack(workshop, place)
    _write(out, write_count_sheet(sheets, now()))
    typer.echo(f"{counted(len(sheets), 'sheet')} to count in {out}")


def count(
    seen: Annotated[list[str], typer.Argument(help="Numbers that were seen; - reads them from standard input.")],
    place: Annotated[
        str | None, typer.Option("--place", help="Where; else the whole rack was counted.", show_default=False)
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Tell the differences, book nothing.")] = False,
    workshop: WorkshopOption = None,
    who: WhoOption = "",
) -> None:
    """Book a count: what was seen, what is missing, what stood in another place."""
    from cli.rack_lines import difference_lines
    from inventory import stocktake

    numbers = typer.get_text_stream("stdin").read().split() if seen == ["-"] else seen
    if dry_run:
        with asking(workshop) as conn:
            found = stocktake.compare(conn, numbers, place)
    else:
        with booking(workshop) as conn:
            found = stocktake.count(conn, numbers, place, at=now(), who=person(who))
    for line in difference_lines(found):
        typer.echo(line)


def _on_rack(workshop: Path | None, place: str | None) -> list[Sheet]:
    from inventory.views import Wish, listing

    with asking(workshop) as conn:
        return list(listing(conn, Wish(place=place), order="id").sheets)


def _write(out: Path, data: bytes) -> None:
    with written_file(out) as fresh:
        fresh.write_bytes(data)


def _check_ending(out: Path, *endings: str) -> None:
    """What a file holds follows from its name: raises RackFault for another ending than these."""
    if out.suffix.lower() not in endings:
        raise RackFault(
            f"{out.name!r} does not say what to write", mend=f"give a name that ends in {' or '.join(endings)}"
        )
