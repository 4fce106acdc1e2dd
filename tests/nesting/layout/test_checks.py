"""The last word before a layout leaves the engine: each rule, broken by little, is named; kept exactly, it passes."""

import math

import pytest
from shapely.geometry import Polygon, box

from nesting.layout import Ground, Shape, Spot
from nesting.layout.checks import broken

SQUARE = Shape("a", box(0, 0, 40, 40), (0.0, 90.0), quality=2.0)
OTHER = Shape("b", box(0, 0, 40, 40), None, mirror=True, reach_charge=1.0)
RING = Shape("ring", box(0, 0, 100, 100).difference(box(20, 20, 80, 80)))
SHAPES = {shape.id: shape for shape in (SQUARE, OTHER, RING)}
SHEET = box(0, 0, 200, 200)
LITTLE_MM = 0.001


def faults(*spots: Spot, ground: Ground | None = None, gap_mm: float = 0.0, margin_mm: float = 0.0) -> str:
    return " ".join(broken(SHAPES, spots, [ground or Ground(SHEET)], gap_mm, margin_mm))


@pytest.mark.parametrize("gap_mm", [0.0, 0.00005, 2.0])
def test_a_gap_is_kept_exactly(gap_mm: float) -> None:
    corner = Spot("a", 0, 0, 0)
    assert faults(corner, Spot("b", 40 + gap_mm, 0, 0), gap_mm=gap_mm) == ""
    assert "a and b: too close" in faults(corner, Spot("b", 40 + gap_mm - LITTLE_MM, 0, 0), gap_mm=gap_mm)
    # Corner to corner the gap is a distance, not a box.
    askew = gap_mm / math.sqrt(2)
    assert faults(corner, Spot("b", 40 + askew, 40 + askew, 0), gap_mm=gap_mm) == ""


def test_one_in_the_counter_of_another_and_one_in_its_stroke() -> None:
    assert faults(Spot("ring", 0, 0, 0), Spot("a", 30, 30, 0), gap_mm=10.0) == ""
    assert "too close" in faults(Spot("ring", 0, 0, 0), Spot("a", 30 - LITTLE_MM, 30, 0), gap_mm=10.0)
    big = {"big": Shape("big", SHEET), "a": SQUARE}
    assert broken(big, [Spot("big", 0, 0, 0), Spot("a", 50, 50, 0)], [Ground(SHEET)], 0.0, 0.0)


@pytest.mark.parametrize("margin_mm", [0.0, 5.0])
def test_a_margin_is_kept_exactly(margin_mm: float) -> None:
    assert faults(Spot("a", margin_mm, margin_mm, 0), margin_mm=margin_mm) == ""
    assert "off the sheet" in faults(Spot("a", margin_mm - LITTLE_MM, margin_mm, 0), margin_mm=margin_mm)
    holed = Ground(SHEET.difference(box(100, 100, 110, 110)))
    assert faults(Spot("a", 60 - margin_mm, 100, 0), ground=holed, margin_mm=margin_mm) == ""
    assert "off the sheet" in faults(Spot("a", 60 - margin_mm + LITTLE_MM, 100, 0), ground=holed, margin_mm=margin_mm)


def test_turns_and_mirroring() -> None:
    assert faults(Spot("a", 40, 0, 90)) == ""
    assert "turn or mirroring" in faults(Spot("a", 40, 0, 90.001))
    assert "turn or mirroring" in faults(Spot("a", 40, 0, 0, mirrored=True))
    assert faults(Spot("b", 100, 100, 12.3, mirrored=True)) == ""


def test_reaches_pinned_and_zones() -> None:
    reached = Ground(SHEET, reaches=(box(0, 0, 200, 100), box(0, 90, 200, 200)))
    assert faults(Spot("a", 0, 60, 0), ground=reached) == ""
    assert "in no reach" in faults(Spot("a", 0, 60 + LITTLE_MM, 0), ground=reached)
    assert "in no reach" in faults(Spot("a", 0, 70, 0, across=True), ground=reached)
    assert "in no reach" in faults(Spot("b", 0, 70, 0), ground=reached)
    assert faults(Spot("b", 0, 70, 0, across=True), ground=reached) == ""
    pinned = Ground(SHEET, pinned=(box(100, 0, 140, 40),))
    assert faults(Spot("a", 57, 0, 0), ground=pinned, gap_mm=3.0) == ""
    assert "a and pinned 0" in faults(Spot("a", 57 + LITTLE_MM, 0, 0), ground=pinned, gap_mm=3.0)
    zoned = Ground(SHEET, zones=((box(100, 0, 140, 40), 1.0), (box(0, 100, 200, 200), 2.0)))
    assert faults(Spot("a", 0, 120, 0), ground=zoned) == ""
    assert "too low a quality" in faults(Spot("a", 60 + LITTLE_MM, 0, 0), ground=zoned)


def test_what_no_layout_may_say() -> None:
    assert "lies twice" in faults(Spot("a", 0, 0, 0), Spot("a", 100, 100, 0))
    assert "no ground" in faults(Spot("a", 0, 0, 0, ground=1))
    assert "off the sheet" in faults(Spot("a", 5000, 0, 0))


def test_a_ring_round_a_hole_of_the_sheet() -> None:
    holed = Ground(Polygon(SHEET.exterior, [box(40, 40, 60, 60).exterior.coords]))
    assert faults(Spot("ring", 0, 0, 0), ground=holed, margin_mm=0.0) == ""
    assert "off the sheet" in faults(Spot("ring", 25, 0, 0), ground=holed)
