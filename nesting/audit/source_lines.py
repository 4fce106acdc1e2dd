"""What the job wants cut of a source, as linework: the common ground of source_dxf, source_svg and source_wording.

In: points of lines in mm. Out: Linework; NotCompared says why there is none. Pure but for fonts and drawings that the
other three read. Filled figures are noded and cut into faces by shapely; a face counts by the winding of the figure's
paths round a point in it, the winding being the sum of the angles under which that point sees them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Literal

import numpy as np
import shapely
from fontTools.pens.basePen import BasePen
from shapely import STRtree
from shapely.geometry import LinearRing, LineString, Point, Polygon

from nesting.audit.linework import CHORD_MM, Floats
from nesting.model import PieceOrder

LINES_MAX = 20_000
STEPS_MAX = 4_000
"""The most chords for one curve."""
MEET_MM = 0.05
"""Ends nearer than this meet."""
SPECK_MM2 = 1e-3
"""Smaller areas are dust from crossing lines."""
MM_PER_NAME = {"inch": 25.4, "foot": 304.8, "mm": 1.0, "cm": 10.0, "m": 1000.0, "yard": 914.4, "micron": 0.001}
MARKED = ("mark", "engrav", "etch", "score", "scribe")
LEFT_OUT = ("note", "dim", "text", "defpoints", "lineup", "construction", "frame", "title", "guide", "ignore")


class NotCompared(Exception):
    """Why a source cannot be compared with its pieces."""


@dataclass(frozen=True, slots=True, eq=False)
class Linework:
    """All that a source wants cut, mm; `loose` are ends that meet no other."""

    lines: tuple[LineString, ...]
    loose: tuple[Point, ...]


def bounded(lines: Iterable[Floats]) -> list[Floats]:
    """The lines, if there are some and not too many. Raises NotCompared."""
    drawn = list(islice(lines, LINES_MAX + 1))
    if not 0 < len(drawn) <= LINES_MAX:
        raise NotCompared(f"it holds {'no' if not drawn else f'more than {LINES_MAX}'} lines to cut")
    return drawn


def linework(drawn: Iterable[Floats]) -> Linework:
    """Lines (n, 2) mm with the ends that meet no other."""
    lines = tuple(LineString(points) for points in drawn)
    return Linework(lines, tuple(_loose_ends(lines)))


def _loose_ends(lines: tuple[LineString, ...]) -> Iterator[Point]:
    ends = [Point(line.coords[k]) for line in lines if line.coords[0] != line.coords[-1] for k in (0, -1)]
    tree = STRtree(ends)
    for end in ends:
        if len(tree.query(end, predicate="dwithin", distance=MEET_MM)) < 2:
            yield end


def mm_per_unit(order: PieceOrder) -> float | None:
    """What the job's own `units` stand for, if it names some. Raises NotCompared."""
    if order.units is not None and order.units not in MM_PER_NAME:
        raise NotCompared(f"the unit {order.units} is not known here")
    return None if order.units is None else MM_PER_NAME[order.units]


def role(layer: str, order: PieceOrder) -> Literal["cut", "mark", "ignore"]:
    """As the job says, else by the words in the layer's name: the rules of docs/drawings.md, stated a second time."""
    name = layer.lower()
    if name in [asked.lower() for asked in order.mark_layers]:
        return "mark"
    if name in [asked.lower() for asked in order.ignore_layers]:
        return "ignore"
    if order.layer is not None:
        return "cut" if name == order.layer.lower() else "ignore"
    if any(word in name for word in MARKED):
        return "mark"
    return "ignore" if any(word in name for word in LEFT_OUT) else "cut"


# ── curves ───────────────────────────────────────────────────────────────────────────────────────────────────


class ChordPen(BasePen):  # type: ignore[misc]  # the library ships no types
    """Keeps what is drawn as `paths`: points (n, 2) in the drawing's own units, chords `close` to the curves."""

    def __init__(self, close: float, glyphs: object = None) -> None:
        super().__init__(glyphs)
        self.close = close
        self.paths: list[Floats] = []
        self._points: list[tuple[float, float]] = []

    def _moveTo(self, p: tuple[float, float]) -> None:  # noqa: N802 (the pen protocol's own names)
        self._points = [p]

    def _lineTo(self, p: tuple[float, float]) -> None:  # noqa: N802
        self._points.append(p)

    def _curveToOne(self, *points: tuple[float, float]) -> None:  # noqa: N802
        a, b, c, d = (complex(*p) for p in (self._getCurrentPoint(), *points))
        bend = max(abs(a - 2 * b + c), abs(b - 2 * c + d))
        t = _shares(math.sqrt(0.75 * bend / self.close))
        self._run(a * (1 - t) ** 3 + 3 * b * t * (1 - t) ** 2 + 3 * c * t**2 * (1 - t) + d * t**3)

    def arcTo(  # noqa: N802
        self, rx: float, ry: float, rotation_deg: float, large: bool, sweep: bool, to: tuple[float, float]
    ) -> None:
        """SVG 2, appendix B.2.4, in the frame where the ellipse is the unit circle."""
        a, b = complex(*self._getCurrentPoint()), complex(*to)
        if a == b or not rx * ry:
            self.lineTo(to)
            return
        tilt = complex(math.cos(math.radians(rotation_deg)), math.sin(math.radians(rotation_deg)))
        u, v = (complex((z / tilt).real / abs(rx), (z / tilt).imag / abs(ry)) for z in (a, b))
        half, middle = (v - u) / 2, (u + v) / 2
        wide = max(1.0, abs(half))
        aside = 1j * half / abs(half) * math.sqrt(max(0.0, wide**2 - abs(half) ** 2))
        centre = middle + (aside if bool(large) != bool(sweep) else -aside)
        turn = float(np.angle((v - centre) / (u - centre))) % math.tau - (0.0 if sweep else math.tau)
        chord = min(1.0, self.close / (wide * max(abs(rx), abs(ry))))
        on_circle = centre + (u - centre) * np.exp(1j * turn * _shares(abs(turn) / (2 * math.acos(1 - chord))))
        self._run((on_circle.real * abs(rx) + 1j * on_circle.imag * abs(ry)) * tilt)
        self.lineTo(to)

    def _run(self, points: np.typing.NDArray[np.complex128]) -> None:
        for z in points:
            self.lineTo((float(z.real), float(z.imag)))

    def _closePath(self) -> None:  # noqa: N802
        self._points.append(self._points[0])
        self._endPath()

    def _endPath(self) -> None:  # noqa: N802
        if len(self._points) > 1:
            self.paths.append(np.array(self._points, dtype=float))
        self._points = []


def _shares(steps: float) -> Floats:
    """Shares of a curve in so many steps, its start left out."""
    return np.arange(1, (count := max(1, min(STEPS_MAX, math.ceil(steps)))) + 1) / count


# ── fills ────────────────────────────────────────────────────────────────────────────────────────────────────


def painted(paths: Sequence[Floats], rule: Literal["nonzero", "evenodd"]) -> list[Floats]:
    """The edges of what a fill covers, paths closed as it closes them; paths without area as they are. mm."""
    rings = [path if (path[0] == path[-1]).all() else np.vstack((path, path[:1])) for path in paths]
    flat = [abs(_area(ring)) <= SPECK_MM2 for ring in rings]
    lines = [path for path, is_line in zip(paths, flat, strict=True) if is_line]
    loops = [ring for ring, is_line in zip(rings, flat, strict=True) if not is_line]
    if len(loops) == 1 and LinearRing(loops[0]).is_simple:
        return [*loops, *lines]
    noded = shapely.union_all([LinearRing(loop) for loop in loops])
    faces = shapely.get_parts(shapely.polygonize([noded])).tolist()
    whole = shapely.union_all([face for face in faces if _counts(face, loops, rule)])
    edges = [
        edge
        for part in shapely.get_parts(whole).tolist()
        for edge in (part.exterior, *part.interiors)
        if Polygon(edge).area > SPECK_MM2
    ]
    return [*(shapely.get_coordinates(edge) for edge in edges), *lines]


def _area(ring: Floats) -> float:
    x, y = (ring - ring[0]).T
    return float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum()) / 2


def _counts(face: Polygon, loops: Sequence[Floats], rule: str) -> bool:
    inside = face.representative_point()
    seen = [(loop[:, 0] - inside.x) + 1j * (loop[:, 1] - inside.y) for loop in loops]
    turns = sum(round(float(np.angle(z[1:] / z[:-1]).sum()) / math.tau) for z in seen)
    return turns % 2 == 1 if rule == "evenodd" else turns != 0


def close_for(scale: float) -> float:
    """How close chords must be in units of which one is `scale` mm."""
    return CHORD_MM / max(scale, 1e-12)
