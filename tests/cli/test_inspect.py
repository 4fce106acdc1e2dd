"""`halfturn inspect`, as a person types it, on a deliberately bad drawing and on a good one."""

from __future__ import annotations

import itertools
import tomllib
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import pytest
from PIL import Image
from typer.testing import CliRunner

from cli.main import app
from nesting.toml_files import read_job

RUN = CliRunner()
STAR = Path(__file__).parents[2] / "demo_data" / "drawings" / "star.dxf"


@pytest.fixture
def bad(tmp_path: Path) -> Path:
    """A gap that can be joined and one that cannot, a double, a crossing, live text, a layer of dimensions."""
    document = ezdxf.new()
    document.units = 4
    space = document.modelspace()
    for x, gap in ((0, 0.3), (140, 2.0)):
        corners = [(x, 0), (x + 120, 0), (x + 120, 80), (x, 80), (x, gap)]
        for a, b in itertools.pairwise(corners):
            space.add_line(a, b, dxfattribs={"layer": "CUT"})
    for at in ((60, 40), (60, 40), (310, 40), (340, 40)):
        space.add_circle(at, 30, dxfattribs={"layer": "CUT"})
    space.add_text("FRONT <script>", dxfattribs={"layer": "CUT"})
    space.add_line((0, -10), (340, -10), dxfattribs={"layer": "DIMENSIONS"})
    path = tmp_path / "bad.dxf"
    document.saveas(path)
    return path


def test_a_bad_drawing_is_told_circled_and_left_to_mend(bad):
    result = RUN.invoke(app, ["inspect", str(bad), "--out", str(bad.parent / "out")])
    assert result.exit_code == 1
    for words in (
        "bad.dxf: 3 pieces",
        "ends 0.300 mm apart at (0.00, 0.30) were joined",
        "outline open by 2.00 mm at (140.00, 2.00)",
        "outlines drawn twice were dropped: 1",
        "crosses the outline of layer CUT",
        "LEFT OUT: layer CUT: entities left out: 1 (TEXT is no outline; `text` makes outlines of it",
        "layer DIMENSIONS: entities left out: 1",
        "to mend before it can be cut: 2",
    ):
        assert words in result.output
    root = ElementTree.parse(bad.parent / "out" / "bad-inspected.svg").getroot()
    shown = {e.text for e in root.iter("{http://www.w3.org/2000/svg}text")}
    joined = next(line.split()[0] for line in result.output.splitlines() if "were joined" in line)
    assert joined in shown
    with Image.open(bad.parent / "out" / "bad-inspected.png") as image:
        assert image.size[0] == 1440


def test_a_good_drawing_gives_a_job_to_start_from(tmp_path):
    result = RUN.invoke(app, ["inspect", str(STAR), "--out", str(tmp_path), "--units", "cm"])
    assert result.exit_code == 0 and "nothing to mend" in result.output
    assert "428.0 x 407.0 mm" in result.output
    job = read_job(tmp_path / "star-job.toml")
    assert [(order.name, order.units) for order in job.piece] == [("star", "cm")]
    assert (tmp_path / job.piece[0].drawing).resolve() == STAR


def test_a_job_file_that_is_there_is_left_alone(tmp_path):
    (tmp_path / "star-job.toml").write_text("mine")
    result = RUN.invoke(app, ["inspect", str(STAR), "--out", str(tmp_path)])
    assert "left as it is" in result.output
    assert (tmp_path / "star-job.toml").read_text() == "mine"


def test_hostile_layer_names_stay_words(tmp_path):
    name = 'x"]?[job]?name = "<script>'
    path = tmp_path / "names.svg"
    rects = "".join(
        f'<g label="{label}"><rect x="{x}" width="50" height="50"/></g>'
        for x, label in ((0, "a"), (100, "x&quot;]&#10;[job]&#10;name = &quot;&lt;script&gt;"))
    )
    path.write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="99mm" viewBox="0 0 300 99">{rects}</svg>'
    )
    assert RUN.invoke(app, ["inspect", str(path), "--out", str(tmp_path)]).exit_code == 0
    table = tomllib.loads((tmp_path / "names-job.toml").read_text(encoding="utf-8"))
    assert [entry["layer"] for entry in table["piece"]] == ["a", name]


def test_what_cannot_be_read_is_a_fault(tmp_path):
    result = RUN.invoke(app, ["inspect", str(tmp_path / "gone.dxf")])
    assert result.exception is not None and "no drawing gone.dxf" in str(result.exception)
