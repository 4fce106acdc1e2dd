"""The audit reads the lists for the office back: whatever one of them tells otherwise than the plan is caught."""

from __future__ import annotations

import csv
import dataclasses
from collections.abc import Callable
from pathlib import Path

import pytest

from cli.documents import rows, tables
from nesting.audit.checks import Check
from nesting.audit.lists import list_checks
from nesting.audit.records import read_plan
from nesting.model import Plan
from nesting.plan_file import PLAN_JSON, plan_text
from tests.cli.sample_plan import WORKSHOP, sample_plan

Lines = list[list[str]]


def written(plan: Plan, folder: Path) -> Path:
    (folder / PLAN_JSON).write_text(plan_text(plan), encoding="utf-8")
    for table in (rows.cut_list(plan), rows.trim_cuts(plan), rows.material_bill(plan, WORKSHOP)):
        tables.write_csv(table, folder / f"{table.name}.csv")
    return folder


def checked(folder: Path) -> Check:
    (check,) = list_checks(folder, read_plan(folder))
    return check


def damaged(folder: Path, name: str, harm: Callable[[Lines], object]) -> Check:
    path = folder / name
    with path.open(encoding="utf-8-sig", newline="") as file:
        lines = list(csv.reader(file))
    harm(lines)
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        csv.writer(file).writerows(lines)
    return checked(folder)


def test_lists_as_they_are_written_say_what_the_plan_says(tmp_path: Path) -> None:
    check = checked(written(sample_plan(), tmp_path))
    assert check.ok, check
    assert check.words.startswith("3 lists")


def test_names_that_are_quoted_shortened_or_stripped_agree(tmp_path: Path) -> None:
    plan = sample_plan()
    odd = dataclasses.replace(plan.pieces[0], name="=SUM(A1), «moon» " + "and stars " * 20, colour="blue / white")
    assert checked(written(dataclasses.replace(plan, pieces=(odd, *plan.pieces[1:])), tmp_path)).ok


def change(row: int, head: str, cell: str) -> Callable[[Lines], object]:
    def harm(lines: Lines) -> None:
        at = next(k for k, title in enumerate(lines[0]) if title.split(" (")[0] == head)
        assert lines[row][at] != cell
        lines[row][at] = cell

    return harm


@pytest.mark.parametrize(
    ("name", "harm"),
    [
        ("cut_list.csv", lambda lines: lines.pop()),
        ("cut_list.csv", lambda lines: lines.append(lines[-1])),
        ("cut_list.csv", change(1, "copy", "7")),
        ("cut_list.csv", change(1, "width", "1.0")),
        ("cut_list.csv", change(1, "edge to cut", "1")),
        ("cut_list.csv", change(1, "area", "0.0001")),
        ("cut_list.csv", change(1, "sheet", "S9")),
        ("cut_list.csv", change(1, "pass", "4")),
        ("cut_list.csv", change(1, "thickness", "9.0")),
        ("cut_list.csv", lambda lines: lines.__setitem__(slice(1, 3), [lines[2], lines[1]])),
        ("trim_cuts.csv", change(1, "from x", "1.0")),
        ("trim_cuts.csv", change(1, "order", "5")),
        ("trim_cuts.csv", change(1, "how", "scissors")),
        ("material_bill.csv", change(1, "value", "0.01")),
        ("material_bill.csv", change(1, "credit for leftovers", "99.00")),
        ("material_bill.csv", change(1, "stock number or offer", "another")),
        ("material_bill.csv", change(1, "length", "twelve")),
        ("material_bill.csv", lambda lines: lines[0].__setitem__(0, "page")),
    ],
)
def test_a_list_that_says_another_thing_is_caught(tmp_path: Path, name: str, harm: Callable[[Lines], object]) -> None:
    check = damaged(written(sample_plan(), tmp_path), name, harm)
    assert not check.ok and check.where.startswith(name)


def test_a_list_that_is_gone_or_none_is_caught_and_no_list_at_all_is_none_of_its_business(tmp_path: Path) -> None:
    folder = written(sample_plan(), tmp_path)
    (folder / "cut_list.csv").write_bytes(b"\xff\xfe" * 99)
    assert "cut_list.csv: cannot be read" in f"{checked(folder).where}: {checked(folder).words}"
    (folder / "cut_list.csv").unlink()
    assert checked(folder).where == "cut_list.csv"
    for name in ("trim_cuts.csv", "material_bill.csv"):
        (folder / name).unlink()
    assert checked(folder).ok and checked(folder).words.startswith("0 lists")
