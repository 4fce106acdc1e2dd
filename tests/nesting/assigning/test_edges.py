"""A factory edge that is relied on is offered an edge trim, or trimmed, unless it is known to be square."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from nesting.assigning.stock import doubtful_sides
from nesting.audit import audit_plan
from nesting.audit.checks import Check
from nesting.drawing.pass_drawings import drawings
from nesting.drawing.writing import write_drawing
from nesting.faults import StockFault
from nesting.model import CutToSize, Job, Offcut, Offer, Plan, Rates, Workshop
from nesting.plan import Request, make_plan
from nesting.plan_file import plan_text
from tests.shop import RATES, laser, piece, rectangle

OFFER = Offer("half", "acrylic", "opal", 5.0, 600.0, 400.0, Decimal("20.00"))


def planned(offer: Offer, margin_mm: float, rates: Rates = RATES) -> Plan:
    workshop = Workshop("shop", rates, (laser(margin_mm=margin_mm),), offer=(offer,))
    return make_plan(Request(Job("panel"), (piece(rectangle(590.0, 390.0)),), workshop, (), effort=1))


def told(plan: Plan) -> list[str]:
    return [warning for warning in plan.warnings if "edge trim" in warning]


def test_a_panel_at_the_sheets_own_edge_is_offered_an_edge_trim() -> None:
    (words,) = told(planned(OFFER, 0.0))
    assert "an edge trim of 5 mm" in words and "panel-1" in words and "offer half" in words


def test_none_is_offered_where_no_edge_is_relied_on_or_the_offer_says_square() -> None:
    assert told(planned(OFFER, 5.0)) == []
    assert told(planned(replace(OFFER, square=True), 0.0)) == []
    assert told(planned(OFFER, 0.0, replace(RATES, edge_trim_mm=0.0))) == []


# ── trimmed when relied on ───────────────────────────────────────────────────────────────────────────────────────


TRIMMING = replace(RATES, edge_trim="when relied on")
DOOR = Offer("door", "acrylic", "opal", 5.0, 610.0, 815.0, Decimal("20.00"))
"""A half turn cuts 600 x 800 of it; a door of 585 x 788 leaves no room for line-up marks."""


def door(offer: Offer, rates: Rates = TRIMMING, width: float = 585.0, rack: tuple[Offcut, ...] = ()) -> Plan:
    workshop = Workshop("shop", rates, (laser(),), offer=(offer,))
    return make_plan(Request(Job("door"), (piece(rectangle(width, 788.0), name="door"),), workshop, rack, effort=1))


def audited(plan: Plan, folder: Path) -> list[Check]:
    """The checks that fail."""
    (folder / "plan.json").write_text(plan_text(plan), encoding="utf-8")
    for name, layers in drawings(plan).items():
        write_drawing(folder / name, layers)
    return [check for check in audit_plan(folder) if not check.ok]


def edges(plan: Plan) -> list[str | None]:
    return [trim.edge for trim in plan.sheets[0].trims]


def test_edges_that_passes_line_up_on_are_trimmed_before_all_else_and_paid_for(tmp_path: Path) -> None:
    plan, offered = door(DOOR), door(DOOR, RATES)
    assert edges(plan) == ["D", "A", "B", None], "a long edge, the one squared to it, the one along it, the blank"
    assert told(plan) == [] and len(told(offered)) == 1 and edges(offered)[:1] == [None]
    sheet, (x0, y0, _, _) = plan.sheets[0], plan.sheets[0].blanks[0].rect_mm
    assert (x0, y0) == (5.0, 5.0)
    first, second, third, _ = sheet.trims
    assert (first.method, first.from_mm[0], first.kerf_mm) == ("saw", 2.0, 3.0), "the saw runs within the strip"
    assert "2.0 mm from it at its middle, straight along a rule" in first.measure
    assert "square to the left edge as trimmed" in second.measure
    assert "600.0 mm from the left edge as trimmed" in third.measure and third.from_mm[0] == 605.0
    minutes = sum(line.quantity for line in plan.cost.lines if line.what.endswith(": trims"))
    assert minutes == sum({"saw": 4.0, "machine": 2.0}[trim.method] for trim in sheet.trims)
    assert audited(plan, tmp_path) == []
    mistaken = replace(sheet, trims=(*sheet.trims[:2], replace(third, edge="D"), sheet.trims[3]))
    (failed,) = audited(replace(plan, sheets=(mistaken,)), tmp_path)
    assert failed.name == "trims in order" and "does not run along it" in str(failed)


def test_square_edges_are_not_trimmed() -> None:
    assert edges(door(replace(DOOR, square=True)))[:1] == [None]


def test_a_panel_cut_to_size_is_ordered_larger_by_its_trims(tmp_path: Path) -> None:
    cut = replace(DOOR, length_mm=1000.0, width_mm=1000.0, cut=CutToSize(Decimal(50)), whole=False)
    plan = door(cut)
    x, y = plan.sheets[0].source.cut_mm or (0.0, 0.0)
    assert sorted(filter(None, edges(plan))) == ["A", "B", "C", "D"]
    assert (x, y) == (606.0, 809.0), "585 x 788, margins and trims of 5 all round, tolerance 1"
    assert audited(plan, tmp_path) == []


def test_where_the_trim_leaves_too_little_the_fault_says_so() -> None:
    with pytest.raises(StockFault, match="607 x 798") as caught:
        door(DOOR, width=597.0)
    assert "edge trims of 5 mm" in (caught.value.mend or "")


def test_pieces_keep_off_an_edge_in_doubt_by_as_much_as_a_trim_takes() -> None:
    """Cut all round, a piece needs no trim: what a trim would take is cut off with its own contour."""
    larger = replace(OFFER, length_mm=1000.0, width_mm=600.0)
    workshop = Workshop("shop", TRIMMING, (laser(margin_mm=0.0),), offer=(larger,))
    plan = make_plan(Request(Job("panel"), (piece(rectangle(590.0, 390.0)),), workshop, (), effort=1))
    (spot,) = plan.sheets[0].placements
    assert edges(plan) == [] or set(edges(plan)) == {None}
    assert told(plan) == [] and min(spot.x_mm, spot.y_mm) >= 4.999


def test_of_an_offcut_only_edges_that_the_factory_cut_are_in_doubt() -> None:
    cut = Offcut("R1", "acrylic", "opal", 5.0, ((0, 0), (610, 0), (610, 815), (300, 815), (0, 700)), true_edges=(0, 1))
    assert doubtful_sides(cut) == ("A", "B")
    trimmed = replace(cut, outline_mm=((0, 0), (610, 0), (610, 815), (0, 815)), true_edges=())
    assert edges(door(replace(DOOR, price=Decimal(90)), rack=(trimmed,)))[:1] == [None], "our own cuts are square"
    factory = replace(trimmed, true_edges=(0,))
    assert edges(door(replace(DOOR, price=Decimal(90)), rack=(factory,)))[:1] == ["A"]
    assert edges(door(replace(DOOR, price=Decimal(90)), rack=(replace(factory, square=True),)))[:1] == [None]


def test_of_an_offcut_the_offer_says_how_the_rack_is_told_that_it_is_square() -> None:
    rack = (Offcut("R1", "acrylic", "opal", 5.0, ((0, 0), (600, 0), (600, 400), (0, 400)), true_edges=(0, 1, 2, 3)),)
    workshop = Workshop("shop", RATES, (laser(margin_mm=0.0),))
    plan = make_plan(Request(Job("panel"), (piece(rectangle(590.0, 390.0)),), workshop, rack, effort=1))
    (words,) = told(plan)
    assert "halfturn rack correct R1 --square" in words
