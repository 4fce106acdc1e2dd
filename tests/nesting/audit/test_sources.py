"""The audit with the job at hand: pieces against drawings read afresh, demands against the job as it is now."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import ezdxf
import pytest

from nesting import curves
from nesting.audit.checks import Check
from nesting.audit.records import PlanRecord
from nesting.audit.sources import source_checks
from nesting.drawing.pieces import read_order
from nesting.model import Cost, Job, JobFile, Joint, Piece, PieceOrder, Plan
from nesting.plan_file import plan_text
from tests.shop import laser, rectangle

STOCK = {"material": "acrylic", "colour": "opal", "thickness_mm": 5.0}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    face = ezdxf.new("R2010", units=4)
    space = face.modelspace()
    space.add_lwpolyline([(0, 0, 0), (200, 0, 0.4), (200, 100, 0), (0, 100, 0.2)], format="xyb", close=True)
    space.add_circle((50, 50), 12)
    space.add_ellipse((120, 50), (30, 10), 0.5)
    space.add_spline(fit_points=[(400, 0), (460, 30), (430, 90), (370, 60), (400, 0)])
    for start, end in (((300, 0), (340, 0)), ((340, 0), (340, 40)), ((340, 40.2), (300, 0.2))):  # open by 0.2 mm
        space.add_line(start, end)
    space.add_text("do not cut", dxfattribs={"layer": "NOTES"}).set_placement((900, 900))
    space.add_line((0, 300), (90, 300), dxfattribs={"layer": "FRAME"})
    face.saveas(tmp_path / "face.dxf")
    badge = ezdxf.new("R2000", units=1)  # inches
    block = badge.blocks.new("RING")
    block.add_circle((0, 0), 1)
    block.add_arc((0, 0), 0.5, 0, 180)
    block.add_arc((0, 0), 0.5, 180, 360)
    badge.modelspace().add_blockref("RING", (2, 2), dxfattribs={"rotation": 30, "xscale": -2, "yscale": 2})
    badge.modelspace().add_polyline2d([(8, 0, 1), (9, 0, 1)], format="xyb", close=True)
    badge.saveas(tmp_path / "badge.dxf")
    rail = ezdxf.new("R2010", units=4)
    rail.modelspace().add_lwpolyline([(0, 0), (1400, 0), (1400, 60), (0, 60)], close=True)
    rail.modelspace().add_circle((100, 30), 4)
    rail.saveas(tmp_path / "rail.dxf")
    return tmp_path


JOB = JobFile(
    Job("sign", quantity=2),
    (
        PieceOrder("face", **STOCK, drawing="face.dxf"),
        PieceOrder("badge", **STOCK, drawing="badge.dxf", quantity=3, mirror=True),
        PieceOrder("rail", **STOCK, drawing="rail.dxf"),
        PieceOrder("word", **STOCK, wording="ON", height_mm=80.0),
    ),
)


def halves(rail: Piece) -> list[Piece]:
    """Two segments of 700 mm; the hole is in the first."""
    part = dataclasses.replace(rail, outline=rectangle(700, 60), segment_of=rail.id)
    here, there = Joint("A", (700, 0), (700, 60)), Joint("A", (0, 0), (0, 60))
    first = dataclasses.replace(part, id=f"{rail.id}/1", joints=(here,))
    return [first, dataclasses.replace(part, id=f"{rail.id}/2", joints=(there,), holes=())]


def planned(folder: Path, change: Callable[[Piece], Piece] = lambda piece: piece, job: JobFile = JOB) -> PlanRecord:
    """What a plan for the job would say of its pieces, the rail split, each changed as asked."""
    pieces, demands, _ = read_order(job, folder)
    parts = [part for piece in pieces for part in (halves(piece) if piece.name == "rail" else [piece])]
    cost = Cost("EUR", (), Decimal(0), Decimal(0), 0.0)
    plan = Plan(job.job, 1, 1, laser(), tuple(map(change, parts)), (), cost, (), demands=demands)
    return PlanRecord.model_validate_json(plan_text(plan))


def failed(plan: PlanRecord, folder: Path, job: JobFile = JOB) -> list[str]:
    return [check.name for check in checked(plan, folder, job) if not check.ok]


def checked(plan: PlanRecord, folder: Path, job: JobFile = JOB) -> list[Check]:
    return source_checks(plan, job, folder)


def test_pieces_are_those_of_their_drawings(folder: Path) -> None:
    found = {check.name: check for check in checked(planned(folder), folder)}
    assert [name for name, check in found.items() if not check.ok] == []
    assert "wording is counted" in found["source drawings"].words
    # 2 x (3 shapes of the face, 3 x 2 of the badge, 1 rail); the ring's hole is no piece.
    assert "20 pieces compared" in found["source drawings"].words
    assert 0.0 < found["source drawings"].worst < 0.025


def only(name: str, change: Callable[[Piece], Piece]) -> Callable[[Piece], Piece]:
    """Change the first of the pieces of that id."""
    return lambda piece: change(piece) if piece.id == name else piece


def grown(piece: Piece) -> Piece:
    larger = tuple((x * 1.002, y * 1.002, bulge) for x, y, bulge in piece.outline)
    return dataclasses.replace(piece, outline=larger)


def hole_aside(piece: Piece) -> Piece:
    return dataclasses.replace(piece, holes=(curves.moved(piece.holes[0], 0.3, 0.0), *piece.holes[1:]))


def straightened(piece: Piece) -> Piece:
    return dataclasses.replace(piece, outline=tuple((x, y, 0.0) for x, y, _ in piece.outline))


def without_holes(piece: Piece) -> Piece:
    return dataclasses.replace(piece, holes=())


@pytest.mark.parametrize(
    "piece, change, caught_by",
    [
        ("face-1", grown, "source drawings"),
        ("face-1", hole_aside, "source drawings"),
        ("face-4", straightened, "source drawings"),
        ("badge-01", without_holes, "source lines"),
        ("badge-12", hole_aside, "source drawings"),
    ],
    ids=["grown", "hole aside", "straightened", "hole lost", "hole of the last copy aside"],
)
def test_a_piece_unlike_its_drawing_is_caught(folder: Path, piece: str, change: object, caught_by: str) -> None:
    plan = planned(folder)
    sound = {one.id: one for one in plan.pieces}
    name = next(n for n in sound if n == piece or (n.startswith(piece[:5]) and has_what(sound[n], change)))
    assert caught_by in failed(planned(folder, only(name, change)), folder)  # type: ignore[arg-type]


def has_what(piece: object, change: object) -> bool:
    return bool(piece.holes) or change in (grown, straightened)  # type: ignore[attr-defined]


def test_a_hole_lost_in_splitting_is_caught(folder: Path) -> None:
    lost = planned(folder, lambda piece: without_holes(piece) if piece.segment_of else piece)
    assert failed(lost, folder) == ["split pieces"]


@pytest.mark.parametrize(
    "change",
    [
        {"quantity": 4},
        {"turn": "half"},
        {"mirror": False},
        {"thickness_mm": 10.0},
        {"colour": "blue"},
        {"drawing": "rail.dxf"},
        {"name": "pin"},
    ],
    ids=str,
)
def test_a_job_that_says_another_thing_now_is_told(folder: Path, change: dict[str, object]) -> None:
    face, badge, *rest = JOB.piece
    now = JobFile(JOB.job, (face, dataclasses.replace(badge, **change), *rest))
    assert "job" in failed(planned(folder), folder, now)


def test_a_job_with_another_number_of_sets_or_of_entries_is_told(folder: Path) -> None:
    assert "job" in failed(planned(folder), folder, JobFile(Job("sign", quantity=3), JOB.piece))
    assert "job" in failed(planned(folder), folder, JobFile(JOB.job, JOB.piece[:-1]))


def test_a_drawing_changed_since_or_gone_is_told(folder: Path) -> None:
    plan = planned(folder)
    document = ezdxf.readfile(folder / "face.dxf")
    document.modelspace().query("CIRCLE").first.dxf.radius = 12.5
    document.saveas(folder / "face.dxf")
    assert failed(plan, folder) == ["job", "source drawings", "source lines"]
    (folder / "face.dxf").unlink()
    assert failed(plan, folder) == ["job"]


@pytest.mark.parametrize("content", [b"", b"no drawing", b"  0\nSECTION\n", b"\xff" * 999], ids=repr)
def test_a_drawing_that_is_none_any_more_is_told_never_raised(folder: Path, content: bytes) -> None:
    plan = planned(folder)
    (folder / "face.dxf").write_bytes(content)
    assert "job" in failed(plan, folder)


def test_a_drawing_of_another_kind_is_said_not_to_be_compared(tmp_path: Path) -> None:
    (tmp_path / "disc.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="50mm" viewBox="0 0 50 50">'
        '<circle cx="25" cy="25" r="20"/></svg>'
    )
    job = JobFile(Job("sign"), (PieceOrder("disc", **STOCK, drawing="disc.svg"),))
    found = {check.name: check for check in checked(planned(tmp_path, job=job), tmp_path, job)}
    assert all(check.ok for check in found.values())
    assert "disc: only DXF drawings are compared" in found["source drawings"].words


def test_the_unit_is_taken_as_the_drawing_page_says(folder: Path) -> None:
    found = planned(folder)
    ring = next(piece for piece in found.pieces if piece.id.startswith("badge") and piece.holes)
    assert math.isclose(curves.bounds([ring.outline])[2], 4 * 25.4, abs_tol=0.01)
