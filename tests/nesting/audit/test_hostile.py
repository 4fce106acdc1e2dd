"""Folders that are no plans: one message that says what and where, never a traceback."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from nesting.audit import audit_plan
from nesting.audit.records import PLAN_BYTES_MAX
from nesting.faults import PlanFault
from tests.nesting.audit.sample import entrance_sign


def refused(folder: Path) -> PlanFault:
    with pytest.raises(PlanFault) as caught:
        audit_plan(folder)
    assert caught.value.where
    return caught.value


def test_no_folder_and_an_empty_folder(tmp_path: Path) -> None:
    assert "no plan here" in refused(tmp_path / "nowhere").what
    assert "no plan here" in refused(tmp_path).what


@pytest.mark.parametrize(
    "content",
    [b"", b"not json", b"\xff\xfe\x00", b"[]", b"null", b"{}", b'{"format": "halfturn-plan/2"}', b"[" * 100_000],
    ids=["empty", "words", "bytes", "list", "null", "object", "later version", "deep"],
)
def test_not_a_plan(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "plan.json").write_bytes(content)
    assert "not a plan" in refused(tmp_path).what


def test_a_plan_larger_than_any_is_not_read(tmp_path: Path) -> None:
    with (tmp_path / "plan.json").open("wb") as file:
        file.truncate(PLAN_BYTES_MAX + 1)
    assert "over 64 MB" in refused(tmp_path).what


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 1e300, "12", None, True, [1.0]])
def test_a_number_that_is_none_is_named_by_its_place(tmp_path: Path, value: object) -> None:
    folder = entrance_sign()
    folder.plan["sheets"][0]["placements"][0]["x_mm"] = value
    fault = refused(folder.write(tmp_path))
    assert fault.where[1:] == ("sheets", "0", "placements", "0", "x_mm")
    assert fault.mend


@pytest.mark.parametrize(
    "name", ["../pass.dxf", "/etc/hosts.dxf", "a\\b.dxf", "C:pass.dxf", "", ".dxf", "pass.txt", "a\x00.dxf", "a\n.dxf"]
)
def test_a_drawing_outside_the_folder_is_not_looked_for(tmp_path: Path, name: str) -> None:
    folder = entrance_sign()
    folder.plan["sheets"][0]["passes"][0]["file"] = name
    assert refused(folder.write(tmp_path)).where[-1] == "file"


def test_a_link_out_of_the_folder_is_not_followed(tmp_path: Path) -> None:
    folder = entrance_sign().write(tmp_path / "plan")
    drawing = folder / "S1-b1-pass1.dxf"
    drawing.rename(tmp_path / "elsewhere.dxf")
    drawing.symlink_to(tmp_path / "elsewhere.dxf")
    failed = {check.name: check for check in audit_plan(folder) if not check.ok}
    assert "not in the plan folder" in failed["files"].words


@pytest.mark.parametrize("key", ["pieces", "sheets", "machine", "cost"])
def test_a_missing_part_is_named(tmp_path: Path, key: str) -> None:
    folder = entrance_sign()
    del folder.plan[key]
    assert refused(folder.write(tmp_path)).where[-1] == key


def test_a_sheet_that_crosses_itself(tmp_path: Path) -> None:
    folder = entrance_sign()
    folder.plan["sheets"][0]["outline_mm"] = [[0, 0], [100, 100], [100, 0], [0, 100]]
    assert "sheet S1" in refused(folder.write(tmp_path)).where


def test_an_empty_plan_passes_with_nothing_to_measure(tmp_path: Path) -> None:
    plan = entrance_sign().plan
    plan.update(pieces=[], sheets=[])
    (tmp_path / "plan.json").write_text(json.dumps(plan), encoding="utf-8")
    assert {check.name for check in audit_plan(tmp_path) if not check.ok} == set()
