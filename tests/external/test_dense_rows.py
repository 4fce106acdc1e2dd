"""Rows of pieces alike against densities that are proved or the best known."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from nesting.layout.outlines import outline
from nesting.layout.rows import densest


def regular(corners: int) -> Polygon:
    turn = 2 * math.pi / corners
    return Polygon([(100 * math.cos(k * turn), 100 * math.sin(k * turn)) for k in range(corners)])


def density(polygon: Polygon, *, by_half: bool) -> float:
    return float(polygon.area / densest(outline(polygon, 0.0), by_half)[0].area)


@pytest.mark.parametrize(
    ("corners", "known"),
    [
        (3, 1.0),
        (4, 1.0),
        (5, (5 - math.sqrt(5)) / 3),
        (6, 1.0),
        (7, 0.89269),
        (8, (4 + 4 * math.sqrt(2)) / (5 + 4 * math.sqrt(2))),
    ],
)
def test_regular_polygons(corners: int, known: float) -> None:
    """Pentagon: Hales, Kusner (2016), arXiv:1602.07220, the densest packing there is. Heptagon: densest double lattice,
    Kallus (2013), arXiv:1305.0289. Octagon: densest lattice. The last two figures are from memory; triangles, squares
    and hexagons tile."""
    assert density(regular(corners), by_half=True) == pytest.approx(known, abs=1e-4)


def test_discs() -> None:
    """Thue (1910): pi / sqrt(12). A polygon of 60 corners lies a little denser than the disc."""
    assert density(regular(60), by_half=False) == pytest.approx(math.pi / math.sqrt(12), abs=2e-3)


@settings(max_examples=15, deadline=None)
@given(st.floats(40, 300), st.floats(-100, 400), st.floats(40, 300))
def test_every_triangle_tiles_with_its_half_turns(base: float, x: float, height: float) -> None:
    """A triangle and its half-turn make a parallelogram, which tiles (Euclid, Elements, I.34)."""
    assert density(Polygon([(0, 0), (base, 0), (x, height)]), by_half=True) > 0.999


@settings(max_examples=15, deadline=None)
@given(st.floats(20, 150), st.floats(20, 150), st.floats(0.4, 1.2), st.floats(20, 150))
def test_every_centrally_symmetric_hexagon_tiles_without_turns(a: float, b: float, turn: float, c: float) -> None:
    """Minkowski: among convex polygons, parallelograms and these hexagons tile by translations alone."""
    u, v, w = (a, 0.0), (b * math.cos(turn), b * math.sin(turn)), (-c * math.sin(turn / 2), c * math.cos(turn / 2))
    corners, at = list[tuple[float, float]](), (0.0, 0.0)
    for step in (u, v, w):
        corners.append(at)
        at = at[0] + step[0], at[1] + step[1]
    half = [(at[0] - x, at[1] - y) for x, y in corners]
    assert density(Polygon([*corners, *half]), by_half=False) > 0.999
