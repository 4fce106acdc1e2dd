"""`--json`: what a command tells, as one JSON object on stdout for another program; nothing else goes there.

In: a name and its figures. Out: `{"format": "halfturn-NAME/1", ...}`; money is a decimal string, lengths are mm, times
ISO 8601. Keys may be added later, none is taken away.
"""

from __future__ import annotations

import json
from typing import Annotated, Any

import typer

from nesting.plain import plain

JsonOption = Annotated[bool, typer.Option("--json", help="Tell it as JSON, for another program.")]


def echo_json(name: str, **figures: Any) -> None:
    """One object on stdout."""
    typer.echo(json.dumps({"format": f"halfturn-{name}/1", **plain(figures)}, indent=1, ensure_ascii=False))
