"""What a sheet looks like at each step: what a trim cuts off, how a blank lies on the bed, what a pass runs round.

In: a Plan. Out: shapely polygons and rectangles, sheet frame unless the name says bed. Pure.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import TypeVar

import shapely
from shapely import LineString, Polygon, affinity, ops
from shapely.geometry.base import BaseGeometry

from nesting import curves
from nesting.model import Blank, Machine, Pass, Plan, PlannedSheet, Point, Trim
from nesting.passes.cuts import Cut, cuts_of, laid_on
from nesting.placing import Laid

EDGE_SLACK_MM = 0.01
Shape = TypeVar("Shape", bound=BaseGeometry)
Cuts = Mapping[int, Sequence[Cut]]
"""What each pass of one blank cuts, by the pass's order."""


def sheet_shape(sheet: PlannedSheet) -> Polygon:
    """The whole sheet as it comes, sheet frame."""
    return Polygon(sheet.outline_mm, sheet.holes_mm)


def blank_shape(sheet: PlannedSheet, blank: Blank) -> BaseGeometry:
    """What of the sheet lies within the blank's rectangle."""
    return sheet_shape(sheet).intersection(shapely.box(*blank.rect_mm))


def blank_of(sheet: PlannedSheet, run: Pass) -> Blank:
    """The blank that a pass is run on."""
    return next(blank for blank in sheet.blanks if blank.id == run.blank)


def laid(plan: Plan, sheet: PlannedSheet) -> dict[str, Laid]:
    """All pieces of a sheet where they lie, by id."""
    return laid_on(sheet, {piece.id: piece for piece in plan.pieces})


def cuts_on(plan: Plan, sheet: PlannedSheet, blank: str) -> Cuts:
    """What each pass of a blank cuts, in cutting order."""
    pieces = laid(plan, sheet)
    return {run.order: cuts_of(sheet.passes, run, pieces, plan.machine) for run in sheet.passes if run.blank == blank}


def passes_of(sheet: PlannedSheet, piece_id: str) -> list[Pass]:
    """The passes that cut a piece or a share of it."""
    return [run for run in sheet.passes if piece_id in run.whole or piece_id in run.part]


# ── trims ────────────────────────────────────────────────────────────────────────────────────────────────────


def parts_before(sheet: PlannedSheet, trim: Trim) -> list[Polygon]:
    """The parts the sheet has fallen into when `trim` is about to be made."""
    return parts_after(sheet_shape(sheet), [earlier for earlier in sheet.trims if earlier.order < trim.order])


def parts_after(shape: Polygon, trims: Iterable[Trim]) -> list[Polygon]:
    """The parts that a sheet of this shape falls into along the trims, less what the tool takes away."""
    parts = [shape]
    for trim in sorted(trims, key=lambda trim: trim.order):
        cut = part_cut(parts, trim)
        parts = [p for part in parts for p in (_divided(part, trim) if part is cut else [part])]
    return parts


def part_cut(parts: Sequence[Polygon], trim: Trim) -> Polygon:
    """The one of `parts` that the trim crosses."""
    line = LineString([trim.from_mm, trim.to_mm])
    return max(parts, key=lambda part: part.intersection(line).length)


def _divided(part: Polygon, trim: Trim) -> list[Polygon]:
    (ax, ay), (bx, by) = trim.from_mm, trim.to_mm
    # Drawn out a millimetre at both ends, so that the line surely parts the polygon from edge to edge.
    out = 1.0 / (math.dist(trim.from_mm, trim.to_mm) or 1.0)
    dx, dy = out * (bx - ax), out * (by - ay)
    a, b = (ax - dx, ay - dy), (bx + dx, by + dy)
    sides = [p for p in ops.split(part, LineString([a, b])).geoms if isinstance(p, Polygon)]
    if not trim.kerf_mm:
        return sides
    kx, ky = far_side(trim)
    dust = Polygon([a, b, (b[0] + kx, b[1] + ky), (a[0] + kx, a[1] + ky)])
    return [part for side in sides for part in curves.polygons(side.difference(dust))]


def far_side(trim: Trim) -> Point:
    """From the line of a cut square to the sheet to the far side of what the tool takes away, sheet frame."""
    (ax, ay), (bx, by) = trim.from_mm, trim.to_mm
    return (trim.kerf_mm, 0.0) if abs(ax - bx) < abs(ay - by) else (0.0, trim.kerf_mm)


# ── on the bed ───────────────────────────────────────────────────────────────────────────────────────────────


def bed_shape(shape: Shape, run: Pass | Trim) -> Shape:
    """A sheet-frame shape as it lies on the bed."""
    cos, sin = curves.rotation(run.turn_deg)
    flip = -1.0 if isinstance(run, Pass) and run.flipped else 1.0
    return affinity.affine_transform(shape, [cos * flip, -sin, sin * flip, cos, *run.shift_mm])


def check_points(machine: Machine, shape: BaseGeometry) -> list[Point]:
    """Up to three points, bed frame, where the head stands on the blank's edge: the farthest two, and one aside."""
    seen = shape.intersection(shapely.box(*machine.travel_rect))
    corners = {(round(x, 3) + 0.0, round(y, 3) + 0.0) for x, y in shapely.get_coordinates(seen)}
    points = sorted(p for p in corners if shape.boundary.distance(shapely.Point(p)) < EDGE_SLACK_MM)
    if len(points) < 2:
        return []
    chosen = list(max(itertools.combinations(points, 2), key=lambda pair: round(math.dist(*pair), 3)))
    rest = [p for p in points if p not in chosen]
    if rest:
        chosen.append(max(rest, key=lambda p: round(min(math.dist(p, q) for q in chosen), 3)))
    return sorted(chosen)
