"""`halfturn rack accept`, `start`, `pass`, `arrived`, `finish`, `cancel`: a plan lives on the rack.

In: a plan folder (or the id that it was accepted under), and the workshop's rack. Out: entries in the ledger, lines on
stdout.
"""

from __future__ import annotations

import hashlib
import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.options import WhoOption, WhyOption, WorkshopOption, person
from cli.rack_desk import asking, booking, now
from nesting.phrases import counted

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy.engine import Connection

    from inventory.plans import Standing
    from nesting.model import Offcut, Plan

PlanArgument = Annotated[str, typer.Argument(metavar="PLAN", help="Plan folder, or the id it was accepted under.")]


def accept(
    plan: PlanArgument,
    again: Annotated[bool, typer.Option("--again", help="A further run of a plan that was finished.")] = False,
    workshop: WorkshopOption = None,
    who: WhoOption = "",
) -> None:
    """Reserve all sheets of a plan from the rack, or none. Repeating it does no harm."""
    from inventory.plans import accept as accept_plan

    text, made = _read(Path(plan))
    with booking(workshop) as conn:
        plan_id = _next_run(conn, _base_id(text, made)) if again else _last_run(conn, _base_id(text, made))
        accept_plan(conn, plan_id, made, text, at=now(), who=person(who))
    held = [sheet.source.stock_id for sheet in made.sheets if sheet.source.stock_id]
    to_buy = [
        f"{sheet.id} ({' '.join(filter(None, (sheet.source.offer, sheet.source.size_words)))})"
        for sheet in made.sheets
        if sheet.source.offer
    ]
    typer.echo(f"accepted as {plan_id}; held from the rack: {', '.join(held) or 'nothing'}")
    if to_buy:
        typer.echo(f"to buy: {', '.join(to_buy)}")


def start(plan: PlanArgument, workshop: WorkshopOption = None, who: WhoOption = "") -> None:
    """The first sheet goes to the machine."""
    from inventory.plans import start as start_plan

    with booking(workshop) as conn:
        plan_id, made = accepted_plan(conn, plan)
        start_plan(conn, plan_id, made, at=now(), who=person(who))
    typer.echo(f"{plan_id} is started")


def pass_run(
    plan: PlanArgument,
    blank: Annotated[str, typer.Argument(help="Blank of the plan, e.g. S01-b1; S01 if it is cut in one blank.")],
    order: Annotated[int, typer.Argument(metavar="PASS", min=1, help="Which of its passes is run, e.g. 1.")],
    workshop: WorkshopOption = None,
    who: WhoOption = "",
) -> None:
    """Note that a pass is run; after a mishap its pieces count as cut."""
    from inventory.plans import pass_done

    with booking(workshop) as conn:
        plan_id, made = accepted_plan(conn, plan)
        pass_done(conn, plan_id, made, blank, order, at=now(), who=person(who))
    typer.echo(f"{plan_id}: pass {order} of {blank} is run")


def arrived(
    plan: PlanArgument,
    sheets: Annotated[list[str], typer.Argument(help="Sheets of the plan that were bought and are here, e.g. S02.")],
    workshop: WorkshopOption = None,
    who: WhoOption = "",
) -> None:
    """Book bought sheets in; they are held for the plan."""
    from inventory.plans import arrive, standing

    with booking(workshop) as conn:
        plan_id, made = accepted_plan(conn, plan)
        arrive(conn, plan_id, made, set(sheets), at=now(), who=person(who))
        stock = standing(conn, plan_id).stock
    for sheet in sheets:
        typer.echo(f"{sheet} is on the rack as {stock[sheet]}")


def finish(
    plan: PlanArgument,
    labels: Annotated[
        Path | None, typer.Option("--labels", help="Write labels for the leftovers to this PDF.", show_default=False)
    ] = None,
    workshop: WorkshopOption = None,
    who: WhoOption = "",
) -> None:
    """Everything is cut: consume the sheets, put the leftovers on the rack. Bought sheets that were never booked as
    arrived are booked in first, passes that were never noted count as run; both are told."""
    from inventory.plans import finish as finish_plan
    from inventory.plans import standing

    with booking(workshop) as conn:
        plan_id, made = accepted_plan(conn, plan)
        before = standing(conn, plan_id)
        left = finish_plan(conn, plan_id, made, at=now(), who=person(who))
        stock = standing(conn, plan_id).stock
    typer.echo(f"{plan_id} is finished; {counted(len(left), 'leftover')} on the rack")
    for sheet in left:
        typer.echo(f"  {_told(sheet)}")
    for own in sorted(stock.keys() - before.stock.keys()):
        typer.echo(f"  {own} was not booked as arrived; it is booked in as {stock[own]}, and as cut")
    for line in _never_noted(made, before):
        typer.echo(line)
    if labels and not left:
        typer.echo(f"no leftovers, so no labels: {labels} is not written")
    elif labels:
        from cli.rack_papers import write_labels

        write_labels(workshop, [sheet.id for sheet in left], labels)


def cancel(plan: PlanArgument, workshop: WorkshopOption = None, who: WhoOption = "", why: WhyOption = "") -> None:
    """Let all sheets of a plan go, as long as nothing is cut."""
    from inventory.plans import cancel as cancel_plan

    with booking(workshop) as conn:
        plan_id, _ = accepted_plan(conn, plan)
        cancel_plan(conn, plan_id, at=now(), who=person(who), why=why)
    typer.echo(f"{plan_id} is cancelled; its sheets are free")


def plans(
    every: Annotated[bool, typer.Option("--all", help="Also those that hold nothing any more.")] = False,
    workshop: WorkshopOption = None,
) -> None:
    """List the plans that hold sheets, and for whom."""
    from cli.rack_lines import plan_lines
    from inventory.views import plans_on_rack

    with asking(workshop) as conn:
        found = plans_on_rack(conn, every=every)
    for line in plan_lines(found):
        typer.echo(line)


def _never_noted(made: Plan, before: Standing) -> Iterator[str]:
    """Passes that nobody has noted; a shop that notes none wants no line for each."""
    passes = [(sheet, one) for sheet in made.sheets for one in sheet.passes]
    missing = [(sheet, one) for sheet, one in passes if not before.ran(sheet, one)]
    if not missing:
        return
    if len(missing) == len(passes):
        yield f"  no pass was noted as run; {counted(len(passes), 'pass', 'passes')} of the plan count as run"
    else:
        yield from (
            f"  pass {one.order} of {sheet.id}-{one.blank} was not noted; it counts as run" for sheet, one in missing
        )
    yield "  if one was not run: run it now, and measure what it leaves (`halfturn rack measure`) if that differs"


# ── which plan ───────────────────────────────────────────────────────────────────────────────────────────────


def _read(folder: Path) -> tuple[str, Plan]:
    from nesting.plan_file import PLAN_JSON, read_plan

    made = read_plan(folder)
    return (folder / PLAN_JSON).read_text(encoding="utf-8"), made


def accepted_plan(conn: Connection, plan: str) -> tuple[str, Plan]:
    """The plan's id on the rack and the plan, from its folder or from the ledger. Raises RackFault."""
    from inventory.plans import accepted_text
    from nesting.plan_file import parse_plan

    if Path(plan).is_dir() or Path(plan).name != plan:
        text, made = _read(Path(plan))
        return _last_run(conn, _base_id(text, made)), made
    return plan, parse_plan(accepted_text(conn, plan), plan)


def _base_id(text: str, plan: Plan) -> str:
    """Short words of the job, and eight digits that are another plan's only once in four thousand million."""
    words = re.sub(r"[^a-z0-9]+", "-", plan.job.name.lower()).strip("-")[:24].strip("-") or "plan"
    return f"{words}-{hashlib.sha256(text.encode()).hexdigest()[:8]}"


def _last_run(conn: Connection, base: str) -> str:
    from inventory.views import plan_ids

    return (plan_ids(conn, base) or [base])[-1]


def _next_run(conn: Connection, base: str) -> str:
    """A new run, unless the last is still open: then the command is being repeated."""
    from inventory.books import find_plan
    from inventory.ledger import OPEN
    from inventory.views import plan_ids

    runs = plan_ids(conn, base)
    last = find_plan(conn, runs[-1]) if runs else None
    if last is None or last.state in OPEN:
        return last.id if last else base
    return f"{base}.{len(runs) + 1}"


def _told(sheet: Offcut) -> str:
    from inventory.measures import size_mm

    width, height = size_mm(sheet.outline_mm)
    return f"{sheet.id}: {sheet.stock}, {width:g} x {height:g} mm, {sheet.place or 'no place given'}"
