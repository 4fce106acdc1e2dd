"""SVG's basic shapes and paths to chains.

In: one element, the map from its user space to mm. Out: its chains, each open or closed; and what a fill makes of them.
Source: SVG 2, chapters 9 and 10; path grammar by the font library's parser.
"""

from __future__ import annotations

from collections.abc import Callable
from xml.etree.ElementTree import Element

import shapely
from fontTools.svgLib.path.parser import parse_path
from shapely.geometry import Polygon

from nesting.curves import signed_area
from nesting.drawing.fitting import area_of, dense
from nesting.drawing.pens import OutlinePen
from nesting.drawing.svg_values import numbers, px
from nesting.drawing.tracing import Affine
from nesting.drawing.uniting import Rule, filled
from nesting.model import Chain

Drawn = list[tuple[Chain, bool]]
"""Chains, and whether each closes."""
Figure = Callable[[str], float]
"""A length of the element by its attribute's name, in user units."""


def drawn_figure(element: Element, affine: Affine, viewport: tuple[float, float]) -> Drawn:
    """Chains of one basic shape or path. ValueError where its figures make no sense."""
    pen = OutlinePen(affine)
    wide, high = viewport
    diagonal = ((wide * wide + high * high) / 2) ** 0.5
    whole = dict.fromkeys(("x", "cx", "x1", "x2", "width", "rx"), wide) | {"r": diagonal}
    FIGURES[element.tag.rpartition("}")[2]](pen, element, lambda key: px(element.get(key), whole.get(key, high)))
    return pen.subpaths


def painted_chains(drawn: Drawn, rule: Rule) -> Drawn:
    """What the fill shows: open chains closed as their fill is, parts that cross or overlap united by the rule.

    Chains without area stay as they are: lines that others may join.
    """
    rings = [chain[:-1] if not closed and chain[0][:2] == chain[-1][:2] else chain for chain, closed in drawn]
    loops = [ring for ring in rings if len(ring) > 1 and abs(signed_area(ring)) > 1e-9]
    lines = [part for ring, part in zip(rings, drawn, strict=True) if len(ring) < 2 or abs(signed_area(ring)) <= 1e-9]
    if len(loops) > 1 or (loops and not Polygon(dense(loops[0], True)).is_valid):
        loops = [ring for outline, holes in filled(loops, rule) for ring in (outline, *holes)]
    return [*((loop, True) for loop in loops), *lines]


def painted_area(drawn: Drawn) -> shapely.Geometry:
    """The area a non-zero fill covers."""
    areas = filled([chain for chain, _ in drawn if len(chain) > 1])
    return shapely.union_all([area_of(outline, holes, 0.01) for outline, holes in areas])


# ── one function per element ─────────────────────────────────────────────────────────────────────────────────


def _path(pen: OutlinePen, element: Element, _: Figure) -> None:
    parse_path(" ".join(element.get("d", "").split()), pen)


def _points(pen: OutlinePen, element: Element, _: Figure) -> None:
    figures = numbers(element.get("points", ""))
    for k, point in enumerate(zip(figures[::2], figures[1::2], strict=False)):
        (pen.lineTo if k else pen.moveTo)(point)
    (pen.closePath if element.tag.endswith("polygon") else pen.endPath)()


def _line(pen: OutlinePen, _: Element, figure: Figure) -> None:
    pen.moveTo((figure("x1"), figure("y1")))
    pen.lineTo((figure("x2"), figure("y2")))
    pen.endPath()


def _circle(pen: OutlinePen, _: Element, figure: Figure) -> None:
    _oval(pen, figure("cx"), figure("cy"), figure("r"), figure("r"))


def _ellipse(pen: OutlinePen, element: Element, figure: Figure) -> None:
    rx, ry = _radii(element, figure)
    _oval(pen, figure("cx"), figure("cy"), rx, ry)


def _oval(pen: OutlinePen, cx: float, cy: float, rx: float, ry: float) -> None:
    if rx > 0 and ry > 0:
        pen.moveTo((cx + rx, cy))
        pen.arcTo(rx, ry, 0.0, False, True, (cx - rx, cy))
        pen.arcTo(rx, ry, 0.0, False, True, (cx + rx, cy))
        pen.closePath()


def _rect(pen: OutlinePen, element: Element, figure: Figure) -> None:
    x, y, w, h = (figure(key) for key in ("x", "y", "width", "height"))
    if not (w > 0 and h > 0):
        return
    rx, ry = _radii(element, figure)
    rx, ry = min(rx, w / 2), min(ry, h / 2)
    pen.moveTo((x + rx, y))
    for to, corner in (
        ((x + w - rx, y), (x + w, y + ry)),
        ((x + w, y + h - ry), (x + w - rx, y + h)),
        ((x + rx, y + h), (x, y + h - ry)),
        ((x, y + ry), (x + rx, y)),
    ):
        pen.lineTo(to)
        pen.arcTo(rx, ry, 0.0, False, True, corner)
    pen.closePath()


def _radii(element: Element, figure: Figure) -> tuple[float, float]:
    """Both radii; one that is not given is the other."""
    rx, ry = (figure(key) if element.get(key, "auto") != "auto" else None for key in ("rx", "ry"))
    across = rx if rx is not None else ry
    up = ry if ry is not None else rx
    return max(0.0, across or 0.0), max(0.0, up or 0.0)


FIGURES: dict[str, Callable[[OutlinePen, Element, Figure], None]] = {
    "path": _path,
    "rect": _rect,
    "circle": _circle,
    "ellipse": _ellipse,
    "line": _line,
    "polyline": _points,
    "polygon": _points,
}
