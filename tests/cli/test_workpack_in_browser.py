"""The work pack as a browser shows it: from disk, on a phone and a desk, with ticks that stay, one step a printed page.

Needs a Chromium; without one these tests are skipped and say so. The accessibility check also needs the script of
axe-core, which HALFTURN_TEST_AXE names.
"""

import html
import json
import os
import re
import shutil
import subprocess
from pathlib import Path

import pypdfium2
import pytest

from cli.documents import steps
from tests.cli.sample_plan import WORKSHOP, hostile_plan, sample_plan, write

AXE = Path(os.environ.get("HALFTURN_TEST_AXE", "no script"))
BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
pytestmark = pytest.mark.skipif(BROWSER is None, reason="no Chromium here to open the work pack with")


def browse(page: Path, profile: Path, *options: str) -> str:
    """Standard output of one headless run over a page on disk."""
    command = [str(BROWSER), "--headless", "--no-sandbox", "--disable-gpu", "--allow-file-access-from-files"]
    command += [f"--user-data-dir={profile}", "--virtual-time-budget=3000", *options, page.as_uri()]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=True).stdout


def injected(page: Path, name: str, script: str) -> Path:
    """A copy of the page, in the same folder, that also runs `script`."""
    copy = page.with_name(name)
    text = page.read_text(encoding="utf-8").replace("</body>", f"<script>{script}</script></body>")
    copy.write_text(text, encoding="utf-8")
    return copy


def told(page: Path, width: int, profile: Path, script: str = "") -> str:
    """What the page, `width` pixels wide, or a `script` beside it writes into `told.textContent`."""
    frame = page.with_name("frame.html")
    frame.write_text(
        f'<iframe src="{page.as_uri()}" style="width:{width}px;height:800px;border:0"></iframe>'
        f'<p id="told"></p><script>const told = document.getElementById("told");{script}</script>',
        encoding="utf-8",
    )
    found = re.search(r'<p id="told">(.*?)</p>', browse(frame, profile, "--dump-dom"), re.DOTALL)
    assert found
    return html.unescape(found[1])


def test_ticks_are_kept_and_a_changed_plan_starts_with_none(tmp_path):
    page = write(tmp_path / "plan") / "workpack.html"
    other = write(tmp_path / "other", sample_plan(face="another face")) / "workpack.html"
    total = sum(len(step.todo) for step in steps.steps(sample_plan(), WORKSHOP))
    # The page is opened, two lines are ticked, it is opened again, and then that of another plan.
    script = f"""
    const seen = [], coming = ["{page.as_uri()}", "{other.as_uri()}"];
    document.querySelector("iframe").onload = ({{target}}) => {{
      const opened = target.contentDocument;
      seen.push(opened.getElementById("done").textContent);
      if (seen.length === 1) [...opened.querySelectorAll("[data-tick]")].slice(0, 2).forEach((tick) => tick.click());
      if (coming.length) target.src = coming.shift(); else told.textContent = seen.join(", ");
    }};"""
    assert told(page, 800, tmp_path / "profile", script) == f"0 of {total}, 2 of {total}, 0 of {total}"


WIDE = "document.querySelector('iframe').onload = (e) => told.textContent ="
WIDE += "e.target.contentDocument.documentElement.scrollWidth;"


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("plan", [sample_plan(), hostile_plan()], ids=["plain", "hostile"])
def test_nothing_runs_over_the_side(tmp_path, width, plan):
    page = write(tmp_path / "plan", plan) / "workpack.html"
    assert int(told(page, width, tmp_path / "profile", WIDE)) <= width


EXAMINE = """
axe.run(document, {resultTypes: ["violations"]}).then((found) => {
  parent.document.getElementById("told").textContent = JSON.stringify(
    found.violations.map((v) => [v.impact, v.id, v.nodes.length, v.nodes[0].html.slice(0, 200)]).concat([["ran"]]));
});
"""


@pytest.mark.skipif(not AXE.is_file(), reason="no script of axe-core here: HALFTURN_TEST_AXE names none")
@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("plan", [sample_plan(), hostile_plan()], ids=["plain", "hostile"])
def test_nobody_is_kept_out(tmp_path, width, plan):
    page = write(tmp_path / "plan", plan) / "workpack.html"
    examined = injected(page, "examined.html", AXE.read_text(encoding="utf-8") + EXAMINE)
    *found, ran = json.loads(told(examined, width, tmp_path / "profile"))
    assert ran == ["ran"]
    assert [finding for finding in found if finding[0] in {"serious", "critical"}] == []


def test_prints_one_step_a_page(tmp_path):
    page = write(tmp_path / "plan") / "workpack.html"
    out = tmp_path / "printed.pdf"
    browse(page, tmp_path / "profile", f"--print-to-pdf={out}", "--no-pdf-header-footer")
    pack = steps.steps(sample_plan(), WORKSHOP)
    printed = pypdfium2.PdfDocument(out)
    assert len(printed) == len(pack)
    for step, sheet in zip(pack, printed, strict=True):
        assert step.title in " ".join(sheet.get_textpage().get_text_bounded().split())
