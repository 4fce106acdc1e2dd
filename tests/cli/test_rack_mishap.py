"""After a mishap the missing pieces are planned again on what is really left, and what is cut is kept."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import ezdxf
import pytest
from typer.testing import CliRunner

from cli.documents import rows
from cli.main import app
from cli.rack_desk import asking
from cli.remaking import order_of, remnants
from inventory.measures import area_mm2
from inventory.plans import Mishap, Standing
from inventory.rack import on_hand
from nesting.audit import audit_plan
from nesting.faults import PlanFault, RackFault
from nesting.model import Joint
from nesting.plan_file import read_plan
from tests.cli.sample_plan import WORKSHOP as SHOP
from tests.cli.sample_plan import sample_plan
from tests.inventory.sample import piece

WORKSHOP = Path(__file__).parents[2] / "demo_data" / "workshop" / "workshop.toml"
JOB = """
[job]
name = "Tiles"
[[piece]]
name = "tile"
drawing = "tile.dxf"
material = "acrylic"
colour = "opal"
thickness_mm = 5
quantity = 6
one_piece = true
"""


def halfturn(*words: str) -> str:
    result = CliRunner().invoke(app, [*words], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workshop with one offcut, and a plan of six tiles on it; copied for each test."""
    folder = tmp_path_factory.mktemp("shop")
    shutil.copy(WORKSHOP, folder)
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    drawing = ezdxf.new(units=4)
    drawing.modelspace().add_lwpolyline([(0, 0), (260, 0), (260, 170), (0, 170)], close=True)
    drawing.saveas(folder / "tile.dxf")
    shop = ("--workshop", str(folder))
    sheet = ("--material", "acrylic", "--colour", "opal", "--thickness", "5", "--size", "580x720", "--value", "6")
    halfturn("rack", "receive", *sheet, "--id", "A1", "--who", "Ann", *shop)
    halfturn("plan", str(folder / "job.toml"), "--out", str(folder / "plan"), "--effort", "1", *shop)
    return folder


@pytest.fixture
def shop(planned: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copytree(planned, tmp_path / "shop")
    monkeypatch.setenv("HALFTURN_WORKSHOP", str(tmp_path / "shop"))
    monkeypatch.setenv("HALFTURN_WHO", "Ann")
    monkeypatch.chdir(tmp_path / "shop")
    halfturn("rack", "accept", "plan")
    return tmp_path / "shop"


def whole_of_first_pass(shop: Path) -> list[str]:
    (sheet,) = json.loads((shop / "plan" / "plan.json").read_text("utf-8"))["sheets"]
    assert sheet["source"]["stock_id"] == "A1"
    return sheet["passes"][0]["whole"]


def test_what_is_cut_is_kept_and_the_rest_goes_on_what_is_left(shop: Path) -> None:
    first = whole_of_first_pass(shop)
    assert 1 < len(first) < 6
    halfturn("rack", "pass", "plan", "S01", "1")
    number = rows.numbers(read_plan(shop / "plan"))[first[0]]
    told = halfturn("rack", "mishap", "plan", "--spoiled", str(number), "--out", "rest", "--why", "chipped")
    assert f"{7 - len(first)} pieces of 6 still missing" in told
    rest = read_plan(shop / "rest")
    assert {one.id for one in rest.pieces} == {f"tile-{n}" for n in range(1, 7)} - set(first[1:])
    assert all(check.ok for check in audit_plan(shop / "rest"))
    with asking(shop) as conn:
        (left,) = on_hand(conn)
    cut = 260 * 170 * len(read_plan(shop / "plan").sheets[0].passes[0].whole)
    assert area_mm2(left.outline_mm, left.holes_mm) < 580 * 720 - cut
    assert rest.sheets[0].source.stock_id == left.id
    halfturn("rack", "accept", "rest")
    halfturn("rack", "finish", "rest")
    assert "agree" in halfturn("rack", "check")


def test_a_sheet_that_measures_differently_is_planned_with_as_it_is(shop: Path) -> None:
    told = halfturn("rack", "mishap", "plan", "--measured", "S01=580x700", "--out", "rest")
    assert "6 pieces of 6 still missing" in told
    rest = read_plan(shop / "rest")
    assert [sheet.outline_mm[2] for sheet in rest.sheets if sheet.source.stock_id == "A1"] == [(580.0, 700.0)]


def test_a_cracked_sheet_is_not_planned_with_again_and_a_repeat_makes_the_same_plan(shop: Path) -> None:
    for out in ("rest", "again"):
        halfturn("rack", "mishap", "plan", "--cracked", "S01", "--out", out)
    assert all(sheet.source.stock_id is None for sheet in read_plan(shop / "rest").sheets)
    texts = [(shop / out / "plan.json").read_text("utf-8") for out in ("rest", "again")]
    assert texts[0] == texts[1]


def test_where_the_new_plan_cannot_go_nothing_is_stopped(shop: Path) -> None:
    with pytest.raises(PlanFault):
        halfturn("rack", "mishap", "plan", "--cracked", "S01", "--out", ".")
    with pytest.raises(RackFault, match="no sheet 'S9'"):
        halfturn("rack", "mishap", "plan", "--cracked", "S9", "--out", "rest")
    with pytest.raises(RackFault, match="no piece 'tile-9'"):
        halfturn("rack", "mishap", "plan", "--spoiled", "tile-1", "--spoiled", "tile-9", "--out", "rest")
    with pytest.raises(RackFault, match="no piece '7'"):
        halfturn("rack", "mishap", "plan", "--spoiled", "6", "--spoiled", "7", "--out", "rest")
    assert "accepted" in halfturn("rack", "plans")


def test_copies_count_from_one_again_and_a_joint_to_what_is_cut_is_a_note() -> None:
    joints = (Joint("a", (0, 0), (0, 10)), Joint("b", (9, 0), (9, 10)))
    second = replace(piece("rail-1.2"), name="rail", segment_of="rail", joints=joints)
    third = replace(piece("rail-1.3"), name="rail", copy=1, segment_of="rail", joints=joints[1:])
    fourth = replace(piece("star-04"), name="star", copy=4)
    pieces, notes = order_of((second, third, fourth))
    assert [(one.id, one.copy) for one in pieces] == [("rail-1.2", 1), ("rail-1.3", 2), ("star-04", 1)]
    assert [joint.label for joint in pieces[0].joints] == ["b"]
    assert notes == ("rail-1.2: its joint a meets a segment that is cut already",)


def test_what_is_left_beyond_a_saw_cut_begins_where_the_dust_ends() -> None:
    """A saw of 3 mm takes its width from the far side of the line at 740 mm; 0.3 mm more are kept off any cut."""
    plan = sample_plan()
    sheet = plan.sheets[0]
    sawn = replace(sheet, trims=(replace(sheet.trims[0], method="saw", kerf_mm=3.0), *sheet.trims[1:]))
    now = Standing(frozenset({(sheet.id, run.blank, run.order) for run in sheet.passes}), {})
    left = remnants(replace(plan, sheets=(sawn, *plan.sheets[1:])), now, Mishap(), SHOP.rates)[sheet.id]
    assert any(743.0 <= min(x for x, _ in one.outline_mm) <= 743.5 for one in left)
