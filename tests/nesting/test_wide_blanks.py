"""Blanks wider than the travel, planned and audited from end to end: no axis along which the reaches follow."""

import dataclasses
from decimal import Decimal
from pathlib import Path

import pytest

from nesting import curves
from nesting.audit import audit_plan
from nesting.drawing.pass_drawings import drawings
from nesting.drawing.writing import write_drawing
from nesting.model import Job, Offer, Plan, Ring, Workshop
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
    assert len(plan.sheets[0].passes) == passes
    assert failed(plan, tmp_path) == []


def failed(plan: Plan, folder: Path) -> list[str]:
    """The checks that the plan's folder fails."""
    (folder / "plan.json").write_text(plan_text(plan), encoding="utf-8")
    for name, layers in drawings(plan).items():
        write_drawing(folder / name, layers)
    return [check.name for check in audit_plan(folder) if not check.ok]


@pytest.mark.parametrize(("outline", "drawn_mm"), [(disc(585), 3.0), (rectangle(500, 580), 3.0)])
def test_the_later_pass_runs_on_over_each_join_by_the_machines_overlap(
    outline: Ring, drawn_mm: float, tmp_path: Path
) -> None:
    """Two passes, two joins, 1.5 mm at each; the audit allows so much and no more."""
    machine = laser(join_overlap_mm=1.5)
    offer = Offer("sheet", "acrylic", "opal", 5.0, 600.0, 600.0, Decimal(40))
    shop = Workshop("workshop", RATES, (machine,), (), (offer,))
    plan = make_plan(Request(Job("job"), (piece(outline),), shop, (), effort=1))
    chains = [chain for layers in drawings(plan).values() for chain in layers["CUT"]]
    cut = [curves.length(chain.vertices, chain.closed) for chain in chains]
    assert sum(cut) == pytest.approx(curves.length(outline, True) + drawn_mm)
    assert failed(plan, tmp_path) == []
    sober = dataclasses.replace(plan, machine=dataclasses.replace(machine, join_overlap_mm=1.4))
    (tmp_path / "plan.json").write_text(plan_text(sober), encoding="utf-8")
    assert "coverage" in [check.name for check in audit_plan(tmp_path) if not check.ok]


def test_where_the_travel_ends_at_the_join_nothing_is_run_over(tmp_path: Path) -> None:
    """600 x 800 on 600 x 400: both passes reach just to the middle line."""
    machine = laser(margin_mm=0.0, join_overlap_mm=1.5)
    offer = Offer("sheet", "acrylic", "opal", 5.0, 600.0, 800.0, Decimal(40))
    shop = Workshop("workshop", RATES, (machine,), (), (offer,))
    plan = make_plan(Request(Job("job"), (piece(rectangle(600, 800)),), shop, (), effort=1))
    assert failed(plan, tmp_path) == []


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
