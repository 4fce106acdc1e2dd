"""`halfturn buy` as a buyer meets it: on a terminal, as a table for the office, as JSON, and stopped half way."""

import csv
import json
import shutil
import signal
import subprocess
import sys
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from cli.documents import ways
from nesting.buying import Alternative, Comparison
from tests.cli.command import Told, halfturn
from tests.cli.test_planning import JOB, box, draw
from tests.inventory.sample import sample_plan

DEMO = Path(__file__).resolve().parents[2] / "demo_data"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """The demo's workshop with an empty rack, an offer with a hostile name, and a job for two panels."""
    shutil.copytree(DEMO / "workshop", tmp_path / "workshop")
    path = tmp_path / "workshop" / "workshop.toml"
    path.write_text(path.read_text().replace("opal-5-1000x600", "=cmd|' /C calc'!A0"))
    (tmp_path / "job.toml").write_text(JOB + "quantity = 2\n")
    draw(tmp_path, box(500, 350))
    return tmp_path


def buy(shop: Path, *words: str | Path) -> Told:
    return halfturn("buy", shop / "job.toml", "--workshop", shop / "workshop", "--effort", "1", *words)


def test_a_table_that_fits_the_terminal_and_one_for_the_office_that_no_spreadsheet_runs(shop, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    told = buy(shop, "--csv", shop / "ways.csv")
    assert told.returncode == 0, told.stderr
    lines = told.stdout.splitlines()
    assert max(map(len, lines)) <= 80
    assert lines[0] == "Test: 3 ways to get the sheets, cheapest first"
    assert lines[1].split() == ["way", "cost", "EUR", "more", "waste", "%", "passes", "turns"]
    assert any(line.startswith("1  ") for line in lines)
    assert sum(line.strip().startswith("why ") for line in lines) == 3
    assert "the cheapest" in told.stdout and "EUR dearer than the cheapest" in told.stdout
    assert "way 3 of 3" in told.stderr
    with (shop / "ways.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    costs = [float(row["cost (EUR)"]) for row in rows]
    assert costs == sorted(costs)
    assert not any(cell.startswith("=") for row in rows for cell in row.values())


def test_a_wide_terminal_is_kept_to_as_well():
    found = Comparison(tuple(Alternative(f"way {n}", sample_plan("A1")) for n in range(3)))
    for width in (80, 120):
        assert max(map(len, ways.lines("Sign", found, width))) <= width


def test_a_way_that_comes_to_the_same_sheets_says_so_and_not_more():
    def way(name: str, number: str, cost: int) -> Alternative:
        plan = sample_plan(number)
        return Alternative(name, replace(plan, cost=replace(plan.cost, total=Decimal(cost))))

    found = Comparison((way("any", "A1", 10), way("new", "A1", 10), way("other", "A2", 10), way("rack", "A1", 12)))
    first, again, other, dearer = ways.told(found)
    assert first.same_as is other.same_as is dearer.same_as is None
    assert again.same_as == 1 and again.why == "the same sheets and the same cost as way 1"
    printed = list(ways.lines("Sign", found, 100))
    assert sum(line.startswith("    buy ") for line in printed) == 3


def test_other_programs_read_the_same_as_json(shop):
    told = buy(shop, "--json")
    found = json.loads(told.stdout)
    assert found["job"] == "Test" and found["not_planned"] == []
    best, *others = found["ways"]
    assert best["possible"] and best["more"] == "0.00"
    for way in others:
        assert float(way["cost"]) == pytest.approx(float(best["cost"]) + float(way["more"]))


def test_a_job_that_cannot_be_served_is_refused_and_nothing_is_written(shop):
    (shop / "job.toml").write_text(JOB.replace("opal", "crimson"))
    told = buy(shop, "--csv", shop / "ways.csv")
    assert told.returncode == 2
    assert "acrylic crimson 5 mm" in told.stderr
    assert not (shop / "ways.csv").exists()


def test_ctrl_c_hands_out_the_ways_planned_so_far(shop):
    (shop / "job.toml").write_text(JOB + "quantity = 40\n")
    draw(shop, box(100, 100))
    words = ["buy", shop / "job.toml", "--workshop", shop / "workshop", "--effort", "100000"]
    command = [sys.executable, "-m", "cli.main", *map(str, words)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=DEMO.parent) as run:
        next(line for line in run.stderr if "round 2" in line)
        run.send_signal(signal.SIGINT)
        told, _ = run.communicate()
    assert run.returncode == 0
    assert "1 way to get the sheets" in told
    assert "stopped on request before all effort was spent; not" in told
