"""`halfturn buy`: which sheets to buy for a job, every sensible way planned and compared.

In: a job file, the workshop, its rack. Out: a table on stdout, or JSON; a table for the office if asked for. Nothing is
reserved or bought.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.as_json import JsonOption, echo_json
from cli.options import SEED_MAX, WorkshopOption, workshop_folder
from cli.planning import asked_to_stop, read_request
from cli.progress import Ticker
from cli.whole_folder import written_file

if TYPE_CHECKING:
    from nesting.buying import Comparison
    from nesting.plan import Request


def buy(
    job: Annotated[Path, typer.Argument(help="The job file, e.g. job.toml.")],
    workshop: WorkshopOption = None,
    effort: Annotated[
        int, typer.Option("--effort", min=1, help="Rounds of improvement for each way, material, colour and thickness.")
    ] = 3,
    seed: Annotated[int, typer.Option("--seed", min=0, max=SEED_MAX, help="Same inputs and seed, same table.")] = 1,
    csv: Annotated[
        Path | None, typer.Option("--csv", help="Write the table to this file, for the office.", show_default=False)
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Compare the ways to get a job's sheets: the rack alone, one large sheet, several small ones, a mix.

    Each way is planned as `halfturn plan` would, with less effort; cheapest first, in money, with what it leaves and
    why it is or is not the cheapest. Ctrl-C hands out the ways planned so far.
    """
    from cli.documents import ways
    from cli.documents.tables import write_csv

    request, found = _compared(job, workshop_folder(workshop), effort, seed)
    if csv is not None:
        with written_file(csv) as fresh:
            write_csv(ways.table(found), fresh)
    if as_json:
        told = {"ways": ways.records(found), "stopped": found.stopped, "not_planned": found.not_reached}
        echo_json("buy", job=request.job.name, **told)
        return
    for line in ways.lines(request.job.name, found, shutil.get_terminal_size((80, 24)).columns):
        typer.echo(line)


def _compared(job: Path, folder: Path, effort: int, seed: int) -> tuple[Request, Comparison]:
    from nesting.buying import compared

    with Ticker(sys.stderr) as ticker:
        request = read_request(job, folder, effort, seed, ticker)
        with asked_to_stop("the ways planned so far") as stop:
            return request, compared(request, ticker.watch, stop)
