"""Varied cases of passes as pictures, kept in `golden/passes` and looked at: `make bless`, then look at them again."""

import math
import os
import re
from decimal import Decimal
from pathlib import Path

import pytest
import shapely
import shapely.affinity

from cli.documents import pictures, states
from cli.documents.canvas import Words
from cli.documents.svg import svg
from nesting import curves
from nesting.model import Blank, Cost, Job, Machine, Piece, Placement, Plan, PlannedSheet, Ring, Source
from nesting.passes import plan_passes
from nesting.placing import lay
from tests.shop import RATES, disc, laser, piece, rectangle

GOLDEN = Path(__file__).parent / "golden" / "passes"


def ring_of(*corners: tuple[float, float]) -> Ring:
    return curves.oriented(curves.ring_of(corners), True)


def hole(ring: Ring, x: float, y: float) -> Ring:
    return curves.reversed_ring(curves.moved(ring, x, y))


def spiral() -> Ring:
    """Two and a half rounds, 40 mm broad, drawn by chords."""
    angles = [math.tau * 2.5 * i / 150 for i in range(151)]
    outer = [(90 + 70 * a / math.tau, a) for a in angles]
    edge = [(r * math.cos(a), r * math.sin(a)) for r, a in outer]
    back = [((r - 40) * math.cos(a), (r - 40) * math.sin(a)) for r, a in reversed(outer)]
    return ring_of(*((x + 285, y + 270) for x, y in (*edge, *back)))


def crescent(height: float) -> Ring:
    return ((0.0, 0.0, 0.8), (0.0, height, -0.4))


BIG_E = ring_of((0, 0), (480, 0), (480, 90), (110, 90), (110, 330), (420, 330), (420, 420), (110, 420), (110, 650),
                (480, 650), (480, 740), (0, 740))  # fmt: skip
LETTER_A = ring_of((0, 0), (110, 0), (155, 140), (365, 140), (410, 0), (520, 0), (310, 700), (210, 700))
COUNTER_A = ring_of((190, 240), (260, 470), (330, 240))
WIDE = laser(travel=(600.0, 600.0), table=(620.0, 600.0), margin_mm=0.0)
ONE_SIDED = laser(margin_mm=0.0, table_left_mm=0.0)
Spot = tuple[Piece, float, float, float]

CASES: dict[str, tuple[Machine, tuple[float, float], list[Spot]]] = {
    "disc-half-turn": (laser(), (600, 610), [(piece(disc(585), name="disc"), 7.5, 12, 0)]),
    "disc-slid-through": (laser(open_back=True), (600, 610), [(piece(disc(585), name="disc"), 7.5, 12, 0)]),
    "twice-the-travel-on-edge-and-stop": (laser(margin_mm=0.0), (600, 800), [(piece(rectangle(600, 800)), 0, 0, 0)]),
    "square-quarter-turns": (WIDE, (610, 610), [(piece(rectangle(610, 610)), 0, 0, 0)]),
    "letter-with-bars-in-the-band": (laser(), (520, 760), [(piece(BIG_E, name="E"), 20, 10, 0)]),
    "letter-with-counter": (
        laser(join_overlap_mm=1.5),
        (560, 720),
        [(piece(LETTER_A, (curves.reversed_ring(COUNTER_A),), name="A"), 20, 10, 0)],
    ),
    "crescent-with-bores-and-small-pieces": (
        laser(),
        (600, 640),
        [
            (
                piece(
                    crescent(600),
                    (hole(disc(14), 150, 180), hole(disc(14), 195, 300), hole(disc(14), 150, 420)),
                    name="moon",
                    marks=(((130.0, 240.0, 0.0), (170.0, 240.0, 0.0)),),
                ),
                20,
                20,
                0,
            ),
            *(
                (piece(disc(70), id=f"star-{i}", name="star", copy=i), 400 + 90 * (i % 2), 40 + 140 * i, 0)
                for i in range(4)
            ),
        ],
    ),
    "spiral": (laser(), (600, 560), [(piece(spiral(), name="spiral"), 10, 10, 0)]),
    "face-down-on-a-table-to-one-side": (ONE_SIDED, (610, 780), [(piece(rectangle(610, 780)), 0, 0, 0)]),
    "ring-with-its-guest-datum-back-right": (
        laser(datum="back right"),
        (600, 700),
        [
            (piece(disc(580), (hole(disc(420), 80, 80),), name="ring"), 10, 60, 0),
            (piece(rectangle(200, 150), name="guest"), 200, 280, 0),
        ],
    ),
    "thin-bars-side-by-side": (
        laser(),
        (400, 700),
        [(piece(rectangle(8, 300), id=f"bar-{i}", name="bar", copy=i), 20 + 11 * i, 20, 0) for i in range(1, 31)],
    ),
    "long-rail-in-three-windows": (laser(open_back=True), (500, 1040), [(piece(rectangle(460, 1020)), 20, 10, 0)]),
}


def planned(case: str) -> Plan:
    """The case laid out by hand, its passes planned."""
    machine, (width, depth), spots = CASES[case]
    rect = (0.0, 0.0, float(width), float(depth))
    placements = tuple(Placement(one.id, "b1", x, y, turn) for one, x, y, turn in spots)
    laid = [lay(one, spot) for (one, *_), spot in zip(spots, placements, strict=True)]
    blank = Blank("b1", rect)
    runs = plan_passes("S01", shapely.box(*rect), blank, laid, machine, RATES)
    corners = ((0.0, 0.0), (rect[2], 0.0), (rect[2], rect[3]), (0.0, rect[3]))
    source, price = Source(offer="sheet"), Decimal(40)
    sheet = PlannedSheet(
        "S01", source, "acrylic", "opal", 5.0, corners, (), price, "", (), (blank,), placements, runs, ()
    )  # fmt: skip
    cost = Cost("EUR", (), Decimal(0), Decimal(0), 0.0)
    return Plan(Job("job"), 1, 1, machine, tuple(one for one, *_ in spots), (sheet,), cost)


@pytest.mark.parametrize("case", CASES)
def test_the_last_pass_looks_as_it_did(case):
    plan = planned(case)
    (sheet,) = plan.sheets
    run = sheet.passes[-1]
    drawn = svg(pictures.pass_picture(plan, sheet, run, states.cuts_on(plan, sheet, "b1"), []))
    path = GOLDEN / f"{case}.svg"
    if os.environ.get("BLESS"):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(drawn, encoding="utf-8", newline="\n")
    assert path.read_text(encoding="utf-8") == drawn, "make bless, then look at the picture"


def test_the_cases_differ_in_how_the_blank_is_moved():
    moved = {case: [run.turn_before for run in planned(case).sheets[0].passes] for case in CASES}
    assert {name for turns in moved.values() for name in turns} == {"none", "half", "quarter", "shift", "flip"}
    assert len(moved["long-rail-in-three-windows"]) == 3
    by = {lined.by for case in CASES for run in planned(case).sheets[0].passes for lined in run.lines_up}
    assert {"marks", "edge"} <= by


@pytest.mark.parametrize("case", CASES)
def test_no_letter_of_an_edge_lies_on_the_name_of_a_point(case):
    plan = planned(case)
    (sheet,) = plan.sheets
    run = sheet.passes[0]
    shape = states.bed_shape(states.blank_shape(sheet, sheet.blanks[0]), run)
    checks = states.check_points(plan.machine, shape)
    drawn = pictures.pass_picture(plan, sheet, run, states.cuts_on(plan, sheet, "b1"), checks)
    said = [item for item in drawn.items if isinstance(item, Words)]
    points = [one for one in said if re.fullmatch("[ELJ][0-9]+", one.text)]
    letters = [one for one in said if one.text in "ABCD"]
    assert len(letters) == 4 and len(points) >= len(checks)
    near = [(a.text, b.text) for a in letters for b in points if abs(a.x - b.x) < 11 and abs(a.y - b.y) < 9]
    assert near == []


@pytest.mark.parametrize("case", CASES)
def test_no_number_of_a_piece_lies_on_another(case):
    plan = planned(case)
    (sheet,) = plan.sheets
    said = [item for item in pictures.sheet_picture(plan, sheet).items if isinstance(item, Words)]
    numbers = [one for one in said if one.text.isdigit() and not one.is_mm]
    assert len(numbers) == len(plan.pieces)
    places = [_place(one) for one in numbers]
    assert not any(a.intersects(b) for k, a in enumerate(places) for b in places[:k])


def _place(one: Words) -> shapely.Polygon:
    """What a number takes up of the paper: bold digits are some seven tenths of their size wide and high."""
    wide = 0.7 * one.size * len(one.text)
    lying = shapely.box(one.x - wide / 2, one.y - 0.7 * one.size, one.x + wide / 2, one.y)
    return shapely.affinity.rotate(lying, one.turn_deg, origin=(one.x, one.y))
