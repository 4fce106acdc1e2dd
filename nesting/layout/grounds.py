"""Grounds for the engine: one region for every place a shape may lie in, with margin, reaches and pinned pieces.

In: Grounds (mm, sheet frame). Out: `Regions` for the kernels. Several grounds lie side by side in one frame. A region
is a box, or rings with a raster of signed distances, so that outlines, holes and defects need no special case.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon, box

from nesting.curves import polygons
from nesting.layout import kernels
from nesting.layout.outlines import HAIR_MM, MITRE, edges_of, offset
from nesting.layout.terms import Ground

CELLS = (32, 160)
"""Fewest and most raster cells along the longer side."""
ASIDE = 1.5
"""Distance between grounds laid side by side, as a share of their width."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a grown outline may lie: `area` (mm, the ground's own frame), of which ground, across reaches or not, and
    for shapes of which quality (None: any)."""

    area: Polygon | MultiPolygon
    ground: int
    across: bool
    quality: float | None
    aside: tuple[float, float]


def usable(ground: Ground, half_gap: float, margin_mm: float, quality: float) -> Polygon | MultiPolygon:
    """Where outlines grown by half the gap may lie so that the true ones keep the margin and the gap to the pinned,
    and stay off zones of less than the quality."""
    area = _moved_in(ground.polygon, margin_mm - half_gap)
    barred = [offset(p, half_gap - HAIR_MM) for p in ground.pinned]
    barred += [offset(zone, half_gap) for zone, grade in ground.zones if grade < quality]
    return _areas(area.difference(shapely.union_all(barred))) if barred else area


def _moved_in(polygon: Polygon, distance: float) -> Polygon | MultiPolygon:
    if distance == 0.0:
        return polygon
    if distance > 0.0:
        return _areas(polygon.buffer(-distance, join_style="mitre", mitre_limit=MITRE))
    # A margin under half the gap: edges move out, unless that would close a slot or a hole; then the edge stays.
    grown = polygon.buffer(-distance, join_style="mitre", mitre_limit=5.0)
    back = grown.buffer(distance, join_style="mitre", mitre_limit=5.0)
    same = back.symmetric_difference(polygon).area < 1e-6 * polygon.area
    return _areas(grown) if same else polygon


def _areas(geometry: shapely.Geometry) -> Polygon | MultiPolygon:
    parts = [part for part in polygons(geometry) if part.area > 0]
    return parts[0] if len(parts) == 1 else MultiPolygon(parts)


def is_box(area: Polygon | MultiPolygon) -> bool:
    """Whether it is all that its bounds hold."""
    return bool(abs(box(*area.bounds).area - area.area) <= 1e-9 * area.area)


def places(
    grounds: Sequence[Ground], half_gap: float, margin_mm: float, *, across: bool, qualities: Sequence[float]
) -> list[Place]:
    """All places, ground after ground: its reaches, then (if any shape may lie across them) the whole of it; where it
    has zones, for each quality of shapes."""
    found: list[Place] = []
    x = 0.0
    for number, ground in enumerate(grounds):
        x0, y0, x1, _ = ground.polygon.bounds
        aside = (x - x0, -y0) if number else (0.0, 0.0)
        x = (x if number else x0) + ASIDE * (x1 - x0)
        for quality in qualities if ground.zones else (None,):
            area = usable(ground, half_gap, margin_mm, math.inf if quality is None else quality)
            for reach in ground.reaches:
                grown = reach.buffer(half_gap, join_style="mitre")
                found.append(Place(_areas(area.intersection(grown)), number, False, quality, aside))
            if not ground.reaches or across:
                found.append(Place(area, number, bool(ground.reaches), quality, aside))
    return [place for place in found if not place.area.is_empty]


def regions(places: Sequence[Place], scale: float) -> kernels.Regions:
    """The places as arrays in the engine's scale."""
    areas = [shapely.affinity.translate(place.area, *place.aside) for place in places]
    parts = [_Region.of(area, scale) for area in areas]
    start = _starts([part.edges.shape[1] for part in parts])
    table = np.array(  # PLAIN .. NY
        [
            [*(part.plain for part in parts), 0],
            start,
            _starts([len(part.rings) for part in parts]),
            _starts([len(part.field) for part in parts]),
            [*(part.nx for part in parts), 0],
            [*(part.ny for part in parts), 0],
        ]
    )
    return kernels.Regions(
        box=np.array([(*part.box, *part.grid) for part in parts]),
        table=np.ascontiguousarray(table.T, dtype=np.int64),
        edge=np.hstack([part.edges for part in parts]),
        ring=np.concatenate([np.array(part.rings) + s for part, s in zip(parts, start[:-1], strict=True)]),
        field=np.concatenate([part.field for part in parts]),
    )


def _starts(counts: Sequence[int]) -> NDArray[np.int64]:
    return np.concatenate(([0], np.cumsum(counts))).astype(np.int64)


@dataclass(frozen=True, slots=True)
class _Region:
    box: tuple[float, float, float, float]
    plain: bool
    edges: NDArray[np.float64]
    rings: list[int]
    field: NDArray[np.float32]
    nx: int
    ny: int
    grid: tuple[float, float, float]

    @staticmethod
    def of(area: Polygon | MultiPolygon, scale: float) -> _Region:
        x0, y0, x1, y1 = (v / scale for v in area.bounds)
        # Edges a hair further out than the box that positions are held in, so that lying along them is not crossing.
        wider = area.buffer(0.75 * HAIR_MM, join_style="mitre")
        assert isinstance(wider, Polygon | MultiPolygon)
        edges, rings = edges_of(wider)
        edges = np.ascontiguousarray(edges.T) / scale
        if is_box(area):
            return _Region((x0, y0, x1, y1), True, edges, rings, np.zeros(4, np.float32), 2, 2, (x0, y0, 1.0))
        count = min(CELLS[1], max(CELLS[0], int(4 * max(x1 - x0, y1 - y0))))
        cell = max(x1 - x0, y1 - y0) / count
        nx, ny = int((x1 - x0) / cell) + 6, int((y1 - y0) / cell) + 6
        grid = (x0 - 2 * cell, y0 - 2 * cell, cell)
        field = np.empty(nx * ny, np.float32)
        kernels.raster(edges, np.array(grid), nx, ny, field)
        return _Region((x0, y0, x1, y1), False, edges, rings, field, nx, ny, grid)
