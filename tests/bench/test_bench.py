"""The bench's stand-ins obey the rules that plans obey, and its jobs and pictures can be made."""

from xml.etree import ElementTree

import pytest
import shapely

from nesting.assigning.columns import TURNS, Shop
from nesting.layout import Ground, Shape, checks
from nesting.model import Turn
from tests.bench import alike
from tests.bench.by_hand import first_corner, first_that_fits, in_rows, lying_rows, upright_rows
from tests.bench.choice import costing, jobs_table, material
from tests.bench.jobs import letters_job, sign_job
from tests.bench.plot import steps_svg
from tests.shop import RATES, laser

L = shapely.Polygon([(0, 0), (600, 0), (600, 200), (300, 200), (300, 400), (0, 400)])
BEDS = (shapely.box(0, 0, 600, 250), shapely.box(0, 150, 600, 400))


@pytest.mark.parametrize("way", [lying_rows, upright_rows, first_corner])
@pytest.mark.parametrize("ground", [Ground(L), Ground(shapely.box(0, 0, 600, 400), BEDS)])
def test_rectangles_by_hand_keep_gap_margin_and_reach(way, ground):
    shapes = [
        Shape(f"{k}", shapely.box(0, 0, 40 + 13 * k, 90 - 4 * k), TURNS[Turn.ANY if k % 2 else Turn.NONE])
        for k in range(16)
    ]
    layout = way(shapes, ground, Shop(laser(), RATES, 0, 0))
    assert len(layout.spots) >= 8
    assert {spot.id for spot in layout.spots} | set(layout.missing) == {shape.id for shape in shapes}
    assert not checks.broken({shape.id: shape for shape in shapes}, layout.spots, [ground], 5.0, 5.0)


def test_a_stand_in_pays_for_its_sheets_and_for_the_same_cutting_as_a_plan():
    request = sign_job(4)
    for lines in (in_rows(request), first_that_fits(request)):
        assert 0 < material(lines) < costing.total(lines)
        assert sum(line.what.startswith("cutting") for line in lines) == len({piece.stock for piece in request.pieces})


def test_the_table_has_a_row_a_job_and_one_for_all():
    table = jobs_table([4])
    assert [line.split(" | ")[0] for line in table[2:4]] == ["| 4", "| all"]


def test_jobs_come_out_the_same_every_time_and_as_large_as_asked():
    assert sign_job(3) == sign_job(3)
    letters = letters_job(60)
    assert (len(letters.pieces), len(letters.rack), len(letters.workshop.offer)) == (60, 25, 6)


def test_the_chart_is_whole_and_escapes_names():
    tree = ElementTree.fromstring(steps_svg({"<a>": [(0.5, 12.0), (3.0, 10.0)]}, "s", "EUR"))
    assert "<a>" in [text.text for text in tree.iter("{http://www.w3.org/2000/svg}text")]


def test_more_stars_lie_in_rows_than_one_by_one_and_a_picture_shows_all_of_them():
    star = alike.PIECES[alike.DRAWN]
    layouts = {name: alike.filled(star, 20_000, rows=name == "in rows") for name in alike.COLOURS}
    assert len(layouts["in rows"].spots) > 1.3 * len(layouts["one by one"].spots)
    drawn = ElementTree.fromstring(alike.picture(layouts, star))
    stars = [part for part in drawn if part.tag.endswith("polygon")]
    assert len(stars) == sum(len(layout.spots) for layout in layouts.values())
