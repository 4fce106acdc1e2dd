"""What a job file may say: nothing is taken for what it is not, and the answer names the place and the mend."""

from pathlib import Path

import pytest

from nesting.faults import JobFault
from nesting.toml_files import read_job, read_workshop

WORKSHOP = Path(__file__).parents[2] / "demo_data" / "workshop" / "workshop.toml"
STOCK = 'material = "acrylic"\ncolour = "opal"\nthickness_mm = 5\n'
JOB = """
[job]
name = "sign"
due = 2026-12-24
[[piece]]
name = "letter"
wording = "A"
height_mm = 200
material = "acrylic"
colour = "opal"
thickness_mm = 5
"""


def read(folder, *more):
    (folder / "job.toml").write_text("\n".join([JOB, *more]), encoding="utf-8")
    return read_job(folder / "job.toml")


@pytest.mark.parametrize("said", ["true", "false", '"prefer"'])
def test_one_piece_is_asked_for_refused_or_preferred(tmp_path, said):
    (order,) = read(tmp_path, f"one_piece = {said}").piece
    assert order.one_piece == {"true": True, "false": False}.get(said, "prefer")


@pytest.mark.parametrize(
    ("line", "what"),
    [
        ('one_piece = "yes"', "input should be true or false or 'prefer', not `yes`"),
        ("one_piece = 1", "input should be true or false or 'prefer', not `1`"),
        ('mirror = "on"', "input should be true or false, not `on`"),
        ('quantity = "3"', "input should be a whole number, not `3`"),
        ("quantity = true", "input should be a whole number, not `True`"),
        ('tracking_mm = "2"', "input should be a number, not `2`"),
        ("strap = {material = 'acrylic', colour = 'opal', thickness_mm = 3, size = 1}", "unknown key `size`"),
    ],
)
def test_what_is_no_switch_and_no_figure_is_refused(tmp_path, line, what):
    with pytest.raises(JobFault) as caught:
        read(tmp_path, line)
    assert caught.value.what == what
    assert caught.value.where[1:3] == ("piece", "1 (letter)")


@pytest.mark.parametrize(
    ("line", "what"),
    [
        ("wording = 'A'\nheight_mm = 0", "`wording` needs a `height_mm` above 0"),
        ("wording = 'A'\nheight_mm = 9\nquantity = 0", "`quantity` must be at least 1"),
        ("", "give either `drawing` or `wording`"),
    ],
)
def test_a_piece_that_cannot_be_made_is_refused(tmp_path, line, what):
    (tmp_path / "job.toml").write_text(f"{JOB.split('wording')[0]}{line}\n{STOCK}", encoding="utf-8")
    with pytest.raises(JobFault, match=what):
        read_job(tmp_path / "job.toml")


@pytest.mark.parametrize(
    ("key", "what"),
    [
        ("temperature_span_k = 0", "the warmest day less the coldest"),
        ("max_mismatch_mm = 0", "`max_mismatch_mm` must be above 0"),
        ("quantity = 0", "`quantity` must be at least 1"),
    ],
)
def test_a_job_that_asks_for_nothing_is_refused(tmp_path, key, what):
    (tmp_path / "job.toml").write_text(JOB.replace("[[piece]]", f"{key}\n[[piece]]"), encoding="utf-8")
    with pytest.raises(JobFault, match=what):
        read_job(tmp_path / "job.toml")


@pytest.mark.parametrize(
    ("table", "line", "what"),
    [
        ("rates", "trim_stages = 0", "`trim_stages` must be 1 or more"),
        ("rates", "edge_trim_mm = 200", "`edge_trim_mm` must be from 0 to 100"),
        ("rates", "edge_trim_mm = 2\nedge_trim = 'when relied on'", "must be more than `saw_kerf_mm`"),
        ("[machine]", "join_overlap_mm = -1", "`join_overlap_mm` must be 0 or more"),
        ("[machine]", "table_left_mm = 21", "the 20 mm that the table is wider"),
        ("[material]", "expansion_per_k = 7", "such as 7e-5"),
        ("[material]", "modulus_gpa = 0", "`modulus_gpa` must be above 0"),
        ("quoting", "waste = 1.0", "`waste` is a share of the sheet"),
        ("quoting", "copies = []", "`copies` are whole numbers from 1"),
    ],
)
def test_a_workshop_whose_figures_make_no_sense_is_refused(tmp_path, table, line, what):
    text = WORKSHOP.read_text(encoding="utf-8") + "\n[quoting]\n"
    (tmp_path / "workshop.toml").write_text(text.replace(f"[{table}]", f"[{table}]\n{line}", 1), encoding="utf-8")
    with pytest.raises(JobFault, match=what):
        read_workshop(tmp_path / "workshop.toml")


def test_several_mistakes_are_counted_each_once(tmp_path):
    with pytest.raises(JobFault, match="and 2 more"):
        read(tmp_path, 'one_piece = "yes"', 'mirror = "on"', 'text = "no"')


def test_a_misspelt_key_of_any_table_is_recognised(tmp_path):
    with pytest.raises(JobFault) as caught:
        read(tmp_path, "[[extra]]", 'what = "delivery"', "amount = 20.50", "each_copies = true")
    assert caught.value.mend == "did you mean `each_copy`?"


def test_a_date_and_money_are_read_as_they_stand(tmp_path):
    job = read(tmp_path, "[[extra]]", 'what = "delivery"', "amount = 20.10")
    assert job.job.due == "2026-12-24" and str(job.extra[0].amount) == "20.1"
