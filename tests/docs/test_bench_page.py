"""The page of benchmarks: ratios to the figures kept, limits that are passed, plots that are drawings."""

from pathlib import Path
from xml.etree import ElementTree

from tests.measure import PACE, Figure, _hands, _letters, page, plot

STARTS = Figure("start-up", "halfturn --help", 0.5, "s", limit=0.4)
PAGE = [
    "| all |  |  | 50.00 | 100.00 | 80.00 | 160.00 | 240.00 | 200.00 | 120.00 |",
    "| 60 | 17.2 s | 25.0 s | 417 ms | 109.81 | 1.83 | 13.5 % |",
]
JOBS = [Figure("jobs", f"{size} pieces", size / 5, "s", size) for size in (10, 20)]


def test_figures_are_held_against_those_kept_and_their_limits():
    text = page([STARTS, *JOBS], {"start-up: halfturn --help": 0.25, "jobs: 10 pieces": 4.0}, 1.0)
    assert "| halfturn --help | 0.5 s | 0.4 **past it** | 2.00 |" in text
    assert "| 10 pieces | 2 s | - | 0.50 |" in text
    assert "| 20 pieces | 4 s | - | - |" in text
    assert text.count("![") == 1


def test_a_slower_machine_is_not_taken_for_a_slower_program():
    now = Figure("the machine", PACE, 0.4, "s")
    kept = {f"the machine: {PACE}": 0.2, "start-up: halfturn --help": 0.25}
    text = page([now, STARTS], kept, 1.0)
    assert f"| {PACE} | 0.4 s | - | 2.00 |" in text
    assert "| halfturn --help | 0.5 s | 0.4 **past it** | 1.00 |" in text
    assert "busy" not in text and "had 30% of a core" in page([now], kept, 1.0, 0.3)


def test_what_the_jobs_came_to_is_told_as_shares_of_planning_by_hand():
    told = ["| 1 | 18 | 1 | 8.00 | 9.00 | 9.00 | 9.00 | 9.00 | 9.00 | 9.00 | 3.1 s", *PAGE]
    found = {figure.name: figure.value for figure in _hands(told, 20)}
    assert found["material, of that of rows"] == 0.5
    assert found["total, of that of the first that fits"] == 0.8
    assert found["gap to the bound"] == 25.0


def test_growth_is_told_by_the_number_of_letters():
    found = {(figure.group, figure.size): figure.value for figure in _letters(PAGE)}
    assert found == {
        ("letters: time", 60): 25.0,
        ("letters: cost", 60): 109.81,
        ("letters: gap to the bound", 60): 13.5,
    }


def test_the_rows_of_the_page_of_choice_are_still_such_rows():
    lines = (Path(__file__).parents[2] / "docs" / "choice.md").read_text(encoding="utf-8").splitlines()
    assert all(0 < figure.value < 100 for figure in _hands(lines, 20))


def test_a_plot_is_a_drawing_with_every_figure_written():
    words = [text.text for text in ElementTree.fromstring(plot("jobs", JOBS)).iter("{http://www.w3.org/2000/svg}text")]
    assert {"2", "4", "10", "20"} <= set(words)
