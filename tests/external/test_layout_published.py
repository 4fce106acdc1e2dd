"""Dissections, packings and published sets whose answers are known: the engine finds layouts for them.

A dissection leaves no waste at all, so it is asked on a sheet 2 % longer and wider than it fills; what comes back is
checked by plain shapely. Where the published instances are at hand, a sample of them is solved too, and judged by the
referee that came with them.
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
import shapely
from shapely.geometry import Point, Polygon, box

from nesting.layout import Ground, Shape, after_evaluations, fit
from nesting.layout.bench import solve
from nesting.layout.instances import read, written
from nesting.layout.strip import strip
from tests.instances import ABSENT, INSTANCES
from tests.nesting.layout.judging import assert_valid

published = pytest.mark.skipif(not INSTANCES.is_dir(), reason=ABSENT)
QUARTERS = (0.0, 90.0, 180.0, 270.0)
GROWN = 1.02


def squares(*sides: int) -> list[Shape]:
    return [Shape(str(side), box(0, 0, side, side)) for side in sides]


def assert_laid(shapes: list[Shape], width: float, height: float, evaluations: int) -> None:
    sheet = Ground(box(0, 0, width, height))
    layout = fit(shapes, sheet, stop=after_evaluations(evaluations), seed=1)
    assert layout is not None
    assert_valid(layout, shapes, sheet, 0.0, 0.0)
    assert layout.missing == ()


def test_nine_squares_make_a_rectangle() -> None:
    # Moron (1925), O rozkladach prostokatow na kwadraty, Przeglad Matematyczno-Fizyczny 3, 152-153.
    assert_laid(squares(1, 4, 7, 8, 9, 10, 14, 15, 18), 33 * GROWN, 32 * GROWN, 5_000_000)


def test_twenty_one_squares_make_a_square() -> None:
    # Duijvestijn (1978), Journal of Combinatorial Theory B 25, 240-243: the lowest order, side 112.
    sides = (2, 4, 6, 7, 8, 9, 11, 15, 16, 17, 18, 19, 24, 25, 27, 29, 33, 35, 37, 42, 50)
    assert sum(side * side for side in sides) == 112**2
    assert_laid(squares(*sides), 112 * GROWN, 112 * GROWN, 20_000_000)


def test_seven_pieces_make_a_square() -> None:
    # The tangram, traditional; the pieces as they lie in a square of side 4, each turned to an angle of its own.
    rings = [
        [(0, 0), (4, 0), (2, 2)],
        [(0, 0), (2, 2), (0, 4)],
        [(4, 4), (2, 4), (4, 2)],
        [(4, 0), (4, 2), (3, 1)],
        [(1, 3), (2, 2), (3, 3)],
        [(2, 2), (3, 1), (4, 2), (3, 3)],
        [(0, 4), (1, 3), (3, 3), (2, 4)],
    ]
    eighths = tuple(45.0 * k for k in range(8))
    assert_laid(
        [Shape(str(k), Polygon(ring), eighths) for k, ring in enumerate(rings)], 4 * GROWN, 4 * GROWN, 5_000_000
    )


@pytest.mark.parametrize(("width", "height"), [(3, 2), (6, 4), (6, 6)])
def test_two_ells_make_a_rectangle_and_so_on(width: int, height: int) -> None:
    # Golomb (1964), Replicating figures in the plane, Mathematical Gazette 48, 403-412: two L-trominoes make 3 x 2.
    ell = Polygon([(0, 0), (2, 0), (2, 1), (1, 1), (1, 2), (0, 2)])
    ells = [Shape(str(k), ell, QUARTERS) for k in range(width * height // 3)]
    assert_laid(ells, width * GROWN, height * GROWN, 5_000_000)


def test_the_twelve_pentominoes_make_a_strip_without_waste() -> None:
    # Haselgrove, Haselgrove (1960), A computer program for pentominoes, Eureka 23, 16-18: 2339 ways in 6 x 10 (from
    # memory). Pieces F, I, L, N, P, T, U, V, W, X, Y, Z by the rows of their cells.
    pieces = [
        ".XX/XX./.X.",
        "XXXXX",
        "XXXX/X...",
        "XXX./..XX",
        "XXX/XX.",
        "XXX/.X./.X.",
        "XXX/X.X",
        "X../X../XXX",
        "XX./.XX/..X",
        ".X./XXX/.X.",
        "XXXX/.X..",
        "XX./.X./.XX",
    ]
    shapes = [
        Shape(str(n), shapely.union_all([box(x, y, x + 1, y + 1) for y, row in enumerate(rows) for x in cells(row)]))
        for n, rows in enumerate(piece.split("/") for piece in pieces)
    ]
    shapes = [replace(shape, turns_deg=QUARTERS, mirror=True) for shape in shapes]
    assert [shape.polygon.area for shape in shapes] == [5.0] * 12
    layout = strip(shapes, 6.0, stop=after_evaluations(1_000), seed=1)
    assert layout.length_mm == pytest.approx(10.0, abs=1e-3)
    assert_valid(layout, shapes, Ground(box(0, 0, 10.001, 6)), 0.0, 0.0)


def cells(row: str) -> list[int]:
    return [x for x, cell in enumerate(row) if cell == "X"]


@pytest.mark.parametrize(("count", "radius"), [(4, 0.25), (5, 0.207106781187), (7, 0.174457630187)])
def test_discs_in_a_square(count: int, radius: float) -> None:
    # Peikert, Wuertz, Monagan, de Groot (1992), Packing circles in a square, IFIP TC7, 45-54 (radii from memory).
    # Discs of 98 % of the largest radius fit; of 103 %, they do not.
    for share, fits in ((0.98, True), (1.03, False)):
        disc = Point(0, 0).buffer(1000 * radius * share, quad_segs=24)
        shapes = [Shape(str(k), disc) for k in range(count)]
        layout = fit(shapes, Ground(box(0, 0, 1000, 1000)), stop=after_evaluations(500_000), seed=1)
        assert (layout is not None) == fits


def test_hexagons_touch_in_a_close_packing() -> None:
    # A regular hexagon tiles the plane (Euclid's time; common knowledge): columns 1.5 r apart, half a height askew.
    hexagon = Polygon([(50 * math.cos(k * math.pi / 3), 50 * math.sin(k * math.pi / 3)) for k in range(6)])
    width, height = 50 * (2 + 1.5 * 3), 50 * math.sqrt(3) * 3.5
    assert_laid([Shape(str(k), hexagon) for k in range(12)], width * GROWN, height * GROWN, 5_000_000)


@published
@pytest.mark.parametrize(
    ("name", "evaluations", "at_most"),
    [
        # Sheets that were cut up without waste: at most one more than were cut up.
        ("irregular/terashima1_TA004", 200_000, 4),
        ("irregular/terashima2_TU023C8C15", 2_000_000, 6),
        ("irregular/terashima2_TW019C12", 2_000_000, 5),
        # All on one sheet, as the solution inside shows.
        ("known/trominoes_8x8_defect", 3_000_000, 1),
        ("known/sphinx_4", 500_000, 1),
        ("known/chair_16", 500_000, 1),
    ],
)
def test_published_sets_on_few_sheets(name: str, evaluations: int, at_most: float, tmp_path: Path) -> None:
    # Terashima-Marin et al. (2010), Annals of OR 179, 369-392; Lopez-Camacho (2012), PhD thesis, Tecnologico de
    # Monterrey; Golomb (1954), American Mathematical Monthly 61, 675-682; Golomb (1964), Mathematical Gazette 48,
    # 403-412.
    instance = read(INSTANCES / f"{name}.json", GROWN if name.startswith("known") else 1.0)
    answer = solve(instance, after_evaluations(evaluations), 1)
    assert answer.reached <= at_most
    asked, layout = tmp_path / "instance.json", tmp_path / "layout.json"
    asked.write_text(json.dumps(instance.raw), encoding="utf-8")
    layout.write_text(written(instance, answer.spots, answer.addresses), encoding="utf-8")
    judged = subprocess.run([sys.executable, INSTANCES / "referee.py", asked, layout], capture_output=True, text=True)
    assert judged.returncode == 0, judged.stdout
