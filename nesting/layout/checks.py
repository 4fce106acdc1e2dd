"""The exact check: no layout leaves the engine unless it passes. True outlines, shapely, no engine arrays.

In: shapes, spots, grounds (mm). Out: what is wrong, in words; nothing wrong, an empty list.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import shapely
from shapely.geometry import Polygon

from nesting.layout.outlines import laid
from nesting.layout.terms import TOLERANCE_MM, Ground, Shape, Spot


def broken(
    shapes: Mapping[str, Shape], spots: Sequence[Spot], grounds: Sequence[Ground], gap_mm: float, margin_mm: float
) -> list[str]:
    """Every rule that the spots break: turns, mirroring, gap, margin, reaches, pinned pieces."""
    found = [f"{spot.id}: turn or mirroring not allowed" for spot in spots if not _turn_allowed(shapes[spot.id], spot)]
    if len({spot.id for spot in spots}) != len(spots):
        found.append("a shape lies twice")
    found += [f"{spot.id}: on no ground there is" for spot in spots if not 0 <= spot.ground < len(grounds)]
    for number, ground in enumerate(grounds):
        here = [spot for spot in spots if spot.ground == number]
        outlines = [laid(shapes[spot.id].polygon, spot) for spot in here]
        found += _off_ground(here, outlines, ground, margin_mm)
        found += _on_zones(shapes, here, outlines, ground)
        found += _out_of_reach(shapes, here, outlines, ground)
        found += _too_close(here, outlines, ground.pinned, gap_mm)
    return found


def _turn_allowed(shape: Shape, spot: Spot) -> bool:
    return shape.may_turn(spot.turn_deg) and (shape.mirror or not spot.mirrored)


def _off_ground(spots: Sequence[Spot], outlines: Sequence[Polygon], ground: Ground, margin_mm: float) -> list[str]:
    if not spots:
        return []
    around = ground.polygon.buffer(TOLERANCE_MM)
    shapely.prepare(around)
    edge = ground.polygon.boundary
    inside = shapely.covers(around, outlines)
    # Within the tolerance of the edge a shape may stand over it; only a real margin is measured to the edge.
    near = shapely.distance(edge, outlines) < margin_mm - TOLERANCE_MM
    return [
        f"{s.id}: off the sheet or within its margin" for s, i, n in zip(spots, inside, near, strict=True) if not i or n
    ]


def _on_zones(
    shapes: Mapping[str, Shape], spots: Sequence[Spot], outlines: Sequence[Polygon], ground: Ground
) -> list[str]:
    zones = [(zone.buffer(-TOLERANCE_MM, join_style="mitre"), quality) for zone, quality in ground.zones]
    return [
        f"{spot.id}: on a zone of too low a quality"
        for spot, outline in zip(spots, outlines, strict=True)
        if any(quality < shapes[spot.id].quality and outline.intersects(zone) for zone, quality in zones)
    ]


def _out_of_reach(
    shapes: Mapping[str, Shape], spots: Sequence[Spot], outlines: Sequence[Polygon], ground: Ground
) -> list[str]:
    if not ground.reaches:
        return []
    reaches = [reach.buffer(TOLERANCE_MM, join_style="mitre") for reach in ground.reaches]
    return [
        f"{spot.id}: in no reach"
        for spot, outline in zip(spots, outlines, strict=True)
        if (shapes[spot.id].reach_charge is None or not spot.across) and not any(r.covers(outline) for r in reaches)
    ]


def _too_close(
    spots: Sequence[Spot], outlines: Sequence[Polygon], pinned: Sequence[Polygon], gap_mm: float
) -> list[str]:
    """Pairs nearer than the gap; pinned pieces are not held against each other."""
    if not spots:
        return []
    names = [spot.id for spot in spots] + [f"pinned {k}" for k in range(len(pinned))]
    least = max(0.0, gap_mm - TOLERANCE_MM)
    # Without a gap to speak of, touching is allowed: outlines a hair smaller must be apart.
    hair = 0.0 if least > 0 else TOLERANCE_MM
    bodies = [p.buffer(-hair, join_style="mitre") if hair else p for p in (*outlines, *pinned)]
    left, right = shapely.STRtree(bodies).query(bodies, predicate="dwithin", distance=least)
    return [
        f"{names[i]} and {names[j]}: too close"
        for i, j in sorted(zip(left.tolist(), right.tolist(), strict=True))
        if i < j and i < len(spots) and not (least > 0 and bodies[i].distance(bodies[j]) >= least)
    ]
