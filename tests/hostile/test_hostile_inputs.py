"""Every attempt of the table is answered in words and with its exit code; a refusal leaves every file as it was.

docs/hostile.md is the table with its answers; `make bless` writes it.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.hostile.table import CASES, Answer, Case, answered

PAGE = Path(__file__).resolve().parents[2] / "docs" / "hostile.md"
HEAD = """# Hostile input

What was tried against every entry, and what is answered: made by running it; a test keeps this page equal to that.
The exit code is 0 for input that is taken as it is, 1 for something left to mend or a check that failed, 2 for a
refusal. A refusal leaves every file as it was. No answer is a traceback.

`make fuzz-drawings` adds 2,000 random and damaged drawings, `make crash-rack` kills the rack's commands at random
moments.
"""
LONGEST = 160


def told(answer: Answer) -> str:
    """The answer's first line, short, and safe in a table."""
    words = "".join(c if c.isprintable() else "?" for c in answer.first)
    words = words if len(words) <= LONGEST else words[:LONGEST] + "…"
    return words.replace("|", "\\|").replace("<", "&lt;")


def page(answers: list[tuple[Case, Answer]]) -> str:
    lines = [HEAD]
    for entry in dict.fromkeys(case.entry for case, _ in answers):
        lines += [f"## {entry}", "", "| tried | exit | answer |", "|---|---|---|"]
        found = [(case, answer) for case, answer in answers if case.entry == entry]
        lines += [f"| {case.what.replace('|', ' ')} | {answer.code} | {told(answer)} |" for case, answer in found]
        lines.append("")
    return "\n".join(lines)


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Answer]:
    """Each case run once, by what it is."""
    home, found = Path.cwd(), {}
    for case in CASES:
        folder = tmp_path_factory.mktemp("hostile")
        os.chdir(folder)
        try:
            found[f"{case.entry}: {case.what}"] = answered(case, folder)
        finally:
            os.chdir(home)
    return found


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.entry}: {case.what}")
def test_it_is_answered_with_its_exit_code_and_nothing_half_written(case: Case, answers: dict[str, Answer]) -> None:
    answer = answers[f"{case.entry}: {case.what}"]
    assert answer.code == case.code, answer.out + answer.err
    assert "Traceback" not in answer.out + answer.err
    assert answer.first
    if answer.code == 2:
        assert answer.changed == ()


def test_what_could_steer_a_terminal_is_never_passed_on(answers: dict[str, Answer]) -> None:
    assert not [what for what, answer in answers.items() if "\x1b[2J" in answer.out + answer.err]


def test_the_page_tells_what_is_really_answered(answers: dict[str, Answer]) -> None:
    written = page([(case, answers[f"{case.entry}: {case.what}"]) for case in CASES])
    if os.environ.get("BLESS"):
        PAGE.write_text(written, encoding="utf-8", newline="\n")
    assert PAGE.exists() and PAGE.read_text(encoding="utf-8") == written, "make bless, then read the diff"
