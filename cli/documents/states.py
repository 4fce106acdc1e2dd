"""What a sheet looks like at each step: what a trim cuts off; what a pass cuts now, cut before, leaves for later.

In: a Plan. Out: shapely polygons and chains of the model, sheet frame unless the name says bed. Pure.
Method: a shared contour is cut open at its joins; each stretch belongs to the pass that reaches it, and where two
passes reach it the stretches alternate round the ring, as joins are where one pass ends and the other begins.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import shapely
from shapely import LineString, Polygon, affinity, ops
from shapely.geometry.base import BaseGeometry

from nesting import curves
from nesting.model import Blank, Chain, Machine, Pass, Piece, Placement, Plan, PlannedSheet, Point, Rect, Ring, Trim

REACH_SLACK_MM = 0.01
JOIN_SLACK_MM = 0.05


@dataclass(frozen=True, slots=True)
class Stretch:
    """A contour, or the part of one between two joins, and the order number of the pass that cuts it. Sheet frame."""

    piece: str
    blank: str
    pass_order: int
    chain: Chain
    closed: bool
    mark: bool = False


def sheet_shape(sheet: PlannedSheet) -> Polygon:
    return Polygon(sheet.outline_mm, sheet.holes_mm)


def blank_of(sheet: PlannedSheet, blank_id: str) -> Blank:
    return next(blank for blank in sheet.blanks if blank.id == blank_id)


def blank_shape(sheet: PlannedSheet, blank: Blank) -> BaseGeometry:
    """What of the sheet lies within the blank's rectangle."""
    return sheet_shape(sheet).intersection(shapely.box(*blank.rect_mm))


# ── trims ────────────────────────────────────────────────────────────────────────────────────────────────────


def parts_before(sheet: PlannedSheet, trim: Trim) -> list[Polygon]:
    """The parts the sheet has fallen into when `trim` is about to be made."""
    parts = [sheet_shape(sheet)]
    for earlier in sorted(sheet.trims, key=lambda t: t.order):
        if earlier.order < trim.order:
            parts = _after(parts, earlier)
    return parts


def part_cut(parts: Sequence[Polygon], trim: Trim) -> Polygon:
    """The one of `parts` that the trim crosses."""
    line = LineString([trim.from_mm, trim.to_mm])
    return max(parts, key=lambda part: part.intersection(line).length)


def pieces_of(part: Polygon, trim: Trim) -> list[Polygon]:
    """What the trim makes of `part`."""
    (ax, ay), (bx, by) = trim.from_mm, trim.to_mm
    # Drawn out a little at both ends, so that the line surely parts the polygon from edge to edge.
    reach = 1.0 / (math.dist(trim.from_mm, trim.to_mm) or 1.0)
    line = LineString(
        [(ax - reach * (bx - ax), ay - reach * (by - ay)), (bx + reach * (bx - ax), by + reach * (by - ay))]
    )
    return [p for p in ops.split(part, line).geoms if isinstance(p, Polygon)]


def _after(parts: Sequence[Polygon], trim: Trim) -> list[Polygon]:
    cut = part_cut(parts, trim)
    return [p for part in parts for p in (pieces_of(part, trim) if part is cut else [part])]


# ── contours ─────────────────────────────────────────────────────────────────────────────────────────────────


def placed(piece: Piece, at: Placement) -> tuple[Ring, ...]:
    """Outline and holes, sheet frame, holes first as they are cut first."""
    rings = (*piece.holes, piece.outline)
    return tuple(curves.moved(ring, at.x_mm, at.y_mm, at.turn_deg, at.mirrored) for ring in rings)


def placed_marks(piece: Piece, at: Placement) -> tuple[Chain, ...]:
    return tuple(curves.moved(chain, at.x_mm, at.y_mm, at.turn_deg, at.mirrored) for chain in piece.marks)


def to_bed(chain: Sequence[tuple[float, ...]], run: Pass | Trim) -> Chain:
    """Sheet frame to bed frame; points without a bulge are taken as straight."""
    vertices = [(v[0], v[1], v[2] if len(v) > 2 else 0.0) for v in chain]
    return curves.moved(vertices, *run.shift_mm, run.turn_deg)


def passes_of(sheet: PlannedSheet, piece_id: str) -> list[Pass]:
    return [run for run in sheet.passes if piece_id in run.whole or piece_id in run.part]


def stretches(plan: Plan, sheet: PlannedSheet) -> list[Stretch]:
    """Everything cut on the sheet, each with its pass, in the order of the placements."""
    found: list[Stretch] = []
    for at in sheet.placements:
        piece = plan.piece(at.piece)
        runs = passes_of(sheet, piece.id)
        if runs:
            found.extend(_cuts(plan.machine, piece, at, runs))
    return found


def _cuts(machine: Machine, piece: Piece, at: Placement, runs: Sequence[Pass]) -> Iterator[Stretch]:
    for mark in placed_marks(piece, at):
        yield Stretch(piece.id, at.blank, _nearest_run(machine, runs, mark).order, mark, closed=False, mark=True)
    joins = list(dict.fromkeys(join.sheet_mm for run in runs for join in run.joins if join.piece == piece.id))
    for ring in placed(piece, at):
        chains = opened_at(ring, joins)
        closed = len(chains) == 1 and chains[0] is ring
        for chain, run in zip(chains, _owners(machine, runs, chains), strict=True):
            yield Stretch(piece.id, at.blank, run.order, chain, closed)


def opened_at(ring: Ring, points: Iterable[Point]) -> list[Chain]:
    """The ring cut open where it passes through `points`; the ring itself, alone, where it passes through none."""
    cuts: list[float] = []
    walked = list(curves.segments(ring, closed=True))
    for point in points:
        share, distance = _nearest(walked, point)
        if distance <= JOIN_SLACK_MM:
            cuts.append(share)
    cuts = sorted(set(cuts))
    if not cuts:
        return [ring]
    ends = [*cuts[1:], cuts[0] + len(walked)]
    return [_run_along(walked, start, end) for start, end in zip(cuts, ends, strict=True)]


def _nearest(walked: Sequence[curves.Segment], point: Point) -> tuple[float, float]:
    """(segment number + share along it, distance) of the ring's point nearest to `point`."""
    best = (0.0, math.inf)
    for number, segment in enumerate(walked):
        share = _share(segment, point)
        distance = math.dist(segment.point(share), point)
        if distance < best[1]:
            best = (number + share, distance)
    return best


def _share(segment: curves.Segment, point: Point) -> float:
    """The share of the segment's length nearest to `point`."""
    (ax, ay), (bx, by) = segment.a, segment.b
    if segment.bulge == 0:
        length2 = (bx - ax) ** 2 + (by - ay) ** 2 or 1.0
        return min(1.0, max(0.0, ((point[0] - ax) * (bx - ax) + (point[1] - ay) * (by - ay)) / length2))
    cx, cy = segment.centre
    start = math.atan2(ay - cy, ax - cx)
    swept = math.atan2(point[1] - cy, point[0] - cx) - start
    share = (swept * math.copysign(1.0, segment.bulge)) % math.tau / abs(segment.sweep)
    if share <= 1.0:
        return share
    return min((0.0, 1.0), key=lambda t: math.dist(segment.point(t), point))


def _run_along(walked: Sequence[curves.Segment], start: float, end: float) -> Chain:
    """The open chain from position `start` to `end`, which may lie beyond the ring's closing point."""
    parts = []
    at = start
    while at < end - 1e-12:
        number = math.floor(at + 1e-12)
        stop = min(end, number + 1.0)
        parts.append(walked[number % len(walked)].part(at - number, stop - number))
        at = stop
    return curves.chain_of(parts)


def _owners(machine: Machine, runs: Sequence[Pass], chains: Sequence[Chain]) -> list[Pass]:
    """The pass that cuts each chain of one ring."""
    able = [[r for r in runs if _beyond(machine, r, chain) <= REACH_SLACK_MM] for chain in chains]
    owners = [reach[0] if len(reach) == 1 else None for reach in able]
    # Twice round, so that a known stretch settles its neighbours wherever the ring begins.
    for i in [*range(len(chains)), *range(len(chains))]:
        if owners[i] is None and owners[i - 1] is not None:
            owners[i] = next((run for run in able[i] if run is not owners[i - 1]), None)
    return [owner or _nearest_run(machine, runs, chain) for owner, chain in zip(owners, chains, strict=True)]


def _nearest_run(machine: Machine, runs: Sequence[Pass], chain: Chain) -> Pass:
    """The earliest of the passes that reach the chain best."""
    return min(runs, key=lambda run: (round(_beyond(machine, run, chain), 3), run.order))


def _beyond(machine: Machine, run: Pass, chain: Sequence[tuple[float, ...]]) -> float:
    """Millimetres by which the chain sticks out of the travel in this pass."""
    x0, y0, x1, y1 = curves.bounds([to_bed(chain, run)], closed=False)
    travel_x, travel_y = machine.travel_mm
    return max(0.0, -x0, -y0, x1 - travel_x, y1 - travel_y)


# ── on the bed ───────────────────────────────────────────────────────────────────────────────────────────────


def cut_frame(machine: Machine, run: Pass, cuts: Iterable[Stretch]) -> Rect | None:
    """Bounding rectangle, bed frame, of what this pass cuts, its line-up marks included; None if it cuts nothing."""
    boxes = [curves.bounds([to_bed(c.chain, run)], closed=c.closed) for c in cuts if c.pass_order == run.order]
    boxes += [(x, y, x, y) for x, y in (mark.bed_mm for mark in run.lineup if mark.cut_here)]
    if not boxes:
        return None
    x0s, y0s, x1s, y1s = zip(*boxes, strict=True)
    return min(x0s), min(y0s), max(x1s), max(y1s)


def bed_shape(shape: BaseGeometry, run: Pass | Trim) -> BaseGeometry:
    """A sheet-frame shape as it lies on the bed."""
    cos, sin = curves.rotation(run.turn_deg)
    return affinity.affine_transform(shape, [cos, -sin, sin, cos, *run.shift_mm])
