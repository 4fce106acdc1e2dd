"""A source SVG read afresh: what the job wants cut, as linework, without the planner's reader.

In: an SVG file and what the job says of it. Out: Linework in mm, y up; NotCompared says why there is none.
Method: one walk over the tree with the map to mm, the paint and the layer at each element. Paths go through the font
library's parser, style sheets through cssselect2. Where the page's corner lies does not matter, its scale does. Clip
paths and pages within pages are not compared. Sources: SVG 2, CSS Values 3 (1 in = 96 px = 72 pt = 25.4 mm).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

import cssselect2
import numpy as np
import tinycss2
from fontTools.misc.transform import Identity, Transform
from fontTools.svgLib.path.parser import parse_path

from nesting.audit.linework import Floats
from nesting.audit.source_lines import (
    ChordPen,
    Linework,
    NotCompared,
    bounded,
    close_for,
    linework,
    mm_per_unit,
    painted,
    role,
)
from nesting.model import PieceOrder

MM_PER_PX = 25.4 / 96
PX = {"": 1.0, "px": 1.0, "in": 96.0, "cm": 96 / 2.54, "mm": 96 / 25.4, "q": 96 / 101.6, "pt": 96 / 72, "pc": 16.0}
FIGURES = frozenset({"path", "rect", "circle", "ellipse", "line", "polyline", "polygon"})
GROUPS = frozenset({"g", "a", "switch"})
INHERITED = ("fill", "stroke", "fill-rule", "visibility")
STYLED = (*INHERITED, "display", "opacity", "clip-path", "transform")
ELEMENTS_MAX = 100_000
NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")

Styles = dict[Element, dict[str, str]]


def read_svg(path: Path, order: PieceOrder) -> Linework:
    """What a job's entry wants cut of an SVG drawing. Raises NotCompared."""
    try:
        root = ElementTree.parse(path).getroot()
        drawn = bounded(_Page(root, order).lines())
    except NotCompared:
        raise
    except Exception as error:  # whatever a damaged drawing stirs up means the same: it cannot be compared
        raise NotCompared(f"the drawing cannot be read again ({str(error)[:80]})") from error
    return linework(drawn)


@dataclass(frozen=True, slots=True)
class _Context:
    """What an element is given by those round it: the map to mm, its paint, its layer."""

    to_mm: Transform
    paint: dict[str, str]
    layer: str = ""


class _Page:
    """One drawing, walked once."""

    def __init__(self, root: Element, order: PieceOrder) -> None:
        self.root, self.order = root, order
        self.styles = _sheet_styles(root)
        self.by_id = {element.get("id", ""): element for element in root.iter()}
        box = _numbers(root.get("viewBox", ""))[2:4]
        self.size = tuple(box) or tuple(_px(root.get(side), 100.0, 100.0) for side in ("width", "height"))
        self.seen = 0

    def lines(self) -> Iterator[Floats]:
        """Points (n, 2) of every line to cut, mm."""
        across, up = self._scale()
        context = _Context(Transform(across, 0, 0, -up), {"fill": "black"})
        for child in self.root:
            yield from self._element(child, context)

    def _scale(self) -> tuple[float, float]:
        """mm for one user unit, along x and y."""
        named = mm_per_unit(self.order)
        k = (MM_PER_PX if named is None else named) * self.order.scale
        if not self.root.get("viewBox") or named is not None:
            return k, k
        sides = zip(("width", "height"), self.size, strict=True)
        shares = [_px(self.root.get(side), whole, whole) / whole for side, whole in sides]
        words = self.root.get("preserveAspectRatio", "").split()
        if words[:1] == ["none"]:
            return k * shares[0], k * shares[1]
        whole = max(shares) if "slice" in words else min(shares)
        return k * whole, k * whole

    def _element(self, element: Element, outer: _Context) -> Iterator[Floats]:
        tag = _tag(element)
        self.seen += 1
        if self.seen > ELEMENTS_MAX:
            raise NotCompared(f"it shows more than {ELEMENTS_MAX} elements")
        if tag in ("svg", "symbol"):
            raise NotCompared("pages within pages are not compared")
        if tag not in FIGURES and tag not in GROUPS and tag != "use":
            return
        own = self._style(element)
        if own.get("display") == "none" or _is_nothing(own.get("opacity", "1")):
            return
        if own.get("clip-path", "none") != "none":
            raise NotCompared("clip paths are not compared")
        context = _entered(element, own, outer)
        if tag == "use":
            yield from self._used(element, context)
        elif tag in GROUPS:
            for child in element:
                yield from self._element(child, context)
        elif role(context.layer, self.order) == "cut":
            yield from self._figure(element, tag, context)

    def _style(self, element: Element) -> dict[str, str]:
        attributes = {key: value for key, value in element.attrib.items() if key in STYLED}
        return attributes | self.styles.get(element, {}) | _declared(element.get("style", ""))

    def _used(self, element: Element, context: _Context) -> Iterator[Floats]:
        named = element.get("href") or element.get("{http://www.w3.org/1999/xlink}href") or ""
        target = self.by_id.get(named.removeprefix("#"))
        if target is not None:
            x, y = (_px(element.get(key), whole) for key, whole in zip("xy", self.size, strict=True))
            yield from self._element(target, replace(context, to_mm=context.to_mm.translate(x, y)))

    def _figure(self, element: Element, tag: str, context: _Context) -> Iterator[Floats]:
        paint = context.paint
        is_filled = paint.get("fill") != "none"
        if paint.get("visibility", "visible") != "visible" or not (is_filled or paint.get("stroke", "none") != "none"):
            return
        m = context.to_mm
        matrix = np.array(((m.xx, m.xy), (m.yx, m.yy)))
        pen = ChordPen(close_for(float(np.linalg.norm(matrix, 2))))
        _draw(pen, element, tag, self.size)
        paths = [path @ matrix + (m.dx, m.dy) for path in pen.paths]
        rule = "evenodd" if paint.get("fill-rule") == "evenodd" else "nonzero"
        yield from painted(paths, rule) if is_filled else paths  # type: ignore[arg-type]


def _entered(element: Element, own: dict[str, str], outer: _Context) -> _Context:
    """The context within an element: its transform, its paint, its layer."""
    paint = outer.paint | {key: own[key] for key in INHERITED if own.get(key, "inherit") != "inherit"}
    labels = [value for key, value in element.attrib.items() if key.rpartition("}")[2] == "label"]
    layer = (labels or [element.get("id", "")])[0] if _tag(element) == "g" else ""
    return _Context(_transformed(outer.to_mm, own.get("transform", "")), paint, " ".join(layer.split()) or outer.layer)


# ── figures ──────────────────────────────────────────────────────────────────────────────────────────────────


def _draw(pen: ChordPen, element: Element, tag: str, size: tuple[float, ...]) -> None:
    """One basic shape or path into the pen, user units."""
    if tag == "path":
        parse_path(" ".join(element.get("d", "").split()), pen)
    elif tag in ("polyline", "polygon"):
        figures = _numbers(element.get("points", ""))
        _run(pen, list(zip(figures[::2], figures[1::2], strict=False)), tag == "polygon")
    elif tag == "line":
        x1, y1, x2, y2 = (_length(element, key, size) for key in ("x1", "y1", "x2", "y2"))
        _run(pen, [(x1, y1), (x2, y2)], False)
    elif tag == "rect":
        _rectangle(pen, element, size)
    else:
        cx, cy = (_length(element, key, size) for key in ("cx", "cy"))
        r = _length(element, "r", size)
        rx, ry = (r, r) if tag == "circle" else _radii(element, size)
        if rx > 0 and ry > 0:
            pen.moveTo((cx - rx, cy))
            for x in (cx + rx, cx - rx):
                pen.arcTo(rx, ry, 0, False, True, (x, cy))
            pen.closePath()


def _run(pen: ChordPen, points: list[tuple[float, float]], closed: bool) -> None:
    if points:
        pen.moveTo(points[0])
        for point in points[1:]:
            pen.lineTo(point)
        (pen.closePath if closed else pen.endPath)()


def _rectangle(pen: ChordPen, element: Element, size: tuple[float, ...]) -> None:
    x, y, w, h = (_length(element, key, size) for key in ("x", "y", "width", "height"))
    if w <= 0 or h <= 0:
        return
    rx, ry = _radii(element, size)
    rx, ry = min(rx, w / 2), min(ry, h / 2)
    pen.moveTo((x, y + ry))
    for corner, start, end in (
        ((x, y), (0, ry), (rx, 0)),
        ((x + w, y), (-rx, 0), (0, ry)),
        ((x + w, y + h), (0, -ry), (-rx, 0)),
        ((x, y + h), (rx, 0), (0, -ry)),
    ):
        pen.lineTo((corner[0] + start[0], corner[1] + start[1]))
        pen.arcTo(rx, ry, 0, False, True, (corner[0] + end[0], corner[1] + end[1]))
    pen.closePath()


def _radii(element: Element, size: tuple[float, ...]) -> tuple[float, float]:
    """Both radii; one that is not given is the other."""
    given = [_length(element, key, size) for key in ("rx", "ry") if element.get(key, "auto") != "auto"]
    rx, ry = (given * 2)[:2] if given else (0.0, 0.0)
    return max(0.0, rx), max(0.0, ry)


def _length(element: Element, key: str, size: tuple[float, ...]) -> float:
    wide, high = size
    whole = math.hypot(wide, high) / math.sqrt(2) if key == "r" else wide if key in _ACROSS else high
    return _px(element.get(key), whole)


_ACROSS = frozenset({"x", "cx", "x1", "x2", "width", "rx"})


# ── values ───────────────────────────────────────────────────────────────────────────────────────────────────


def _tag(element: Element) -> str:
    return element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""


def _numbers(text: str) -> list[float]:
    return [float(word) for word in NUMBER.findall(text)]


def _px(text: str | None, whole: float, missing: float = 0.0) -> float:
    """A length in user units; `whole` is what 100 % is. Raises NotCompared for units of type."""
    match = re.fullmatch(rf"\s*({NUMBER.pattern})\s*([a-zA-Z]*|%)\s*", text or "")
    if match is None:
        return missing
    value, unit = float(match[1]), match[2].lower()
    if unit == "%":
        return value * whole / 100
    if unit not in PX:
        raise NotCompared(f"the unit {unit} is not known here")
    return value * PX[unit]


def _is_nothing(opacity: str) -> bool:
    return _numbers(opacity)[:1] == [0.0]


def _transformed(outer: Transform, text: str) -> Transform:
    """A map with a transform list before it."""
    for name, words in re.findall(r"([a-zA-Z]+)\s*\(([^()]*)\)", text):
        outer = outer.transform(_function(name.lower(), _numbers(words)))
    return outer


def _function(name: str, v: list[float]) -> Transform:
    match name:
        case "matrix":
            return Transform(*v)
        case "translate":
            return Identity.translate(*v)
        case "scale":
            return Identity.scale(*v)
        case "rotate":
            x, y = v[1:] or (0.0, 0.0)
            return Identity.translate(x, y).rotate(math.radians(v[0])).translate(-x, -y)
        case "skewx":
            return Identity.skew(math.radians(v[0]), 0)
        case "skewy":
            return Identity.skew(0, math.radians(v[0]))
    raise NotCompared(f"the transform {name} is not known here")


def _sheet_styles(root: Element) -> Styles:
    """What the style sheets in the file say of each element, in the order of the cascade."""
    matcher = cssselect2.Matcher()
    text = "".join("".join(sheet.itertext()) for sheet in root.iter() if _tag(sheet) == "style")
    for rule in tinycss2.parse_stylesheet(text, skip_comments=True, skip_whitespace=True):
        if rule.type == "qualified-rule":
            for selector in cssselect2.compile_selector_list(rule.prelude):
                matcher.add_selector(selector, _declared(tinycss2.serialize(rule.content)))
    if not text:
        return {}
    wrappers = cssselect2.ElementWrapper.from_xml_root(root).iter_subtree()
    return {
        wrapper.etree_element: {k: v for match in matcher.match(wrapper) for k, v in match[3].items()}
        for wrapper in wrappers
    }


def _declared(text: str) -> dict[str, str]:
    found = tinycss2.parse_blocks_contents(text, skip_comments=True, skip_whitespace=True)
    return {one.lower_name: tinycss2.serialize(one.value).strip() for one in found if one.type == "declaration"}
