"""Every attempt of the table is answered in words and with its exit code; a refusal leaves every file as it was.

docs/hostile.md is the table with its answers; `make bless` writes it.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from nesting import faults
from tests.hostile.table import CASES, Answer, Case, answered

DOCS = Path(__file__).resolve().parents[2] / "docs"
PAGE, CATALOGUE = DOCS / "hostile.md", DOCS / "errors.md"
CATALOGUE_HEAD = """# Errors

Made from the code and from faults that were really raised (those of [hostile input](hostile.md)); a test keeps it so.

Whatever a person can mend is told in three lines on stderr, and nothing is changed:

```
 error: the travel in x must be above 0, not 0 mm
    at: workshop.toml > machine > 1 (small laser)
  mend: correct that value
```

A command line that makes no sense is told by the command itself, with exit code 2. Anything else that surfaces, a
traceback above all, is a mistake of the product: please report it with the files that brought it about.
"""
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


def catalogue(answers: dict[str, Answer]) -> str:
    told = [fault for answer in answers.values() for fault in answer.faults]
    lines = [CATALOGUE_HEAD]
    for kind in _kinds():
        lines += [f"## {kind.__name__}: exit code {kind.exit_code}", "", " ".join((kind.__doc__ or "").split()), ""]
        lines += ["| what | mend |", "|---|---|"]
        found = {_short(fault.what): _short(fault.mend) for fault in told if type(fault) is kind}
        lines += [f"| {what} | {mend} |" for what, mend in sorted(found.items())]
        lines.append("")
    return "\n".join(lines)


def _kinds() -> list[type[faults.Fault]]:
    """Every class of fault, in the order of the code."""
    found = (one for one in vars(faults).values() if isinstance(one, type) and issubclass(one, faults.Fault))
    return [one for one in found if one is not faults.Fault]


def _short(text: str) -> str:
    return told(Answer(2, "", f"error: {' '.join(text.split())}", ()))


def test_every_kind_of_fault_has_been_raised_and_says_how_to_mend_it(answers: dict[str, Answer]) -> None:
    told = [fault for answer in answers.values() for fault in answer.faults]
    assert {type(fault) for fault in told} == set(_kinds())
    assert [fault.what for fault in told if not fault.mend] == []


def test_the_catalogue_of_errors_is_up_to_date(answers: dict[str, Answer]) -> None:
    if os.environ.get("BLESS"):
        CATALOGUE.write_text(catalogue(answers), encoding="utf-8", newline="\n")
    written = catalogue(answers)
    assert CATALOGUE.exists() and CATALOGUE.read_text(encoding="utf-8") == written, "make bless, then read the diff"
