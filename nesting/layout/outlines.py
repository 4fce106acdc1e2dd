"""Outlines for the engine: a shape's polygon grown by half the gap, its edges and inscribed circles, once per turn.

In: Shapes (mm). Out: `Rows` and `Pieces` for the kernels, in the engine's scale, and the way back to spots.
An outline is offset so that it holds the true offset (corners tangent to the rounding, never cut) and then lies
a hair inside by the tolerance, so that touching is not overlapping. Outlines with many vertices are simplified
outward. Method: poles of inaccessibility as surrogates, Gardeyn et al. (2025), arXiv:2509.13329.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from nesting.curves import polygons
from nesting.layout import kernels
from nesting.layout.terms import TOLERANCE_MM, Shape, Spot

MANY_VERTICES = 64
SIMPLER = 4e-4
"""How far a simplified outline may lie outside, as a share of the square root of its area."""
MITRE = 1.03
"""Corners are cut off square at this multiple of the offset: outside the rounding, close to it."""

HAIR_MM = 0.4 * TOLERANCE_MM
"""Outlines are laid this much smaller than true, so that touching is not overlapping; two still keep the tolerance."""

F64 = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """A grown outline about its reference point: the polygon, its edges (n, 4) a to b, circles (CIRCLES, 3), nooks
    (NOOKS, 3), mm."""

    reference: tuple[float, float]
    polygon: Polygon | MultiPolygon
    edges: F64
    circles: F64
    nooks: F64
    hull_area: float
    diameter: float


def offset(polygon: Polygon, distance: float) -> Polygon | MultiPolygon:
    """The polygon grown (or, negative, shrunk) so that what it bars is never less than the true offset."""
    if distance >= 0:
        return polygon.buffer(distance, join_style="mitre", mitre_limit=MITRE)
    return _drawn_in(shapely.orient_polygons(polygon), -distance)


def _drawn_in(polygon: Polygon, distance: float) -> Polygon | MultiPolygon:
    """Every vertex moved inside by the distance: unlike a true offset it does not blunt sharp corners by more. Walls
    that are thinner are left out."""
    drawn = Polygon(
        _ring_drawn_in(polygon.exterior, distance), [_ring_drawn_in(ring, distance) for ring in polygon.interiors]
    )
    if drawn.is_valid:
        return drawn
    parts = polygons(shapely.make_valid(drawn))
    return parts[0] if len(parts) == 1 else MultiPolygon(parts or [polygon])


def _ring_drawn_in(ring: shapely.LinearRing, distance: float) -> F64:
    points = shapely.get_coordinates(ring)[:-1]
    step = np.roll(points, -1, axis=0) - points
    step /= np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-12)[:, None]
    # Material lies on the left of an outer ring run ccw and of a hole run cw: inward is the left normal.
    left = np.stack((-step[:, 1], step[:, 0]), axis=-1)
    inward = left + np.roll(left, 1, axis=0)
    inward /= np.maximum(np.hypot(inward[:, 0], inward[:, 1]), 1e-12)[:, None]
    return points + distance * inward


def edges_of(polygon: Polygon | MultiPolygon) -> tuple[F64, list[int]]:
    """All edges (n, 4) as ax, ay, bx, by, the outer ring first, and where rings start."""
    rings, starts, n = [], [], 0
    for part in polygon.geoms if isinstance(polygon, MultiPolygon) else [polygon]:
        for ring in (part.exterior, *part.interiors):
            points = shapely.get_coordinates(ring)
            rings.append(np.hstack([points[:-1], points[1:]]))
            starts.append(n)
            n += len(points) - 1
    return np.vstack(rings) if rings else np.empty((0, 4)), starts


def _simpler(polygon: Polygon, grow: float) -> Polygon | MultiPolygon:
    """Grown by `grow`; with many vertices a little more, and then simplified by no more than that little."""
    if len(shapely.get_coordinates(polygon)) <= MANY_VERTICES:
        return offset(polygon, grow)
    little = SIMPLER * math.sqrt(polygon.area)
    simpler = offset(polygon, grow + little).simplify(little)
    assert isinstance(simpler, Polygon | MultiPolygon)
    return simpler


def inscribed(polygon: Polygon, count: int) -> F64:
    """`count` circles inside a polygon, largest first, (count, 3) x, y, radius."""
    circles = np.zeros((count, 3))
    edges, _ = edges_of(polygon)
    kernels.inscribed(np.ascontiguousarray(edges.T), np.array(polygon.bounds), circles)
    return circles


def polygon_of(wkb: bytes) -> Polygon:
    """A polygon from its well-known binary, outer ring counter-clockwise."""
    polygon = shapely.orient_polygons(shapely.from_wkb(wkb))
    assert isinstance(polygon, Polygon)
    return polygon


def _area(polygon: Polygon) -> float:
    return float(polygon.area)


@lru_cache(maxsize=4096)
def _outline(wkb: bytes, half_gap: float) -> Outline:
    grown = _simpler(polygon_of(wkb), half_gap - HAIR_MM)
    if isinstance(grown, MultiPolygon):
        parts: list[Polygon] = list(grown.geoms)
        parts.sort(key=_area, reverse=True)
        grown = MultiPolygon(parts)
    x0, y0, x1, y1 = grown.bounds
    centre = ((x0 + x1) / 2, (y0 + y1) / 2)
    grown = shapely.affinity.translate(grown, -centre[0], -centre[1])
    main: Polygon = grown.geoms[0] if isinstance(grown, MultiPolygon) else grown
    nooks = np.zeros((kernels.NOOKS, 3))
    holes = [Polygon(ring) for ring in main.interiors]
    for k, hole in enumerate(sorted(holes, key=_area, reverse=True)[: kernels.NOOKS]):
        nooks[k] = inscribed(hole, 1)[0]
    edges, _ = edges_of(grown)
    circles, hull_area = inscribed(main, kernels.CIRCLES), main.convex_hull.area
    return Outline(centre, grown, edges, circles, nooks, hull_area, math.hypot(x1 - x0, y1 - y0))


def outline(polygon: Polygon, half_gap: float) -> Outline:
    """The grown outline of a polygon; kept, since the same shapes are asked about again and again."""
    return _outline(shapely.to_wkb(polygon), half_gap)


def turned(points: F64, turn_deg: float, mirrored: bool) -> F64:
    """Points (..., 2) mirrored in x if mirrored, then turned; quarter turns exactly."""
    c, s = {0.0: (1.0, 0.0), 90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}.get(
        turn_deg % 360.0, (math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg)))
    )
    flip = -1.0 if mirrored else 1.0
    x, y = flip * points[..., 0], points[..., 1]
    return np.stack((c * x - s * y, s * x + c * y), axis=-1)


@dataclass(frozen=True, slots=True)
class Form:
    """What a row stands for: an outline in one orientation (free shapes: as drawn or mirrored, turn 0)."""

    outline: Outline
    turn_deg: float
    mirrored: bool


@dataclass(frozen=True, slots=True)
class Table:
    """Rows and pieces for the kernels, and what each row stands for; `scale` is millimetres per engine unit."""

    rows: kernels.Rows
    first: NDArray[np.int64]
    turns: NDArray[np.int64]
    slot: NDArray[np.int64]
    forms: tuple[Form, ...]
    scale: float


def _forms(shapes: Sequence[Shape], half_gap: float) -> tuple[list[Form], list[int], list[int]]:
    """Rows for all distinct (polygon, turns, mirror), and for each shape its first row and number of rows."""
    forms: list[Form] = []
    known: dict[tuple[bytes, tuple[float, ...] | None, bool], tuple[int, int]] = {}
    first, count = [], []
    for shape in shapes:
        key = (shapely.to_wkb(shape.polygon), shape.turns_deg, shape.mirror)
        if key not in known:
            base = _outline(key[0], half_gap)
            turns = shape.turns_deg if shape.turns_deg is not None else (0.0,)
            new = [Form(base, turn, flip) for flip in ([False, True] if shape.mirror else [False]) for turn in turns]
            known[key] = (len(forms), len(new))
            forms += new
        first.append(known[key][0])
        count.append(known[key][1])
    return forms, first, count


def table(shapes: Sequence[Shape], half_gap: float) -> Table:
    """Everything the kernels need to know of the shapes."""
    forms, first, turns = _forms(shapes, half_gap)
    scale = math.sqrt(sum(shape.polygon.area for shape in shapes) / len(shapes))
    free = [i for i, shape in enumerate(shapes) if shape.turns_deg is None]
    slot = np.full(len(shapes), -1, np.int64)
    slot[free] = len(forms) + np.arange(len(free))
    total = len(forms) + len(free) + 1  # the last row is spare, for candidates of free pieces
    rows = _empty_rows(total, max(len(form.outline.edges) for form in forms))
    for r, form in enumerate(forms):
        _write(rows, r, form, scale)
    return Table(rows, np.array(first, np.int64), np.array(turns, np.int64), slot, tuple(forms), scale)


def _empty_rows(total: int, edges: int) -> kernels.Rows:
    return kernels.Rows(
        circle=np.zeros((total, 2, 3, kernels.LANES), np.float32),
        edge=np.zeros((total, 8, edges)),
        trait=np.zeros((total, 11)),
        nook=np.zeros((total, kernels.NOOKS, 3)),
    )


def _write(rows: kernels.Rows, r: int, form: Form, scale: float) -> None:
    o, n = form.outline, len(form.outline.edges)
    edge, circle, nook = (part / scale for part in _turned_parts(form))
    rows.edge[r, :, :n] = edge
    # A hair smaller than they are, so that rounding to float32 never makes touching circles overlap.
    circle[2] = np.maximum(0.0, circle[2] - 3e-5)
    rows.circle[r, 0] = np.repeat(circle, kernels.CIRCLES, axis=1)
    rows.circle[r, 1] = np.tile(circle, kernels.CIRCLES)
    rows.nook[r] = nook
    slanted = np.stack((edge[0] + edge[1], edge[0] - edge[1]))
    box = (*edge[:2].min(axis=1), *edge[:2].max(axis=1), *slanted.min(axis=1), *slanted.max(axis=1))
    rows.trait[r] = (*box, (o.hull_area / scale**2) ** 0.25, 0.01 * o.diameter / scale, n)


@lru_cache(maxsize=8192)
def _turned_parts(form: Form) -> tuple[F64, F64, F64]:
    """Edges (8, n), circles (3, CIRCLES) and nooks (NOOKS, 3) of a form, mm; kept, like the outlines themselves."""
    o = form.outline
    a = turned(o.edges[:, :2], form.turn_deg, form.mirrored)
    b = turned(o.edges[:, 2:], form.turn_deg, form.mirrored)
    circle, nook = o.circles.T.copy(), o.nooks.copy()
    circle[:2] = turned(o.circles[:, :2], form.turn_deg, form.mirrored).T
    nook[:, :2] = turned(o.nooks[:, :2], form.turn_deg, form.mirrored)
    return np.hstack([a, b, np.minimum(a, b), np.maximum(a, b)]).T, circle, nook


def spot(
    shape_id: str, form: Form, x_mm: float, y_mm: float, angle: float, *, ground: int = 0, across: bool = False
) -> Spot:
    """The spot of a shape whose reference point lies at (x, y), from its row's form and its angle (radians)."""
    turn = (form.turn_deg + math.degrees(angle)) % 360.0
    rx, ry = turned(np.array(form.outline.reference), turn, form.mirrored).tolist()
    return Spot(shape_id, x_mm - rx, y_mm - ry, turn, form.mirrored, ground, across)


def laid(polygon: Polygon, spot: Spot) -> Polygon:
    """The shape's polygon as it lies on the sheet."""

    def move(points: F64) -> F64:
        return np.add(turned(points, spot.turn_deg, spot.mirrored), (spot.x_mm, spot.y_mm))

    return shapely.transform(polygon, move)
