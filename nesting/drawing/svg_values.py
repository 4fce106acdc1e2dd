"""The values in an SVG file: lengths, transforms, viewBox, and the styles that sheets, attributes and `style` give.

Sources: SVG 2 (units, coordinate systems), CSS Values 3 (1 in = 96 px = 72 pt = 25.4 mm); selectors by cssselect2.
"""

from __future__ import annotations

import math
import re
from xml.etree.ElementTree import Element

import cssselect2
import tinycss2

from nesting.drawing.tracing import IDENTITY, Affine
from nesting.drawing.units import MM_PER_UNIT

SVG = "{http://www.w3.org/2000/svg}"
PX_MM = MM_PER_UNIT["px"]
PX_PER_UNIT = {
    "": 1.0,
    "px": 1.0,
    "in": 96.0,
    "mm": 96.0 / 25.4,
    "cm": 96.0 / 2.54,
    "q": 96.0 / 101.6,
    "pt": 96.0 / 72.0,
    "pc": 16.0,
    "em": 16.0,
    "ex": 8.0,
    "rem": 16.0,
}
PHYSICAL = frozenset({"in", "mm", "cm", "q", "pt", "pc"})

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_LENGTH = re.compile(rf"\s*({_NUMBER})\s*([a-zA-Z]*|%)\s*$")
_TRANSFORM = re.compile(r"([a-zA-Z]+)\s*\(([^()]*)\)")

Styles = dict[Element, dict[str, str]]


def numbers(text: str) -> list[float]:
    """All numbers in a text, whatever parts them."""
    return [float(word) for word in re.findall(_NUMBER, text)]


def length_unit(text: str | None) -> str | None:
    """The unit of a length ('' for none, '%' for a share); None if it is no length."""
    match = _LENGTH.match(text or "")
    return match[2].lower() if match else None


def px(text: str | None, whole: float, default: float = 0.0) -> float:
    """A length in user units; `whole` is what 100 % is."""
    match = _LENGTH.match(text or "")
    if not match:
        return default
    value, unit = float(match[1]), match[2].lower()
    return value / 100 * whole if unit == "%" else value * PX_PER_UNIT.get(unit, 1.0)


# ── coordinate systems ───────────────────────────────────────────────────────────────────────────────────────


def transform(text: str | None) -> Affine:
    """A transform list; the first one named is applied last. Unknown functions count as no change."""
    whole = IDENTITY
    for name, arguments in _TRANSFORM.findall(text or ""):
        whole = _function(name.lower(), numbers(arguments)).then(whole)
    return whole


def _function(name: str, v: list[float]) -> Affine:
    match name, len(v):
        case "matrix", 6:
            return Affine(v[0], v[2], v[1], v[3], v[4], v[5])
        case (("translate" | "translatex"), 1):
            return Affine(e=v[0])
        case "translate", 2:
            return Affine(e=v[0], f=v[1])
        case "translatey", 1:
            return Affine(f=v[0])
        case "scale", (1 | 2):
            return Affine(a=v[0], d=v[-1])
        case "scalex", 1:
            return Affine(a=v[0])
        case "scaley", 1:
            return Affine(d=v[0])
        case "rotate", (1 | 3):
            cos, sin = math.cos(math.radians(v[0])), math.sin(math.radians(v[0]))
            x, y = (v[1], v[2]) if len(v) == 3 else (0.0, 0.0)
            return Affine(e=-x, f=-y).then(Affine(cos, -sin, sin, cos, x, y))
        case "skewx", 1:
            return Affine(b=math.tan(math.radians(v[0])))
        case "skewy", 1:
            return Affine(c=math.tan(math.radians(v[0])))
    return IDENTITY


def viewbox_map(viewbox: list[float], width: float, height: float, aspect: str) -> Affine:
    """From the viewBox to a viewport of this size; `aspect` as preserveAspectRatio, default xMidYMid meet."""
    x, y, w, h = viewbox
    across, up = width / w, height / h
    words = aspect.split()
    align = words[0] if words else "xMidYMid"
    if align == "none":
        return Affine(a=across, d=up, e=-x * across, f=-y * up)
    scale = max(across, up) if "slice" in words else min(across, up)
    share = {"min": 0.0, "mid": 0.5, "max": 1.0}
    spare_x, spare_y = width - w * scale, height - h * scale
    left = spare_x * share.get(align[1:4].lower(), 0.5)
    top = spare_y * share.get(align[5:8].lower(), 0.5)
    return Affine(a=scale, d=scale, e=left - x * scale, f=top - y * scale)


def viewbox(element: Element) -> list[float] | None:
    """The four figures of a usable viewBox."""
    found = numbers(element.get("viewBox", ""))
    return found if len(found) == 4 and found[2] > 0 and found[3] > 0 else None


# ── styles ───────────────────────────────────────────────────────────────────────────────────────────────────


def sheet_styles(root: Element) -> Styles:
    """What the style sheets in the file say of each element, by the rules of the cascade."""
    matcher = cssselect2.Matcher()
    found = False
    for sheet in root.iter(f"{SVG}style"):
        for rule in tinycss2.parse_stylesheet("".join(sheet.itertext()), skip_comments=True, skip_whitespace=True):
            if rule.type == "qualified-rule":
                found |= _add_rule(matcher, rule)
    if not found:
        return {}
    styles: Styles = {}
    for wrapper in cssselect2.ElementWrapper.from_xml_root(root).iter_subtree():
        matches = matcher.match(wrapper)
        if matches:
            styles[wrapper.etree_element] = {k: v for match in matches for k, v in match[3].items()}
    return styles


def _add_rule(matcher: cssselect2.Matcher, rule: tinycss2.ast.QualifiedRule) -> bool:
    try:
        selectors = cssselect2.compile_selector_list(rule.prelude)
    except cssselect2.SelectorError:
        return False
    payload = declarations(tinycss2.serialize(rule.content))
    for selector in selectors:
        matcher.add_selector(selector, payload)
    return bool(selectors)


def declarations(text: str) -> dict[str, str]:
    """Property names, lower case, to values; later ones win."""
    parsed = tinycss2.parse_blocks_contents(text, skip_comments=True, skip_whitespace=True)
    return {d.lower_name: tinycss2.serialize(d.value).strip() for d in parsed if d.type == "declaration"}
