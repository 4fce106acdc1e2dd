"""The page of benchmarks: ratios to the figures kept, limits that are passed, plots that are drawings."""

from xml.etree import ElementTree

from tests.measure import Figure, page, plot

STARTS = Figure("start-up", "halfturn --help", 0.5, "s", limit=0.4)
JOBS = [Figure("jobs", f"{size} pieces", size / 5, "s", size) for size in (10, 20)]


def test_figures_are_held_against_those_kept_and_their_limits():
    text = page([STARTS, *JOBS], {"start-up: halfturn --help": 0.25, "jobs: 10 pieces": 4.0}, 1.0)
    assert "| halfturn --help | 0.5 s | 0.4 **past it** | 2.00 |" in text
    assert "| 10 pieces | 2 s | - | 0.50 |" in text
    assert "| 20 pieces | 4 s | - | - |" in text
    assert text.count("![") == 1


def test_a_plot_is_a_drawing_with_every_figure_written():
    words = [text.text for text in ElementTree.fromstring(plot("jobs", JOBS)).iter("{http://www.w3.org/2000/svg}text")]
    assert {"2", "4", "10", "20"} <= set(words)
