"""Pictures as SVG: what an SVG reader makes of the text is what was drawn."""

import math
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cli.documents.canvas import Path, Picture
from cli.documents.svg import svg
from nesting.curves import Segment
from nesting.drawing.pens import elliptic_arc


def read_back(path: str, start: tuple[float, float]) -> list[tuple[float, float]]:
    """Points along the arcs of path data, by the formula of SVG 2, appendix B.2.4 (through the drawing reader)."""
    here, points = start, []
    for words in path.partition("A")[2].replace("A", "|").split("|"):
        rx, ry, turn, large, sweep, x, y = map(float, words.split())
        arcs, frame = elliptic_arc(here, (x, y), rx, ry, turn, bool(large), bool(sweep))
        points += [frame.point(arc.point(t / 16)) for arc in arcs for t in range(17)]
        here = (x, y)
    return points


@given(
    st.floats(0.9, 1.1) | st.floats(0.05, 20.0),
    st.booleans(),
    st.floats(5.0, 300.0),
    st.floats(0.0, math.tau),
    st.floats(0.0, 0.01),
)
def test_an_arc_is_written_where_it_lies(bulge, left, chord, turn, shift):
    a = (150.0 + shift, 150.0 - shift)
    b = (a[0] + chord * math.cos(turn), a[1] + chord * math.sin(turn))
    arc = Segment(a, b, bulge if left else -bulge)
    picture = Picture(1.0, 1.0, (Path((((*a, arc.bulge), (*b, 0.0)),), False),), "arc")
    element = ET.fromstring(svg(picture)).find("{http://www.w3.org/2000/svg}path")
    points = read_back(element.get("d"), (round(a[0], 2), round(a[1], 2)))
    off = max(abs(math.dist(p, arc.centre) - arc.radius) for p in points)
    assert off < 0.03
    reached = max(min(math.dist(p, arc.point(t / 8)) for p in points) for t in range(9))
    assert reached < 0.2 * arc.radius + 0.03
    assert points[-1] == pytest.approx(b, abs=0.0051)
