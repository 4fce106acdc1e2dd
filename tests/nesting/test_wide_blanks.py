"""Blanks wider than the travel, planned and audited from end to end: no axis along which the reaches follow."""

from decimal import Decimal
from pathlib import Path

import pytest

from nesting import curves
from nesting.audit import audit_plan
from nesting.drawing.pass_drawings import drawings
from nesting.drawing.writing import write_drawing
from nesting.model import Job, Offer, Workshop
from nesting.placing import lay
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


def test_pieces_at_an_inner_reach_edge_leave_the_path_room_for_half_the_kerf() -> None:
    """Three panels of 99.98 mm end 0.06 mm before the 300 mm where a pass over 700 mm of sheet begins to reach."""
    machine = laser(margin_mm=0.0, gap_mm=0.0)
    offer = Offer("sheet", "acrylic", "opal", 5.0, 600.0, 700.0, Decimal(40))
    shop = Workshop("workshop", RATES, (machine,), (), (offer,))
    panels = tuple(piece(rectangle(590, 99.98), id=f"panel-{k}", copy=k) for k in range(1, 7))
    (sheet,) = make_plan(Request(Job("job"), panels, shop, (), effort=1)).sheets
    laid = {spot.piece: lay(panels[0], spot) for spot in sheet.placements}
    deep = {blank.id for blank in sheet.blanks if blank.rect_mm[3] - blank.rect_mm[1] > 400}
    runs = [run for run in sheet.passes if run.blank in deep]
    assert runs
    for run in runs:
        boxes = [curves.bounds([curves.moved(laid[name].outline, *run.shift_mm, run.turn_deg)]) for name in run.whole]
        assert min(y0 for _, y0, _, _ in boxes) >= max(figure.kerf_mm for figure in machine.cutting) / 2 - 1e-3
