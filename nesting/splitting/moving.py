"""How far segments move with the temperature, and what a joint's cement does to their edges.

In: Splits with their segments, machine, materials, the job's temperature span. Out: gaps, and warnings in words. Pure.
Sources: gap = a L dT between the fixed middles of two segments; acrylic 7e-5 /K (data sheets, 6e-5 to 8e-5; ISO 11359-2
gives 8e-5 for cast). Solvent on a laser-cut edge crazes unless it is annealed: a cement maker's leaflet (2 to 4 h at
70 degrees C), as quoted in workshops' forums.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence

from nesting import curves
from nesting.model import Machine, Material, Piece, Seat, Split

ACRYLIC_PER_K = 7e-5
LONG_MM = 1000.0
"""Assemblies longer than this move visibly: their gap is asked for where the job gives no temperature span."""
OUTDOORS_K = 40.0
LEAST_GAP_MM = 0.1


def expansion_per_k(material: str, materials: Iterable[Material]) -> float | None:
    """Of length, as the workshop's file says; for acrylic it need not."""
    for one in materials:
        if one.name == material and one.expansion_per_k is not None:
            return one.expansion_per_k
    return ACRYLIC_PER_K if "acrylic" in material.casefold() else None


def gap_mm(split: Split, pieces: Mapping[str, Piece], per_k: float | None, span_k: float | None) -> float:
    """What each joint opens and closes by if every segment is fixed in its middle; 0 where nothing is known."""
    if per_k is None or span_k is None:
        return 0.0
    gap = per_k * span_k * fixed_apart_mm(split, pieces)
    return round(gap, 2) if gap >= LEAST_GAP_MM else 0.0


def fixed_apart_mm(split: Split, pieces: Mapping[str, Piece]) -> float:
    """The largest distance between the middles of two segments that meet."""
    middles: dict[str, list[tuple[float, float]]] = {}
    for seat in split.seats:
        for joint in pieces[seat.piece].joints:
            middles.setdefault(joint.label, []).append(_middle(pieces[seat.piece], seat))
    return max((math.dist(found[0], found[-1]) for found in middles.values()), default=0.0)


def _middle(piece: Piece, seat: Seat) -> tuple[float, float]:
    centre = curves.polygon(piece.outline, piece.holes).centroid
    ((x, y, _),) = curves.moved([(centre.x, centre.y, 0.0)], seat.x_mm, seat.y_mm, seat.turn_deg)
    return x, y


def split_warnings(
    splits: Sequence[Split], machine: Machine, materials: Sequence[Material], span_k: float | None
) -> Iterator[str]:
    """What whoever joins and hangs the segments must know, each once."""
    for split in splits:
        parent = split.parent
        x0, y0, x1, y1 = curves.bounds([parent.outline])
        long, per_k = math.hypot(x1 - x0, y1 - y0), expansion_per_k(parent.material, materials)
        if split.gap_mm:
            yield (
                f"{parent.name}: fixed in their middles its segments need {split.gap_mm:.1f} mm at each joint for "
                f"{span_k:g} K; joints that are cemented do not give: then fix it at one point and slot all other holes"
            )
        elif span_k is None and per_k is not None and long > LONG_MM:
            yield (
                f"{parent.name}: {long:.0f} mm long over its joints, it grows by {per_k * OUTDOORS_K * long:.1f} mm "
                f"for {OUTDOORS_K:g} K: set `temperature_span_k` under [job] to have gaps worked out"
            )
        if split.joint == "strap" and not split.straps:
            yield f"{parent.name}: no strap finds room behind its joints; they are plain butt joints"
    if machine.kind == "laser" and any("acrylic" in split.parent.material.casefold() for split in splits):
        yield (
            "solvent cement crazes laser-cut edges of acrylic: anneal the segments first (2 to 4 h at 70 °C is quoted) "
            "or use a gap-filling cement; the cement maker's data sheet and local rules on fumes come first"
        )
