"""`halfturn rack list`, `receive`, `move`, `measure`, ...: what is on the rack, and what happens to a sheet.

In: options, and the workshop's rack. Out: lines a person can read on stdout; entries in the ledger.
"""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from cli.as_json import JsonOption, echo_json
from cli.options import WhoOption, WhyOption, WorkshopOption, person
from cli.rack_desk import asking, booking, now
from nesting.faults import RackFault

if TYPE_CHECKING:
    from nesting.model import Point

MaterialOption = Annotated[str | None, typer.Option("--material", help="Only this material.", show_default=False)]
ColourOption = Annotated[str | None, typer.Option("--colour", help="Only this colour.", show_default=False)]
ThicknessOption = Annotated[
    float | None, typer.Option("--thickness", help="Only this thickness, in mm.", show_default=False)
]

MOST_TOLD = 5
"""Findings named in a refusal."""

SheetArgument = Annotated[str, typer.Argument(metavar="SHEET", help="Its number.")]
SizeOption = Annotated[str, typer.Option("--size", help="Width x height in mm, e.g. 600x400.", show_default=False)]
CornersOption = Annotated[
    str, typer.Option("--corners", help='All corners in mm, e.g. "0,0 600,0 0,400".', show_default=False)
]
TapeOption = Annotated[
    str,
    typer.Option(
        "--tape",
        help='Sides and diagonals in mm, e.g. "AB=600 BC=400 CD=600 DA=400 AC=721".',
        show_default=False,
    ),
]
DrawingOption = Annotated[
    Path | None, typer.Option("--drawing", help="A DXF or SVG that holds its outline.", show_default=False)
]


def list_sheets(
    workshop: WorkshopOption = None,
    material: MaterialOption = None,
    colour: ColourOption = None,
    thickness: ThicknessOption = None,
    place: Annotated[str | None, typer.Option("--place", help="Only at this place.", show_default=False)] = None,
    lot: Annotated[str | None, typer.Option("--lot", help="Only of this lot.", show_default=False)] = None,
    fits: Annotated[
        str, typer.Option("--fits", help="Only what may hold this size in mm, e.g. 500x300.", show_default=False)
    ] = "",
    older: Annotated[
        int | None, typer.Option("--older", help="Only what has lain for more days than this.", show_default=False)
    ] = None,
    held: Annotated[bool | None, typer.Option("--held/--free", help="Only held for a plan, or only free.")] = None,
    state: Annotated[
        Literal["on rack", "cut", "scrapped", "missing", "any"], typer.Option("--state", help="Where it stands.")
    ] = "on rack",
    order: Annotated[Literal["age", "size", "value", "id"], typer.Option("--order", help="What comes first.")] = "age",
    limit: Annotated[int, typer.Option("--limit", min=1, help="Show at most so many sheets.")] = 100,
    as_json: JsonOption = False,
) -> None:
    """List what is on the rack: size, age, value, place, lot, and for whom it is held."""
    from cli.rack_lines import sheet_lines, sums_line
    from inventory.ledger import State
    from inventory.shapes import two_lengths
    from inventory.views import Wish, listing, plans_of

    wish = Wish(
        state=None if state == "any" else State(state),
        material=material,
        colour=colour,
        thickness_mm=thickness,
        place=place,
        lot=lot,
        fits_mm=two_lengths(fits) if fits else None,
        reserved=held,
        before=now() - timedelta(days=older) if older is not None else None,
    )
    with asking(workshop) as conn:
        found = listing(conn, wish, order=order, limit=limit)
        plans = plans_of(conn, found.sheets)
    if as_json:
        echo_json("rack", sheets=found.sheets, count=found.count, area_mm2=found.area_mm2, value=found.value)
        return
    for line in sheet_lines(found.sheets, plans, now=now()):
        typer.echo(line)
    typer.echo(sums_line(found), err=True)


def value(workshop: WorkshopOption = None) -> None:
    """Area, book value and age of what is on the rack, by material, colour and thickness."""
    from cli.rack_lines import worth_lines
    from inventory.views import worth

    with asking(workshop) as conn:
        found = worth(conn)
    for line in worth_lines(found, now=now()):
        typer.echo(line)


def history(sheet: SheetArgument, workshop: WorkshopOption = None) -> None:
    """The whole life of a sheet: where it came from, what was cut from it, every offcut's offcut."""
    from cli.rack_lines import life_lines
    from inventory.views import history as life_of

    with asking(workshop) as conn:
        life = life_of(conn, sheet)
    for line in life_lines(life):
        typer.echo(line)


def receive(
    material: Annotated[str, typer.Option("--material", help="What it is made of, e.g. acrylic.")],
    colour: Annotated[str, typer.Option("--colour", help="Colour and finish, as the shop calls it.")],
    thickness: Annotated[float, typer.Option("--thickness", help="Thickness in mm.")],
    size: SizeOption = "",
    corners: CornersOption = "",
    tape: TapeOption = "",
    drawing: DrawingOption = None,
    sheet_id: Annotated[str, typer.Option("--id", help="Its number; else the next free one.", show_default=False)] = "",
    value: Annotated[str, typer.Option("--value", help="Book value in the shop's currency.")] = "0",
    place: Annotated[str, typer.Option("--place", help="Where it is put.", show_default=False)] = "",
    lot: Annotated[str, typer.Option("--lot", help="Lot on its label; leave out if unknown.", show_default=False)] = "",
    faces: Annotated[
        str, typer.Option("--faces", help="Which side is masked, mirrored, frosted.", show_default=False)
    ] = "",
    grain: Annotated[
        float | None, typer.Option("--grain", help="Direction of the grain, degrees.", show_default=False)
    ] = None,
    true_edges: Annotated[
        str,
        typer.Option(
            "--true-edges",
            help='Edges as the factory cut them, each by its first corner, counted from 0, e.g. "0 3".',
            show_default=False,
        ),
    ] = "",
    square: Annotated[bool, typer.Option("--square", help="Its factory edges are known to be square.")] = False,
    workshop: WorkshopOption = None,
    who: WhoOption = "",
    why: WhyOption = "",
) -> None:
    """Put a sheet on the rack."""
    from inventory.rack import receive as receive_sheet
    from nesting.model import Offcut

    outline, holes = _shape(size, corners, tape, drawing)
    edges = tuple(int(_number(word)) for word in true_edges.split())
    offcut = Offcut(
        sheet_id, material, colour, thickness, outline, holes, _money(value), place, lot, faces, grain, edges, square
    )
    with booking(workshop) as conn:
        sheet = receive_sheet(conn, offcut, at=now(), who=person(who), why=why)
    typer.echo(f"{sheet.id} is on the rack: {sheet.stock}, {place or 'no place given'}")


def move(
    sheet: SheetArgument,
    place: Annotated[str, typer.Argument(help="Where it is now.")],
    workshop: WorkshopOption = None,
    who: WhoOption = "",
    why: WhyOption = "",
) -> None:
    """A sheet is at another place now."""
    from inventory.rack import move as move_sheet

    with booking(workshop) as conn:
        move_sheet(conn, sheet, place, at=now(), who=person(who), why=why)
    typer.echo(f"{sheet} is at {place}")


def measure(
    sheet: SheetArgument,
    size: SizeOption = "",
    corners: CornersOption = "",
    tape: TapeOption = "",
    drawing: DrawingOption = None,
    workshop: WorkshopOption = None,
    who: WhoOption = "",
    why: WhyOption = "",
) -> None:
    """A sheet's real outline is another than recorded; plans made with the old one become stale."""
    from inventory.rack import measure as measure_sheet

    outline, holes = _shape(size, corners, tape, drawing)
    with booking(workshop) as conn:
        measure_sheet(conn, sheet, outline, holes, at=now(), who=person(who), why=why)
    typer.echo(f"{sheet} is measured")


def scrap(
    sheet: SheetArgument,
    why: Annotated[str, typer.Option("--why", help="Why, for the ledger.")],
    workshop: WorkshopOption = None,
    who: WhoOption = "",
) -> None:
    """A sheet is no good any more."""
    from inventory.rack import scrap as scrap_sheet

    with booking(workshop) as conn:
        scrap_sheet(conn, sheet, at=now(), who=person(who), why=why)
    typer.echo(f"{sheet} is scrapped")


def missing(sheet: SheetArgument, workshop: WorkshopOption = None, who: WhoOption = "", why: WhyOption = "") -> None:
    """A sheet is not where it should be: no plan counts on it until it turns up (`halfturn rack correct --back`)."""
    from inventory.rack import report_missing

    with booking(workshop) as conn:
        report_missing(conn, sheet, at=now(), who=person(who), why=why)
    typer.echo(f"{sheet} is missing")


def correct(
    sheet: SheetArgument,
    why: Annotated[str, typer.Option("--why", help="Why, for the ledger.")],
    material: Annotated[str | None, typer.Option("--material", help="What it is made of.", show_default=False)] = None,
    colour: Annotated[str | None, typer.Option("--colour", help="Colour and finish.", show_default=False)] = None,
    thickness: Annotated[float | None, typer.Option("--thickness", help="Thickness in mm.", show_default=False)] = None,
    lot: Annotated[str | None, typer.Option("--lot", help="Lot on its label.", show_default=False)] = None,
    faces: Annotated[str | None, typer.Option("--faces", help="What its sides are.", show_default=False)] = None,
    grain: Annotated[
        float | None, typer.Option("--grain", help="Direction of the grain, degrees.", show_default=False)
    ] = None,
    value: Annotated[str | None, typer.Option("--value", help="Book value.", show_default=False)] = None,
    square: Annotated[
        bool | None,
        typer.Option("--square/--not-square", help="Its factory edges are known to be square.", show_default=False),
    ] = None,
    back: Annotated[bool, typer.Option("--back", help="It was scrapped or missing, and is on the rack.")] = False,
    workshop: WorkshopOption = None,
    who: WhoOption = "",
) -> None:
    """The record of a sheet was wrong: say how it really is. The old entry stays in its history."""
    from inventory.rack import correct as correct_sheet

    given = {
        "material": material,
        "colour": colour,
        "thickness_mm": thickness,
        "lot": lot,
        "faces": faces,
        "grain_deg": grain,
        "book_value": None if value is None else _money(value),
        "square": square,
    }
    changes = {name: value for name, value in given.items() if value is not None}
    if not changes and not back:
        raise RackFault("nothing to correct", mend="say what is different, e.g. --colour opal")
    with booking(workshop) as conn:
        correct_sheet(conn, sheet, changes, at=now(), who=person(who), why=why, back=back)
    typer.echo(f"{sheet} is corrected")


def check(workshop: WorkshopOption = None) -> None:
    """Read the whole ledger again and prove that the rack stands as it says. Exit code 1 if it does not."""
    from inventory.books import recount

    with asking(workshop) as conn:
        wrong = recount(conn)
    for name in wrong:
        typer.echo(f"{name} does not stand as the ledger says")
    typer.echo("the rack and its ledger agree" if not wrong else f"{len(wrong)} do not agree", err=True)
    if wrong:
        raise typer.Exit(1)


# ── what was typed ───────────────────────────────────────────────────────────────────────────────────────────


def _shape(
    size: str, corners: str, tape: str, drawing: Path | None
) -> tuple[tuple[Point, ...], tuple[tuple[Point, ...], ...]]:
    """Outline and holes, from whichever one of the four was given."""
    from inventory.shapes import corner_list, rectangle, two_lengths

    if sum(map(bool, (size, corners, tape, drawing))) != 1:
        raise RackFault("a sheet needs its shape, once", mend="give one of --size, --corners, --tape, --drawing")
    if size:
        return rectangle(*two_lengths(size)), ()
    if corners:
        return corner_list(corners), ()
    return _taped(tape) if tape else _drawn(drawing)


def _taped(tape: str) -> tuple[tuple[Point, ...], tuple[tuple[Point, ...], ...]]:
    from inventory.tape import from_tape

    found = from_tape(tape)
    typer.echo(
        f"out of square by {found.out_of_square_mm_per_m:.1f} mm in a metre; "
        f"the measurements agree within {found.off_mm:.1f} mm",
        err=True,
    )
    return found.outline_mm, ()


def _drawn(drawing: Path | None) -> tuple[tuple[Point, ...], tuple[tuple[Point, ...], ...]]:
    """The one outline in a drawing, with its holes; arcs become chords on the side where there is material."""
    from nesting import curves
    from nesting.drawing.reading import read_drawing

    assert drawing is not None
    shapes, findings = read_drawing(drawing)
    for finding in findings:
        if finding.mended:
            typer.echo(str(finding), err=True)
    left = [str(finding) for finding in findings if not finding.mended]
    if left:
        raise RackFault(
            "the drawing is no sheet as it stands: " + "; ".join(left[:MOST_TOLD]),
            mend=f"mend it in the drawing; `halfturn inspect {drawing.name}` shows where",
            where=(drawing.name,),
        )
    if len(shapes) != 1:
        raise RackFault(
            f"the drawing holds {len(shapes)} outlines", mend="draw one sheet a file", where=(drawing.name,)
        )
    outline = curves.flattened(curves.oriented(shapes[0].outline, False))
    holes = (curves.flattened(curves.oriented(hole, True)) for hole in shapes[0].holes)
    return tuple(outline), tuple(map(tuple, holes))


def _money(text: str) -> Decimal:
    try:
        return Decimal(text)
    except InvalidOperation:
        raise RackFault(f"{text!r} is no sum of money", mend="give e.g. 12.50") from None


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise RackFault(f"{text!r} is no number", mend="give numbers with a space between them") from None
