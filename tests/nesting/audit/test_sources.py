"""The audit with the job at hand: pieces against drawings read afresh, demands against the job as it is now."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import ezdxf
import pytest

from nesting import curves
from nesting.audit import source_lines
from nesting.audit.checks import Check
from nesting.audit.records import PlanRecord
from nesting.audit.source_dxf import read_dxf
from nesting.audit.source_lines import NotCompared
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
    # 2 x (3 shapes of the face, 3 x 2 of the badge, 1 rail, 2 letters); the ring's hole is no piece.
    assert "24 pieces compared with their drawings:" in found["source drawings"].words
    assert 0.0 < found["source drawings"].worst < 0.04


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


def drawn(folder: Path, *added: Callable[[ezdxf.layouts.Modelspace], object], units: int = 4) -> JobFile:
    """A job of one drawing with these things in it."""
    document = ezdxf.new("R2010", units=units)
    for add in added:
        add(document.modelspace())
    document.saveas(folder / "own.dxf")
    return JobFile(Job("sign"), (PieceOrder("own", **STOCK, drawing="own.dxf"),))


def disc(x: float, radius: float = 20.0) -> Callable[[ezdxf.layouts.Modelspace], object]:
    return lambda space: space.add_circle((x, 0), radius)


def test_shapes_that_are_alike_each_follow_one_of_the_drawing_and_no_two_the_same(tmp_path: Path) -> None:
    job = drawn(tmp_path, disc(0), disc(100), disc(200))
    assert failed(planned(tmp_path, job=job), tmp_path, job) == []
    fewer, more = planned(tmp_path, job=job), planned(tmp_path, job=job)
    ids = fewer.demands[0].pieces
    fewer = fewer.model_copy(update={"demands": (fewer.demands[0].model_copy(update={"pieces": ids[:2]}),)})
    more = more.model_copy(
        update={"demands": (more.demands[0].model_copy(update={"pieces": (*ids, ids[0]), "shapes": 4}),)}
    )
    assert failed(fewer, tmp_path, job) == ["source lines"]
    assert failed(more, tmp_path, job) == ["source drawings"]


def test_outlines_that_meet_in_a_point_are_told_apart(tmp_path: Path) -> None:
    crossed = [(0, 0), (100, 100), (100, 0), (0, 100)]
    job = drawn(tmp_path, lambda space: space.add_lwpolyline(crossed, close=True))
    plan = planned(tmp_path, job=job)
    assert len(plan.pieces) == 2
    assert failed(plan, tmp_path, job) == []


def hatched(space: ezdxf.layouts.Modelspace) -> None:
    """Arcs in polylines, arcs either way round, a whole circle, an ellipse, a spline."""
    hatch = space.add_hatch()
    hatch.paths.add_polyline_path([(0, 0, 0), (900, 0, 0.4), (900, 400, 0), (0, 400, 0)], is_closed=True)
    hatch.paths.add_edge_path().add_arc((300, 200), 150, 0, 360)
    half = hatch.paths.add_edge_path()
    half.add_line((650, 200), (750, 200))
    half.add_arc((700, 200), 50, 0, 180)
    other = hatch.paths.add_edge_path()
    other.add_line((750, 100), (650, 100))
    other.add_arc((700, 100), 50, 180, 360, ccw=True)
    hatch.paths.add_edge_path().add_ellipse((500, 350), (30, 0), 0.5, 0, 360)
    knots = [0, 0, 0, 0, 1, 1, 1, 1]
    points = [(20, 10), (80, 10), (60, 60), (20, 10)]
    hatch.paths.add_edge_path().add_spline(control_points=points, degree=3, knot_values=knots)


def test_the_edges_of_hatches_are_compared(tmp_path: Path) -> None:
    job = drawn(tmp_path, hatched)
    plan = planned(tmp_path, job=job)
    assert sum(len(piece.holes) for piece in plan.pieces) == 5
    found = {check.name: check for check in checked(plan, tmp_path, job)}
    assert all(check.ok for check in found.values()), found
    assert "1 pieces compared with their drawings:" in found["source drawings"].words
    assert failed(planned(tmp_path, without_holes, job), tmp_path, job) == ["source lines"]


def in_blocks(depth: int) -> Callable[[ezdxf.layouts.Modelspace], object]:
    """A square so deep in blocks."""

    def add(space: ezdxf.layouts.Modelspace) -> None:
        blocks = space.doc.blocks
        blocks.new("B0").add_lwpolyline([(0, 0), (50, 0), (50, 50), (0, 50)], close=True)
        for k in range(1, depth):
            blocks.new(f"B{k}").add_blockref(f"B{k - 1}", (1, 1))
        space.add_blockref(f"B{depth - 1}", (0, 0))

    return add


@pytest.mark.parametrize(
    "add, units, order, why",
    [
        (in_blocks(18), 4, {}, "its blocks lie too deep in each other"),
        (lambda space: [space.add_line((0, k), (9, k)) for k in range(9)], 4, {}, "more than 8 lines to cut"),
        (lambda space: space.add_text("A"), 4, {}, "no lines to cut"),
        (lambda space: space.add_3dface([(0, 0), (9, 0), (9, 9)]), 4, {}, "3DFACE entities are not compared"),
        (disc(0), 3, {}, "unit 3 of the drawing is not known here"),
        (disc(0), 4, {"units": "parsec"}, "the unit parsec is not known here"),
        (disc(0), 4, {"text": True}, "live text is not compared"),
    ],
    ids=["deep", "many", "nothing", "3dface", "miles", "parsec", "text"],
)
def test_what_cannot_be_compared_says_why(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    add: Callable[..., object],
    units: int,
    order: dict[str, Any],
    why: str,
) -> None:
    monkeypatch.setattr(source_lines, "LINES_MAX", 8)
    entry = dataclasses.replace(drawn(tmp_path, add, units=units).piece[0], **order)
    with pytest.raises(NotCompared, match=why):
        read_dxf(tmp_path / "own.dxf", entry)


@pytest.mark.parametrize(
    "units, order, size",
    [
        (4, {}, 40.0),
        (1, {}, 40.0 * 25.4),
        (0, {}, 40.0),
        (6, {}, 40.0),
        (4, {"units": "cm"}, 400.0),
        (4, {"scale": 0.5}, 20.0),
        (1, {"units": "mm", "scale": 2.0}, 80.0),
    ],
    ids=["mm", "inches", "no unit", "metres cannot be", "named", "scaled", "named and scaled"],
)
def test_a_drawing_is_read_afresh_in_its_unit(tmp_path: Path, units: int, order: dict[str, Any], size: float) -> None:
    # DXF reference, $INSUNITS; a sign of 40 m cannot be meant.
    entry = dataclasses.replace(drawn(tmp_path, disc(0), units=units).piece[0], **order)
    (ring,) = read_dxf(tmp_path / "own.dxf", entry).lines
    assert ring.bounds[2] - ring.bounds[0] == pytest.approx(size)


def test_layers_are_cut_or_not_as_the_job_and_their_names_say(tmp_path: Path) -> None:
    layers = ("0", "FACE", "Etching", "TITLE", "Fold", "HIDDEN")

    def add(space: ezdxf.layouts.Modelspace) -> None:
        for k, layer in enumerate(layers):
            space.doc.layers.add(layer) if layer not in space.doc.layers else None
            space.add_circle((100 * k, 0), 20 + k, dxfattribs={"layer": layer})
        space.doc.layers.get("HIDDEN").off()

    entry = drawn(tmp_path, add).piece[0]

    def radii(**order: Any) -> list[float]:
        lines = read_dxf(tmp_path / "own.dxf", dataclasses.replace(entry, **order)).lines
        return sorted(round((line.bounds[2] - line.bounds[0]) / 2, 3) for line in lines)

    assert radii() == [20, 21, 24]
    assert radii(layer="face") == [21]
    assert radii(mark_layers=("FOLD",), ignore_layers=("0",)) == [21]


def test_the_unit_is_taken_as_the_drawing_page_says(folder: Path) -> None:
    found = planned(folder)
    ring = next(piece for piece in found.pieces if piece.id.startswith("badge") and piece.holes)
    assert math.isclose(curves.bounds([ring.outline])[2], 4 * 25.4, abs_tol=0.01)
