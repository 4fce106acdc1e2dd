"""The work pack as a browser shows it: from disk, on a phone and a desk, with ticks that stay, one step a printed page.

Needs a Chromium; without one these tests are skipped and say so.
"""

import re
import shutil
import subprocess
from pathlib import Path

import pypdfium2
import pytest

from cli.documents import steps
from tests.cli.sample_plan import WORKSHOP, hostile_plan, sample_plan, write

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


def counted(dom: str) -> str:
    found = re.search(r'<span id="done"[^>]*>([^<]*)</span>', dom)
    assert found, "the page does not say how much is done"
    return found[1]


def test_ticks_are_kept_and_a_changed_plan_starts_with_none(tmp_path):
    page = write(tmp_path / "plan") / "workpack.html"
    other = write(tmp_path / "other", sample_plan(face="another face")) / "workpack.html"
    profile = tmp_path / "profile"
    total = sum(len(step.todo) for step in steps.steps(sample_plan(), WORKSHOP))
    assert counted(browse(page, profile, "--dump-dom")) == f"0 of {total}"
    click = injected(
        page, "clicked.html", "for (const b of [...document.querySelectorAll('[data-tick]')].slice(0, 2)) b.click()"
    )
    assert counted(browse(click, profile, "--dump-dom")) == f"2 of {total}"
    assert counted(browse(page, profile, "--dump-dom")) == f"2 of {total}"
    assert counted(browse(other, profile, "--dump-dom")) == f"0 of {total}"


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("plan", [sample_plan(), hostile_plan()], ids=["plain", "hostile"])
def test_nothing_runs_over_the_side(tmp_path, width, plan):
    page = write(tmp_path / "plan", plan) / "workpack.html"
    frame = tmp_path / "frame.html"
    frame.write_text(
        f'<iframe src="{page.as_uri()}" style="width:{width}px;height:800px;border:0"></iframe>'
        '<p id="wide"></p><script>'
        "document.querySelector('iframe').onload = (e) => document.getElementById('wide').textContent ="
        " e.target.contentDocument.documentElement.scrollWidth;</script>",
        encoding="utf-8",
    )
    found = re.search(r'<p id="wide">(\d+)</p>', browse(frame, tmp_path / "profile", "--dump-dom"))
    assert found and int(found[1]) <= width


def test_prints_one_step_a_page(tmp_path):
    page = write(tmp_path / "plan") / "workpack.html"
    out = tmp_path / "printed.pdf"
    browse(page, tmp_path / "profile", f"--print-to-pdf={out}", "--no-pdf-header-footer")
    pack = steps.steps(sample_plan(), WORKSHOP)
    printed = pypdfium2.PdfDocument(out)
    assert len(printed) == len(pack)
    for step, sheet in zip(pack, printed, strict=True):
        assert step.title in " ".join(sheet.get_textpage().get_text_bounded().split())
