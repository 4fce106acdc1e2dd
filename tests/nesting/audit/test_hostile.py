"""Folders that are no plans: one message that says what and where, never a traceback."""

from __future__ import annotations

import io
import json
import math
import tempfile
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from nesting.audit import audit_plan, drawings, linework, scene
from nesting.audit.drawings import FILE_BYTES_MAX, read_drawing
from nesting.audit.records import PLAN_BYTES_MAX
from nesting.faults import PlanFault
from tests.nesting.audit.sample import entrance_sign


def refused(folder: Path) -> PlanFault:
    with pytest.raises(PlanFault) as caught:
        audit_plan(folder)
    assert caught.value.where
    return caught.value


def test_no_folder_and_an_empty_folder(tmp_path: Path) -> None:
    assert "no plan here" in refused(tmp_path / "nowhere").what
    assert "no plan here" in refused(tmp_path).what


@pytest.mark.parametrize(
    "content",
    [b"", b"not json", b"\xff\xfe\x00", b"[]", b"null", b"{}", b'{"format": "halfturn-plan/2"}', b"[" * 100_000],
    ids=["empty", "words", "bytes", "list", "null", "object", "later version", "deep"],
)
def test_not_a_plan(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "plan.json").write_bytes(content)
    assert "not a plan" in refused(tmp_path).what


def test_a_plan_larger_than_any_is_not_read(tmp_path: Path) -> None:
    with (tmp_path / "plan.json").open("wb") as file:
        file.truncate(PLAN_BYTES_MAX + 1)
    assert "over 64 MB" in refused(tmp_path).what


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 1e300, "12", None, True, [1.0]])
def test_a_number_that_is_none_is_named_by_its_place(tmp_path: Path, value: object) -> None:
    folder = entrance_sign()
    folder.plan["sheets"][0]["placements"][0]["x_mm"] = value
    fault = refused(folder.write(tmp_path))
    assert fault.where[1:] == ("sheets", "0", "placements", "0", "x_mm")
    assert fault.mend


@pytest.mark.parametrize(
    "name", ["../pass.dxf", "/etc/hosts.dxf", "a\\b.dxf", "C:pass.dxf", "", ".dxf", "pass.txt", "a\x00.dxf", "a\n.dxf"]
)
def test_a_drawing_outside_the_folder_is_not_looked_for(tmp_path: Path, name: str) -> None:
    folder = entrance_sign()
    folder.plan["sheets"][0]["passes"][0]["file"] = name
    assert refused(folder.write(tmp_path)).where[-1] == "file"


def test_a_link_out_of_the_folder_is_not_followed(tmp_path: Path) -> None:
    folder = entrance_sign().write(tmp_path / "plan")
    drawing = folder / "S1-b1-pass1.dxf"
    drawing.rename(tmp_path / "elsewhere.dxf")
    drawing.symlink_to(tmp_path / "elsewhere.dxf")
    failed = {check.name: check for check in audit_plan(folder) if not check.ok}
    assert "not in the plan folder" in failed["files"].words


@pytest.mark.parametrize("key", ["pieces", "sheets", "machine", "cost"])
def test_a_missing_part_is_named(tmp_path: Path, key: str) -> None:
    folder = entrance_sign()
    del folder.plan[key]
    assert refused(folder.write(tmp_path)).where[-1] == key


def test_a_sheet_that_crosses_itself(tmp_path: Path) -> None:
    folder = entrance_sign()
    folder.plan["sheets"][0]["outline_mm"] = [[0, 0], [100, 100], [100, 0], [0, 100]]
    assert "sheet S1" in refused(folder.write(tmp_path)).where


def test_an_empty_plan_passes_with_nothing_to_measure(tmp_path: Path) -> None:
    plan = entrance_sign().plan
    plan.update(pieces=[], sheets=[], demands=[], splits=[])
    (tmp_path / "plan.json").write_text(json.dumps(plan), encoding="utf-8")
    assert {check.name for check in audit_plan(tmp_path) if not check.ok} == set()


# ── drawings ─────────────────────────────────────────────────────────────────────────────────────────────────

FILE = "S1-b1-pass1.dxf"


def document() -> ezdxf.document.Drawing:
    """The sound pass drawing, open for changes."""
    return ezdxf.read(io.StringIO(entrance_sign().drawing(FILE).decode("utf-8")))


def flaws_of(changed: ezdxf.document.Drawing, tmp_path: Path) -> list[str]:
    changed.saveas(tmp_path / FILE)
    return [flaw.words for flaw in read_drawing(tmp_path / FILE).flaws]


@pytest.mark.parametrize(
    "add",
    [
        lambda space, at: space.add_spline([(0, 0), (10, 5), (20, 0)], dxfattribs=at),
        lambda space, at: space.add_ellipse((50, 50), (20, 0), 0.5, dxfattribs=at),
        lambda space, at: space.add_text("cut me", dxfattribs=at),
        lambda space, at: space.add_polyline3d([(0, 0, 0), (1, 1, 5)], dxfattribs=at),
        lambda space, at: space.add_lwpolyline([(0, 0), (9, 0)], dxfattribs={**at, "extrusion": (0, 0, -1)}),
        lambda space, at: space.add_circle((9, 9), 5, dxfattribs={**at, "extrusion": (0, 1, 0)}),
        lambda space, at: space.add_lwpolyline([(5, 5)], dxfattribs=at),
        lambda space, at: space.add_line((0, 0), (1e9, 0), dxfattribs=at),
    ],
    ids=["spline", "ellipse", "text", "3d", "face down", "on edge", "point", "far away"],
)
def test_what_cannot_be_followed_is_a_flaw_not_a_line_left_out(add: Any, tmp_path: Path) -> None:
    changed = document()
    add(changed.modelspace(), {"layer": "CUT"})
    assert any("cannot be followed" in words for words in flaws_of(changed, tmp_path))


def test_lines_arcs_and_circles_are_followed_like_polylines(tmp_path: Path) -> None:
    changed = ezdxf.new("R2010", units=4)
    space, at = changed.modelspace(), {"layer": "CUT"}
    space.add_line((1, 2), (4, 6), dxfattribs=at)
    space.add_arc((0, 0), 10, 350, 10, dxfattribs=at)
    space.add_circle((20, 20), 7, dxfattribs=at)
    changed.saveas(tmp_path / FILE)
    found = read_drawing(tmp_path / FILE)
    assert found.flaws == ()
    lengths = [linework.trace(chain.vertices, chain.closed).length for chain in found.chains]
    # A line 3-4-5; 20 degrees of radius 10 (ARC runs counter-clockwise, DXF reference); a circle.
    assert lengths == pytest.approx([5.0, math.radians(20) * 10, math.tau * 7])


def test_more_entities_than_any_pass_has_are_not_followed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(drawings, "ENTITIES_MAX", 200)
    changed = document()
    for k in range(205):
        changed.modelspace().add_line((k, 0), (k, 1), dxfattribs={"layer": "CUT"})
    assert any("over 200 entities" in words for words in flaws_of(changed, tmp_path))


def test_a_drawing_larger_than_any_is_not_read(tmp_path: Path) -> None:
    with (tmp_path / FILE).open("wb") as file:
        file.truncate(FILE_BYTES_MAX + 1)
    assert ["over 20 MB" in flaw.words for flaw in read_drawing(tmp_path / FILE).flaws] == [True]


SOUND = entrance_sign().drawing(FILE).split(b"\n")
NASTY = [b"nan", b"inf", b"-1", b"1e400", b"", b"9" * 30, b"LWPOLYLINE", b"SECTION", b"EOF", b"  0", b"100", b"\xff"]


@settings(max_examples=60)
@given(st.lists(st.tuples(st.integers(0, len(SOUND) - 1), st.sampled_from(NASTY)), min_size=1, max_size=8))
@example([(len(SOUND) // 3, b"1e400")])
def test_a_drawing_damaged_anywhere_is_read_or_refused_never_raises(blows: list[tuple[int, bytes]]) -> None:
    lines = list(SOUND)
    for at, blow in blows:
        lines[at] = blow
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / FILE
        path.write_bytes(b"\n".join(lines))
        read_drawing(path)


def test_contours_beyond_all_measure_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scene, "POINTS_MAX", 20_000)
    folder = entrance_sign()
    folder.plan["pieces"][0]["holes"] = [[[0, 0, 1.0], [9e5, 0, 1.0]] * 40] * 8
    assert "more contours than can be audited" in refused(folder.write(tmp_path)).what


def test_names_that_a_terminal_would_obey_are_refused(tmp_path: Path) -> None:
    folder = entrance_sign()
    folder.plan["pieces"][0]["name"] = "\x1b[2Jmoon"
    assert "cannot be printed" in refused(folder.write(tmp_path)).what
