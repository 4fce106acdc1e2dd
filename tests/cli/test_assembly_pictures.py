"""Ten shapes of all sorts, split: how they go together, as golden pictures that were looked at."""

import dataclasses
import math
import os
from pathlib import Path

import pytest

from cli.documents.assembly import assembly_picture, assembly_steps
from cli.documents.svg import svg
from nesting import curves
from nesting.model import StockKey
from nesting.splitting import Question, split_all
from tests.cli.sample_plan import sample_plan
from tests.nesting.test_splitting import RAIL, ROOMS, W_900, oversize, round_hole
from tests.shop import disc, rectangle

GOLDEN = Path(__file__).parent / "golden" / "assembly"
ACTUAL = Path(__file__).parents[1] / "actual" / "assembly"


def star(points: int, outer: float, inner: float):
    radii = [outer, inner] * points
    turn = math.pi / points
    return curves.ring_of(
        [(outer + r * math.sin(i * turn), outer + r * math.cos(i * turn)) for i, r in reversed(list(enumerate(radii)))]
    )


def hole(outline):
    return curves.reversed_ring(outline)


W = curves.ring_of(W_900)
E = curves.ring_of(
    [(0, 0), (600, 0), (600, 110), (130, 110), (130, 395), (560, 395), (560, 505), (130, 505), (130, 790), (600, 790),
     (600, 900), (0, 900)]
)  # fmt: skip
FRAME = (hole(curves.moved(rectangle(900, 500), 100, 100)),)
RING = (hole(curves.moved(disc(720), 140, 140)),)
ARCH = ((0, 0, -0.5), (1300, 0, 0), (1400, 0, 0.52), (-100, 0, 0))
CLEAR = StockKey("acrylic", "clear", 5.0)

CASES = {
    "rail": RAIL,
    "rail-with-straps": oversize(rectangle(1500, 120), joint="strap", strap=CLEAR, fixings=((520, 60), (990, 60))),
    "letter-w": oversize(W, name="W", fixings=((110, 640), (300, 70), (525, 810), (750, 70), (940, 640))),
    "letter-w-keyed": oversize(W, name="W", joint="keyed"),
    "letter-e-with-straps": oversize(E, name="E", joint="strap"),
    "ring-keyed": oversize(disc(1000), RING, name="ring", joint="keyed", thickness_mm=10.0),
    "frame": oversize(rectangle(1100, 700), FRAME, name="frame"),
    "star": oversize(star(5, 500, 220), (round_hole(500, 500, 20),), name="star"),
    "arch": oversize(ARCH, name="arch", joint="keyed"),
    "panel": oversize(rectangle(1500, 700), (round_hole(750, 350, 30), round_hole(500, 200, 12)), name="panel"),
}


@pytest.mark.parametrize("name", CASES)
def test_the_picture_is_the_one_that_was_looked_at(name: str):
    (found,) = split_all([Question(CASES[name], ROOMS, 0.2)])
    assert found.split
    plan = dataclasses.replace(sample_plan(), pieces=found.segments, splits=(found.split,))
    text = svg(assembly_picture(plan, found.split))
    golden = GOLDEN / f"{name}.svg"
    if os.environ.get("BLESS"):
        golden.parent.mkdir(parents=True, exist_ok=True)
        golden.write_text(text, encoding="utf-8", newline="\n")
    if not golden.exists() or golden.read_text(encoding="utf-8") != text:
        ACTUAL.mkdir(parents=True, exist_ok=True)
        (ACTUAL / f"{name}.svg").write_text(text, encoding="utf-8", newline="\n")
        pytest.fail(f"{name}.svg differs: compare tests/cli/golden and tests/actual; right? make bless")


JOINED = ("butt", "keyed", "butt")


def test_the_same_shape_joined_another_way_has_a_page_of_its_own():
    rails = [dataclasses.replace(RAIL, id=f"rail-{n}", copy=n, joint=joint) for n, joint in enumerate(JOINED, 1)]
    found = split_all([Question(rail, ROOMS, 0.2) for rail in rails])
    segments = tuple(segment for one in found for segment in one.segments)
    splits = tuple(one.split for one in found if one.split)
    plan = dataclasses.replace(sample_plan(), pieces=segments, splits=splits)
    assert [step.title for step in assembly_steps(plan)] == ["Join rail, 2 times", "Join rail"]
