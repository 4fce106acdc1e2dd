"""What goes into the ledger is in one normal form, whichever way round and wherever it was drawn."""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Point as Spot
from shapely.geometry import Polygon

from inventory.checking import checked
from inventory.measures import area_mm2, ring_area_mm2, ring_length_mm, signed_area_mm2, size_mm
from nesting.faults import RackFault
from tests.inventory.sample import A1, rectangle


@st.composite
def stars(draw: st.DrawFn) -> list[tuple[float, float]]:
    """A simple polygon around a point: radii at rising angles."""
    radii = draw(st.lists(st.floats(50, 500), min_size=4, max_size=12))
    x, y = draw(st.floats(-1e5, 1e5)), draw(st.floats(-1e5, 1e5))
    angles = [math.tau * n / len(radii) for n in range(len(radii))]
    return [(x + r * math.cos(a), y + r * math.sin(a)) for r, a in zip(radii, angles, strict=True)]


@given(stars(), st.booleans(), st.data())
def test_the_normal_form_keeps_size_and_true_edges_and_is_its_own(ring: list, back: bool, data: st.DataObject) -> None:
    drawn = tuple(ring[::-1] if back else ring)
    true = tuple(sorted(data.draw(st.sets(st.integers(0, len(drawn) - 1)))))
    found = checked(replace(A1, outline_mm=drawn, true_edges=true))
    assert area_mm2(found.outline_mm) == pytest.approx(Polygon(drawn).area, rel=1e-4)
    assert signed_area_mm2(found.outline_mm) > 0
    assert min(x for x, _ in found.outline_mm) == min(y for _, y in found.outline_mm) == 0
    assert size_mm(found.outline_mm) == pytest.approx(size_mm(drawn), abs=0.002)
    assert sorted(_lengths(found.outline_mm, found.true_edges)) == pytest.approx(
        sorted(_lengths(drawn, true)), abs=0.01
    )
    assert checked(found) == found


def _lengths(ring: tuple, edges: tuple[int, ...]) -> list[float]:
    return [math.dist(ring[edge], ring[(edge + 1) % len(ring)]) for edge in edges]


@given(stars())
def test_areas_agree_with_a_library(ring: list) -> None:
    assert abs(signed_area_mm2(ring)) == pytest.approx(Polygon(ring).area, rel=1e-9)
    straight = tuple((x, y, 0.0) for x, y in ring)
    assert abs(ring_area_mm2(straight)) == pytest.approx(Polygon(ring).area, rel=1e-9)
    assert ring_length_mm(straight) == pytest.approx(Polygon(ring).length, rel=1e-9)


@given(st.floats(1, 1000))
def test_a_circle_of_two_arcs_agrees_with_a_library(radius: float) -> None:
    circle = ((-radius, 0.0, 1.0), (radius, 0.0, 1.0))
    many = Spot(0, 0).buffer(radius, quad_segs=5000)
    assert ring_area_mm2(circle) == pytest.approx(many.area, rel=1e-6)
    assert ring_length_mm(circle) == pytest.approx(many.length, rel=1e-6)


HOLE = rectangle(100, 100, 50, 50)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"id": " "}, "needs its id"),
        ({"material": ""}, "needs its material"),
        ({"colour": "a\nb"}, "not one short line"),
        ({"lot": "x" * 500}, "not one short line"),
        ({"thickness_mm": 0.0}, "thickness of 0 mm"),
        ({"thickness_mm": math.nan}, "thickness of nan mm"),
        ({"thickness_mm": 5000.0}, "thickness of 5000 mm"),
        ({"book_value": Decimal("NaN")}, "value of NaN"),
        ({"book_value": Decimal("-1")}, "value of -1"),
        ({"book_value": Decimal("1e20")}, "value of 1E"),
        ({"grain_deg": 400.0}, "grain direction"),
        ({"outline_mm": ((0, 0), (1, 0))}, "three corners"),
        ({"outline_mm": ((0, 0), (math.inf, 0), (0, 9))}, "nowhere"),
        ({"outline_mm": rectangle(30_000, 400)}, "30000 mm wide"),
        ({"outline_mm": rectangle(0.1, 400)}, "0.1 mm wide"),
        ({"outline_mm": ((0, 0), (600, 400), (600, 0), (0, 400))}, "self-intersection"),
        ({"holes_mm": (rectangle(100, 100, 900, 900),)}, "hole lies outside"),
        ({"holes_mm": (HOLE, HOLE)}, "cannot be cut"),
        ({"outline_mm": tuple((n, n % 7) for n in range(30_000))}, "20000 corners"),
        ({"true_edges": (4,)}, "edge 4 cannot be factory-true"),
    ],
)
def test_what_cannot_be_is_told(change: dict, told: str) -> None:
    with pytest.raises(RackFault, match=told):
        checked(replace(A1, **change))
