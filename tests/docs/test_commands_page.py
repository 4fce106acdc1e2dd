"""docs/commands.md lists every command and option as the program has them; `make bless` writes it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer.main

from cli.main import app

PAGE = Path(__file__).resolve().parents[2] / "docs" / "commands.md"
HEAD = """# Commands

Made from the program; a test keeps it equal to that. `halfturn COMMAND --help` says the same.

| exit code | meaning |
|---|---|
| 0 | done, or all is sound |
| 1 | done, and something needs a person: a check of `audit` failed, `inspect` found what is left to mend, `rack` \
found rows or records that do not agree |
| 2 | refused: what is wrong, where, and how to mend it stand on stderr; nothing was changed. See [errors](errors.md) |
| 130 | stopped by Ctrl-C before there was anything to hand out, or by a second one; nothing was changed. The first \
one while `plan`, `demo`, `buy`, `quote` or `rack mishap` search hands out the best there is so far, with exit code 0 |

What a command tells goes to stdout, everything else (progress, faults, sums below a list) to stderr. With `--json` a
command tells one JSON object, `{"format": "halfturn-NAME/1", ...}`: money is a decimal string, lengths are millimetres.
Keys may be added later, none is taken away. A plan's own figures are in its `plan.json`. `--install-completion` makes
your shell complete commands and options.
"""


def page() -> str:
    return "\n".join([HEAD, *_told(typer.main.get_command(app), "halfturn")])


def _told(command: Any, name: str) -> Iterator[str]:
    commands = getattr(command, "commands", None)
    if commands is not None:
        for short, below in commands.items():
            yield from _told(below, f"{name} {short}")
        return
    arguments = [one for one in command.params if one.param_type_name == "argument"]
    options = [one for one in command.params if one.param_type_name == "option" and one.name != "help"]
    usage = " ".join([name, *(one.metavar or one.name.upper() for one in arguments)])
    yield from (f"## {name}", "", " ".join((command.help or "").split()), "", f"`{usage}`", "")
    if arguments or options:
        yield from ("| | | if left out |", "|---|---|---|")
        yield from (f"| `{one.metavar or one.name.upper()}` | {_help(one)} | {_default(one)} |" for one in arguments)
        yield from (f"| {_names(one)} | {_help(one)} | {_default(one)} |" for one in options)
        yield ""


def _names(option: Any) -> str:
    return ", ".join(f"`{name}`" for name in (*option.opts, *option.secondary_opts))


def _help(one: Any) -> str:
    return " ".join((one.help or "").split()).replace("|", "\\|")


def _default(one: Any) -> str:
    if one.required:
        return "must be given"
    value = one.default
    if value is None or value == "" or value == [] or value == () or callable(value):
        return "nothing"
    return "no" if value is False else "yes" if value is True else f"`{getattr(value, 'value', value)}`"


def test_the_page_lists_every_command_and_option():
    if os.environ.get("BLESS"):
        PAGE.write_text(page(), encoding="utf-8", newline="\n")
    assert PAGE.exists() and PAGE.read_text(encoding="utf-8") == page(), "make bless, then read the diff"


def test_every_command_and_option_says_what_it_is_for():
    for command in _all(typer.main.get_command(app)):
        assert command.help, command.name
        silent = [one.name for one in command.params if one.name != "help" and not one.help]
        assert silent == [], f"{command.name}: {silent}"


def _all(command: Any) -> Iterator[Any]:
    for below in getattr(command, "commands", {}).values():
        yield from _all(below)
    if not hasattr(command, "commands"):
        yield command
