"""Whatever is asked, a layout that comes back is valid by a check of its own here: plain shapely, no engine code."""

import importlib
import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import islice

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Point, Polygon, box

from nesting.layout import Effort, Ground, Layout, Shape, Spot, after_evaluations, fill, fit, strip
from nesting.layout.asked import Asked, Stock
from nesting.layout.dealing import Deals, dealing
from nesting.layout.stock import cheapest
from tests.nesting.layout.judging import HAIR_MM, assert_valid, placed


def star(radius: float, points: int = 5) -> Polygon:
    corners = []
    for k in range(2 * points):
        r = radius if k % 2 == 0 else 0.45 * radius
        corners.append((r * math.cos(k * math.pi / points), r * math.sin(k * math.pi / points)))
    return Polygon(corners)


RING = Point(0, 0).buffer(100).difference(Point(0, 0).buffer(60))
ELL = Polygon([(0, 0), (120, 0), (120, 40), (40, 40), (40, 200), (0, 200)])
TEE = box(60, 0, 100, 200).union(box(0, 160, 160, 200))
OFFCUT = Polygon(
    [(0, 0), (900, 0), (900, 400), (600, 420), (550, 600), (0, 600)], [[(300, 250), (380, 250), (380, 330), (300, 330)]]
)
QUARTERS = (0.0, 90.0, 180.0, 270.0)


@st.composite
def polygons(draw: st.DrawFn) -> Polygon:
    """Star-like outlines, some with a hole, anywhere in their own frame."""
    n = draw(st.integers(3, 12))
    radii = draw(st.lists(st.floats(15, 60), min_size=n, max_size=n))
    x, y = draw(st.floats(-500, 500)), draw(st.floats(-500, 500))
    corners = [
        (x + r * math.cos(2 * math.pi * k / n), y + r * math.sin(2 * math.pi * k / n)) for k, r in enumerate(radii)
    ]
    polygon = Polygon(corners)
    if draw(st.booleans()):
        hole = Point(x, y).buffer(draw(st.floats(1, 4)), quad_segs=2)
        if polygon.buffer(-1).contains(hole):
            polygon = polygon.difference(hole)
    return polygon


TURNS = st.sampled_from([None, (0.0,), (0.0, 180.0), QUARTERS, (17.0, 200.0)])
GAPS, MARGINS = st.sampled_from([0.0, 0.5, 3.0, 7.0]), st.sampled_from([0.0, 1.0, 5.0])


@st.composite
def wanted(draw: st.DrawFn) -> list[Shape]:
    """A few shapes with turns, values, charges for lying across reaches and the quality they ask for."""
    return [
        Shape(
            str(k),
            draw(polygons()),
            draw(TURNS),
            draw(st.booleans()),
            draw(st.floats(1, 10)),
            draw(st.sampled_from([None, None, 0.5])),
            draw(st.sampled_from([math.inf, 2.0, 1.0])),
        )
        for k in range(draw(st.integers(1, 9)))
    ]


@st.composite
def sheets(draw: st.DrawFn) -> Ground:
    """An irregular sheet with a hole, perhaps with reaches that share a band, pinned pieces and poor zones."""
    n = draw(st.integers(3, 9))
    radii = draw(st.lists(st.floats(150, 400), min_size=n, max_size=n))
    corners = [(r * math.cos(2 * math.pi * k / n), r * math.sin(2 * math.pi * k / n)) for k, r in enumerate(radii)]
    hole = affinity.translate(star(draw(st.floats(5, 40))), draw(st.floats(-80, 80)), draw(st.floats(-80, 80)))
    outline = max(shapely.get_parts(Polygon(corners).difference(hole)), key=lambda part: part.area)
    reaches = draw(st.sampled_from([(), (box(-400, -400, 400, 50), box(-400, -50, 400, 400))]))
    pinned = draw(st.sampled_from([(), (box(60, 60, 120, 140), affinity.translate(star(50), -90, 20))]))
    zones = draw(st.sampled_from([(), ((box(-200, -200, 0, 0), 1.0), (box(-50, -200, 100, 50), 2.0))]))
    return Ground(outline, reaches, pinned, zones)


@settings(max_examples=40)
@given(wanted(), st.one_of(st.just(Ground(OFFCUT)), sheets()), GAPS, MARGINS, st.integers(0, 3))
def test_what_is_laid_is_laid_well(shapes, ground, gap_mm, margin_mm, seed) -> None:
    layout = fill(shapes, ground, gap_mm=gap_mm, margin_mm=margin_mm, stop=after_evaluations(20_000), seed=seed)
    assert_valid(layout, shapes, ground, gap_mm, margin_mm)


@settings(max_examples=20)
@given(wanted(), sheets(), GAPS, MARGINS)
def test_a_set_that_is_said_to_fit_does(shapes, ground, gap_mm, margin_mm) -> None:
    layout = fit(shapes, ground, gap_mm=gap_mm, margin_mm=margin_mm, stop=after_evaluations(20_000))
    if layout is not None:
        assert layout.missing == ()
        assert_valid(layout, shapes, ground, gap_mm, margin_mm)


@settings(max_examples=15)
@given(wanted(), sheets(), GAPS, MARGINS)
def test_every_sheet_bought_is_laid_well(shapes, ground, gap_mm, margin_mm) -> None:
    stock = [Stock(ground, 3.0, 1), Stock(Ground(OFFCUT), 4.0, 1), Stock(Ground(box(0, 0, 260, 260)))]
    found = cheapest(shapes, stock, gap_mm=gap_mm, margin_mm=margin_mm, stop=after_evaluations(30_000))
    laid = {spot.id for spot in found.layout.spots}
    assert sorted([*laid, *found.layout.missing]) == sorted(shape.id for shape in shapes)
    assert found.cost == sum(stock[kind].cost for kind in found.sheets)
    assert max([0, *(found.sheets.count(kind) for kind in (0, 1))]) <= 1
    for number, kind in enumerate(found.sheets):
        here = tuple(spot for spot in found.layout.spots if spot.ground == number)
        ids = {spot.id for spot in here}
        part = [shape for shape in shapes if shape.id in ids]
        assert_valid(Layout(here), part, stock[kind].ground, gap_mm, margin_mm)


def test_only_a_mirrored_piece_fits() -> None:
    zed = Polygon([(0, 0), (200, 0), (200, 100), (300, 100), (300, 200), (100, 200), (100, 100), (0, 100)])
    sheet = Ground(affinity.scale(zed.buffer(3, join_style="mitre"), -1.0, 1.0, origin=(0, 0)))
    assert fit([Shape("z", zed, QUARTERS)], sheet, stop=after_evaluations(100_000)) is None
    layout = fit([Shape("z", zed, QUARTERS, mirror=True)], sheet)
    assert layout is not None
    assert layout.spots[0].mirrored


def test_stars_lie_in_the_counters_of_letters() -> None:
    ring = Shape("O", RING)
    stars = [Shape(f"star {k}", star(24), None) for k in range(3)]
    square = Ground(box(0, 0, 201, 201))
    layout = fit([ring, *stars], square)
    assert layout is not None
    assert_valid(layout, [ring, *stars], square, 0.0, 0.0)


def test_same_seed_same_layout() -> None:
    shapes = [Shape(f"L{k}", ELL, QUARTERS) for k in range(6)] + [Shape(f"T{k}", TEE, None) for k in range(6)]
    layouts = [fill(shapes, Ground(OFFCUT), gap_mm=2, margin_mm=5, seed=7) for _ in range(2)]
    assert layouts[0] == layouts[1]
    assert strip(shapes, 400, seed=3, stop=after_evaluations(100_000)) == strip(
        shapes, 400, seed=3, stop=after_evaluations(100_000)
    )


def test_one_thread_or_two_same_strip() -> None:
    shapes = [Shape(f"L{k}", ELL, QUARTERS) for k in range(6)] + [Shape(f"T{k}", TEE, QUARTERS) for k in range(4)]
    stop = after_evaluations(700_000)
    assert strip(shapes, 400, seed=5, stop=stop, threads=1) == strip(shapes, 400, seed=5, stop=stop, threads=2)


def test_a_race_of_many_strips_is_the_same_on_one_thread_or_two(monkeypatch: pytest.MonkeyPatch) -> None:
    """In haste, with little between two exchanges, and any effort ample, all heats are run in a second."""
    module = importlib.import_module("nesting.layout.strip")
    for name, value in (("EXCHANGE", 20_000), ("PATIENCE", 5), ("AMPLE", 1.0), ("MANY", 5)):
        monkeypatch.setattr(module, name, value)
    heats: list[int] = []
    go_on = module._Run.go_on
    monkeypatch.setattr(module._Run, "go_on", lambda run, heat, field: (heats.append(heat), go_on(run, heat, field)))
    shapes = [Shape(f"L{k}", ELL, QUARTERS) for k in range(3)] + [Shape(f"T{k}", TEE, QUARTERS) for k in range(2)]
    stop = after_evaluations(700_000)
    one, two = (strip(shapes, 400, gap_mm=2, seed=5, stop=stop, threads=threads) for threads in (1, 2))
    assert one == two
    assert heats == [1, 1, 2, 2, 3, 3] * 2
    assert one.length_mm is not None
    assert_valid(one, shapes, Ground(box(0, 0, one.length_mm, 400)), 2.0, 0.0)


def interrupted_after(looks: int) -> Callable[[Effort], float]:
    """A stop rule in which Ctrl-C comes when it is looked at the so many-th time."""
    calls: list[Effort] = []

    def stop(effort: Effort) -> float:
        calls.append(effort)
        if len(calls) > looks:
            raise KeyboardInterrupt
        return 0.0

    return stop


@pytest.mark.parametrize("looks", [0, 1, 3])
def test_ctrl_c_returns_the_best_so_far(looks: int) -> None:
    shapes = [Shape(str(k), box(0, 0, 60, 60), value=float(k)) for k in range(4)]
    assert len(fill(shapes, Ground(box(0, 0, 125, 62)), stop=interrupted_after(looks)).spots) == 2
    assert strip(shapes, 100.0, stop=interrupted_after(looks)).length_mm is not None
    discs = [Shape(str(k), Point(0, 0).buffer(30)) for k in range(4)]
    assert fit(discs, Ground(box(0, 0, 119, 119)), stop=interrupted_after(looks)) is None


def test_ctrl_c_returns_the_sheets_so_far() -> None:
    squares = [Shape(str(k), box(0, 0, 60, 60)) for k in range(6)]
    sheets = [Stock(Ground(box(0, 0, 125, 62)), 1.1), Stock(Ground(box(0, 0, 119, 119)), 2.0)]
    assert cheapest(squares, sheets, stop=interrupted_after(0)).layout.missing == tuple(str(k) for k in range(6))
    for looks in (3, 20):
        found = cheapest(squares, sheets, stop=interrupted_after(looks))
        assert len(found.layout.missing) == max(0, 6 - 2 * len(found.sheets))


def test_the_cheapest_sheets_are_chosen() -> None:
    shapes = [Shape(str(k), box(0, 0, 60, 60)) for k in range(4)]
    large, small = Stock(Ground(box(0, 0, 125, 125)), 10.0), Stock(Ground(box(0, 0, 62, 62)), 3.0, quantity=2)
    found = cheapest(shapes, [large, small], stop=after_evaluations(100_000))
    assert (found.cost, found.layout.missing) == (10.0, ())


def test_as_few_sheets_as_the_area_allows() -> None:
    shapes = [Shape(f"L{k}", ELL, None) for k in range(6)] + [Shape(f"T{k}", TEE, None) for k in range(4)]
    sheet = Ground(box(0, 0, 300, 300))
    found = cheapest(shapes, [Stock(sheet)], gap_mm=2.0, seed=3, stop=after_evaluations(1_000_000))
    assert found.layout.missing == ()
    for number in range(len(found.sheets)):
        here = tuple(spot for spot in found.layout.spots if spot.ground == number)
        laid = [shape for shape in shapes if shape.id in {spot.id for spot in here}]
        assert_valid(Layout(here), laid, sheet, 2.0, 0.0)
    assert len(found.sheets) == 2  # as few as the area allows


def test_one_sheet_for_all_that_is_left_costs_more_than_two_small_ones() -> None:
    shapes = [Shape(str(k), box(0, 0, 99, 99), (0.0,)) for k in range(12)]
    dear, cheap = Stock(Ground(box(0, 0, 400, 200)), 10.0), Stock(Ground(box(0, 0, 200, 200)), 3.0)
    found = cheapest(shapes, [dear, cheap], stop=after_evaluations(2_000))
    assert (found.sheets, found.layout.missing) == ((1, 1, 1), ())


def test_one_thread_or_two_same_sheets() -> None:
    shapes = [Shape(str(k), polygon, None) for k, polygon in enumerate([ELL, TEE, star(80), RING] * 4)]
    stock = [Stock(Ground(box(0, 0, 300, 300))), Stock(Ground(OFFCUT), 2.5)]
    one, two = (cheapest(shapes, stock, stop=after_evaluations(900_000), threads=threads) for threads in (1, 2))
    assert one == two


def test_what_leaves_less_room_than_a_choice_that_failed_comes_last(monkeypatch: pytest.MonkeyPatch) -> None:
    """110 discs that no try brings apart: after the choice that would save most come looser ones."""
    tried = list[float]()

    def in_vain(asked, best, choice, *_):
        sheets = [*(best.sheets[at] for at in choice.kept), *choice.others]
        tried.append(1.0 - sum(asked.areas.values()) / asked.room(sheets))
        return None, 200_000

    monkeypatch.setattr("nesting.layout.stock._try", in_vain)
    shapes = [Shape(str(k), Point(0, 0).buffer(2.5), (0.0,)) for k in range(110)]
    sizes = [(40, 30, 1200, None), (25, 20, 300, 3), (15, 40, 330, 2)]
    stock = [Stock(Ground(box(0, 0, width, height)), cost, there) for width, height, cost, there in sizes]
    cheapest(shapes, stock, stop=after_evaluations(1_000_000))
    assert len(tried) > 3
    assert min(tried) > tried[0] - 1e-9


def test_sheets_with_nothing_to_deal_are_left_alone() -> None:
    """Four equal squares fill the one, eight the other: to look at them costs no effort, and would never end."""
    shapes = [Shape(str(k), box(0, 0, 99, 99), (0.0,)) for k in range(12)]
    stock = [Stock(Ground(box(0, 0, 400, 200)), 10.0), Stock(Ground(box(0, 0, 200, 200)), 3.0)]
    places = [(100.0 * (k % 2), 100.0 * (k // 2)) for k in range(4)]
    spots = [Spot(str(k), x, y, 0, ground=1) for k, (x, y) in enumerate(places)]
    spots += [Spot(str(4 + k), x, y, 0) for k, (x, y) in enumerate([*places, *((x + 200, y) for x, y in places)])]
    asked = Asked(shapes, stock, 0.0, 0.0, 0)
    with ThreadPoolExecutor(1) as pool:
        steps = dealing(asked, asked.stocked([0, 1], spots, (), 0), Deals(), after_evaluations(1_000), pool)
        assert len(list(islice(steps, 100))) < 100


def test_pieces_dealt_anew_leave_room_for_a_cheaper_sheet() -> None:
    """Bars of 50 and 40 on one sheet of 100 and one of 50 on another: the 40 and the 50 change places."""
    shapes = [Shape(str(k), box(0, 0, width, 100)) for k, width in enumerate((50, 40, 50))]
    stock = [Stock(Ground(box(0, 0, 100, 100)), 2.0), Stock(Ground(box(0, 0, 45, 100)), 1.0, quantity=1)]
    asked = Asked(shapes, stock, 0.0, 0.0, 0)
    spots = [Spot("0", 0, 0, 0), Spot("1", 50, 0, 0), Spot("2", 0, 0, 0, ground=1)]
    with ThreadPoolExecutor(1) as pool:
        steps = dealing(asked, asked.stocked([0, 0], spots, (), 0), Deals(), after_evaluations(200_000), pool)
        found = next(each for each, _ in steps if each.cost < 4.0)
    assert sorted(found.sheets) == [0, 1]
    for number, kind in enumerate(found.sheets):
        here = tuple(spot for spot in found.layout.spots if spot.ground == number)
        laid = [shape for shape in shapes if shape.id in {spot.id for spot in here}]
        assert_valid(Layout(here), laid, stock[kind].ground, 0.0, 0.0)


def test_many_equal_pieces_fill_equal_sheets_alike() -> None:
    shapes = [Shape(str(k), box(0, 0, 60, 60)) for k in range(400)]
    found = cheapest(shapes, [Stock(Ground(box(0, 0, 125, 125)))], stop=after_evaluations(200_000))
    assert (len(found.sheets), found.layout.missing) == (100, ())


def test_zones_of_low_quality_bar_what_asks_for_more() -> None:
    sheet = Ground(box(0, 0, 100, 50), zones=((box(0, 0, 50, 50), 1.0),))
    shapes = [Shape("front", box(0, 0, 45, 45)), Shape("hidden", box(0, 0, 45, 45), quality=1.0)]
    layout = fit(shapes, sheet)
    assert layout is not None
    assert {spot.id: spot.x_mm > 40 for spot in layout.spots} == {"front": True, "hidden": False}


def test_a_strip_is_as_long_as_it_says() -> None:
    shapes = [Shape(f"L{k}", ELL, QUARTERS) for k in range(6)] + [Shape(f"O{k}", RING) for k in range(3)]
    layout = strip(shapes, 450, gap_mm=2, margin_mm=3, stop=after_evaluations(300_000))
    assert layout.length_mm is not None
    assert_valid(layout, shapes, Ground(box(0, 0, layout.length_mm, 450)), 2, 3)
    assert layout.length_mm < 700


def test_too_large_an_area_is_refused_at_once() -> None:
    shapes = [Shape(str(k), box(0, 0, 60, 60)) for k in range(3)]
    assert fit(shapes, Ground(box(0, 0, 100, 100)), stop=after_evaluations(0)) is None


def test_a_shape_too_long_for_the_sheet_is_missing() -> None:
    shapes = [Shape("long", box(0, 0, 500, 10)), Shape("short", box(0, 0, 50, 10))]
    layout = fill(shapes, Ground(box(0, 0, 100, 100)))
    assert layout.missing == ("long",)


@pytest.mark.parametrize("gap_mm", [0.0, 2.0])
def test_rectangles_that_fit_exactly_are_laid(gap_mm: float) -> None:
    side = (200 - gap_mm) / 2
    shapes = [Shape(str(k), box(0, 0, side, side)) for k in range(4)]
    sheet = Ground(box(0, 0, 200, 200))
    layout = fit(shapes, sheet, gap_mm=gap_mm)
    assert layout is not None
    assert_valid(layout, shapes, sheet, gap_mm, 0.0)


def test_the_most_valuable_subset_is_kept() -> None:
    shapes = [Shape(str(k), box(0, 0, 60, 60), value=float(k)) for k in range(4)]
    layout = fill(shapes, Ground(box(0, 0, 125, 62)))
    assert sorted(layout.missing) == ["0", "1"]


def test_a_shape_across_reaches_is_charged() -> None:
    reaches = (box(0, 0, 100, 60), box(0, 40, 100, 100))
    tall = Shape("tall", box(0, 0, 20, 80), value=5.0, reach_charge=2.0)
    low = Shape("low", box(0, 0, 20, 50), value=5.0, reach_charge=2.0)
    layout = fill([tall, low], Ground(box(0, 0, 100, 100), reaches))
    assert layout.value == pytest.approx(8.0)
    assert fit([Shape("tall", tall.polygon)], Ground(box(0, 0, 100, 100), reaches)) is None


def test_margin_at_a_reflex_corner_is_round() -> None:
    sheet = Polygon([(0, 0), (100, 0), (100, 50), (50, 50), (50, 100), (0, 100)])
    shape = Shape("square", box(0, 0, 40, 40), value=1)
    layout = fill([shape] * 1, Ground(sheet), margin_mm=5)
    assert layout.missing == ()
    outline = placed(shape, layout.spots[0])
    assert shapely.distance(sheet.boundary, outline) >= 5 - HAIR_MM


def test_a_ground_too_small_for_every_shape_comes_back_empty():
    shapes = [Shape(id="a", polygon=box(0, 0, 300, 300), turns_deg=(0.0,), mirror=False, value=1.0, reach_charge=None)]
    layout = fill(shapes, Ground(box(0, 0, 100, 100)), gap_mm=3.0, margin_mm=5.0, stop=after_evaluations(1000), seed=1)
    assert layout.spots == ()
    assert layout.missing == ("a",)
