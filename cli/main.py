"""The command `halfturn`: catches every fault once and turns it into words and an exit code."""

from __future__ import annotations

import sys

import typer

from cli import planning, rack
from cli.buying import buy
from cli.inspect import inspect
from cli.papers import papers
from cli.quoting import quote
from nesting.faults import Fault

app = typer.Typer(
    name="halfturn",
    help="Plan stock, nesting and bed passes for a sign workshop.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


app.command()(planning.plan)
app.command()(planning.audit)
app.command()(planning.demo)
app.command()(buy)
app.command()(quote)
app.command()(papers)
app.command()(inspect)
app.add_typer(rack.app, name="rack")


def run() -> None:
    """Entry point: a fault becomes a message on stderr and its exit code; nothing else is caught."""
    try:
        app()
    except Fault as fault:
        tell(fault)
        sys.exit(fault.exit_code)


def tell(fault: Fault) -> None:
    """What, where, how to mend: a line each on stderr."""
    for label, text in (("error", fault.what), ("at", " > ".join(fault.where)), ("mend", fault.mend)):
        if text:
            print(f"{label:>6}: {text}", file=sys.stderr)


if __name__ == "__main__":
    run()
