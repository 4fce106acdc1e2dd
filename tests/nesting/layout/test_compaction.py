"""Sliding all pieces of a strip together: it ends as short as can be seen by eye, and nothing ever overlaps."""

import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from nesting.layout import Ground, Layout, Shape, Spot
from nesting.layout.compaction import Parts, compact, convex_parts
from nesting.layout.outlines import outline
from nesting.layout.search import Chain, Task, by_bulk, lay_in_order
from tests.nesting.layout.judging import assert_valid
from tests.nesting.layout.test_layout import ELL, RING, TEE, polygons, star

WEDGE = Polygon([(0, 0), (100, 0), (0, 100)])


def slid(shapes: list[Shape], spots: list[Spot], width_mm: float) -> tuple[float, list[Spot]]:
    """How long the strip is once all have slid, and where they lie."""
    task = Task(shapes, [Ground(box(0, 0, 2000, width_mm))], 0.0, 0.0)
    chain = Chain(task, 1)
    assert chain.lay(spots) == []
    assert compact(chain, Parts(task.table))
    return float(chain.regions.box[0, 2]) * task.scale, chain.spots_of(chain.save())


def test_two_squares_slide_together() -> None:
    shapes = [Shape(name, box(0, 0, 50, 50), (0.0,)) for name in "ab"]
    length, _ = slid(shapes, [Spot("a", 0, 0, 0), Spot("b", 70, 10, 0)], 60)
    assert length == pytest.approx(100, abs=1e-3)


def test_a_piece_in_nobodys_way_lets_the_long_row_pass() -> None:
    """The short one above has to give way for the strip to become as short as its lower row."""
    shapes = [Shape("low", box(0, 0, 100, 40), (0.0,)), Shape("last", box(0, 0, 50, 60), (0.0,))]
    shapes.append(Shape("loose", box(0, 0, 30, 30), (0.0,)))
    spots = [Spot("low", 0, 0, 0), Spot("loose", 85, 50, 0), Spot("last", 120, 0, 0)]
    length, _ = slid(shapes, spots, 80)
    assert length == pytest.approx(150, abs=1e-3)


def test_two_wedges_slide_along_their_slants() -> None:
    """Hypotenuse to hypotenuse they make a square of 100: one has to go down while it goes left."""
    shapes = [Shape("a", WEDGE, (0.0,)), Shape("b", WEDGE, (180.0,))]
    length, _ = slid(shapes, [Spot("a", 0, 0, 0), Spot("b", 130, 130, 180)], 130)
    assert length == pytest.approx(100, abs=1e-2)


def test_an_ell_takes_a_square_into_its_corner() -> None:
    shapes = [Shape("ell", ELL, (0.0,)), Shape("square", box(0, 0, 60, 60), (0.0,))]
    length, _ = slid(shapes, [Spot("ell", 0, 0, 0), Spot("square", 90, 45, 0)], 200)
    assert length == pytest.approx(120, abs=1e-3)


def test_pieces_turned_at_will_slide_as_they_are_turned() -> None:
    shapes = [Shape(name, box(0, 0, 50, 50), None) for name in "ab"]
    diagonal = 50 * math.sqrt(2)
    spots = [Spot("a", diagonal / 2, 0, 45), Spot("b", diagonal * 1.5 + 20, 0, 45)]
    length, after = slid(shapes, spots, diagonal + 0.01)
    assert length == pytest.approx(2 * diagonal, abs=0.05)
    assert [spot.turn_deg for spot in after] == pytest.approx([45, 45])


@settings(max_examples=40, deadline=None)
@given(polygons())
def test_convex_parts_make_up_the_outline(polygon: Polygon) -> None:
    whole = outline(polygon, 1.0)
    parts = [Polygon(ring) for ring in convex_parts(whole)]
    assert sum(part.area for part in parts) == pytest.approx(whole.polygon.area, rel=1e-9)
    assert shapely.union_all(parts).symmetric_difference(whole.polygon).area < 1e-6 * whole.polygon.area
    assert all(part.convex_hull.area == pytest.approx(part.area, rel=1e-9) for part in parts)


@pytest.mark.parametrize("polygon", [ELL, TEE, RING, star(80)])
def test_few_convex_parts_do(polygon: Polygon) -> None:
    """No more than twice the reflex corners and holes ask for, and one: far fewer than triangles."""
    whole = outline(polygon, 0.0)
    corners = len(whole.edges)
    assert len(convex_parts(whole)) <= max(2, corners // 2 + 2)


@settings(max_examples=20, deadline=None)
@given(st.lists(polygons(), min_size=2, max_size=6), st.integers(0, 10), st.sampled_from([0.0, 2.0]))
def test_what_slid_is_no_longer_and_overlaps_nothing(outlines: list[Polygon], seed: int, gap_mm: float) -> None:
    shapes = [Shape(str(k), polygon, (0.0, 90.0) if k % 2 else None) for k, polygon in enumerate(outlines)]
    ground = Ground(box(0, 0, 1500, 200))
    chain = Chain(task := Task(shapes, [ground], gap_mm, 0.0), seed)
    assert lay_in_order(chain, by_bulk(task)) == []
    before = float(chain.state.box[:, 2].max())
    compact(chain, Parts(task.table))
    assert float(chain.state.box[:, 2].max()) <= before + 1e-9
    layout = Layout(tuple(chain.spots_of(chain.save())), (), 0.0, None, chain.effort)
    assert_valid(layout, shapes, ground, gap_mm, 0.0)
