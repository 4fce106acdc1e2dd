"""Instance files that are none are refused in words, before anything is laid."""

import json
from pathlib import Path

import pytest

from nesting.layout import bench

BOWTIE = [[0, 0], [10, 10], [10, 0], [0, 10]]
ITEM = {"id": "moon", "quantity": 1, "outline": [[0, 0], [10, 0], [5, 8]]}
BINS = {"name": "sky", "kind": "bins", "bins": [{"id": "a", "width": 20, "height": 20}], "items": [ITEM]}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "no instance that can be read"),
        ("[]", "no instance that can be read"),
        (json.dumps(BINS | {"items": []}), "no instance that can be read"),
        (json.dumps(BINS | {"items": [ITEM | {"outline": BOWTIE}]}), "item moon"),
        (json.dumps(BINS | {"items": [ITEM | {"outline": [[0, 0], [10, 0], [float("nan"), 8]]}]}), "NaN is no number"),
        (json.dumps(BINS | {"items": [ITEM | {"allowed_rotations": None}]}), "no instance that can be read"),
    ],
)
def test_a_file_that_is_no_instance_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, told: str
) -> None:
    path = tmp_path / "sky.json"
    path.write_text(text, encoding="utf-8")
    assert bench.main([str(path)]) == 2
    err = capsys.readouterr().err
    assert told in err
    assert "sky.json" in err
    assert bench.main([str(tmp_path / "none.json")]) == 2


def test_an_instance_is_solved(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "sky.json"
    path.write_text(json.dumps(BINS), encoding="utf-8")
    assert bench.main([str(path), "--evaluations", "1000", "--out", str(tmp_path / "laid.json")]) == 0
    assert "sky" in capsys.readouterr().out
    assert len(json.loads((tmp_path / "laid.json").read_text(encoding="utf-8"))["placements"]) == 1
