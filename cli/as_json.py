"""`--json`: what a command tells, as one JSON object on stdout for another program; nothing else goes there.

In: a name and its figures. Out: `{"format": "halfturn-NAME/1", ...}`; money is a decimal string, lengths are mm, times
ISO 8601. Keys may be added later, none is taken away.
"""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass
from datetime import date
from decimal import Decimal
from enum import Enum
from pathlib import Path
from typing import Annotated, Any

import typer

JsonOption = Annotated[bool, typer.Option("--json", help="Tell it as JSON, for another program.")]


def echo_json(name: str, **figures: Any) -> None:
    """One object on stdout."""
    typer.echo(json.dumps({"format": f"halfturn-{name}/1", **_plain(figures)}, indent=1, ensure_ascii=False))


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, dict):
        return {str(key): _plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    if isinstance(value, float):
        return round(value, 6) + 0.0
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Enum):
        return value.value
    return str(value) if isinstance(value, Decimal | Path) else value
