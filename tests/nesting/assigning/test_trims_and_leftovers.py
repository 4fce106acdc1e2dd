"""Trims free blanks edge to edge; leftovers are what is really left."""

from dataclasses import replace
from decimal import Decimal

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import ops

from nesting.assigning.blanks import cut_up, free_blank, free_next
from nesting.assigning.leftovers import largest_rectangle, leftovers
from nesting.passes.reach import reaches
from tests.shop import RATES, disc, laid, laser, piece


def test_a_sheet_that_fits_needs_no_trim():
    freed = free_blank((0, 0, 600, 400), (600, 400), laser(), RATES, 5.0, 1)
    assert (freed.blank, freed.trims, freed.rest) == ((0, 0, 600, 400), (), ())


def test_a_blank_for_the_face_is_trimmed_by_machine_and_leaves_one_rectangle():
    freed = free_blank((0, 0, 1000, 600), (731, 600), laser(), RATES, 5.0, 1)
    (trim,) = freed.trims
    assert trim.method == "machine" and trim.measure.startswith("731.0 mm from the left edge")
    assert freed.rest == ((731, 0, 1000, 600),)


def test_a_sheet_too_large_for_the_table_is_sawn_and_the_saw_takes_its_kerf():
    freed = free_blank((0, 0, 2440, 1220), (600, 800), laser(), RATES, 5.0, 1)
    assert [trim.method for trim in freed.trims] == ["saw", "saw"]
    assert freed.rest == ((603, 0, 2440, 1220), (0, 803, 600, 1220))


def test_thin_sheets_are_scored_and_snapped():
    freed = free_blank((0, 0, 2440, 1220), (600, 800), laser(), RATES, 3.0, 1)
    assert {trim.method for trim in freed.trims} == {"snap"}


@given(st.floats(300, 2500), st.floats(300, 1500), st.floats(100, 620), st.floats(100, 800))
def test_trims_are_guillotine_and_parts_never_overlap(width, depth, w, h):
    part = (0.0, 0.0, width, depth)
    freed = free_blank(part, (w, h), laser(), RATES, 5.0, 1)
    boxes = [shapely.box(*rect) for rect in (freed.blank, *freed.rest)]
    whole = shapely.box(*part)
    for trim in freed.trims:
        line = shapely.LineString([trim.from_mm, trim.to_mm])
        sides = list(ops.split(whole, line).geoms)
        assert len(sides) == 2, "edge to edge of what it cuts"
        whole = next(side for side in sides if side.buffer(1e-6).contains(boxes[0]))
    assert all(a.intersection(b).area < 1e-6 for i, a in enumerate(boxes) for b in boxes[:i])
    assert whole.equals_exact(boxes[0], 1e-6) or whole.symmetric_difference(boxes[0]).area < 1e-3


SIZES = ((600.0, 400.0), (400.0, 600.0), (600.0, 800.0), (800.0, 600.0))


@settings(max_examples=25)
@given(st.integers(300, 3050), st.integers(300, 2050), st.sampled_from([3.0, 5.0]), st.integers(1, 4))
def test_a_sheet_cut_up_comes_apart_edge_to_edge_into_blanks_that_lie_in_the_machine(width, depth, thickness, stages):
    machine, rates = laser(), replace(RATES, trim_stages=stages)
    cutting = cut_up((0.0, 0.0, float(width), float(depth)), SIZES, machine, rates, thickness)
    if cutting is None:
        return
    parts, blanks, done = [cutting.rect], [], 0
    while parts:
        part = parts.pop()
        found = cutting.part(part)
        freed = free_next(found, machine, rates, thickness, done + 1)
        if freed is None:
            continue
        left = shapely.box(*part)
        for trim in freed.trims:
            done += 1
            assert trim.order == done
            halves = list(ops.split(left, shapely.LineString([trim.from_mm, trim.to_mm])).geoms)
            assert len(halves) == 2, "edge to edge of what it cuts"
            left = next(half for half in halves if half.buffer(1e-6).contains(shapely.box(*freed.blank)))
        blanks.append(shapely.box(*freed.blank))
        assert reaches(machine, freed.blank)
        parts.extend(freed.rest)
    assert len(blanks) == cutting.blanks > 1
    assert all(a.intersection(b).area < 1e-6 for i, a in enumerate(blanks) for b in blanks[:i])


def test_a_large_sheet_is_cut_up_into_blanks_of_several_sizes_and_a_stage_less_costs_some():
    """2030 x 1520 x 5 on a bed of 600 x 400: six blanks in two stages take 86 % of it; one stage frees none."""
    rect = (0.0, 0.0, 2030.0, 1520.0)
    assert cut_up(rect, SIZES, laser(), replace(RATES, trim_stages=1), 5.0) is None
    cutting = cut_up(rect, SIZES, laser(), RATES, 5.0)
    assert cutting is not None and cutting.blanks == 6


def test_the_largest_rectangle_beside_a_hole():
    shape = shapely.box(0, 0, 600, 400).difference(shapely.box(0, 0, 200, 400))
    assert largest_rectangle(shape) == pytest.approx((200, 0, 600, 400), abs=0.01)


@given(st.floats(50, 150), st.floats(150, 450), st.floats(120, 280))
def test_the_largest_rectangle_lies_inside(radius, x, y):
    shape = shapely.box(0, 0, 600, 400).difference(shapely.Point(x, y).buffer(radius))
    rect = largest_rectangle(shape)
    assert rect is not None and shape.buffer(1e-6).contains(shapely.box(*rect))


def test_a_leftover_worth_keeping_brings_its_share_of_the_price():
    sheet = shapely.box(0, 0, 1000, 600)
    found = leftovers([sheet], [laid(piece(disc(300)), 10, 10)], 0.17, Decimal("0.00005"), RATES)
    (left,) = found
    x0, y0, x1, y1 = left.usable_mm
    assert left.keep and not shapely.Polygon(left.outline_mm, left.holes_mm).intersects(shapely.Point(160, 160))
    assert left.credit == pytest.approx(Decimal((x1 - x0) * (y1 - y0) * 0.00005 * 0.5), abs=Decimal("0.01"))


def test_slivers_are_scrap():
    assert leftovers([shapely.box(0, 0, 1000, 60)], [], 0.17, Decimal("0.00005"), RATES) == ()
