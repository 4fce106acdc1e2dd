"""Pieces alike in rows: they keep clear of one another wherever rows go on, and more of them lie on a sheet."""

import numpy as np
import pytest
from hypothesis import given, settings
from shapely import affinity
from shapely.geometry import Polygon, box

from nesting.layout import Ground, Shape, after_evaluations, fill, fit, strip
from nesting.layout.outlines import outline
from nesting.layout.rows import Rows, densest
from tests.nesting.layout.judging import assert_valid
from tests.nesting.layout.test_layout import GAPS, OFFCUT, QUARTERS, TEE, polygons, star

SHEET = Ground(box(0, 0, 3000, 1500))
HALVES = (0.0, 180.0)


def copies(rows: Rows, polygon: Polygon, around: int) -> list[Polygon]:
    """The pieces of so many cells on each side of one, its own first."""
    steps = sorted(range(-around, around + 1), key=abs)
    moves = [i * np.array(rows.along) + j * np.array(rows.up) for i in steps for j in steps]
    cell = [(affinity.rotate(polygon, turn, origin=(0, 0)), x, y) for turn, x, y in rows.cell]
    return [affinity.translate(shape, x + dx, y + dy) for dx, dy in moves for shape, x, y in cell]


@settings(max_examples=10, deadline=None)
@given(polygons(), GAPS)
def test_rows_keep_clear_of_one_another(polygon: Polygon, gap: float) -> None:
    grown = outline(polygon, gap / 2)
    for by_half in (False, True):
        for rows in densest(grown, by_half):
            (ax, ay), (bx, by) = rows.along, rows.up
            assert abs(ax * by - ay * bx) / len(rows.cell) == pytest.approx(rows.area)
            assert [turn for turn, _, _ in rows.cell] in ([0.0], [0.0, 180.0] if by_half else [0.0])
            every = copies(rows, Polygon(grown.polygon.exterior), 6)
            for k, one in enumerate(every[: len(rows.cell)]):
                assert all(one.intersection(other).area < 1e-6 for other in every[k + 1 :])


@pytest.mark.parametrize("turns", [None, QUARTERS, HALVES, (0.0,), (17.0, 200.0)])
def test_pieces_alike_lie_denser_than_one_by_one(turns: tuple[float, ...] | None) -> None:
    shapes = [Shape(f"T{k}", TEE, turns) for k in range(240)]
    layout = fill(shapes, SHEET, gap_mm=2, margin_mm=5, stop=after_evaluations(20_000))
    assert_valid(layout, shapes, SHEET, 2, 5)
    # One by one, with as much forced in as this effort allows: 156, 175, 183, 160 and 157.
    assert len(layout.spots) >= (240 if turns in (None, QUARTERS, HALVES) else 175)


def test_on_an_offcut_with_holes_rows_keep_off_them() -> None:
    shapes = [Shape(f"S{k}", star(30), None) for k in range(300)]
    for reaches in ((), (box(0, 0, 500, 600), box(400, 0, 900, 600))):
        ground = Ground(OFFCUT, reaches)
        layout = fill(shapes, ground, gap_mm=1, margin_mm=3, stop=after_evaluations(20_000))
        assert_valid(layout, shapes, ground, 1, 3)
        assert len(layout.spots) >= 220  # one by one 160


def test_rows_leave_room_for_other_pieces() -> None:
    """What lies already is gone round, and what is worth most of pieces alike is laid."""
    rest = [Shape(f"B{k}", box(0, 0, 700, 300), QUARTERS, value=50.0) for k in range(2)]
    tees = [Shape(f"T{k}", TEE, QUARTERS, value=1.0 + (k % 2)) for k in range(120)]
    layout = fill([*tees, *rest], SHEET, gap_mm=2, margin_mm=5, stop=after_evaluations(20_000))
    assert_valid(layout, [*tees, *rest], SHEET, 2, 5)
    assert not set(layout.missing) & {shape.id for shape in [*rest, *tees[1::2]]}


def test_a_strip_of_pieces_alike() -> None:
    shapes = [Shape(f"S{k}", star(100), QUARTERS) for k in range(150)]
    layout = strip(shapes, 1500, stop=after_evaluations(200_000))
    assert layout.length_mm is not None
    assert_valid(layout, shapes, Ground(box(0, 0, layout.length_mm, 1500)), 0, 0)
    # 0.65 of the strip; one by one and pushed together for as long, 0.55.
    assert sum(shape.polygon.area for shape in shapes) / layout.length_mm / 1500 > 0.63


def test_a_set_that_fits_in_rows_is_found_to_fit() -> None:
    """Moved apart from where they find a place, 230 were not found to fit for as much effort."""
    tees = [Shape(f"T{k}", TEE, QUARTERS) for k in range(240)]
    layout = fit(tees, SHEET, gap_mm=2, margin_mm=5, stop=after_evaluations(400_000))
    assert layout is not None
    assert_valid(layout, tees, SHEET, 2, 5)
