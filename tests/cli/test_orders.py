"""A sheet that an order brings beyond need, from the plan folder to the rack."""

import shutil
from pathlib import Path

import pytest

from cli.rack_plans import accept, finish
from tests.cli.command import halfturn
from tests.cli.test_planning import JOB, box, draw

DEMO = Path(__file__).resolve().parents[2] / "demo_data"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A workshop whose only opal offer has to be bought in threes."""
    shutil.copytree(DEMO / "workshop", tmp_path / "workshop")
    path = tmp_path / "workshop" / "workshop.toml"
    head, *offers = path.read_text().split("[[offer]]")
    terms = offers[0].replace("price = 29.40", 'price = "29.40"\nmin_order = 3\nbreaks = [{sheets = 4, price = 28}]')
    path.write_text(f"{head}[[offer]]{terms}")
    (tmp_path / "job.toml").write_text(JOB)
    draw(tmp_path, box(300, 200))
    return tmp_path


def test_a_sheet_beyond_need_is_audited_printed_and_put_on_the_rack(shop, capsys):
    plan, workshop = shop / "plan", shop / "workshop"
    told = halfturn("plan", shop / "job.toml", "--out", plan, "--workshop", workshop, "--effort", "1")
    assert told.returncode == 0, told.stderr
    assert told.stdout.count("for the rack, the order must be so large") == 2
    assert halfturn("audit", plan).returncode == 0
    assert (plan / "workpack.html").read_text().count("Put the sheet on the rack") >= 2
    assert (plan / "material_bill.csv").read_text().count("opal-5-1000x600") == 3
    accept(str(plan), workshop=workshop, who="Ann")
    finish(str(plan), workshop=workshop, who="Ann")
    rack = halfturn("rack", "list", "--workshop", workshop)
    assert rack.stdout.count("1000 x 600") == 2, rack.stdout
