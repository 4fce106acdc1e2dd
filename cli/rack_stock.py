"""`halfturn rack list`, `receive`, `move`, `measure`, ...: what is on the rack, and what happens to a sheet.

In: options, and the workshop's rack. Out: lines a person can read on stdout; entries in the ledger.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated

import typer

from cli.options import WhoOption, WhyOption, WorkshopOption, person
from cli.rack_desk import asking, booking, now

MaterialOption = Annotated[str | None, typer.Option("--material", help="Only this material.", show_default=False)]
ColourOption = Annotated[str | None, typer.Option("--colour", help="Only this colour.", show_default=False)]
ThicknessOption = Annotated[
    float | None, typer.Option("--thickness", help="Only this thickness, in mm.", show_default=False)
]


def list_sheets(
    workshop: WorkshopOption = None,
    material: MaterialOption = None,
    colour: ColourOption = None,
    thickness: ThicknessOption = None,
    limit: Annotated[int, typer.Option("--limit", min=1, help="Show at most so many sheets.")] = 100,
) -> None:
    """List what is on the rack, oldest first, with its area and value."""
    from inventory.views import Wish, listing, plans_of

    with asking(workshop) as conn:
        found = listing(conn, Wish(material=material, colour=colour, thickness_mm=thickness), limit=limit)
        plans = plans_of(conn, found.sheets)
    from cli.rack_lines import sheet_lines, sums_line

    for line in sheet_lines(found.sheets, plans, now=now()):
        typer.echo(line)
    typer.echo(sums_line(found), err=True)


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
    with booking(workshop) as conn:
        sheet = receive_sheet(conn, offcut, at=now(), who=person(who), why=why)
    typer.echo(f"{sheet.id} is on the rack: {sheet.stock}, {place or 'no place given'}")
