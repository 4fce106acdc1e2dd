"""`halfturn rack`: what is on the rack, and what happens to it.

In: options, and the workshop's database. Out: lines a person can read on stdout; entries in the ledger.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.options import WhoOption, WhyOption, WorkshopOption, person, workshop_folder

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection, Engine

app = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="The rack: offcuts and sheets that are there.")

MaterialOption = Annotated[str | None, typer.Option("--material", help="Only this material.", show_default=False)]
ColourOption = Annotated[str | None, typer.Option("--colour", help="Only this colour.", show_default=False)]
ThicknessOption = Annotated[
    float | None, typer.Option("--thickness", help="Only this thickness, in mm.", show_default=False)
]


def open_workshop_rack(folder: Path) -> Engine:
    """The rack that the workshop file names, else `rack.sqlite3` beside it. Raises JobFault, RackFault."""
    from inventory.database import open_rack, sqlite_url
    from nesting.toml_files import read_workshop

    named = read_workshop(folder / "workshop.toml").database
    return open_rack(named or sqlite_url(folder / "rack.sqlite3"))


def load_table(folder: Path, table: Path, *, at: datetime, who: str) -> int:
    """Put the sheets of a table on the workshop's rack; how many were new. Raises JobFault, RackFault."""
    from inventory.database import writing
    from inventory.tables import import_sheets

    with writing(open_workshop_rack(folder)) as conn:
        return len(import_sheets(conn, table, at=at, who=who).sheets)


@contextmanager
def _asking(workshop: Path | None) -> Iterator[Connection]:
    from inventory.database import reading

    with reading(open_workshop_rack(workshop_folder(workshop))) as conn:
        yield conn


@contextmanager
def _booking(workshop: Path | None) -> Iterator[Connection]:
    from inventory.database import writing

    with writing(open_workshop_rack(workshop_folder(workshop))) as conn:
        yield conn


def _now() -> datetime:
    return datetime.now(UTC).replace(microsecond=0)


@app.command("list")
def list_sheets(
    workshop: WorkshopOption = None,
    material: MaterialOption = None,
    colour: ColourOption = None,
    thickness: ThicknessOption = None,
    limit: Annotated[int, typer.Option("--limit", min=1, help="Show at most so many sheets.")] = 100,
) -> None:
    """List what is on the rack, oldest first, with its area and value."""
    from inventory.views import Wish, listing, plans_of

    with _asking(workshop) as conn:
        found = listing(conn, Wish(material=material, colour=colour, thickness_mm=thickness), limit=limit)
        plans = plans_of(conn, found.sheets)
    from cli.rack_lines import sheet_lines, sums_line

    for line in sheet_lines(found.sheets, plans, now=_now()):
        typer.echo(line)
    typer.echo(sums_line(found), err=True)


@app.command()
def receive(
    material: Annotated[str, typer.Option("--material", help="What it is made of, e.g. acrylic.")],
    colour: Annotated[str, typer.Option("--colour", help="Colour and finish, as the shop calls it.")],
    thickness: Annotated[float, typer.Option("--thickness", help="Thickness in mm.")],
    size: Annotated[str, typer.Option("--size", help="Width x height in mm, e.g. 600x400.", show_default=False)] = "",
    corners: Annotated[
        str, typer.Option("--corners", help='All corners in mm, e.g. "0,0 600,0 0,400".', show_default=False)
    ] = "",
    sheet_id: Annotated[str, typer.Option("--id", help="Its number; else the next free one.", show_default=False)] = "",
    value: Annotated[str, typer.Option("--value", help="Book value in the shop's currency.")] = "0",
    place: Annotated[str, typer.Option("--place", help="Where it is put.", show_default=False)] = "",
    lot: Annotated[str, typer.Option("--lot", help="Lot on its label; leave out if unknown.", show_default=False)] = "",
    faces: Annotated[
        str, typer.Option("--faces", help="Which side is masked, mirrored, frosted.", show_default=False)
    ] = "",
    workshop: WorkshopOption = None,
    who: WhoOption = "",
    why: WhyOption = "",
) -> None:
    """Put a sheet on the rack."""
    from inventory.rack import receive as receive_sheet
    from inventory.shapes import outline
    from nesting.model import Offcut

    offcut = Offcut(
        sheet_id, material, colour, thickness, outline(size, corners), (), Decimal(value), place, lot, faces
    )
    with _booking(workshop) as conn:
        sheet = receive_sheet(conn, offcut, at=_now(), who=person(who), why=why)
    typer.echo(f"{sheet.id} is on the rack: {sheet.stock}, {place or 'no place given'}")
