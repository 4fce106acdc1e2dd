"""tests/external/README.md lists every check against the outside world; it is made from the checks, `make bless`."""

from __future__ import annotations

import ast
import os
from collections.abc import Iterator
from pathlib import Path

FOLDER = Path(__file__).resolve().parents[1] / "external"
PAGE = FOLDER / "README.md"
HEAD = """# Checks against the outside world

Each check with its source, and the parts of the product it guards. Made from the checks themselves. *Derived* is
arithmetic that can be followed on the spot; *common practice, no source* is what the trade does and nobody publishes;
*from memory* says that the source was not at hand.
"""
OURS = ("nesting", "inventory", "cli")


def page() -> str:
    lines = [HEAD]
    for path in sorted(FOLDER.glob("test_*.py")):
        text = path.read_text(encoding="utf-8")
        tree = ast.parse(text)
        lines += [f"## {path.name}", "", _words(ast.get_docstring(tree) or ""), ""]
        lines += [f"Guards {', '.join(f'`{name}`' for name in sorted(set(_guarded(tree))))}.", ""]
        lines += ["| check | source |", "|---|---|"]
        lines += [f"| {_name(test)} | {_source(test, text.splitlines())} |" for test in _tests(tree)]
        lines.append("")
    return "\n".join(lines)


def _tests(tree: ast.Module) -> list[ast.FunctionDef]:
    return [node for node in tree.body if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")]


def _name(test: ast.FunctionDef) -> str:
    return test.name.removeprefix("test_").replace("_", " ")


def _words(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


def _source(test: ast.FunctionDef, lines: list[str]) -> str:
    """The docstring, else the comment the function begins with, else the one above it."""
    docstring = ast.get_docstring(test)
    if docstring:
        return _words(docstring)
    first = test.body[0].lineno - 1
    top = min([test.lineno, *(mark.lineno for mark in test.decorator_list)]) - 1
    within = _comment(lines[test.lineno : first])
    return within or _comment(list(_above(lines, top)))


def _comment(lines: list[str]) -> str:
    return _words(" ".join(line.strip().lstrip("# ") for line in lines if line.strip().startswith("# ")))


def _above(lines: list[str], top: int) -> Iterator[str]:
    first = top
    while first > 0 and lines[first - 1].startswith("# "):
        first -= 1
    return (line for line in lines[first:top] if "──" not in line)


def _guarded(tree: ast.Module) -> Iterator[str]:
    """Modules of the product that a file imports from."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] in OURS:
            if node.module in OURS:
                yield from (f"{node.module}.{alias.name}" for alias in node.names)
            else:
                yield node.module


def test_every_check_is_listed_with_its_source():
    if os.environ.get("BLESS"):
        PAGE.write_text(page(), encoding="utf-8", newline="\n")
    assert PAGE.exists() and PAGE.read_text(encoding="utf-8") == page(), "make bless, then read the diff"


def test_no_check_is_without_a_source_of_its_own():
    assert [line for line in page().splitlines() if line.endswith("|  |")] == []


def test_every_file_says_at_its_top_what_it_is_held_against():
    for path in FOLDER.glob("test_*.py"):
        assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))), path.name
