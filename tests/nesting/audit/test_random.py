"""Properties: any sound layout passes; any cut moved by more than the tolerance does not."""

from __future__ import annotations

import copy
import math
import tempfile
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nesting.audit import audit_plan
from tests.nesting.audit import sample
from tests.nesting.audit.folder import PlanFolder

GAP_MM, MARGIN_MM = sample.MACHINE["gap_mm"], sample.MACHINE["margin_mm"]


@st.composite
def blobs(draw: st.DrawFn, radius: float) -> sample.Ring:
    """A star-shaped ring of lines and arcs round the origin, within `radius`, free of the inner fifth."""
    count = draw(st.integers(5, 9))
    reach = draw(st.lists(st.floats(0.6, 0.9), min_size=count, max_size=count))
    bulges = draw(st.lists(st.sampled_from([0.0, 0.0, 0.05, -0.05, 0.12, -0.12]), min_size=count, max_size=count))
    turn = math.tau / count
    return [
        [radius * r * math.cos(i * turn), radius * r * math.sin(i * turn), bulge]
        for i, (r, bulge) in enumerate(zip(reach, bulges, strict=True))
    ]


@st.composite
def layouts(draw: st.DrawFn) -> PlanFolder:
    """Pieces in the cells of a grid on one blank, in one pass or in two with a half turn between."""
    deep = draw(st.booleans())
    radius = draw(st.floats(40.0, 90.0) if deep else st.floats(15.0, 60.0))
    cell = 2 * radius + GAP_MM
    columns, rows = draw(st.integers(1, 3)), int((780.0 - 2 * MARGIN_MM) / cell) if deep else draw(st.integers(1, 3))
    width, depth = columns * cell + 2 * MARGIN_MM, 780.0 if deep else rows * cell + 2 * MARGIN_MM
    pieces, spots = [], []
    for n in range(columns * rows):
        x, y = MARGIN_MM + (n % columns + 0.5) * cell, MARGIN_MM + (n // columns + 0.5) * cell
        pieces.append(draw(_pieces(f"p{n}", radius)))
        spots.append(sample.spot(f"p{n}", "b1", x, y, draw(st.floats(0, 360)), draw(st.booleans())))
    sheet = sample.sheet_of("S1", {"stock_id": "R1"}, sample.WHITE, [[0, 0], [width, 0], [width, depth], [0, depth]])
    sheet["blanks"] = [{"id": "b1", "rect_mm": [0, 0, width, depth]}]
    sheet["placements"] = spots
    plan = sample.plan_of(pieces, [sheet])
    return _drawn(plan, sheet, width, depth)


@st.composite
def _pieces(draw: st.DrawFn, piece_id: str, radius: float) -> dict[str, Any]:
    holes = [sample.circle(0, 0, 0.2 * radius)] if draw(st.booleans()) else []
    bow = [[-0.3 * radius, 0.35 * radius, 0.1], [0.2 * radius, 0.3 * radius, 0.0]]
    ring = [[0.4 * radius, 0.0, 1.0], [0.3 * radius, 0.0, 1.0], [0.4 * radius, 0.0, 0.0]]
    marks = draw(st.sampled_from([[], [bow], [ring], [bow, ring]]))
    return sample.piece(piece_id, sample.WHITE, draw(blobs(radius)), holes=holes, marks=marks, mirror=True)


def _drawn(plan: dict[str, Any], sheet: dict[str, Any], width: float, depth: float) -> PlanFolder:
    if width > 600.0 or depth <= 400.0:
        plan["machine"]["travel_mm"] = plan["machine"]["table_mm"] = [max(width, 600.0), max(depth, 400.0)]
        names = [placement["piece"] for placement in sheet["placements"]]
        sheet["passes"] = [sample.one_pass(sheet, "b1", sample.held(0, 0, 0), names)]
    else:
        sheet["passes"] = sample.two_passes(plan, sheet, sheet["blanks"][0], depth / 2, [])
    plan["warnings"] = ["S1-b1: no marks: line passes 1 and 2 up on their joins"]
    return PlanFolder(plan, {run["file"]: sample.draw_pass(plan, sheet, run, depth / 2) for run in sheet["passes"]})


def failures(folder: PlanFolder) -> list[Any]:
    with tempfile.TemporaryDirectory() as place:
        return [check for check in audit_plan(folder.write(Path(place))) if not check.ok]


slow = settings(max_examples=16, suppress_health_check=[HealthCheck.too_slow])


@slow
@given(layouts())
def test_any_sound_layout_passes(folder: PlanFolder) -> None:
    assert failures(folder) == []


@slow
@given(folder=layouts(), data=st.data(), step=st.floats(0.03, 5.0), heading=st.floats(0, math.tau))
def test_any_cut_moved_is_seen(folder: PlanFolder, data: st.DataObject, step: float, heading: float) -> None:
    folder = copy.deepcopy(folder)
    cuts = [entity for entities in folder.drawings.values() for entity in entities if entity.layer in ("CUT", "MARK")]
    moved = data.draw(st.sampled_from(cuts))
    moved.vertices = [
        [x + step * math.cos(heading), y + step * math.sin(heading), bulge] for x, y, bulge in moved.vertices
    ]
    assert {check.name for check in failures(folder)} & {"cut lines", "marks"}


@slow
@given(folder=layouts(), data=st.data(), height=st.floats(0.05, 2.0))
def test_any_segment_bent_is_seen(folder: PlanFolder, data: st.DataObject, height: float) -> None:
    folder = copy.deepcopy(folder)
    cuts = [e for entities in folder.drawings.values() for e in entities if e.layer == "CUT"]
    bent = data.draw(st.sampled_from(cuts))
    k = data.draw(st.integers(0, len(bent.vertices) - (1 if bent.closed else 2)))
    after = bent.vertices[(k + 1) % len(bent.vertices)]
    bent.vertices[k][2] += 2 * height / math.dist(bent.vertices[k][:2], after[:2])
    assert {check.name for check in failures(folder)} & {"cut lines", "coverage"}
