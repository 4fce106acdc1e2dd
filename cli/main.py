"""The command `halfturn`: catches every fault once and turns it into words and an exit code."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from nesting.faults import Fault

app = typer.Typer(
    name="halfturn",
    help="Plan stock, nesting and bed passes for a sign workshop.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def workshop_folder(given: Path | None) -> Path:
    """The workshop: `--workshop`, else HALFTURN_WORKSHOP, else the current folder."""
    return given or Path(os.environ.get("HALFTURN_WORKSHOP", "."))


WorkshopOption = Annotated[
    Path | None,
    typer.Option(
        "--workshop", help="Workshop folder; else HALFTURN_WORKSHOP, else the current folder.", show_default=False
    ),
]


def run() -> None:
    """Entry point: a fault becomes a message on stderr and its exit code; nothing else is caught."""
    try:
        app()
    except Fault as fault:
        for label, text in (("error", fault.what), ("at", " > ".join(fault.where)), ("mend", fault.mend)):
            if text:
                print(f"{label:>6}: {text}", file=sys.stderr)
        sys.exit(fault.exit_code)


if __name__ == "__main__":
    run()
