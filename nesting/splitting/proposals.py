"""Which chords are weighed as joints: across strokes, or a grid of whole lines.

In: a Piece and what its joints keep off. Out: Cells with the harm of each edge, and the columns over them. Pure.
Method: of all chords at all angles the least harmful are kept, none near another; a stroke's run is so covered evenly.
Where that is not enough (wide panels), lines along and across the piece's long axis.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from nesting import curves
from nesting.model import Piece, Point, Turn
from nesting.splitting.cells import Cells, cells_of
from nesting.splitting.chords import Chord, Floats, Keepaway, Turned, level_of, straight_angles
from nesting.splitting.columns import Column, Fitting, Growing, TooMany
from nesting.splitting.symmetry import Axis

ANGLES_DEG = tuple(15.0 * i for i in range(12))
MOST_CHORDS = 70
NEAREST_MM = 8.0
"""Chords across a stroke are no nearer to each other."""
STROKES_OFF_CORNERS = (1.0, 0.5, 0.0)
"""How far joints keep off corners, in widths of the stroke they cross: as far as can be."""
MOST_LEVELS = 11
GRIDS_MM = (30.0, 3.0)
"""Least distance of two lines of a grid: joints that all but meet are tried last."""
HEIGHTS_MM = 40.0
"""Neighbours share joints at heights that are multiples of this."""


@dataclass(frozen=True, slots=True)
class Question:
    """A piece to be split: the rooms its segments must fit, and the clearance round a tongue."""

    piece: Piece
    rooms: tuple[Point, ...]
    clearance_mm: float = 0.0

    @property
    def may_turn(self) -> bool:
        return self.piece.turn is Turn.ANY

    @property
    def keyed_mm(self) -> float | None:
        """The thickness that tongues are made for; None where joints have none."""
        return self.piece.thickness_mm if self.piece.joint == "keyed" else None


@dataclass(frozen=True, slots=True)
class Proposal:
    """Cells, and all columns over them."""

    cells: Cells
    columns: tuple[Column, ...]
    across_strokes: bool = True


def long_axis_deg(piece: Piece) -> float:
    """Direction of the longer side of the smallest rectangle round the piece; 0 or 90 where the grain binds it."""
    x0, y0, x1, y1 = curves.bounds([piece.outline])
    upright = 0.0 if x1 - x0 >= y1 - y0 else 90.0
    if piece.turn is not Turn.ANY:
        return upright
    around = shapely.minimum_rotated_rectangle(curves.polygon(piece.outline))
    a, b = max(itertools.pairwise(shapely.get_coordinates(around)), key=lambda side: math.dist(*side))
    angle = float(math.degrees(math.atan2(b[1] - a[1], b[0] - a[0])) % 180.0)
    # A near-upright rectangle is taken as upright: joints square to the drawing's own axes.
    if around.area > 0.995 * (x1 - x0) * (y1 - y0):
        return upright
    return angle


def proposals(question: Question, axis: Axis | None) -> Iterator[Proposal]:
    """The better ones first: strokes a stroke width off corners, strokes near corners, grids."""
    keep = Keepaway(question.piece)
    fitting = fitting_of(question)
    for strokes in STROKES_OFF_CORNERS:
        found = _strokes(question, keep, fitting, axis, strokes)
        if found is not None:
            yield found
    main = long_axis_deg(question.piece)
    for angle in dict.fromkeys([axis.angle_deg if axis else main, main, 0.0]):
        for apart_mm in GRIDS_MM:
            found = _grid(question, keep, fitting, angle, apart_mm)
            if found is not None:
                yield found


def fitting_of(question: Question) -> Fitting:
    """How segments of the piece may lie in its rooms."""
    also = [*straight_angles([question.piece.outline]), long_axis_deg(question.piece)]
    return Fitting(question.rooms, question.may_turn, also)


# ── across strokes ───────────────────────────────────────────────────────────────────────────────────────────


def _strokes(
    question: Question, keep: Keepaway, fitting: Fitting, axis: Axis | None, strokes_off: float
) -> Proposal | None:
    """Chords not longer than the rooms are wide; fewer of them, if they make too many columns."""
    widest = max(min(room) for room in fitting.rooms)
    weighed = _weighed(question, keep, axis, strokes_off, widest)
    apart = max(NEAREST_MM, curves.length(question.piece.outline, closed=True) / 2 / MOST_CHORDS)
    if question.piece.joints_aligned:
        apart = min(apart, 0.75 * HEIGHTS_MM)  # None of the common heights is left out.
    for _ in range(6):
        chords = _thinned(weighed, apart)
        cells = cells_of(area_of(question.piece), chords)
        harms = _harms(cells, keep, strokes_off)
        growing = Growing(cells, harms, fitting, question.keyed_mm)
        try:
            columns = _columns(growing, list(growing.connected_sets()))
        except TooMany:
            apart *= 1.6
            continue
        return Proposal(cells, columns) if chords else None
    return None


def area_of(piece: Piece) -> shapely.Polygon:
    """The piece as an area, closely flattened."""
    return curves.polygon(piece.outline, piece.holes, 0.005)


Weighed = tuple[float, tuple[Chord, ...]]
"""Harm, and a chord with its mirror image."""


def _weighed(question: Question, keep: Keepaway, axis: Axis | None, strokes_off: float, widest: float) -> list[Weighed]:
    """All chords that may be joints, the least harmful first; those at wanted levels before all others."""
    piece = question.piece
    rings = [piece.outline, *piece.holes]
    main = long_axis_deg(piece)
    normals = [(angle + 90.0) % 180.0 for angle in straight_angles(rings)]
    by_angle: dict[float, Turned] = {}

    def turned(angle: float) -> Turned:
        if angle not in by_angle:
            by_angle[angle] = Turned(rings, angle)
        return by_angle[angle]

    found: list[tuple[bool, Weighed]] = []
    for angle in dict.fromkeys([*ANGLES_DEG, *normals, (main + 90.0) % 180.0]):
        lines = turned(angle)
        wanted = _wanted_levels(question, lines, angle, main)
        for level in [*wanted, *_even_levels(lines)]:
            for chord in lines.chords(level):
                if chord.length > widest:
                    continue
                harm = keep.harm(chord.a, chord.b, chord.sine, strokes_off * chord.length)
                pair = (chord,) if axis is None else _with_mirror(chord, axis, turned)
                if harm is not None and pair:
                    found.append((level not in wanted, (harm, pair)))
    found.sort(key=lambda one: (one[0], round(one[1][0], 6), one[1][1][0].angle_deg, one[1][1][0].middle))
    return [one for _, one in found]


def _even_levels(lines: Turned) -> list[float]:
    low, high = lines.span
    count = max(2, min(90, round((high - low) / 8.0)))
    return [low + (high - low) * (i + 0.5) / count for i in range(count)]


def _wanted_levels(question: Question, lines: Turned, angle: float, main: float) -> set[float]:
    """Heights that neighbours share; across the long axis, even shares and whole rooms."""
    low, high = lines.span
    if question.piece.joints_aligned and angle == 0.0:
        base = -question.piece.at_mm[1]
        first = math.ceil((low - base) / HEIGHTS_MM)
        return {base + HEIGHTS_MM * i for i in range(first, math.floor((high - base) / HEIGHTS_MM) + 1)}
    if abs((angle - main) % 180.0 - 90.0) > 1e-6:
        return set()
    even, filled = _room_levels(low, high, question.rooms)
    return {*even, *filled}


def _room_levels(low: float, high: float, rooms: Sequence[Point]) -> tuple[list[float], list[float]]:
    """Levels of an even split into the fewest, and of rooms filled from either end."""
    long = high - low
    even, filled = [], []
    for side in sorted({side for room in rooms for side in room}, reverse=True):
        count = math.ceil(long / side - 1e-9)
        if 1 < count <= MOST_LEVELS:
            even += [low + long * i / count for i in range(1, count)]
            filled += [at for i in range(1, count) for at in (low + side * i, high - side * i)]
    return even, filled


def _with_mirror(chord: Chord, axis: Axis, turned: Callable[[float], Turned]) -> tuple[Chord, ...]:
    """The chord and its mirror image, once if it is its own; () if it crosses the axis askew."""
    there = axis.mirrored(chord.middle)
    if math.dist(chord.middle, there) < 1e-6 or math.dist(chord.a, axis.mirrored(chord.b)) < 0.2:
        upright = abs((chord.angle_deg - axis.angle_deg + 45.0) % 90.0 - 45.0) < 1e-6
        return (chord,) if upright else ()
    angle = axis.mirrored_angle(chord.angle_deg)
    for other in turned(angle).chords(level_of(there, angle)):
        if math.dist(other.middle, there) < 0.5:
            return (chord, other)
    return ()


def _thinned(weighed: Sequence[Weighed], apart_mm: float) -> list[Chord]:
    """Chords in their order, each with its mirror image, unless one kept before crosses it or has its middle near."""
    kept: list[Chord] = []
    starts, ends, middles = (np.empty((0, 2)) for _ in range(3))
    for _, pair in weighed:
        clash = any(_near(chord, starts, ends, middles, apart_mm) for chord in pair)
        if clash or (len(pair) == 2 and _near(pair[0], *_arrays([pair[1]]), apart_mm)):
            continue
        kept += pair
        starts, ends, middles = _arrays(kept)
    return kept


def _arrays(chords: Sequence[Chord]) -> tuple[Floats, Floats, Floats]:
    return (
        np.array([chord.a for chord in chords]),
        np.array([chord.b for chord in chords]),
        np.array([chord.middle for chord in chords]),
    )


def _near(chord: Chord, starts: Floats, ends: Floats, middles: Floats, apart_mm: float) -> bool:
    if not len(starts):
        return False
    if np.hypot(*(middles - np.array(chord.middle)).T).min() < apart_mm:
        return True
    a, b = np.array(chord.a), np.array(chord.b)
    one, other = _side(starts, ends, a) * _side(starts, ends, b), _side(a, b, starts) * _side(a, b, ends)
    if bool(((one < -1e-6) & (other < -1e-6)).any()):
        return True
    # Ends that all but touch would leave a sliver between.
    return any(float(np.hypot(*(some - end).T).min()) < 2.0 for some in (starts, ends) for end in (a, b))


def _side(start: Floats, end: Floats, point: Floats) -> Floats:
    """On which side of the way from start to end a point lies, + left; one way and many points, or the reverse."""
    along, to = end - start, point - start
    across: Floats = along[..., 0] * to[..., 1] - along[..., 1] * to[..., 0]
    return across


# ── a grid of lines ──────────────────────────────────────────────────────────────────────────────────────────


def _grid(question: Question, keep: Keepaway, fitting: Fitting, angle: float, apart_mm: float) -> Proposal | None:
    """Lines along and across: even shares, whole rooms, and the least harmful level near each."""
    piece = question.piece
    rings = [piece.outline, *piece.holes]
    families = [Turned(rings, angle), Turned(rings, (angle + 90.0) % 180.0)]
    levels = [_grid_levels(lines, question, keep, apart_mm) for lines in families]
    chords = [
        chord for lines, found in zip(families, levels, strict=True) for at in found for chord in lines.chords(at)
    ]
    if not chords:
        return None
    cells = cells_of(area_of(piece), chords)
    growing = Growing(cells, _harms(cells, keep, 0.0), fitting, question.keyed_mm)
    points = [face.representative_point() for face in cells.faces]
    places = [
        tuple(
            int(np.searchsorted(sorted(found), level_of((point.x, point.y), lines.angle_deg)))
            for lines, found in zip(families, levels, strict=True)
        )
        for point in points
    ]
    sets = list(growing.blocks([(x, y) for x, y in places]))
    return Proposal(cells, _columns(growing, sets), across_strokes=False)


def _grid_levels(lines: Turned, question: Question, keep: Keepaway, apart_mm: float) -> list[float]:
    """Even shares, each at the least harmful level near it, and rooms filled to the full."""
    low, high = lines.span
    even, filled = _room_levels(low, high, question.rooms)
    reach = 0.15 * (high - low) / (len(even) + 1)
    near = [[level + reach * i / 5 for i in range(-5, 6)] for level in even]
    best = [
        min(some, key=lambda at: (round(_line_harm(lines, at, keep), 3), round(abs(at - level), 6)))
        for some, level in zip(near, even, strict=True)
    ]
    spaced: list[float] = []
    for level in [*best, *filled]:
        if low + 5.0 < level < high - 5.0 and all(abs(level - other) > apart_mm for other in spaced):
            spaced.append(level)
    return sorted(spaced[:MOST_LEVELS])


def _line_harm(lines: Turned, level: float, keep: Keepaway) -> float:
    """Of all chords on a line; a forbidden one weighs as much as ten."""
    total = 0.0
    for chord in lines.chords(level):
        harm = keep.harm(chord.a, chord.b, chord.sine, 0.0)
        total += 10 * chord.length if harm is None else harm
    return total or math.inf


# ── columns ──────────────────────────────────────────────────────────────────────────────────────────────────


def _harms(cells: Cells, keep: Keepaway, strokes_off: float) -> list[float | None]:
    found = []
    for edge in cells.edges:
        chord = cells.chords[edge.chord]
        a, b = cells.ends(edge)
        sine = chord.sine if edge.start == 0.0 or edge.end == 1.0 else 1.0
        found.append(keep.harm(a, b, sine, strokes_off * chord.length))
    return found


def _columns(growing: Growing, sets: Iterable[frozenset[int]]) -> tuple[Column, ...]:
    found = (growing.column(members) for members in sets)
    return tuple(column for column in found if column is not None)
