"""Are the pieces those of the job and its drawings, as both are now?

In: Scene, the job file. Out: Checks `job`, `source drawings`, `source lines`, `split pieces`.
Method: each entry against its demand, each drawing against the digest it had. Every piece's contours are laid on the
drawing's lines at the place where a part of the drawing is as large as the piece's outline; both must follow the other.
Pieces that were split are compared by the length of all that is cut, less the joints.
"""

from __future__ import annotations

import hashlib
import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree
from shapely.geometry import LineString, MultiPoint, Point

from nesting.audit import linework
from nesting.audit.checks import Check, Flaw, Reading, at_most, none_wrong
from nesting.audit.linework import Floats
from nesting.audit.records import DemandRecord, PieceRecord, PlanRecord
from nesting.audit.source_dxf import read_dxf
from nesting.audit.source_lines import MEET_MM, Linework, NotCompared
from nesting.audit.source_svg import read_svg
from nesting.audit.source_wording import font_file, read_wording
from nesting.model import JobFile, PieceOrder

ASTRAY_MM = 0.08
"""How far a contour may be from the drawing's line: arcs fitted within 0.02 mm, ends joined within 0.05 mm."""
HEALED_MM = 1.0
"""So near to an end that met no other, joining may have changed the line."""
ALIKE_MM = 0.6
"""How much a part of the drawing may differ in size from a piece that lies on it."""
STEP_MM = 2.0
"""Contours are looked at this often."""
LENGTH_SHARE = 0.001
"""How much the contours of a split piece may differ in length from the drawing's lines."""
PLACES_MAX = 60
"""Parts of a drawing that are tried for one piece."""


@dataclass(slots=True)
class Compared:
    """What came of comparing pieces with their drawings."""

    astray: list[Reading] = field(default_factory=list)
    unused: list[Reading] = field(default_factory=list)
    split: list[Reading] = field(default_factory=list)
    pieces: int = 0
    left: dict[str, str] = field(default_factory=dict)

    @property
    def scope(self) -> str:
        reasons = "; ".join(f"{name}: {why}" for name, why in self.left.items())
        return f"{self.pieces} pieces compared with their drawings" + (f" (not compared: {reasons})" if reasons else "")


def source_checks(plan: PlanRecord, job: JobFile, folder: Path) -> list[Check]:
    """All checks of this module; drawings are found from `folder`."""
    compared = Compared()
    for order, demand in zip(job.piece, plan.demands, strict=False):
        _compare(order, demand, plan, folder, compared)
    return [
        none_wrong(
            "job", _job_flaws(plan, job, folder), "each entry of the job is demanded as it says, drawings as then"
        ),
        at_most("source drawings", ASTRAY_MM, "mm", compared.astray, f"a contour beside its drawing; {compared.scope}"),
        at_most("source lines", ASTRAY_MM, "mm", compared.unused, "a line of the drawing that no contour follows"),
        at_most("split pieces", LENGTH_SHARE, "of it", compared.split, "contours longer or shorter than drawn"),
    ]


# ── the job ──────────────────────────────────────────────────────────────────────────────────────────────────


def _job_flaws(plan: PlanRecord, job: JobFile, folder: Path) -> Iterator[Flaw]:
    if len(job.piece) != len(plan.demands):
        yield Flaw("job", f"has {len(job.piece)} entries, the plan was made for {len(plan.demands)}")
    for order, demand in zip(job.piece, plan.demands, strict=False):
        where = f"piece {order.name}"
        for key, asked in _asked(order, job.job.quantity).items():
            if asked != getattr(demand, key):
                yield Flaw(where, f"its {key} is now `{asked}`, the plan was made for `{getattr(demand, key)}`")
        path = folder / order.drawing if order.drawing else font_file(order, folder)
        if path is not None and path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() != demand.digest:
            yield Flaw(f"{where} > {path.name}", "is not the file that the plan was made from")
        elif order.drawing and path is not None and not path.is_file():
            yield Flaw(f"{where} > {path.name}", "is not there to be read afresh")


def _asked(order: PieceOrder, sets: int) -> dict[str, object]:
    return {
        "name": order.name,
        "source": order.drawing or order.wording or "",
        "material": order.material,
        "colour": order.colour,
        "thickness_mm": order.thickness_mm,
        "quantity": order.quantity * sets,
        "turn": str(order.turn),
        "mirror": order.mirror,
    }


# ── the drawings ─────────────────────────────────────────────────────────────────────────────────────────────


def _compare(order: PieceOrder, demand: DemandRecord, plan: PlanRecord, folder: Path, found: Compared) -> None:
    try:
        source = _source(order, folder)
    except NotCompared as why:
        found.left[order.name] = str(why)
        return
    made: dict[str, list[PieceRecord]] = defaultdict(list)
    for piece in plan.pieces:
        made[piece.segment_of or piece.id].append(piece)
    matcher = _Matcher(source)
    for first in range(0, len(demand.pieces), max(demand.shapes, 1)):
        copy = [made[one] for one in demand.pieces[first : first + demand.shapes]]
        parts = [part for parts in copy for part in parts]
        found.pieces += len(copy)
        if any(part.segment_of is not None for part in parts):
            found.split.append(_length_reading(parts, source, f"{order.name} > {parts[0].segment_of or parts[0].id}"))
        else:
            places = matcher.places(parts)
            found.astray += [Reading(place.astray_mm, piece.id) for place, piece in zip(places, parts, strict=True)]
            found.unused.append(matcher.unused(places, f"{order.name} > {order.drawing or order.wording}"))


def _source(order: PieceOrder, folder: Path) -> Linework:
    """What an entry wants cut, read afresh. Raises NotCompared."""
    if order.drawing is None:
        return read_wording(order, folder)
    path = folder / order.drawing
    return read_svg(path, order) if path.suffix.lower() == ".svg" else read_dxf(path, order)


def _length_reading(parts: Sequence[PieceRecord], source: Linework, where: str) -> Reading:
    """By what share the contours of one copy are longer than the drawing's lines; both sides of a joint are cut."""
    cut = sum(linework.trace(np.array(ring), True).length for part in parts for ring in (part.outline, *part.holes))
    joints = sum(math.dist(joint.start_mm, joint.end_mm) for part in parts for joint in part.joints)
    drawn = sum(line.length for line in source.lines)
    return Reading(abs(cut - joints - drawn) / drawn, where, f"{cut - joints:.2f} mm of contours, {drawn:.2f} mm drawn")


@dataclass(frozen=True, slots=True, eq=False)
class _Place:
    """A piece's contours on the drawing, and how far they leave its lines."""

    contours: tuple[LineString, ...]
    astray_mm: float


class _Matcher:
    """Lays pieces on one source's lines."""

    def __init__(self, source: Linework) -> None:
        self.lines = STRtree(source.lines)
        self.healed = MultiPoint(source.loose).buffer(HEALED_MM)
        self.points = np.vstack([_close_set(line) for line in source.lines])
        self.boxes = np.array([shapely.total_bounds(part) for part in _parts(source)])
        self.known: dict[object, _Place] = {}

    def places(self, pieces: Sequence[PieceRecord]) -> list[_Place]:
        """Where each piece of one copy follows the source, each in a place of its own."""
        free = np.ones(len(self.boxes), dtype=bool)
        return [self._taken(piece, free) for piece in pieces]

    def _taken(self, piece: PieceRecord, free: NDArray[np.bool_]) -> _Place:
        """The first place that is free and fits, else the one that fits best."""
        rings = [linework.trace(np.array(ring), True).points for ring in (piece.outline, *piece.holes)]
        low, size = rings[0].min(axis=0), np.ptp(rings[0], axis=0)
        sized = free & (np.abs(self.boxes[:, 2:] - self.boxes[:, :2] - size).max(axis=1) <= ALIKE_MM)
        best, taken = _Place((), float(size.max())), None
        for number in np.flatnonzero(sized)[:PLACES_MAX]:
            place = self._known(piece, int(number), rings, low)
            if place.astray_mm < best.astray_mm:
                best, taken = place, number
            if best.astray_mm <= ASTRAY_MM:
                break
        if taken is not None:
            free[taken] = False
        return best

    def _known(self, piece: PieceRecord, number: int, rings: Sequence[Floats], low: Floats) -> _Place:
        """The piece laid on one part of the source; copies are alike and looked at once."""
        key = (number, piece.outline, piece.holes)
        if key not in self.known:
            self.known[key] = self._laid(rings, self.boxes[number, :2] - low)
        return self.known[key]

    def _laid(self, rings: Sequence[Floats], offset: Floats) -> _Place:
        contours = tuple(LineString(ring + offset) for ring in rings)
        points = self._unhealed(np.vstack([_close_set(contour) for contour in contours]))
        astray = self.lines.query_nearest(points, return_distance=True, all_matches=False)[1] if points else [0.0]
        return _Place(contours, float(max(astray)))

    def _unhealed(self, points: Floats) -> list[Point]:
        """The points, but those near ends that had to be joined."""
        healed = shapely.contains_xy(self.healed, points[:, 0], points[:, 1])
        return [Point(at) for at in points[~healed]]

    def unused(self, places: Sequence[_Place], where: str) -> Reading:
        """The point of the source's lines that is furthest from every contour of the pieces at these places."""
        contours = [contour for place in places for contour in place.contours]
        points = self._unhealed(self.points)
        if not contours or not points:
            return Reading(0.0, where)
        off = STRtree(contours).query_nearest(points, return_distance=True, all_matches=False)[1]
        worst = points[int(np.argmax(off))]
        return Reading(float(max(off)), where, f"at ({worst.x:.2f}, {worst.y:.2f}) in the drawing")


def _close_set(line: LineString) -> Floats:
    return np.asarray(shapely.get_coordinates(shapely.segmentize(line, STEP_MM)))


def _parts(source: Linework) -> list[list[LineString]]:
    """What may be an outline: each closed line, parted where it meets itself; open ones that touch, together."""
    closed = [line for line in source.lines if line.is_closed]
    rings = [[ring] for line in closed for ring in ([line] if line.is_simple else _loops(line))]
    return [*rings, *_chained([line for line in source.lines if not line.is_closed], source.loose)]


def _loops(line: LineString) -> list[LineString]:
    return [face.exterior for face in shapely.get_parts(shapely.polygonize([shapely.node(line)])).tolist()]


def _chained(lines: Sequence[LineString], loose: Sequence[Point]) -> list[list[LineString]]:
    """Open lines, those together that touch or whose loose ends nearly meet."""
    tree = STRtree(lines)
    links = [tree.query(line, predicate="dwithin", distance=MEET_MM).tolist() for line in lines]
    for end in loose:
        near = tree.query(end, predicate="dwithin", distance=HEALED_MM).tolist()
        for k in near:
            links[k] += near
    parts: list[list[LineString]] = []
    seen: set[int] = set()
    for first in range(len(links)):
        part, front = [], [first]
        while front:
            k = front.pop()
            if k not in seen:
                seen.add(k)
                part.append(lines[k])
                front += links[k]
        if part:
            parts.append(part)
    return parts
