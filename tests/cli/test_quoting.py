"""`halfturn quote`, end to end on a job of wording alone."""

import shutil
from contextlib import nullcontext
from pathlib import Path

import pytest
import typer

from cli import quoting
from cli.quoting import quote
from nesting.faults import Fault

DEMO = Path(__file__).resolve().parents[2] / "demo_data" / "workshop" / "workshop.toml"
JOB = """
[job]
name = "Door plate"
customer = "Dr. Moon"
[[piece]]
name = "letter"
wording = "I"
height_mm = 80
material = "acrylic"
colour = "opal"
thickness_mm = 5
[[extra]]
what = "delivery"
amount = 25.00
"""


@pytest.fixture
def shop(tmp_path) -> Path:
    folder = tmp_path / "shop"
    folder.mkdir()
    shutil.copy(DEMO, folder / "workshop.toml")
    with (folder / "workshop.toml").open("a", encoding="utf-8") as file:
        file.write("\n[quoting]\ncopies = [1, 2, 50]\nvalid_days = 14\n")
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    return folder


def test_wording_alone_is_priced_for_several_copies(shop, tmp_path, capsys):
    quote(shop / "job.toml", tmp_path / "out", shop, effort=1, most=10, day="2026-11-25")
    said = capsys.readouterr().out
    assert "1 piece a copy, valid until 2026-12-09" in said
    assert "by a plan for" in said.splitlines()[3], "50 letters are more than 10"
    each = [float(line.split(" x ")[1].split()[0]) for line in said.splitlines() if " x " in line]
    assert len(each) == 3
    assert each == sorted(each, reverse=True), "more copies are never dearer each"
    assert "if material 10% dearer" in said
    assert "if letters 10% lower" in said
    assert "note: wording 'I': capitals" in said, "what the wording gave cause to say"
    assert "capitals" in (tmp_path / "out" / "quote-inner.html").read_text(encoding="utf-8")
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        *("quote.html", "quote.pdf"),
        *("quote-inner.html", "quote-inner.pdf"),
    }
    first = (tmp_path / "out" / "quote.pdf").read_bytes()
    quote(shop / "job.toml", tmp_path / "again", shop, effort=1, most=10, day="2026-11-25")
    assert (tmp_path / "again" / "quote.pdf").read_bytes() == first


def test_ctrl_c_prices_the_best_plan_so_far_and_says_so(shop, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(quoting, "asked_to_stop", lambda handed_out: nullcontext([True]))
    (shop / "job.toml").write_text(JOB.replace("[job]", "[job]\nquantity = 3"), encoding="utf-8")
    quote(shop / "job.toml", tmp_path / "out", shop, effort=1, most=10, day="2026-11-25")
    said = capsys.readouterr().out
    assert [line.split(" x ")[0].strip() for line in said.splitlines() if " x " in line] == ["1", "2", "3", "50"], (
        "as many as the job asks for beside what the shop always quotes"
    )
    assert said.count("by a plan for 1)") == 3, "no further plan is begun"
    assert "stopped on request before all effort was spent" in said
    assert "if material 10% dearer" in said and "if letters" not in said
    assert "stopped on request" in (tmp_path / "out" / "quote-inner.html").read_text(encoding="utf-8")
    assert "stopped on request" not in (tmp_path / "out" / "quote.html").read_text(encoding="utf-8")


def test_a_bad_date_and_an_empty_job_are_told(shop, tmp_path):
    with pytest.raises(typer.BadParameter, match="YYYY-MM-DD"):
        quote(shop / "job.toml", tmp_path / "out", shop, day="tomorrow")
    (shop / "job.toml").write_text(JOB.replace('wording = "I"', 'wording = " "'), encoding="utf-8")
    with pytest.raises(Fault):
        quote(shop / "job.toml", tmp_path / "out", shop, day="2026-11-25")
    assert not (tmp_path / "out").exists()


def test_a_stock_that_is_not_on_offer_is_told_without_a_word_of_the_rack(shop, tmp_path):
    (shop / "job.toml").write_text(JOB.replace("opal", "crimson"), encoding="utf-8")
    with pytest.raises(Fault, match="acrylic crimson 5 mm, which is not on offer") as caught:
        quote(shop / "job.toml", tmp_path / "out", shop, day="2026-11-25")
    assert "rack" not in caught.value.what + caught.value.mend


def test_pvc_is_refused_on_the_demo_laser_before_anything_is_written(shop, tmp_path):
    (shop / "job.toml").write_text(JOB.replace('"acrylic"', '"PVC foam"'), encoding="utf-8")
    with pytest.raises(Fault, match="must not be cut on a laser"):
        quote(shop / "job.toml", tmp_path / "out", shop, day="2026-11-25")
    assert not (tmp_path / "out").exists()
