"""Splitting: an oversize piece into the fewest segments that fit, by straight butt joints.

In: a Piece that may be split, and the rooms (length, width) that a segment may fill. Out: segments, each a Piece with
its parent and labelled joint edges. Pure. Method: cut positions along the piece's long axis by OR-Tools CP-SAT; the
numbers (S1) to (S3) are those of docs/model.md.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import shapely
from ortools.sat.python import cp_model

from nesting import curves
from nesting.faults import ReachFault
from nesting.model import Joint, Piece, Point, Ring, Turn
from nesting.solving import NoAnswer, solved
from nesting.splitting.halving import Part, crossings, halves

STEP_MM = 5.0
"""Joints are tried this far apart."""
CLEAR_MM = 10.0
"""Least distance of a joint from a hole, a corner or a fixing."""

Room = Point


def split(piece: Piece, rooms: Sequence[Room]) -> tuple[Piece, ...]:
    """Segments that each fit one of the rooms, or (piece,) where it fits as it is. Raises ReachFault if it cannot."""
    angle = _long_axis_deg(piece)
    turned = _turned(piece, -angle)
    x0, y0, x1, y1 = curves.bounds([turned.outline])
    longest = max((long for long, across in _ways(piece, rooms, angle) if across >= y1 - y0), default=0.0)
    if longest >= x1 - x0:
        return (piece,)
    if longest <= 2 * CLEAR_MM:
        room = max(rooms, key=min, default=(0.0, 0.0))
        raise ReachFault(
            f"{piece.name} is {x1 - x0:.1f} x {y1 - y0:.1f} mm; no cut across it gives segments that fit "
            f"{room[0]:g} x {room[1]:g} mm: it is {y1 - y0 - min(room):.1f} mm too wide",
            mend="make it narrower, or use a machine with more reach",
        )
    levels = _joint_levels(turned, longest)
    parts = [Part(turned.outline, turned.holes, ())]
    for level in levels:
        parts = [half for part in parts for side in halves(part.outline, part.holes, level) for half in side]
    parts.sort(key=lambda part: (curves.bounds([part.outline])[0], curves.bounds([part.outline])[1]))
    return tuple(_segment(piece, part, number, levels, angle) for number, part in enumerate(parts, start=1))


def _long_axis_deg(piece: Piece) -> float:
    """Direction of the longer side of the smallest rectangle round the piece; 0 or 90 where the grain binds it."""
    x0, y0, x1, y1 = curves.bounds([piece.outline])
    if piece.turn is not Turn.ANY:
        return 0.0 if x1 - x0 >= y1 - y0 else 90.0
    around = shapely.minimum_rotated_rectangle(curves.polygon(piece.outline))
    corners = shapely.get_coordinates(around)
    a, b = max(itertools.pairwise(corners), key=lambda side: math.dist(*side))
    angle = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0])) % 180.0
    upright = min((0.0, 90.0, 180.0), key=lambda main: abs(main - angle))
    # A near-upright rectangle is taken as upright: joints square to the drawing's own axes.
    if abs(upright - angle) < 0.1 or around.area > 0.995 * (x1 - x0) * (y1 - y0):
        return 0.0 if x1 - x0 >= y1 - y0 else 90.0
    return angle


def _turned(piece: Piece, angle: float) -> Piece:
    def turn(ring: Ring) -> Ring:
        return curves.moved(ring, 0.0, 0.0, angle)

    fixings = tuple(v[:2] for v in curves.moved([(*p, 0.0) for p in piece.fixings], 0.0, 0.0, angle))
    return replace(piece, outline=turn(piece.outline), holes=tuple(map(turn, piece.holes)), fixings=fixings)


def _ways(piece: Piece, rooms: Sequence[Room], angle: float) -> list[Room]:
    """Rooms as (along the piece, across it): both ways round where it may be turned, else as the grain lies."""
    swapped = [(h, w) for w, h in rooms]
    if piece.turn is Turn.ANY:
        return [*rooms, *swapped]
    return swapped if angle == 90.0 else list(rooms)


def _joint_levels(piece: Piece, longest: float) -> list[float]:
    """Levels of x of the fewest, best joints."""
    x0, _, x1, _ = curves.bounds([piece.outline])
    rings = [piece.outline, *piece.holes]
    levels = [x0 + STEP_MM * i for i in range(1, int((x1 - x0) / STEP_MM))]
    fewest = math.ceil((x1 - x0) / longest - 1e-9)
    ideal = [x0 + (x1 - x0) * i / fewest for i in range(1, fewest)]
    harm = {level: _harm(piece, rings, level, ideal) for level in levels}
    allowed = [level for level in levels if harm[level] is not None]
    model = cp_model.CpModel()
    cut = {level: model.new_bool_var(f"cut_{level:.1f}") for level in allowed}
    for start in [x0, *allowed]:
        if x1 - start > longest:
            window = [cut[level] for level in allowed if start < level <= start + longest]
            chosen = [] if start == x0 else [cut[start].negated()]
            model.add_bool_or([*window, *chosen])  # (S2) no segment longer than its room
    worst = sum(value for value in harm.values() if value is not None) + 1
    model.minimize(sum((worst + (harm[level] or 0)) * var for level, var in cut.items()))  # (S1) fewest, then best
    try:
        solver = solved(model, effort=5.0)
    except NoAnswer:
        raise ReachFault(
            f"{piece.name}: no joints at least {CLEAR_MM:g} mm off holes and corners give segments of {longest:g} mm",
            mend="move its holes or fixings, or allow longer segments",
        ) from None
    return [level for level, var in cut.items() if solver.value(var)]


def _harm(piece: Piece, rings: Sequence[Ring], level: float, ideal: Sequence[float]) -> int | None:
    """Tenths of a millimetre of harm of a joint: stroke and distance from even spacing; None if forbidden (S3)."""
    for hole in piece.holes:
        hx0, _, hx1, _ = curves.bounds([hole])
        if hx0 - CLEAR_MM < level < hx1 + CLEAR_MM:
            return None
    if any(abs(x - level) < CLEAR_MM for x, _ in piece.fixings):
        return None
    if any(abs(x - level) < 0.01 for ring in rings for x, _, _ in ring):
        return None
    ys = crossings(rings, level)
    stroke = sum(b - a for a, b in zip(ys[::2], ys[1::2], strict=True))
    corner = min(abs(x - level) for ring in rings for x, _, _ in ring)
    uneven = min(abs(level - even) for even in ideal)
    return round(10 * (stroke + 0.5 * uneven + 2.0 * max(0.0, CLEAR_MM - corner)))


def _segment(piece: Piece, part: Part, number: int, levels: Sequence[float], angle: float) -> Piece:
    """A part as a piece of its own, its bounds at the origin; laid straight if it may be turned."""
    back = 0.0 if piece.turn is Turn.ANY else angle
    rings = [curves.moved(ring, 0.0, 0.0, back) for ring in (part.outline, *part.holes)]
    x0, y0, _, _ = curves.bounds(rings[:1])
    outline, *holes = (curves.moved(ring, -x0, -y0) for ring in rings)
    joints = tuple(
        Joint(f"{piece.id}/{levels.index(level) + 1}", *_edge(edge, back, (x0, y0)))
        for level in levels
        for edge in _edges_at(part, level)
    )
    return replace(
        piece,
        id=f"{piece.id}.{number}",
        name=f"{piece.name}, segment {number}",
        outline=outline,
        holes=tuple(holes),
        marks=(),
        fixings=(),
        one_piece=True,
        segment_of=piece.id,
        joints=joints,
    )


def _edges_at(part: Part, level: float) -> list[tuple[Point, Point]]:
    """Straight sides of the part that lie on the cut line."""
    return [
        (s.a, s.b)
        for s in curves.segments(part.outline, closed=True)
        if s.bulge == 0 and abs(s.a[0] - level) < 1e-6 and abs(s.b[0] - level) < 1e-6
    ]


def _edge(edge: tuple[Point, Point], turn_deg: float, origin: Point) -> tuple[Point, Point]:
    a, b = curves.moved([(*edge[0], 0.0), (*edge[1], 0.0)], -origin[0], -origin[1], turn_deg)
    return (a[0], a[1]), (b[0], b[1])
