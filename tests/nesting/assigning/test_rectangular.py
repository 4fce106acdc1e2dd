"""Jobs of panels: whole answers from the rectangle packer, through the pipeline and the audit."""

from __future__ import annotations

import random
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from nesting.audit import audit_plan
from nesting.drawing.pass_drawings import drawings
from nesting.drawing.writing import write_drawing
from nesting.model import Job, Offcut, Offer, Plan, Progress, Workshop
from nesting.plan import Request, make_plan
from nesting.plan_file import plan_text
from tests.shop import RATES, laser, piece, rectangle

STOCK = ("acrylic", "opal", 5.0)
OFFERS = (
    Offer("small", *STOCK, 600.0, 400.0, Decimal("14.00")),
    Offer("half", *STOCK, 1220.0, 610.0, Decimal("33.50")),
    Offer("large", *STOCK, 2030.0, 1520.0, Decimal("129.60")),
)
OFFCUT = Offcut("R1", *STOCK, ((0, 0), (500, 0), (500, 200), (250, 200), (250, 390), (0, 390)), book_value=Decimal(2))


def request(count: int, **more: object) -> Request:
    dice = random.Random(count)
    sizes = [(dice.randint(60, 560), dice.randint(60, 380)) for _ in range(count)]
    pieces = tuple(piece(rectangle(w, d), id=f"panel-{n}", copy=n) for n, (w, d) in enumerate(sizes, start=1))
    workshop = Workshop("shop", RATES, (laser(),), offer=OFFERS)
    return Request(Job("panels"), pieces, workshop, (OFFCUT,), **{"effort": 2, **more})  # type: ignore[arg-type]


def planned(count: int, **more: object) -> Plan:
    return make_plan(request(count, **more))


@pytest.mark.parametrize("count", [5, 14, 25])
def test_a_plan_for_panels_passes_its_audit(count: int, tmp_path: Path) -> None:
    plan = planned(count)
    (tmp_path / "plan.json").write_text(plan_text(plan), encoding="utf-8")
    for name, layers in drawings(plan).items():
        write_drawing(tmp_path / name, layers)
    assert [check for check in audit_plan(tmp_path) if not check.ok] == []
    assert plan.cost.bound <= plan.cost.total


def test_the_same_panels_give_the_same_plan() -> None:
    assert plan_text(planned(9)) == plan_text(planned(9))


def test_slivers_on_the_rack_are_passed_over() -> None:
    corners = [((0, 0), (w, 0), (w, d), (0, d)) for w, d in ((8, 300), (9, 9), (3, 500), (520, 310))]
    rack = tuple(Offcut(f"R{n}", *STOCK, ring) for n, ring in enumerate(corners))
    asked = replace(request(3, effort=1), rack=rack)
    assert {sheet.source.stock_id for sheet in make_plan(asked).sheets} <= {None, "R3"}


def test_whole_answers_tell_how_they_go() -> None:
    heard: list[Progress] = []
    make_plan(request(9, effort=1), heard.append)
    shared = [one for one in heard if one.step == "sharing out rectangles"]
    costs = [one.best for one in shared if one.best is not None]
    assert costs and costs == sorted(set(costs), reverse=True)
    assert all(one.bound is not None and one.note == "acrylic opal 5 mm" for one in shared)


def test_a_request_to_stop_ends_all_looking_for_whole_answers() -> None:
    heard: list[str] = []
    stop: list[bool] = []

    def watch(progress: Progress) -> None:
        heard.append(progress.step)
        if progress.step == "sharing out rectangles":
            stop.append(True)

    plan = make_plan(request(14, effort=1), watch, stop)
    assert {spot.piece for sheet in plan.sheets for spot in sheet.placements} == {piece.id for piece in plan.pieces}
    assert any("stopped on request" in warning for warning in plan.warnings)
    unheard = {
        "laying rectangles on cheaper sheets",
        "filling sheets with rectangles",
        "bounding the cost more sharply",
    }
    assert not unheard & set(heard)
