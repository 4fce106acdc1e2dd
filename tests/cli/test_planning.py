"""`halfturn plan` as a person meets it: what goes wrong is told once, with its mend, and nothing is written."""

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import ezdxf
import pytest

from cli.planning import asked_to_stop
from tests.cli.command import halfturn

DEMO = Path(__file__).resolve().parents[2] / "demo_data"

JOB = """
[job]
name = "Test"
machine = "small laser"
[[piece]]
name = "panel"
drawing = "panel.dxf"
material = "acrylic"
colour = "opal"
thickness_mm = 5
"""


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A folder with the demo's workshop and a job for one panel that is still to be drawn."""
    shutil.copytree(DEMO / "workshop", tmp_path / "workshop")
    (tmp_path / "job.toml").write_text(JOB)
    return tmp_path


def draw(shop: Path, points: list[tuple[float, float]], closed: bool = True) -> None:
    document = ezdxf.new(units=4)
    document.modelspace().add_lwpolyline(points, close=closed)
    document.saveas(shop / "panel.dxf")


def refused(shop: Path, *said: str) -> str:
    """Plan the job; the refusal must hold all of `said`, one message, exit code 2 and nothing written."""
    before = sorted(path.name for path in shop.iterdir())
    result = halfturn("plan", shop / "job.toml", "--out", shop / "plan", "--workshop", shop / "workshop")
    assert result.returncode == 2, result.stderr
    assert result.stderr.count("error:") == 1
    for words in (*said, "mend:"):
        assert words in result.stderr
    assert sorted(path.name for path in shop.iterdir()) == before
    return result.stderr


def test_ctrl_c_hands_out_the_best_plan_so_far(shop):
    draw(shop, box(100, 100))
    (shop / "job.toml").write_text(JOB + "quantity = 60\n")
    words = ["plan", shop / "job.toml", "--out", shop / "plan", "--workshop", shop / "workshop", "--effort", "100000"]
    command = [sys.executable, "-m", "cli.main", *map(str, words)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=DEMO.parent) as run:
        next(line for line in run.stderr if "round 3" in line)
        run.send_signal(signal.SIGINT)
        said, _ = run.communicate()
    assert run.returncode == 0
    assert "stopped on request" in said
    assert halfturn("audit", shop / "plan").returncode == 0


def test_ctrl_c_before_there_is_a_plan_ends_with_130_and_changes_nothing(shop):
    draw(shop, box(100, 100))
    before = sorted(path.name for path in shop.iterdir())
    words = ["plan", shop / "job.toml", "--out", shop / "plan", "--workshop", shop / "workshop"]
    command = [sys.executable, "-m", "cli.main", *map(str, words)]
    there = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True, "cwd": DEMO.parent}
    # Whoever starts these tests in the background may have Ctrl-C ignored.
    with subprocess.Popen(command, preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL), **there) as run:
        assert run.stderr.readline() == "reading\n"
        run.send_signal(signal.SIGINT)
        _, told = run.communicate()
    assert run.returncode == 130
    assert "Traceback" not in told
    assert sorted(path.name for path in shop.iterdir()) == before


@pytest.fixture
def heard():
    """Ctrl-C raises KeyboardInterrupt, whoever started the tests."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


def test_the_first_ctrl_c_asks_for_what_there_is_and_the_second_gives_up(capsys, heard):
    with pytest.raises(KeyboardInterrupt), asked_to_stop("the best plan so far") as asked:
        os.kill(os.getpid(), signal.SIGINT)
        assert asked == [True]
        os.kill(os.getpid(), signal.SIGINT)
    assert "Ctrl-C again to give up" in capsys.readouterr().err
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def box(width: float, depth: float) -> list[tuple[float, float]]:
    return [(0, 0), (width, 0), (width, depth), (0, depth)]


def test_an_unreadable_drawing(shop):
    (shop / "panel.dxf").write_bytes(b"this is no drawing")
    refused(shop, "panel.dxf")


def test_a_missing_drawing(shop):
    refused(shop, "panel.dxf")


def test_an_open_contour_is_told_with_its_gap(shop):
    draw(shop, [(0, 0), (100, 0), (100, 100), (0, 100), (0, 7)], closed=False)
    refused(shop, "panel.dxf", "7.00 mm")


def test_a_piece_beyond_any_reach_that_must_stay_whole(shop):
    draw(shop, box(590, 830))
    (shop / "job.toml").write_text(JOB + "one_piece = true\n")
    refused(shop, "panel", "590.0 x 830.0 mm", "40.0 mm short", "one_piece = false")


def test_a_stock_key_that_nobody_has(shop):
    draw(shop, box(100, 100))
    (shop / "job.toml").write_text(JOB.replace("opal", "crimson"))
    refused(shop, "acrylic crimson 5 mm", "neither on the rack nor on offer")


def test_a_key_the_job_file_does_not_know(shop):
    (shop / "job.toml").write_text(JOB + "quantty = 2\n")
    refused(shop, "unknown key `quantty`", "job.toml", "1 (panel)", "did you mean `quantity`?")


def test_a_machine_the_workshop_does_not_have(shop):
    draw(shop, box(100, 100))
    (shop / "job.toml").write_text(JOB.replace("small laser", "big laser"))
    refused(shop, "big laser", "small laser")


def test_a_thickness_the_machine_has_no_figure_for(shop):
    draw(shop, box(100, 100))
    (shop / "job.toml").write_text(JOB.replace("thickness_mm = 5", "thickness_mm = 20"))
    refused(shop, "no cutting figure", "20 mm")


def test_a_folder_that_holds_other_things_is_left_alone(shop):
    draw(shop, box(100, 100))
    (shop / "plan").mkdir()
    (shop / "plan" / "letter.txt").write_text("dear customer")
    refused(shop, "other things than a plan")
    assert (shop / "plan" / "letter.txt").read_text() == "dear customer"
