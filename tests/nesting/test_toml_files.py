"""What a job file may say: nothing is taken for what it is not, and the answer names the place and the mend."""

import pytest

from nesting.faults import JobFault
from nesting.toml_files import read_job

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
