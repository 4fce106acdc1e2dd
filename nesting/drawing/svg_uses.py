"""What <use> elements show: refused before anything is drawn if it shows itself or multiplies beyond all use.

In: the root of an SVG file. Out: elements by id, or a refusal.
"""

from __future__ import annotations

from xml.etree.ElementTree import Element

from nesting.drawing.intake import MOST_ENTITIES, MOST_NESTED
from nesting.drawing.svg_values import SVG
from nesting.faults import DrawingFault

USE = f"{SVG}use"
_DEEP = f"nests elements deeper than {MOST_NESTED}"
_SHOW = "replace each <use> by what it shows"
XLINK_HREF = "{http://www.w3.org/1999/xlink}href"


def elements_by_id(root: Element) -> dict[str, Element]:
    """Every element that can be shown again, by its id. DrawingFault if what is shown multiplies without bound."""
    by_id = {element.get("id", ""): element for element in root.iter() if element.get("id")}
    if _shown(root, by_id, {}, ())[0] > MOST_ENTITIES:
        raise DrawingFault(
            f"shows more than {MOST_ENTITIES} elements, or path data to match", mend="keep only the outlines to cut"
        )
    return by_id


def target_of(use: Element, by_id: dict[str, Element]) -> Element | None:
    """The element that a <use> shows; None if it is not in the file."""
    return by_id.get((use.get("href") or use.get(XLINK_HREF) or "").removeprefix("#"))


def _weight(element: Element) -> int:
    """1, and 1 more for every hundred characters of path data."""
    return 1 + (len(element.get("d", "")) + len(element.get("points", ""))) // 100


def _shown(
    element: Element,
    by_id: dict[str, Element],
    known: dict[Element, tuple[int, int]],
    trail: tuple[Element, ...],
    level: int = 0,
) -> tuple[int, int]:
    """The weight of all that this element shows, itself included, and how deep it is nested; what is shown again is
    looked at once and remembered."""
    if level > MOST_NESTED:
        raise DrawingFault(_DEEP, mend=_SHOW)
    inside = [_shown(child, by_id, known, trail, level + 1) for child in element]
    target = target_of(element, by_id) if element.tag == USE else None
    if target is not None:
        if target in trail:
            raise DrawingFault(f"<use> of {target.get('id')} shows itself", mend=_SHOW)
        if target not in known:
            known[target] = _shown(target, by_id, known, (*trail, target), level + 1)
        inside.append(known[target])
    depth = 1 + max((deep for _, deep in inside), default=0)
    if depth > MOST_NESTED:
        raise DrawingFault(_DEEP, mend=_SHOW)
    return _weight(element) + sum(count for count, _ in inside), depth
