"""The demo, end to end: what a newcomer sees first must be sound, whole and the same every time."""

import hashlib
import json
from pathlib import Path

import ezdxf
import pytest
import shapely
from PIL import Image

from nesting.plan_file import read_plan
from tests.demo_pictures import FOLDER, digest, run_demo, shown


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """What the demo says, and its plan folder."""
    base = tmp_path_factory.mktemp("demo")
    said = run_demo(base / "first", "1")
    return said, base / "first" / "halfturn-demo" / "plan"


@pytest.fixture(scope="module")
def plan(demo: tuple[str, Path]) -> dict:
    return json.loads((demo[1] / "plan.json").read_text())


def test_the_summary_tells_what_a_person_wants_to_know(demo, plan):
    said, _ = demo
    assert f"{len(plan['pieces'])} pieces on {len(plan['sheets'])} sheets" in said
    (note,) = plan["notes"]
    assert f"note: {note}" in said and "capitals 220 mm high read well" in note
    assert note not in plan["warnings"]
    for words in ("passes", "turns", "trims", plan["cost"]["total"], plan["cost"]["bound"], "gap", "workpack.html"):
        assert words in said


def test_the_folder_holds_all_that_the_job_needs(demo, plan):
    names = {path.name for path in demo[1].iterdir()}
    drawn = {run["file"] for sheet in plan["sheets"] for run in sheet["passes"]}
    wanted = {"plan.json", "workpack.html", "workpack.pdf", "cut_list.csv", "trim_cuts.csv", "material_bill.csv"}
    assert wanted | drawn <= names
    assert [name for name in names if name.endswith(".xlsx")]


def test_the_face_stays_whole_over_exactly_two_passes_that_meet(plan):
    shared = [run for sheet in plan["sheets"] for run in sheet["passes"] if "crescent" in " ".join(run["part"])]
    assert len(shared) == 2
    first, second = shared
    assert first["turn_before"] == "none" and second["turn_before"] == "half"
    assert [join["sheet_mm"] for join in first["joins"]] == [join["sheet_mm"] for join in second["joins"]]
    assert len(first["lineup"]) == len(second["lineup"]) == 2


def test_the_rail_is_split_and_the_stars_are_all_there(plan):
    names = [piece["name"] for piece in plan["pieces"]]
    assert sum(name.startswith("rail, segment") for name in names) == 3
    assert sum(name in {"star", "spark"} for name in names) == 24


def test_offcuts_are_used_before_sheets_are_bought(plan):
    assert any(sheet["source"]["stock_id"] for sheet in plan["sheets"])


def test_every_drawing_is_sound_and_lies_within_the_travel(demo, plan):
    travel = shapely.box(0, 0, *plan["machine"]["travel_mm"]).buffer(1e-3)
    for sheet in plan["sheets"]:
        for file in [run["file"] for run in sheet["passes"]] + [t["file"] for t in sheet["trims"] if t["file"]]:
            document = ezdxf.readfile(demo[1] / file)
            assert document.units == 4 and not document.audit().errors
            for entity in document.modelspace().query('*[layer=="CUT"]'):
                points = [(p.x, p.y) for p in ezdxf.path.make_path(entity).flattening(0.01)]
                assert travel.covers(shapely.LineString(points)), file


def test_the_pictures_of_the_pages_show_this_plan(demo):
    for name, what in shown(read_plan(demo[1])):
        with Image.open(FOLDER / name) as picture:
            assert picture.info.get("shows") == digest(what), f"{name} shows another plan: make pictures"


def test_the_same_command_twice_gives_the_same_bytes(demo, tmp_path):
    run_demo(tmp_path / "again", "2")
    again = tmp_path / "again" / "halfturn-demo" / "plan"
    assert digests(again) == digests(demo[1])


def digests(folder: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.iterdir())}
