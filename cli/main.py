"""The command `halfturn`: catches every fault once and turns it into words and an exit code."""

from __future__ import annotations

import sys

import typer

from cli.on_demand import on_demand
from nesting.faults import Fault

COMMANDS = {
    "plan": "cli.planning:plan",
    "audit": "cli.planning:audit",
    "demo": "cli.planning:demo",
    "buy": "cli.buying:buy",
    "quote": "cli.quoting:quote",
    "papers": "cli.papers:papers",
    "inspect": "cli.inspect:inspect",
    "rack": "cli.rack:app",
}

app = typer.Typer(
    name="halfturn",
    help="Plan stock, nesting and bed passes for a sign workshop.",
    cls=on_demand(COMMANDS),
    callback=lambda: None,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


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
