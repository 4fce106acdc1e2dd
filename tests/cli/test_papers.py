"""`halfturn papers`: documents anew from a plan folder, and a clear word where that cannot be."""

from pathlib import Path

import pypdfium2
import pytest

from cli.documents import steps
from cli.papers import PaperName, papers
from nesting.faults import PlanFault
from nesting.plan_file import PLAN_JSON, plan_text
from nesting.toml_files import read_workshop
from tests.cli.sample_plan import sample_plan

SHOP = Path(__file__).resolve().parents[2] / "demo_data" / "workshop"


@pytest.fixture
def folder(tmp_path) -> Path:
    folder = tmp_path / "plan"
    folder.mkdir()
    (folder / PLAN_JSON).write_text(plan_text(sample_plan()), encoding="utf-8")
    return folder


def test_letter_paper_and_pictures_on_demand(folder, tmp_path, capsys):
    papers(folder, tmp_path / "out", SHOP, PaperName.LETTER, pictures=True)
    assert pypdfium2.PdfDocument(tmp_path / "out" / "workpack.pdf")[0].get_width() == pytest.approx(612.0, abs=0.1)
    assert {path.suffix for path in (tmp_path / "out").iterdir()} == {".html", ".pdf", ".csv", ".xlsx", ".svg", ".png"}
    assert "workpack.html" in capsys.readouterr().out
    assert {path.name for path in folder.iterdir()} == {PLAN_JSON}, "the plan folder stays as it is"


def test_inches_stand_beside_millimetres_on_demand(folder, tmp_path):
    for inches, told in ((False, False), (True, True)):
        papers(folder, tmp_path / "out", SHOP, inches=inches)
        text = (tmp_path / "out" / "workpack.html").read_text(encoding="utf-8")
        # The sheet of 1100 x 610 mm; 1 in = 25.4 mm exactly (international inch, 1959).
        assert ("1100 × 610 mm (43.31 × 24.02 in)" in text) is told
        assert "7.6 mm/s (" not in text
        assert (">1100 mm (43.31 in)<" in text) is told, "on the dimension line"
        assert (">y (in)<" in text) is told, "in the tables of coordinates"


def test_one_step_a_page_on_the_smaller_paper_with_inches_too(folder, tmp_path):
    papers(folder, tmp_path / "out", SHOP, PaperName.LETTER, inches=True)
    printed = pypdfium2.PdfDocument(tmp_path / "out" / "workpack.pdf")
    pack = steps.steps(sample_plan(), read_workshop(SHOP / "workshop.toml"))
    assert len(printed) == len(pack), "no page holds only what another had no room for"


def test_no_plan_there(tmp_path):
    with pytest.raises(PlanFault):
        papers(tmp_path, tmp_path / "out", SHOP)
    assert not (tmp_path / "out").exists()


def test_a_file_where_the_folder_should_be(folder, tmp_path):
    (tmp_path / "out").write_text("in the way")
    with pytest.raises(PlanFault, match="nothing can be written there"):
        papers(folder, tmp_path / "out", SHOP)
    assert {path.name for path in tmp_path.iterdir()} == {"plan", "out"}, "no half-written folder is left behind"
