"""Options that several commands share, and what they mean."""

from __future__ import annotations

import getpass
import os
from pathlib import Path
from typing import Annotated

import typer

SEED_MAX = 2**31 - 1
"""The solvers take no larger seed."""


def workshop_folder(given: Path | None) -> Path:
    """The workshop: `--workshop`, else HALFTURN_WORKSHOP, else the current folder."""
    return given or Path(os.environ.get("HALFTURN_WORKSHOP", "."))


def person(given: str) -> str:
    """Who is booking: `--who`, else HALFTURN_WHO, else the name the computer knows."""
    try:
        return given or os.environ.get("HALFTURN_WHO", "") or getpass.getuser()
    except (OSError, KeyError):
        raise typer.BadParameter("say who you are with --who, or set HALFTURN_WHO") from None


WorkshopOption = Annotated[
    Path | None,
    typer.Option(
        "--workshop", help="Workshop folder; else HALFTURN_WORKSHOP, else the current folder.", show_default=False
    ),
]
WhoOption = Annotated[
    str, typer.Option("--who", help="Who says so; else HALFTURN_WHO, else your login.", show_default=False)
]
WhyOption = Annotated[str, typer.Option("--why", help="Why, for the ledger.", show_default=False)]
