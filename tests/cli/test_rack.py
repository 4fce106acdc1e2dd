"""`halfturn rack`, as a person types it."""

from __future__ import annotations

import math
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import ezdxf
import pytest
from typer.testing import CliRunner

from cli.main import app
from cli.rack_desk import asking, load_table
from inventory.measures import area_mm2
from inventory.rack import on_hand
from nesting.faults import Fault, PlanFault, RackFault
from nesting.model import Job
from nesting.plan_file import PLAN_JSON, plan_text
from tests.inventory.sample import sample_plan

DEMO = Path(__file__).parents[2] / "demo_data" / "workshop" / "rack.csv"
WORKSHOP = """
name = "A shop"
machine = []
[rates]
currency = "EUR"
machine_per_hour = 40
labour_per_hour = 30
"""
OPAL = ("--material", "acrylic", "--colour", "opal", "--thickness", "5")


@pytest.fixture
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "workshop.toml").write_text(WORKSHOP, encoding="utf-8")
    monkeypatch.setenv("HALFTURN_WORKSHOP", str(tmp_path))
    monkeypatch.setenv("HALFTURN_WHO", "Ann")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def demo_rack(workshop: Path) -> Path:
    load_table(workshop, DEMO, at=datetime.now(UTC), who="Ann")
    return workshop


@pytest.fixture
def planned(workshop: Path) -> Path:
    """A plan folder, and the sheet that it wants on the rack."""
    halfturn("receive", *OPAL, "--id", "A1", "--size", "600x700", "--place", "bay 1", "--lot", "OP-1")
    folder = workshop / "plan"
    folder.mkdir()
    (folder / PLAN_JSON).write_text(plan_text(sample_plan()), encoding="utf-8")
    return folder


def halfturn(*words: str, code: int = 0) -> str:
    result = CliRunner().invoke(app, ["rack", *words], catch_exceptions=False)
    assert result.exit_code == code, result.output
    return result.output


def test_a_sheet_received_is_listed(workshop: Path) -> None:
    halfturn("receive", *OPAL, "--size", "600x400", "--value", "9.5", "--place", "bay 1")
    assert "R1     acrylic   opal     5  600 x 400   9.50     0  bay 1  unknown" in halfturn("list")


def test_the_demo_rack_is_listed_with_its_sums(demo_rack: Path) -> None:
    assert "12 sheets, 2.161 m², book value 144.20" in halfturn("list")
    assert "5 sheets (2 shown)" in halfturn("list", "--colour", "opal", "--limit", "2")
    assert "acrylic   opal           10       2  0.304  27.30             0" in halfturn("value")


@pytest.mark.parametrize(
    ("words", "numbers"),
    [
        (("--fits", "500x650"), ["A4"]),
        (("--thickness", "10", "--colour", "opal"), ["B4", "B5"]),
        (("--place", "bay 1", "--order", "size"), ["A3", "A2", "A1"]),
        (("--lot", "MB-0398"), ["A3"]),
        (("--held",), []),
        (("--older", "1"), []),
        (("--state", "scrapped"), []),
    ],
)
def test_a_list_answers_what_is_asked(demo_rack: Path, words: tuple[str, ...], numbers: list[str]) -> None:
    lines = [line for line in halfturn("list", *words).splitlines() if line[0] in "AB"]
    assert [line.split()[0] for line in lines] == numbers


@pytest.mark.parametrize(
    ("words", "others"),
    [
        (["rack", "list"], {"nesting.model.plan", "cli.planning", "cli.quoting", "cli.rack_plans"}),
        (["--help"], {"pydantic", "sqlalchemy", "nesting.model"}),
    ],
)
def test_nobody_waits_for_a_library_that_is_not_needed(demo_rack: Path, words: list[str], others: set[str]) -> None:
    code = f"import sys; from cli.main import app; app({words}, standalone_mode=False); print(*sys.modules)"
    run = [sys.executable, "-c", code]
    loaded = subprocess.run(run, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2]).stdout
    assert not ({"pandas", "numpy", "shapely", "ortools", "numba", "fpdf"} | others) & set(loaded.split())


def test_all_that_is_booked_is_in_the_one_file_that_people_copy(workshop: Path) -> None:
    halfturn("receive", *OPAL, "--size", "600x400")
    assert [path.name for path in workshop.glob("rack.sqlite3*")] == ["rack.sqlite3"]


def test_a_sheet_measured_with_a_tape_tells_how_square_it_is(workshop: Path) -> None:
    told = halfturn("receive", *OPAL, "--tape", "AB=1000 BC=500 CD=1000 DA=500 AC=1118.93 BD=1117.14")
    assert "out of square by 2.0 mm in a metre" in told


def test_a_sheet_is_drawn(workshop: Path) -> None:
    drawing = ezdxf.new(units=4)
    drawing.modelspace().add_lwpolyline(
        [(10, 10), (310, 10), (310, 110), (110, 110), (110, 210), (10, 210)], close=True
    )
    drawing.modelspace().add_circle((60, 60), 20)
    drawing.saveas(workshop / "offcut.dxf")
    halfturn("receive", *OPAL, "--drawing", "offcut.dxf")
    assert "300 x 200 (6 corners, 1 hole)" in halfturn("list")
    svg = '<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="300mm" viewBox="0 0 400 300">{}</svg>'
    (workshop / "offcut.svg").write_text(svg.format('<path d="M0 0H400V150L250 300H0Z"/>'), encoding="utf-8")
    halfturn("receive", *OPAL, "--drawing", "offcut.svg")
    assert "400 x 300 (5 corners)" in halfturn("list")


def test_a_drawn_sheet_that_only_a_person_can_mend_is_refused(workshop: Path) -> None:
    drawing = ezdxf.new(units=4)
    drawing.modelspace().add_lwpolyline([(0, 0), (300, 0), (300, 200), (0, 200)], close=True)
    drawing.modelspace().add_lwpolyline([(50, 50), (90, 50), (90, 90), (50, 60)])
    drawing.saveas(workshop / "gap.dxf")
    before = halfturn("list")
    with pytest.raises(Fault, match="no sheet as it stands") as caught:
        halfturn("receive", *OPAL, "--drawing", "gap.dxf")
    assert "10.00 mm" in caught.value.what and "halfturn inspect gap.dxf" in caught.value.mend
    assert halfturn("list") == before


def test_arcs_of_a_drawn_sheet_become_chords_inside_the_material(workshop: Path) -> None:
    drawing = ezdxf.new(units=4)
    drawing.modelspace().add_circle((500, 500), 200)
    drawing.modelspace().add_circle((500, 500), 50)
    drawing.saveas(workshop / "ring.dxf")
    halfturn("receive", *OPAL, "--drawing", "ring.dxf")
    with asking(workshop) as conn:
        (ring,) = on_hand(conn)
    true = math.pi * (200**2 - 50**2)
    assert true - 100 < area_mm2(ring.outline_mm, ring.holes_mm) < true


@pytest.mark.parametrize(
    "words",
    [
        ("receive", *OPAL),
        ("receive", *OPAL, "--size", "600"),
        ("receive", *OPAL, "--size", "600x400", "--corners", "0,0 1,0 0,1"),
        ("receive", *OPAL, "--corners", "0,0 600,0 0,400 600,400"),
        ("receive", *OPAL, "--size", "600xnan"),
        ("receive", *OPAL, "--size", "600x400", "--value", "much"),
        ("receive", *OPAL, "--size", "600x400", "--place", "bay\x1b[2J"),
        ("receive", *OPAL, "--tape", "AB=600 BC=400 CA=1100"),
        ("receive", *OPAL, "--tape", "AB=600"),
        ("receive", *OPAL, "--drawing", "nothing.dxf"),
        ("move", "Z1", "bay 1"),
        ("history", "Z1"),
        ("correct", "Z1", "--why", "so"),
        ("labels", "out.pdf", "--size", "10x10"),
        ("labels", "out.pdf", "Z1"),
        ("labels", "workshop.toml/out.pdf"),
        ("import", "nothing.csv"),
        ("accept", "nothing"),
        ("finish", "never-accepted"),
    ],
)
def test_what_makes_no_sense_is_told_and_nothing_is_booked(demo_rack: Path, words: tuple[str, ...]) -> None:
    before = halfturn("list")
    with pytest.raises(Fault):
        halfturn(*words)
    assert halfturn("list") == before
    assert not list(demo_rack.glob("*.pdf"))


def test_a_mistake_is_corrected_and_stays_in_the_history(demo_rack: Path) -> None:
    halfturn("scrap", "A1", "--why", "wrong pile")
    halfturn("correct", "A1", "--back", "--lot", "MB-0420", "--square", "--why", "it was A3")
    halfturn("move", "A1", "bay 7")
    told = halfturn("history", "A1")
    for words in (
        "received",
        "scrapped   Ann: wrong pile",
        "it was A3, lot MB-0420, square True, on_rack True",
        "to bay 7",
    ):
        assert words in told
    assert "MB-0420" in halfturn("list", "--place", "bay 7")
    assert "agree" in halfturn("check")


def test_a_sheet_not_found_counts_no_more_until_it_turns_up(demo_rack: Path) -> None:
    assert halfturn("missing", "A1", "--why", "not in bay 1") == "A1 is missing\n"
    assert "A1" not in halfturn("list") and "A1" in halfturn("list", "--state", "missing")
    halfturn("correct", "A1", "--back", "--why", "behind the door")
    assert "A1" in halfturn("list")


def test_a_plan_is_accepted_run_and_finished(planned: Path) -> None:
    assert "held from the rack: A1" in halfturn("accept", str(planned))
    assert "Entrance / The planetarium" in halfturn("list", "--held")
    assert "accepted" in halfturn("plans")
    halfturn("start", str(planned))
    assert "S2 is on the rack as R1" in halfturn("arrived", str(planned), "S2")
    halfturn("pass", str(planned), "S1", "1")
    told = halfturn("finish", str(planned), "--labels", "labels.pdf")
    assert "2 leftovers on the rack" in told
    assert "pass 2 of S1-B1 was not noted; it counts as run" in told and "pass 1 of S1-B1" not in told
    assert Path("labels.pdf").read_bytes().startswith(b"%PDF")
    told = halfturn("history", "R2")
    assert told.startswith("A1: acrylic opal 5 mm") and "p1, p2, p3; leftovers R2" in told
    assert "    R2: acrylic opal 5 mm, 140 x 700, on rack" in told
    assert "agree" in halfturn("check")


def test_a_plan_of_bought_sheets_may_be_run_again(planned: Path) -> None:
    (planned / PLAN_JSON).write_text(plan_text(sample_plan(stock_id=None)), encoding="utf-8")
    first = halfturn("accept", str(planned)).split()[2]
    told = halfturn("finish", str(planned))
    assert "S2 was not booked as arrived; it is booked in as R2, and as cut" in told
    assert "no pass was noted as run; 3 passes of the plan count as run" in told
    with pytest.raises(RackFault, match="finished"):
        halfturn("accept", str(planned))
    again = halfturn("accept", str(planned), "--again").split()[2]
    assert again == first.replace(";", ".2;")
    assert halfturn("accept", str(planned), "--again").split()[2] == again
    assert "cancelled" in halfturn("cancel", str(planned))


def test_where_nothing_is_left_no_labels_are_printed_and_it_is_said(planned: Path) -> None:
    plan = sample_plan()
    plan = replace(plan, sheets=tuple(replace(sheet, leftovers=()) for sheet in plan.sheets))
    (planned / PLAN_JSON).write_text(plan_text(plan), encoding="utf-8")
    halfturn("accept", str(planned))
    told = halfturn("finish", str(planned), "--labels", "labels.pdf")
    assert "no leftovers, so no labels: labels.pdf is not written" in told
    assert not Path("labels.pdf").exists()


def test_a_plan_is_found_by_the_id_it_was_accepted_under(planned: Path) -> None:
    plan_id = halfturn("accept", str(planned)).split()[2].rstrip(";")
    (planned / PLAN_JSON).unlink()
    assert "finished" in halfturn("finish", plan_id)


def test_a_count_books_what_it_finds(demo_rack: Path) -> None:
    seen = ("count", "--place", "bay 1", "A1", "A2", "B1", "Z9")
    assert "1 missing, booked as not found: A3" in halfturn(*seen, "--dry-run")
    assert "A3" in halfturn("list")
    told = halfturn(*seen)
    assert "1 stood elsewhere on record, booked as here: B1" in told and "1 not known, look again: Z9" in told
    assert "A3 " not in halfturn("list")
    assert "1 were missing, are back: A3" in halfturn("count", "--place", "bay 3", "A3", "B2", "B3")
    assert "A3" in halfturn("list", "--place", "bay 3")


def test_tables_come_in_and_go_out(workshop: Path) -> None:
    table = workshop / "stock.csv"
    table.write_text("id,material,colour,thickness_mm,length_mm,width_mm\nA1,acrylic,opal,5,600,x\n", encoding="utf-8")
    assert "row 2: A1: refused width_mm: 'x' cannot be read" in halfturn("import", "stock.csv", "--dry-run", code=1)
    assert "12 new sheets on the rack" in halfturn("import", str(DEMO))
    assert "12 sheets in out.xlsx" in halfturn("export", "out.xlsx")
    assert "0 new sheets on the rack, 12 on record before" in halfturn("import", "out.xlsx")


@pytest.mark.parametrize(("command", "out"), [("picture", "rack.gif"), ("picture", "rack"), ("export", "rack.ods")])
def test_a_file_whose_name_says_another_kind_is_not_written(demo_rack: Path, command: str, out: str) -> None:
    with pytest.raises(RackFault, match="does not say what to write"):
        halfturn(command, out)
    assert not Path(out).exists()


def test_a_hostile_name_moves_no_cursor(workshop: Path) -> None:
    wild = "\x1b[2J\u202e"
    table = workshop / "stock.csv"
    head = "id,material,colour,thickness_mm,length_mm,width_mm"
    table.write_text(f"{head}\nA{wild},acrylic,opal,5,600,400\n", encoding="utf-8")
    assert "\x1b" not in halfturn("import", "stock.csv", "--dry-run", code=1)
    with pytest.raises(RackFault, match="`why` is not one line"):
        halfturn("receive", *OPAL, "--size", "600x400", "--why", wild)
    text = plan_text(replace(sample_plan(None), job=Job("Sign"))).replace('"Sign"', '"Sign\\u001b[2J"')
    (workshop / PLAN_JSON).write_text(text, encoding="utf-8")
    with pytest.raises(PlanFault, match="no plan of format"):
        halfturn("accept", str(workshop))


def test_papers_are_written(demo_rack: Path) -> None:
    assert "12 labels" in halfturn("labels", "labels.pdf", "--size", "99x57", "--columns", "2", "--rows", "5")
    assert "2 labels" in halfturn("labels", "two.pdf", "A1", "A2", "--first", "5")
    assert "12 sheets" in halfturn("picture", "rack.svg")
    assert "3 sheets" in halfturn("picture", "bay1.png", "--place", "bay 1")
    assert "12 sheets to count" in halfturn("count-sheet", "count.pdf")
    starts = {"labels.pdf": b"%PDF", "rack.svg": b"<svg", "bay1.png": b"\x89PNG", "count.pdf": b"%PDF"}
    for name, start in starts.items():
        assert Path(name).read_bytes().startswith(start)
