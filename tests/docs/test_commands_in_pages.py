"""Every command that the README and the pages tell a person to type exists, with its options and enough words."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import Any

import pytest
import typer.main

from cli.main import app

ROOT = Path(__file__).resolve().parents[2]
PAGES = [ROOT / "README.md", *sorted(ROOT.glob("docs/*.md"))]
MADE = {"commands.md", "hostile.md", "errors.md"}


def typed(page: Path) -> list[str]:
    """Commands in backticks, and on lines of code; what follows two blanks is a remark."""
    found, code = [], False
    for line in page.read_text(encoding="utf-8").splitlines():
        code ^= line.startswith("```")
        if (code or line.startswith("    ")) and line.strip().startswith("halfturn "):
            found.append(line.strip())
        else:
            found += re.findall(r"`(halfturn [^`]+)`", line)
    return [re.split(r"\s{2,}|\s#", command)[0] for command in found]


def understood(words: list[str]) -> list[str]:
    """What of a command line the program does not know; `...` stands for more words."""
    command: Any = typer.main.get_command(app)
    while words and hasattr(command, "commands"):
        if words[0] not in command.commands:
            return words[:1] if words[0] not in ("--install-completion", "--help") and words[0].islower() else []
        command, words = command.commands[words[0]], words[1:]
    known = {name for one in command.params for name in (*one.opts, *one.secondary_opts)} | {"--help"}
    return [word for word in words if word.startswith("--") and word.split("=")[0] not in known]


@pytest.mark.parametrize("page", [page for page in PAGES if page.name not in MADE], ids=lambda page: page.name)
def test_what_a_page_says_to_type_is_understood(page: Path) -> None:
    assert {command: lost for command in typed(page) if (lost := understood(shlex.split(command)[1:]))} == {}


def test_the_pages_for_each_user_say_what_to_type() -> None:
    assert all(len(typed(ROOT / "docs" / f"{user}.md")) >= 3 for user in ("estimator", "buyer", "operator"))


def test_pictures_and_pages_that_are_linked_are_there() -> None:
    for page in PAGES:
        for link in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
            assert (page.parent / link).exists(), f"{page.name}: {link}"
