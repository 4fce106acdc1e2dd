"""`make pictures`: the demo's pictures in README and docs, made anew of the plan that the demo's tests make.

    python -m tests.demo_pictures

Each PNG bears a digest of what it shows (text chunk `shows`), by which a test holds it against today's plan.
"""

from __future__ import annotations

import hashlib
import io
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pypdfium2
from PIL import Image, ImageChops
from PIL.PngImagePlugin import PngInfo

from cli.documents import page, pictures, steps
from cli.documents.canvas import Picture
from cli.documents.pdf import write_pdf
from cli.documents.png import png
from cli.documents.step import Step
from cli.documents.svg import svg
from nesting.model import Plan
from nesting.plan_file import read_plan
from nesting.toml_files import read_workshop

REPO = Path(__file__).resolve().parents[1]
FOLDER = REPO / "docs" / "pictures"
DPI = 120
BORDER_PX = 14


def run_demo(folder: Path, hash_seed: str) -> str:
    """What the demo says, at the least effort, in a process whose sets have an order of their own; its files in the
    folder."""
    folder.mkdir()
    command = [sys.executable, "-m", "cli.main", "demo", "--effort", "1"]
    there = {**os.environ, "PYTHONPATH": str(REPO), "PYTHONHASHSEED": hash_seed}
    return subprocess.run(command, capture_output=True, text=True, cwd=folder, check=True, env=there).stdout


def shown(plan: Plan) -> Iterator[tuple[str, Picture | Step]]:
    """The sheet with the crescent, the turn between its two passes, and its second pass as the pack prints it."""
    crescent = next(piece.id for piece in plan.pieces if piece.name == "crescent")
    sheet = next(sheet for sheet in plan.sheets if any(spot.piece == crescent for spot in sheet.placements))
    last = next(run for run in reversed(sheet.passes) if crescent in run.part)
    pack = {
        step.key: step for step in steps.steps(plan, read_workshop(REPO / "demo_data" / "workshop" / "workshop.toml"))
    }
    yield "planned-sheet.png", pictures.sheet_picture(plan, sheet)
    yield "half-turn.png", pack[f"{sheet.id}-{last.blank}-turn{last.order}"]
    yield "pass-step.png", pack[f"{sheet.id}-{last.blank}-pass{last.order}"]


def digest(what: Picture | Step) -> str:
    """Of all that is drawn and said."""
    text = svg(what) if isinstance(what, Picture) else page.html("", [what], "")
    return hashlib.sha256(text.encode()).hexdigest()


def _image(what: Picture | Step) -> Image.Image:
    """A page of print is cut to what stands above its foot."""
    if isinstance(what, Picture):
        return Image.open(io.BytesIO(png(what)))
    printed = pypdfium2.PdfDocument(write_pdf([what]))[0].render(scale=DPI / 72).to_pil().convert("RGB")
    above = printed.crop((0, 0, printed.width, printed.height - round(18 / 25.4 * DPI)))
    left, top, right, bottom = ImageChops.difference(above, Image.new("RGB", above.size, "white")).getbbox()
    return above.crop((left - BORDER_PX, top - BORDER_PX, right + BORDER_PX, bottom + BORDER_PX))


def main() -> None:
    with tempfile.TemporaryDirectory() as place:
        run_demo(Path(place) / "demo", "1")
        plan = read_plan(Path(place) / "demo" / "halfturn-demo" / "plan")
        for name, what in shown(plan):
            about = PngInfo()
            about.add_text("shows", digest(what))
            _image(what).save(FOLDER / name, optimize=True, pnginfo=about)
            print(FOLDER / name)


if __name__ == "__main__":
    main()
