"""An exact check of layouts that shares nothing with the engine's own: plain shapely, true outlines."""

from itertools import combinations

from shapely import affinity
from shapely.geometry import Polygon

from nesting.layout import Ground, Layout, Shape, Spot

HAIR_MM = 2e-4


def placed(shape: Shape, spot: Spot) -> Polygon:
    polygon = affinity.scale(shape.polygon, -1.0, 1.0, origin=(0, 0)) if spot.mirrored else shape.polygon
    turned = affinity.rotate(polygon, spot.turn_deg, origin=(0, 0))
    return affinity.translate(turned, spot.x_mm, spot.y_mm)


def assert_valid(layout: Layout, shapes: list[Shape], ground: Ground, gap_mm: float, margin_mm: float) -> None:
    """Turns and mirroring allowed, on the sheet with its margin, in a reach, off zones too low, every gap kept."""
    by_id = {shape.id: shape for shape in shapes}
    for spot in layout.spots:
        turns = by_id[spot.id].turns_deg
        assert turns is None or any(abs((spot.turn_deg - turn + 180) % 360 - 180) < 1e-6 for turn in turns)
        assert by_id[spot.id].mirror or not spot.mirrored
    outlines = {spot.id: placed(by_id[spot.id], spot) for spot in layout.spots}
    assert sorted([*outlines, *layout.missing]) == sorted(by_id)
    sheet, edge = ground.polygon.buffer(HAIR_MM), ground.polygon.boundary
    for spot in layout.spots:
        outline, shape = outlines[spot.id], by_id[spot.id]
        assert sheet.covers(outline), f"{spot.id} leaves the sheet"
        assert edge.distance(outline) >= margin_mm - HAIR_MM, f"{spot.id} lies in the margin"
        across = spot.across and shape.reach_charge is not None
        if ground.reaches and not across:
            assert any(reach.buffer(HAIR_MM).covers(outline) for reach in ground.reaches), f"{spot.id} in no reach"
        barred = [zone for zone, quality in ground.zones if quality < shape.quality]
        assert all(zone.buffer(-HAIR_MM).disjoint(outline) for zone in barred), f"{spot.id} on a poor zone"
        for pin in ground.pinned:
            assert apart(pin, outline, gap_mm), f"{spot.id} at a pinned piece"
    for (a, one), (b, two) in combinations(outlines.items(), 2):
        assert apart(one, two, gap_mm), f"{a} and {b}"


def apart(one: Polygon, two: Polygon, gap_mm: float) -> bool:
    if gap_mm:
        return bool(one.distance(two) >= gap_mm - HAIR_MM)
    return bool(one.buffer(-HAIR_MM).disjoint(two.buffer(-HAIR_MM)))
