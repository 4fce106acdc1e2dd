"""Blanks wider than the travel, planned and audited from end to end: no axis along which the reaches follow."""

from decimal import Decimal
from pathlib import Path

import pytest

from nesting.audit import audit_plan
from nesting.drawing.pass_drawings import drawings
from nesting.drawing.writing import write_drawing
from nesting.model import Job, Offer, Workshop
from nesting.plan import Request, make_plan
from nesting.plan_file import plan_text
from tests.shop import RATES, disc, laser, piece, rectangle

SHAPES = {"square": (rectangle(610, 610), 4), "disc": (disc(609.5), 2)}


@pytest.mark.parametrize("shape", SHAPES)
def test_a_shape_as_wide_as_the_table_lets_it_be_slid_aside(shape: str, tmp_path: Path) -> None:
    outline, passes = SHAPES[shape]
    machine = laser(travel=(600.0, 600.0), table=(620.0, 600.0), margin_mm=0.0)
    offer = Offer("cut-size", "acrylic", "opal", 5.0, 610.0, 610.0, Decimal(40))
    shop = Workshop("workshop", RATES, (machine,), (), (offer,))
    plan = make_plan(Request(Job("job"), (piece(outline),), shop, (), effort=1))
    (tmp_path / "plan.json").write_text(plan_text(plan), encoding="utf-8")
    for name, layers in drawings(plan).items():
        write_drawing(tmp_path / name, layers)
    assert len(plan.sheets[0].passes) == passes
    assert [check for check in audit_plan(tmp_path) if not check.ok] == []
