"""What goes into the ledger is checked here once: afterwards it cannot be changed any more.

In: an offcut as typed, imported or cut. Out: the same in normal form: outline counter-clockwise, holes clockwise, lower
left corner of the bounding rectangle at the origin, corners to a micrometre, money to a hundredth. Raises RackFault.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal

import shapely
from shapely.geometry import Polygon

from inventory.measures import signed_area_mm2
from nesting.faults import RackFault, within
from nesting.model import Offcut, Point

LONGEST_TEXT = 200
MOST_CORNERS = 20_000
LARGEST_MM = 20_000.0
"""Longer than any sheet that is sold: a size beyond it is a wrong unit."""
THICKEST_MM = 200.0
DEAREST = Decimal(10_000_000)
CENT = Decimal("0.01")


def checked(offcut: Offcut) -> Offcut:
    """The offcut in normal form. Raises RackFault naming what is wrong."""
    for name in ("id", "material", "colour"):
        if not getattr(offcut, name).strip():
            raise RackFault(f"a sheet needs its {name}", mend=f"give the {name}", where=(name,))
    for name in ("id", "material", "colour", "place", "lot", "faces"):
        checked_text(getattr(offcut, name), name)
    if not 0 < offcut.thickness_mm <= THICKEST_MM:
        raise RackFault(
            f"a thickness of {offcut.thickness_mm:g} mm cannot be",
            mend=f"give millimetres, above 0 and up to {THICKEST_MM:g}",
            where=("thickness",),
        )
    if offcut.grain_deg is not None and not 0 <= offcut.grain_deg < 360:
        raise RackFault(
            f"a grain direction of {offcut.grain_deg:g} degrees cannot be", mend="give 0 to 360", where=("grain",)
        )
    with within("outline"):
        shaped = _shaped(offcut)
    return replace(shaped, thickness_mm=round(offcut.thickness_mm, 3), book_value=checked_money(offcut.book_value))


def checked_text(text: str, name: str) -> str:
    """The text, if it is one short line that a terminal, a table and a label can show. Raises RackFault."""
    if len(text) > LONGEST_TEXT or not text.isprintable():
        raise RackFault(
            f"the {name} is not one short line of text",
            mend=f"up to {LONGEST_TEXT} printable characters",
            where=(name,),
        )
    return text


def checked_money(amount: Decimal) -> Decimal:
    """The amount, to a hundredth. Raises RackFault."""
    if not amount.is_finite() or not 0 <= amount <= DEAREST:
        raise RackFault(
            f"a value of {amount} cannot be", mend="give 0 or more, in the shop's currency", where=("book value",)
        )
    return amount.quantize(CENT, ROUND_HALF_UP)


def _shaped(offcut: Offcut) -> Offcut:
    """Turned the right way round and moved to the origin; `true_edges` still name the same edges."""
    rings = (offcut.outline_mm, *offcut.holes_mm)
    _check_numbers(rings)
    left, bottom = min(x for x, _ in offcut.outline_mm), min(y for _, y in offcut.outline_mm)
    moved = [tuple((round(x - left, 3) + 0.0, round(y - bottom, 3) + 0.0) for x, y in ring) for ring in rings]
    polygon = Polygon(moved[0], moved[1:])
    if not polygon.is_valid:
        raise RackFault(
            f"the outline cannot be cut from a sheet: {shapely.is_valid_reason(polygon).lower()}",
            mend="list the corners in order, all the way round, holes inside the outline and apart",
        )
    corners, true_edges = moved[0], sorted(set(offcut.true_edges))
    if any(not 0 <= edge < len(corners) for edge in true_edges):
        raise RackFault(
            f"edge {max(true_edges)} cannot be factory-true: the outline has {len(corners)} edges",
            mend="count the edges from 0, by their first corner",
        )
    if signed_area_mm2(corners) < 0:
        # Turned round, the edge that began at corner i begins at the corner that was its end.
        true_edges = sorted((len(corners) - 2 - edge) % len(corners) for edge in true_edges)
        corners = corners[::-1]
    holes = tuple(hole if signed_area_mm2(hole) < 0 else hole[::-1] for hole in moved[1:])
    return replace(offcut, outline_mm=corners, holes_mm=holes, true_edges=tuple(true_edges))


def _check_numbers(rings: Sequence[Sequence[Point]]) -> None:
    if min(map(len, rings)) < 3:
        raise RackFault("an outline needs at least three corners", mend="list all corners, x and y in mm")
    if sum(map(len, rings)) > MOST_CORNERS:
        raise RackFault(f"an outline of more than {MOST_CORNERS} corners", mend="draw it with fewer")
    numbers = [number for ring in rings for point in ring for number in point]
    if not all(math.isfinite(number) and abs(number) <= 1e6 for number in numbers):
        raise RackFault("an outline with a corner that is nowhere", mend="give x and y in mm")
    for axis, name in enumerate(("wide", "high")):
        size = max(p[axis] for p in rings[0]) - min(p[axis] for p in rings[0])
        if not 1 <= size <= LARGEST_MM:
            raise RackFault(f"a sheet {size:g} mm {name} cannot be", mend=f"give 1 to {LARGEST_MM:g} mm")
