"""A group of commands, each loaded when it is asked for: who lists the rack does not wait for what makes quotes.

In: where each command stands, as "module:function", or "module:app" for a group below. Out: the class of the group.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup
from typer.main import get_command


def on_demand(where: Mapping[str, str]) -> type[TyperGroup]:
    """The `cls` of a `typer.Typer` whose commands are these, in this order."""

    class Group(TyperGroup):
        def __init__(self, **options: Any) -> None:
            super().__init__(**{**options, "commands": _Commands(where)})

    return Group


class _Commands(Mapping[str, Any]):
    """Commands by name; one is loaded the first time it is looked up."""

    def __init__(self, where: Mapping[str, str]) -> None:
        self._where = where
        self._loaded: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        if name not in self._loaded:
            module, _, found = self._where[name].partition(":")
            self._loaded[name] = _command(name, getattr(import_module(module), found))
        return self._loaded[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._where)

    def __len__(self) -> int:
        return len(self._where)


def _command(name: str, found: Any) -> Any:
    if isinstance(found, typer.Typer):
        return get_command(found)
    alone = typer.Typer(add_completion=False, rich_markup_mode=None)
    alone.command(name)(found)
    command = get_command(alone)
    # The list of commands shows the first sentence whole; left to itself it breaks off at the end of the line.
    sentence, stop, _ = " ".join((command.help or "").split()).partition(". ")
    command.short_help = sentence + stop.strip()
    return command
