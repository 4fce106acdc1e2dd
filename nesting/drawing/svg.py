"""SVG drawings to chains.

In: a file. Out: chains in mm, y up, and findings. A group's label (or its id) is a layer. Hidden, unpainted and
defined-only things stay out, and are told; an outline is the path itself, not the edge of its stroke.
Method: the tree is walked once with the transform and style at each element; paths go through the font library's
parser; figures whose parts cross are filled by their own fill rule.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import cast
from xml.etree.ElementTree import Element, ParseError, XMLPullParser

import shapely
from shapely.geometry import LineString, Polygon

from nesting.drawing import svg_values as values
from nesting.drawing.fitting import dense
from nesting.drawing.intake import MOST_ENTITIES, MOST_NESTED, Intake, check_size, clean_name
from nesting.drawing.shapes import DrawnChain, Finding
from nesting.drawing.svg_figures import FIGURES, drawn_figure, painted_area, painted_chains
from nesting.drawing.svg_uses import elements_by_id, target_of
from nesting.drawing.svg_values import SVG
from nesting.drawing.tracing import IDENTITY, Affine
from nesting.drawing.units import unit_mm
from nesting.faults import DrawingFault
from nesting.model import Chain

GROUPS = frozenset({"svg", "g", "a", "switch"})
TOLD = frozenset({"text", "image", "foreignObject"})
INHERITED = ("fill", "stroke", "fill-rule", "visibility")
BITE_BYTES = 4_000_000
_ENTITY = re.compile(rb"<!ENTITY[^>]*(?:SYSTEM|PUBLIC|&)[^>]*>")


def svg_chains(path: Path, intake: Intake) -> tuple[list[DrawnChain], list[Finding]]:
    """Every chain the drawing shows on layers that count, in mm, y up."""
    root = _parsed(path)
    to_mm, viewport, told = _page(root, intake)
    walk = _Walk(intake, values.sheet_styles(root), elements_by_id(root))
    context = _Context(to_mm, {"fill": "black"}, "", viewport)
    chains = [chain for child in root for chain in walk.element(child, context)]
    return chains, [*told, *walk.findings()]


# ── the file ─────────────────────────────────────────────────────────────────────────────────────────────────


def _parsed(path: Path) -> Element:
    """The tree, read with an eye on its size. Entities that reach outside or into each other are refused."""
    check_size(path)
    try:
        content = path.read_bytes()
        if _ENTITY.search(content):
            raise DrawingFault("declares entities that build on others", mend="save it as plain SVG")
        return _grown(content)
    except (ParseError, UnicodeError, ValueError, LookupError) as error:
        raise DrawingFault(f"is no SVG drawing that can be read ({error})", mend="export it again as SVG") from error
    except OSError as error:
        raise DrawingFault(f"cannot be read ({error.strerror})", mend="check the file's name and rights") from error


def _grown(content: bytes) -> Element:
    """The root, parsed in large bites: small ones make older parsers read a long attribute again and again."""
    parser: XMLPullParser[Element] = XMLPullParser(("start", "end"))
    depth = count = 0
    root: Element | None = None
    for start in range(0, len(content), BITE_BYTES):
        parser.feed(content[start : start + BITE_BYTES])
        for event, element in cast("Iterator[tuple[str, Element]]", parser.read_events()):
            depth += 1 if event == "start" else -1
            count += event == "start"
            root = element if root is None else root
            if count > MOST_ENTITIES or depth > MOST_NESTED:
                raise DrawingFault(
                    f"holds more than {MOST_ENTITIES} elements, or nests them deeper than {MOST_NESTED}",
                    mend="keep only the outlines to cut",
                )
    parser.close()
    if root is None or root.tag.removeprefix(SVG) != "svg":
        raise DrawingFault("is no SVG drawing: its root is not <svg>", mend="export it again as SVG")
    return root


def _page(root: Element, intake: Intake) -> tuple[Affine, tuple[float, float], list[Finding]]:
    """User units to mm with y up, the size of the user space, and how the size was known."""
    box = values.viewbox(root)
    physical = all(values.length_unit(root.get(side)) in values.PHYSICAL for side in ("width", "height"))
    user = (box[2], box[3]) if box else (100.0, 100.0)
    width, height = (
        values.px(root.get(side), whole, whole) for side, whole in zip(("width", "height"), user, strict=True)
    )
    if intake.units is not None and box:
        width, height = user
    inner = values.viewbox_map(box, width, height, root.get("preserveAspectRatio", "")) if box else IDENTITY
    mm = values.PX_MM if intake.units is None else unit_mm(intake.units)
    k = mm * intake.scale
    flip = Affine(a=k, d=-k, f=height * k)
    told = [] if physical or intake.units is not None else [_assumed(width, height, k)]
    return inner.then(flip), user if box else (width, height), told


def _assumed(width: float, height: float, k: float) -> Finding:
    at = [(rate, width * k * 96 / rate, height * k * 96 / rate) for rate in (96, 90, 72)]
    sizes = [f"{w:.4g} x {h:.4g} mm at {rate}" for rate, w, h in at]
    inches = f"{width * k / 25.4:.4g} x {height * k / 25.4:.4g} in"
    text = f"the page names no physical size; read at 96 px per inch ({inches}): {', '.join(sizes)}; or give `units`"
    return Finding("units", "", text, True)


# ── the walk ─────────────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class _Context:
    affine: Affine
    style: dict[str, str]
    layer: str
    viewport: tuple[float, float]
    clips: tuple[shapely.Geometry, ...] = ()


@dataclass
class _Walk:
    """Walks elements and counts what it leaves out and why."""

    intake: Intake
    styles: values.Styles
    by_id: dict[str, Element]
    skipped: Counter[tuple[str, str]] = field(default_factory=Counter)
    unread: list[Finding] = field(default_factory=list)

    def element(self, element: Element, outer: _Context) -> Iterator[DrawnChain]:
        tag = _tag(element)
        if tag not in FIGURES and tag not in GROUPS and tag not in TOLD and tag != "use":
            return
        own = self._style(element)
        if own.get("display") == "none" or own.get("opacity") in ("0", "0.0", "0%"):
            self.skipped[(outer.layer, "hidden")] += 1
            return
        context = self._entered(element, own, outer)
        if tag == "use":
            yield from self._use(element, context)
        elif tag in GROUPS:
            inner = _nested(element, context) if tag == "svg" else context
            for child in element:
                yield from self.element(child, inner)
        elif tag in TOLD:
            mend = ": turn it into paths before it is saved" if tag == "text" else ""
            self.skipped[(context.layer, f"<{tag}> is no outline{mend}")] += 1
        else:
            yield from self._figure(element, context)

    def _style(self, element: Element) -> dict[str, str]:
        attributes = {k: v for k, v in element.attrib.items() if k in _STYLED}
        return attributes | self.styles.get(element, {}) | values.declarations(element.get("style", ""))

    def _entered(self, element: Element, own: dict[str, str], outer: _Context) -> _Context:
        affine = values.transform(own.get("transform") or element.get("transform")).then(outer.affine)
        style = outer.style | {k: own[k] for k in INHERITED if k in own and own[k] != "inherit"}
        context = replace(outer, affine=affine, style=style, layer=_layer(element) or outer.layer)
        clip = re.match(r"url\(\s*['\"]?#([^'\")]+)", own.get("clip-path", ""))
        if clip and clip[1] in self.by_id:
            context = replace(context, clips=(*outer.clips, self._clip(self.by_id[clip[1]], context)))
        return context

    def _use(self, element: Element, context: _Context) -> Iterator[DrawnChain]:
        target = target_of(element, self.by_id)
        if target is None:
            self.unread.append(Finding("unreadable", _where(element, context), "shows what is not in the file", False))
            return
        x, y = (values.px(element.get(k), whole) for k, whole in zip("xy", context.viewport, strict=True))
        placed = replace(context, affine=Affine(e=x, f=y).then(context.affine))
        if target.tag == f"{SVG}symbol":
            inner = _nested(target, placed, element)
            for child in target:
                yield from self.element(child, inner)
        else:
            yield from self.element(target, placed)

    def _figure(self, element: Element, context: _Context) -> Iterator[DrawnChain]:
        style = context.style
        painted = style.get("fill") != "none" or style.get("stroke", "none") != "none"
        if style.get("visibility", "visible") != "visible" or not painted:
            self.skipped[(context.layer, "hidden")] += 1
            return
        if self.intake.role(context.layer) == "ignore":
            self.skipped[(context.layer, "their layer is not cut")] += 1
            return
        where = _where(element, context)
        try:
            subpaths = drawn_figure(element, context.affine, context.viewport)
        except (ValueError, ArithmeticError) as error:
            self.unread.append(Finding("unreadable", where, f"left out: {error}"[:200], False))
            return
        if style.get("fill") != "none":
            subpaths = painted_chains(subpaths, "evenodd" if style.get("fill-rule") == "evenodd" else "nonzero")
        handle = clean_name(element.get("id") or f"<{_tag(element)}>")
        for chain, closed in subpaths:
            if self._is_shown(chain, closed, where, context):
                yield DrawnChain(chain, closed, context.layer, handle)

    def _is_shown(self, chain: Chain, closed: bool, where: str, context: _Context) -> bool:
        """Whether the chain lies within all clips; across the edge of one, only the drawer knows what is meant."""
        points = dense(chain, closed, 0.01)
        for clip in context.clips:
            drawn = Polygon(points) if closed and len(points) > 2 else LineString(points)
            if not shapely.intersects(clip, drawn):
                self.skipped[(context.layer, "clipped away")] += 1
                return False
            if not shapely.covers(shapely.buffer(clip, 0.01), drawn):
                text = "is cut by a clip path: draw it as it is to be cut"
                self.unread.append(Finding("clipped", where, text, False, (chain[0][0], chain[0][1])))
                return False
        return True

    def _clip(self, element: Element, context: _Context) -> shapely.Geometry:
        """The area that a clip path leaves visible."""
        affine = values.transform(element.get("transform")).then(context.affine)
        figures = [child for child in element if _tag(child) in FIGURES]
        return shapely.union_all(
            [
                painted_area(
                    drawn_figure(child, values.transform(child.get("transform")).then(affine), context.viewport)
                )
                for child in figures
            ]
        )

    def findings(self) -> list[Finding]:
        told = [
            Finding("left-out", f"layer {layer}" if layer else "", f"elements left out: {count} ({why})", True)
            for (layer, why), count in sorted(self.skipped.items())
        ]
        return told + self.unread


_STYLED = frozenset({*INHERITED, "display", "opacity", "clip-path"})


def _tag(element: Element) -> str:
    """The element's name without the namespace; comments and instructions have none."""
    return element.tag.removeprefix(SVG) if isinstance(element.tag, str) else ""


def _layer(element: Element) -> str:
    """A group's label, as drawing programs write it in their own namespaces, else its id."""
    if element.tag != f"{SVG}g":
        return ""
    labels = [value for key, value in element.attrib.items() if key.rpartition("}")[2] == "label"]
    return clean_name(labels[0] if labels else element.get("id", ""))


def _where(element: Element, context: _Context) -> str:
    name = clean_name(element.get("id") or f"<{_tag(element)}>")
    return f"layer {context.layer}, {name}" if context.layer else name


def _nested(element: Element, context: _Context, use: Element | None = None) -> _Context:
    """Inside a nested <svg>, or a <symbol> that a <use> shows: a viewport of its own."""
    size = use if use is not None else element
    width = values.px(size.get("width"), context.viewport[0], context.viewport[0])
    height = values.px(size.get("height"), context.viewport[1], context.viewport[1])
    placed = context.affine
    if use is None:
        x, y = (values.px(element.get(k), whole) for k, whole in zip("xy", context.viewport, strict=True))
        placed = Affine(e=x, f=y).then(placed)
    box = values.viewbox(element)
    if box is None:
        return replace(context, affine=placed, viewport=(width, height))
    inner = values.viewbox_map(box, width, height, element.get("preserveAspectRatio", ""))
    return replace(context, affine=inner.then(placed), viewport=(box[2], box[3]))
