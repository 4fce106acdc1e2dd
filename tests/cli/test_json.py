"""`--json`: one object on stdout, named and versioned, the same figures as the words; completion in every shell."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from cli.main import app
from tests.nesting.audit.sample import entrance_sign

STAR = Path(__file__).parents[2] / "demo_data" / "drawings" / "star.dxf"
SHOP = """
name = "A shop"
machine = []
[rates]
currency = "EUR"
machine_per_hour = 40
labour_per_hour = 30
"""


def told(*words: str, code: int = 0) -> dict[str, Any]:
    result = CliRunner().invoke(app, [*words, "--json"])
    assert result.exit_code == code, result.output
    return json.loads(result.stdout)


def test_an_audit_tells_every_check_and_its_worst_figure(tmp_path: Path) -> None:
    folder = entrance_sign()
    found = told("audit", str(folder.write(tmp_path / "sound")))
    assert found["format"] == "halfturn-audit/1" and found["sound"] and found["failed"] == 0
    gaps = next(check for check in found["checks"] if check["name"] == "gaps")
    assert gaps["worst"] == pytest.approx(20.0, abs=0.01) and gaps["unit"] == "mm"
    folder.plan["sheets"][0]["placements"][0]["x_mm"] += 0.5
    assert not told("audit", str(folder.write(tmp_path / "harmed")), code=1)["sound"]


def test_the_rack_tells_its_sheets_and_their_sums(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "workshop.toml").write_text(SHOP, encoding="utf-8")
    monkeypatch.setenv("HALFTURN_WORKSHOP", str(tmp_path))
    stock = ["--material", "acrylic", "--colour", "opal", "--thickness", "5", "--size", "600x400", "--value", "7.5"]
    CliRunner().invoke(app, ["rack", "receive", *stock, "--id", "A1", "--who", "Ann"], catch_exceptions=False)
    found = told("rack", "list")
    assert (found["format"], found["count"], found["value"]) == ("halfturn-rack/1", 1, "7.50")
    assert found["area_mm2"] == 240_000.0
    assert found["sheets"][0]["offcut"]["id"] == "A1" and found["sheets"][0]["state"] == "on rack"


def test_an_inspection_tells_pieces_and_findings(tmp_path: Path) -> None:
    found = told("inspect", str(STAR), "--out", str(tmp_path))
    assert (found["format"], found["pieces"], found["usable"]) == ("halfturn-inspection/1", 1, True)
    assert found["bounds_mm"][2] - found["bounds_mm"][0] == pytest.approx(42.8, abs=0.05)


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_a_shell_completes_commands(shell: str) -> None:
    words = {"bash": {"COMP_WORDS": "halfturn pl", "COMP_CWORD": "1"}}.get(shell, {})
    asked = {"_TYPER_COMPLETE_ARGS": "halfturn pl", "_TYPER_COMPLETE_FISH_ACTION": "get-args", **words}
    run = "import sys; sys.argv = ['halfturn']; from cli.main import app; app(prog_name='halfturn')"
    environment = {**os.environ, **asked, "_HALFTURN_COMPLETE": f"complete_{shell}"}
    found = subprocess.run([sys.executable, "-c", run], env=environment, capture_output=True, text=True, check=False)
    assert "plan" in found.stdout and "audit" not in found.stdout


def test_help_and_completion_load_nothing_heavy() -> None:
    heavy = ["numpy", "shapely", "ezdxf", "ortools", "numba", "pandas", "sqlalchemy", "pydantic", "fontTools"]
    run = f"import sys, cli.main; print([name for name in {heavy!r} if name in sys.modules])"
    found = subprocess.run([sys.executable, "-c", run], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
