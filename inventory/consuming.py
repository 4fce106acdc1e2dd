"""A sheet is cut up: what came out of it, what is kept, and where all of its area went.

In: a planned sheet, the sheet as it stands on the rack, the pieces that are good. Out: entries for the ledger. Pure.
Method: area of the sheet = pieces + leftovers + kerf + scrap. Pieces and leftovers are measured, kerf is the length of
the contours times its width, scrap is the rest; a rest below nothing is refused.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from inventory.checking import checked
from inventory.ledger import Entry, Kind, offcut_as_json
from inventory.measures import area_mm2, piece_area_mm2, ring_length_mm
from nesting.faults import RackFault
from nesting.model import Leftover, Machine, Offcut, Piece, PlannedSheet, Point

BALANCE_MM2 = 1.0
"""By how much pieces and leftovers may exceed their sheet, from rounding."""
TRUE_MM = 0.5
"""A leftover is told up to so much short of the true edge that it has kept."""


@dataclass(frozen=True, slots=True)
class Saying:
    """Who books for a plan, when and why: what the entries of one step have in common."""

    plan: str
    at: datetime
    who: str
    why: str = ""

    def of_plan(self, kind: Kind, body: Mapping[str, Any] | None = None) -> Entry:
        return Entry(kind, self.at, self.who, self.why, None, self.plan, body or {})

    def of_sheet(self, kind: Kind, sheet: str, body: Mapping[str, Any] | None = None, why: str = "") -> Entry:
        return Entry(kind, self.at, self.who, why or self.why, sheet, self.plan, body or {})


def bought(planned: PlannedSheet, number: int) -> Offcut:
    """A sheet as it comes from the supplier: its lot is not known yet, all its edges are the factory's."""
    return checked(
        Offcut(
            f"R{number}",
            planned.material,
            planned.colour,
            planned.thickness_mm,
            planned.outline_mm,
            planned.holes_mm,
            planned.price,
            true_edges=tuple(range(len(planned.outline_mm))),
            square=planned.square,
        )
    )


def kept_of(parent: Offcut, leftovers: Sequence[Leftover], number: int) -> list[Offcut]:
    """The offcuts worth keeping, numbered from `number`, with their sheet's lot, faces, grain and place."""
    return [
        checked(
            replace(
                parent,
                id=f"R{number + n}",
                outline_mm=left.outline_mm,
                holes_mm=left.holes_mm,
                book_value=left.credit,
                true_edges=_true_edges(parent, left.outline_mm),
            )
        )
        for n, left in enumerate(one for one in leftovers if one.keep)
    ]


def cut_up(
    machine: Machine, planned: PlannedSheet, parent: Offcut, good: Sequence[Piece], kept: Sequence[Offcut], say: Saying
) -> list[Entry]:
    """The sheet is consumed, what is kept of it is received. Raises RackFault if the areas cannot add up."""
    areas = _balance(machine, planned, parent, good, kept)
    body = {"pieces": [[piece.id, piece.name] for piece in good], "leftovers": [child.id for child in kept]}
    received = [
        say.of_sheet(
            Kind.RECEIVED, child.id, {"sheet": offcut_as_json(child), "parent": parent.id}, f"cut from {parent.id}"
        )
        for child in kept
    ]
    return [say.of_sheet(Kind.CUT, parent.id, body | areas), *received]


def _balance(
    machine: Machine, planned: PlannedSheet, parent: Offcut, good: Sequence[Piece], kept: Sequence[Offcut]
) -> dict[str, float]:
    area, pieces = area_mm2(parent.outline_mm, parent.holes_mm), sum(map(piece_area_mm2, good))
    left = sum(area_mm2(child.outline_mm, child.holes_mm) for child in kept)
    rest = area - pieces - left
    if rest < -BALANCE_MM2:
        raise RackFault(
            f"sheet {parent.id} would yield {-rest:.0f} mm2 more than it has", mend="plan again: this plan is unsound"
        )
    kerf = min(max(rest, 0.0), _kerf_mm2(machine, planned, good))
    areas = {"area": area, "pieces": pieces, "leftovers": left, "kerf": kerf, "scrap": max(rest, 0.0) - kerf}
    return {f"{name}_mm2": round(value, 3) for name, value in areas.items()}


def _kerf_mm2(machine: Machine, planned: PlannedSheet, good: Sequence[Piece]) -> float:
    """What the beam or bit turned to smoke or chips."""
    key = planned.material, planned.thickness_mm
    kerf = next((figure.kerf_mm for figure in machine.cutting if (figure.material, figure.thickness_mm) == key), 0.0)
    return kerf * sum(ring_length_mm(ring) for piece in good for ring in (piece.outline, *piece.holes))


def _true_edges(parent: Offcut, outline: Sequence[Point]) -> tuple[int, ...]:
    """Edges that run along a factory edge of the parent."""
    ring = parent.outline_mm
    true = [(ring[i], ring[(i + 1) % len(ring)]) for i in parent.true_edges]
    edges = zip(outline, [*outline[1:], outline[0]], strict=True)
    return tuple(n for n, (a, b) in enumerate(edges) if any(_along(a, *edge) and _along(b, *edge) for edge in true))


def _along(point: Point, a: Point, b: Point) -> bool:
    (px, py), (ax, ay), (bx, by) = point, a, b
    return abs((bx - ax) * (py - ay) - (by - ay) * (px - ax)) <= TRUE_MM * math.dist(a, b)
