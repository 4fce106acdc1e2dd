"""A sound plan passes every check, and says how near it came to each limit."""

from __future__ import annotations

from pathlib import Path

import pytest

from nesting.audit import audit_plan
from tests.nesting.audit.sample import entrance_sign, hold


def test_a_sound_plan_passes_every_check(tmp_path: Path) -> None:
    checks = audit_plan(entrance_sign().write(tmp_path))
    assert [check for check in checks if not check.ok] == []
    assert len({check.name for check in checks}) == len(checks) > 25


def test_worst_figures_are_those_of_the_layout(tmp_path: Path) -> None:
    found = {check.name: check for check in audit_plan(entrance_sign().write(tmp_path))}
    # The star of radius 20 sits in the middle of the O's counter of radius 40.
    assert found["gaps"].worst == pytest.approx(20.0, abs=0.01)
    # A line-up mark 20 mm from the sheet's left edge, its arm 3 mm.
    assert found["line-up in waste"].worst == pytest.approx(17.0)
    assert found["coverage"].worst == pytest.approx(0.0, abs=1e-6)


def test_the_page_about_the_audit_lists_its_checks_in_order(tmp_path: Path) -> None:
    page = Path(__file__).parents[3] / "docs" / "audit.md"
    rows = [line.split("|")[1].strip() for line in page.read_text(encoding="utf-8").splitlines() if line[:1] == "|"]
    assert rows[2:] == [check.name for check in audit_plan(entrance_sign().write(tmp_path))]


def test_a_piece_may_reach_to_a_trimmed_edge_where_no_margin_is_asked(tmp_path: Path) -> None:
    folder = entrance_sign()
    folder.plan["machine"]["margin_mm"] = 0.0
    top = max(y for _, y, _ in folder.contours("rail/2")[0])
    folder.move("rail/2", 0.0, 300.0 - top)
    sheet, run = folder.runs()[2]
    hold(folder.plan, run, sheet["blanks"][1]["rect_mm"], folder.drawings[run["file"]])
    assert [check for check in audit_plan(folder.write(tmp_path)) if not check.ok] == []
