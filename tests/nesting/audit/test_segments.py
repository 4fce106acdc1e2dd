"""Keyed and strapped joints: as planned they pass the audit; damaged they do not."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from nesting.audit import audit_plan
from nesting.drawing.pass_drawings import drawings
from nesting.drawing.writing import write_drawing
from nesting.model import JointKind, Plan, StockKey
from nesting.plan_file import plan_text
from tests.nesting.test_plan import LARGE, SMALL, planned
from tests.shop import piece, rectangle

CLEAR = StockKey("acrylic", "clear", 5.0)
CLEAR_SHEET = replace(SMALL, id="clear", colour="clear")


def rail(joint: JointKind) -> Plan:
    one = piece(rectangle(1100, 120), name="rail", one_piece=False, joint=joint, strap=CLEAR)
    return planned([one], offers=(SMALL, LARGE, CLEAR_SHEET))


def failed(plan: Plan, folder: Path, harm: Callable[[dict[str, Any]], None] = lambda plan: None) -> set[str]:
    import json

    folder.mkdir()
    text = json.loads(plan_text(plan))
    harm(text)
    (folder / "plan.json").write_text(json.dumps(text), encoding="utf-8")
    for name, layers in drawings(plan).items():
        write_drawing(folder / name, layers)
    return {check.name for check in audit_plan(folder) if not check.ok}


def test_a_keyed_rail_adds_up_but_for_its_clearance(tmp_path: Path) -> None:
    plan = rail("keyed")
    assert plan.splits[0].clearance_mm == 0.17, "the kerf of acrylic of 5 mm"
    assert failed(plan, tmp_path / "sound") == set()

    def claim_none(text: dict[str, Any]) -> None:
        text["splits"][0]["clearance_mm"] = 0.0

    assert failed(plan, tmp_path / "claimed", claim_none) == {"segments add up"}


def test_straps_are_pieces_of_their_own_stock_behind_their_joint(tmp_path: Path) -> None:
    plan = rail("strap")
    assert len(plan.splits[0].straps) == 1
    assert {sheet.colour for sheet in plan.sheets} == {"opal", "clear"}
    assert failed(plan, tmp_path / "sound") == set()

    def slide(by: float) -> Callable[[dict[str, Any]], None]:
        def harm(text: dict[str, Any]) -> None:
            text["splits"][0]["straps"][0]["x_mm"] += by

        return harm

    assert failed(plan, tmp_path / "beside", slide(60.0)) == {"straps"}
    assert failed(plan, tmp_path / "beyond", slide(560.0)) == {"straps"}


@pytest.mark.parametrize("kind", ["butt", "keyed"])
def test_a_segment_that_the_plan_forgets_is_missed(kind: JointKind, tmp_path: Path) -> None:
    def forget(text: dict[str, Any]) -> None:
        text["splits"][0]["seats"].pop()

    assert {"segments", "segments add up"} <= failed(rail(kind), tmp_path / "forgotten", forget)
