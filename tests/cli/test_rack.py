"""`halfturn rack`, as a person types it."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

from cli.main import app
from cli.rack import load_table

DEMO = Path(__file__).parents[2] / "demo_data" / "workshop" / "rack.csv"
WORKSHOP = """
name = "A shop"
machine = []
[rates]
currency = "EUR"
machine_per_hour = 40
labour_per_hour = 30
"""


@pytest.fixture
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "workshop.toml").write_text(WORKSHOP, encoding="utf-8")
    monkeypatch.setenv("HALFTURN_WORKSHOP", str(tmp_path))
    monkeypatch.setenv("HALFTURN_WHO", "Ann")
    return tmp_path


def halfturn(*words: str) -> str:
    result = CliRunner().invoke(app, ["rack", *words], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


def test_a_sheet_received_is_listed(workshop: Path) -> None:
    size = ("--size", "600x400", "--value", "9.5", "--place", "bay 1")
    halfturn("receive", "--material", "acrylic", "--colour", "opal", "--thickness", "5", *size)
    assert "R1     acrylic   opal     5  600 x 400   9.50     0  bay 1  unknown" in halfturn("list")


def test_the_demo_rack_is_listed_with_its_sums(workshop: Path) -> None:
    assert load_table(workshop, DEMO, at=datetime.now(UTC), who="Ann") == 12
    assert "12 sheets, 2.161 m2, book value 144.20" in halfturn("list")
    assert "5 sheets (2 shown)" in halfturn("list", "--colour", "opal", "--limit", "2")


def test_a_list_waits_for_no_library_it_does_not_need(workshop: Path) -> None:
    load_table(workshop, DEMO, at=datetime.now(UTC), who="Ann")
    code = "import sys; from cli.main import app; app(['rack', 'list'], standalone_mode=False); print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert not {"pandas", "numpy", "shapely", "ortools", "numba", "fpdf"} & set(loaded)
