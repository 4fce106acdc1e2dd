"""Pieces written as DXF, in every version, and read back: the same to a hundredth of a millimetre."""

from __future__ import annotations

from pathlib import Path

import ezdxf
import pytest
from shapely.geometry import Polygon

from nesting.drawing.fitting import dense
from nesting.drawing.intake import Intake
from nesting.drawing.reading import read_drawing
from nesting.drawing.shapes import DrawnShape
from nesting.drawing.wording import letter_shapes, set_wording
from nesting.drawing.writing import write_drawing
from tests.nesting.drawing.drawn import shape_layers

DEMO = Path(__file__).parents[3] / "demo_data" / "drawings"


def polygon(shape: DrawnShape) -> Polygon:
    return Polygon(dense(shape.outline, True), [dense(hole, True) for hole in shape.holes])


@pytest.fixture(scope="module")
def pieces() -> list[DrawnShape]:
    letters = list(letter_shapes(set_wording("PLANETARIUM\nB8&çÅg", 220.0)))
    demo = [shape for path in sorted(DEMO.glob("*.dxf")) for shape in read_drawing(path)[0]]
    apart = [Polygon(dense(shape.outline, True)).bounds for shape in demo]
    assert all(box[2] < 1600 for box in apart)
    return letters + demo[2:]


@pytest.mark.parametrize("version", ["R12", "R2000", "R2010", "R2018"])
def test_pieces_come_back_as_they_were(tmp_path, version, pieces):
    path = tmp_path / "pieces.dxf"
    write_drawing(path, shape_layers(pieces), version)
    assert ezdxf.readfile(path).audit().errors == []
    back, findings = read_drawing(path, Intake(units="mm"))
    assert findings == () and len(back) == len(pieces)
    there = sorted(map(polygon, pieces), key=lambda area: area.bounds)
    here = sorted(map(polygon, back), key=lambda area: area.bounds)
    for one, other in zip(there, here, strict=True):
        assert one.hausdorff_distance(other) <= 0.01
        assert len(one.interiors) == len(other.interiors)
    bulged = sum(v[2] != 0 for shape in pieces for v in shape.outline)
    assert sum(v[2] != 0 for shape in back for v in shape.outline) == bulged
