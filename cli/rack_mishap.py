"""`halfturn rack mishap`: something went wrong at the machine; keep what is cut, plan the rest again.

In: a plan on the rack, what went wrong. Out: entries in the ledger; a new plan folder.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.options import WhoOption, WhyOption, WorkshopOption, person, workshop_folder
from cli.planning import asked_to_stop
from cli.progress import Ticker
from cli.rack_desk import asking, booking, now
from cli.rack_plans import PlanArgument, accepted_plan
from nesting.faults import RackFault
from nesting.phrases import counted

if TYPE_CHECKING:
    from nesting.model import Plan, Point


def mishap(
    plan: PlanArgument,
    out: Annotated[Path, typer.Option("--out", help="Folder for the new plan.")],
    spoiled: Annotated[
        list[str],
        typer.Option(
            "--spoiled", help="A piece that is no good: its number in the work pack, or its id.", show_default=False
        ),
    ] = [],  # noqa: B006
    cracked: Annotated[
        list[str],
        typer.Option(
            "--cracked", help="A sheet of the plan that is broken: the rest of it is scrap.", show_default=False
        ),
    ] = [],  # noqa: B006
    measured: Annotated[
        list[str],
        typer.Option("--measured", help="A sheet of the plan as it really is, e.g. S01=590x400.", show_default=False),
    ] = [],  # noqa: B006
    workshop: WorkshopOption = None,
    who: WhoOption = "",
    why: WhyOption = "",
) -> None:
    """Stop a plan after a mishap and plan the missing pieces again on what is really left."""
    from cli.plan_folder import check_target, write_plan
    from cli.remaking import plan_again, remnants
    from inventory.plans import Mishap, standing, stop
    from inventory.rack import on_hand
    from nesting.toml_files import read_workshop

    check_target(out)
    shop = read_workshop(workshop_folder(workshop) / "workshop.toml")
    real = dict(map(_measured, measured))
    with booking(workshop) as conn:
        plan_id, made = accepted_plan(conn, plan)
        event = Mishap(frozenset(_piece_id(made, word) for word in spoiled), frozenset(cracked), real)
        left = remnants(made, standing(conn, plan_id), event, shop.rates)
        missing = stop(conn, plan_id, made, event, left, at=now(), who=person(who), why=why)
    typer.echo(f"{plan_id} is stopped; {counted(len(missing), 'piece')} of {len(made.pieces)} still missing")
    if missing:
        with asking(workshop) as conn:
            rack = on_hand(conn)
        with Ticker(sys.stderr) as ticker, asked_to_stop("the best plan so far") as hurry:
            again = plan_again(made, missing, rack, shop, ticker.watch, hurry)
            ticker.step("writing and auditing")
            write_plan(again, shop, out)
        typer.echo(f"the rest is planned again in {out}; accept it with `halfturn rack accept {out}`")


def _piece_id(plan: Plan, word: str) -> str:
    """The id of a piece that is told by its number in the work pack; an id, which is no bare number, stays as it is."""
    from cli.documents.rows import numbers

    return next((piece for piece, number in numbers(plan).items() if word == str(number)), word)


def _measured(text: str) -> tuple[str, tuple[Point, ...]]:
    from inventory.shapes import corner_list, rectangle, two_lengths

    sheet, equals, shape = text.partition("=")
    if not equals:
        raise RackFault(f"{text!r} does not say what was measured", mend="give e.g. S01=590x400")
    return sheet, corner_list(shape) if "," in shape else rectangle(*two_lengths(shape))
