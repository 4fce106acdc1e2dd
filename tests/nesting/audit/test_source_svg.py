"""SVG drawings and wording read afresh by the audit: what the planner reads passes, what it bends or loses is told."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from nesting.audit.checks import Check
from nesting.audit.records import PlanRecord
from nesting.audit.source_lines import NotCompared
from nesting.audit.source_svg import read_svg
from nesting.audit.source_wording import read_wording
from nesting.audit.sources import source_checks
from nesting.drawing.pieces import read_order
from nesting.model import Cost, Job, JobFile, Piece, PieceOrder, Plan
from nesting.plan_file import plan_text
from tests.shop import laser

STOCK = {"material": "acrylic", "colour": "opal", "thickness_mm": 5.0}
PAGE = 'width="300mm" height="200mm" viewBox="0 0 300 200"'
FACE = """
<style>.line { fill: none; stroke: #000 } #gone { display: none }</style>
<defs><path id="drop" d="M0 0c10 0 20 10 20 25s-10 30-20 30-12-9-12-28 4-27 12-27z"/></defs>
<circle cx="25" cy="25" r="20"/><circle cx="75" cy="25" r="20"/>
<g transform="translate(110,5) skewX(20) scale(2 1.5)"><ellipse cx="12" cy="9" rx="10" ry="6"/></g>
<rect x="200" y="10" width="40" height="20" rx="8" ry="4" transform="rotate(20 220 20)"/>
<path d="M 250,75 L 323,301 131,161 369,161 177,301 z" fill-rule="evenodd" transform="scale(.3) translate(0 100)"/>
<path d="M 30,200 h -25 a 25,25 0 1 0 25,-25 q -3 4 0 9 t 0 9 z" class="line" transform="matrix(1 0 0 1 160 -100)"/>
<path d="M150 150h60v20h-60z M170 140h20v50h-20z M175 155h10v10h-10z"/>
<use href="#drop" x="20" y="120"/><use href="#drop" x="80" y="120" transform="rotate(9)"/>
<g id="MARKS"><path d="M20 20h10" stroke="red"/></g><g id="guides"><path d="M0 0h300" stroke="red"/></g>
<polyline points="230,120 290,120 290,180" class="line"/><line x1="290" y1="180" x2="230" y2="120.2" class="line"/>
<rect id="gone" width="9" height="9"/><rect width="9" height="9" style="visibility:hidden"/><text>no outline</text>
"""


def svg(folder: Path, inside: str, page: str = PAGE, **order: Any) -> JobFile:
    text = f'<svg xmlns="http://www.w3.org/2000/svg" {page}>{inside}</svg>'
    (folder / "face.svg").write_text(text, encoding="utf-8")
    return JobFile(Job("sign"), (PieceOrder("face", **STOCK, drawing="face.svg", **order),))


def wording(text: str, **more: Any) -> JobFile:
    return JobFile(Job("sign"), (PieceOrder("word", **STOCK, wording=text, **{"height_mm": 80.0, **more}),))


def planned(job: JobFile, folder: Path, change: Callable[[Piece], Piece] = lambda piece: piece) -> PlanRecord:
    """What a plan for the job would say of its pieces, each changed as asked."""
    pieces, demands, _ = read_order(job, folder)
    cost = Cost("EUR", (), Decimal(0), Decimal(0), 0.0)
    plan = Plan(job.job, 1, 1, laser(), tuple(map(change, pieces)), (), cost, (), demands=demands)
    return PlanRecord.model_validate_json(plan_text(plan))


def checked(job: JobFile, folder: Path, change: Callable[[Piece], Piece] = lambda piece: piece) -> dict[str, Check]:
    return {check.name: check for check in source_checks(planned(job, folder, change), job, folder)}


def failed(job: JobFile, folder: Path, change: Callable[[Piece], Piece] = lambda piece: piece) -> list[str]:
    return [name for name, check in checked(job, folder, change).items() if not check.ok]


def stretched(piece: Piece) -> Piece:
    return dataclasses.replace(piece, outline=tuple((x * 1.01, y, bulge) for x, y, bulge in piece.outline))


def without_holes(piece: Piece) -> Piece:
    return dataclasses.replace(piece, holes=())


def straightened(piece: Piece) -> Piece:
    return dataclasses.replace(piece, outline=tuple((x, y, 0.0) for x, y, _ in piece.outline))


# ── SVG ──────────────────────────────────────────────────────────────────────────────────────────────────────


def test_every_way_of_drawing_is_compared(tmp_path: Path) -> None:
    found = checked(svg(tmp_path, FACE), tmp_path)
    assert [name for name, check in found.items() if not check.ok] == [], found
    # 2 discs, an ellipse, a rectangle, 5 points of the star, a pie, a cross, 2 drops, a triangle
    assert "14 pieces compared with their drawings:" in found["source drawings"].words
    assert 0.0 < found["source drawings"].worst < 0.05


@pytest.mark.parametrize(
    "change, caught_by",
    [(stretched, "source drawings"), (straightened, "source drawings")],
    ids=["a hundredth wider", "arcs straightened"],
)
def test_pieces_unlike_their_drawing_are_caught(tmp_path: Path, change: Any, caught_by: str) -> None:
    assert caught_by in failed(svg(tmp_path, '<circle cx="40" cy="40" r="30"/>'), tmp_path, change)


def test_a_hole_that_is_lost_is_caught(tmp_path: Path) -> None:
    inside = '<path fill-rule="evenodd" d="M0 0h80v80h-80z M20 20h40v40h-40z"/>'
    assert failed(svg(tmp_path, inside), tmp_path) == []
    assert failed(svg(tmp_path, inside), tmp_path, without_holes) == ["source lines"]


@pytest.mark.parametrize(
    "page, order, size",
    [
        ('width="300mm" height="300mm" viewBox="0 0 100 100"', {}, (30, 30)),
        ('width="300mm" height="100mm" viewBox="0 0 100 100"', {}, (10, 10)),
        ('width="300mm" height="100mm" viewBox="0 0 100 100" preserveAspectRatio="xMinYMin slice"', {}, (30, 30)),
        ('width="300mm" height="100mm" viewBox="0 0 100 100" preserveAspectRatio="none"', {}, (30, 10)),
        ('width="100" height="100"', {}, (10 * 25.4 / 96, 10 * 25.4 / 96)),
        ('width="100" height="100" viewBox="0 0 50 50"', {"units": "mm"}, (10, 10)),
        ('width="72pt" height="72pt" viewBox="0 0 100 100"', {"scale": 2.0}, (5.08, 5.08)),
    ],
    ids=["larger", "the smaller share", "slice", "none", "pixels", "units", "points and scale"],
)
def test_the_page_is_as_large_as_svg_says(tmp_path: Path, page: str, order: dict[str, Any], size: Any) -> None:
    # SVG 2, 8.2 and 8.7; CSS Values 3, 6.2: an inch is 96 px or 72 pt.
    job = svg(tmp_path, '<rect x="9" y="9" width="10" height="10"/>', page, **order)
    (ring,) = read_svg(tmp_path / "face.svg", job.piece[0]).lines
    x0, y0, x1, y1 = ring.bounds
    assert (x1 - x0, y1 - y0) == pytest.approx(size)


def test_lengths_have_units_and_shares_of_the_page(tmp_path: Path) -> None:
    inside = '<rect x="1in" y="10%" width="25.4mm" height="50%"/><circle cx="50%" cy="2cm" r="10pt"/>'
    job = svg(tmp_path, inside, 'width="200mm" height="100mm"')
    rectangle, disc = read_svg(tmp_path / "face.svg", job.piece[0]).lines
    assert rectangle.bounds == pytest.approx((25.4, -60, 50.8, -10))
    assert disc.length == pytest.approx(2 * math.pi * 10 * 25.4 / 72, rel=1e-3)


@pytest.mark.parametrize(
    "inside, order, why",
    [
        ('<svg width="9"><rect width="5" height="5"/></svg>', {}, "pages within pages"),
        ('<g clip-path="url(#c)"><rect width="5" height="5"/></g>', {}, "clip paths"),
        ('<rect width="5em" height="5"/>', {}, "the unit em is not known here"),
        ('<rect width="5" height="5" transform="spin(4)"/>', {}, "the transform spin is not known here"),
        ('<rect width="5" height="5"/>', {"units": "furlong"}, "the unit furlong is not known here"),
        ('<rect width="5" height="5"/>', {"layer": "FACE"}, "no lines to cut"),
        ("<rect", {}, "cannot be read again"),
        ('<g id="a"><use href="#a"/></g>', {}, "cannot be read again"),
    ],
    ids=["page", "clip", "em", "transform", "unit", "nothing", "damaged", "itself"],
)
def test_what_cannot_be_compared_says_why(tmp_path: Path, inside: str, order: dict[str, Any], why: str) -> None:
    job = svg(tmp_path, inside, **order)
    with pytest.raises(NotCompared, match=why):
        read_svg(tmp_path / "face.svg", job.piece[0])


# ── wording ──────────────────────────────────────────────────────────────────────────────────────────────────


def test_letters_are_those_of_their_font(tmp_path: Path) -> None:
    job = wording("Aä8\nA", tracking_mm=3.0)
    found = checked(job, tmp_path)
    assert [name for name, check in found.items() if not check.ok] == []
    assert "6 pieces compared with their drawings:" in found["source drawings"].words, "ä is three"
    assert failed(job, tmp_path, without_holes) == ["source lines"]
    assert failed(job, tmp_path, stretched) == ["source drawings", "source lines"]


def test_a_letter_that_was_made_another_is_caught(tmp_path: Path) -> None:
    job, other = wording("EF"), wording("EE")
    made = planned(other, tmp_path)
    assert [c.name for c in source_checks(made, job, tmp_path) if not c.ok] == [
        "job",
        "source drawings",
        "source lines",
    ]


def test_a_font_changed_since_is_told(tmp_path: Path) -> None:
    shipped = Path(__file__).parents[3] / "nesting" / "drawing" / "fonts" / "DejaVuSans-Bold.ttf"
    (tmp_path / "own.ttf").write_bytes(shipped.read_bytes())
    job = wording("I", font="own.ttf")
    plan = planned(job, tmp_path)
    assert [check.name for check in source_checks(plan, job, tmp_path) if not check.ok] == []
    (tmp_path / "own.ttf").write_bytes(shipped.read_bytes() + b"\0")
    assert [check.name for check in source_checks(plan, job, tmp_path) if not check.ok] == ["job"]


@pytest.mark.parametrize(
    "text, more, why",
    [
        ("Ä", {"bridge_mm": 5.0}, "joined by bars"),
        ("A", {"font": "DejaVu Sans"}, "fonts that are not beside the job"),
        ("A", {"font": "noise.ttf"}, "the font cannot be read again"),
        (" ", {}, "no lines to cut"),
    ],
    ids=["bars", "installed", "noise", "nothing"],
)
def test_wording_that_cannot_be_compared_says_why(tmp_path: Path, text: str, more: dict[str, Any], why: str) -> None:
    (tmp_path / "noise.ttf").write_bytes(b"\7" * 400)
    with pytest.raises(NotCompared, match=why):
        read_wording(wording(text, **more).piece[0], tmp_path)


def test_bars_are_no_matter_where_no_letter_needs_one(tmp_path: Path) -> None:
    assert "1 pieces compared with" in checked(wording("O", bridge_mm=5.0), tmp_path)["source drawings"].words
