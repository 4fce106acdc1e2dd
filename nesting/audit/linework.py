"""Chains of lines and arcs as close-set points with true lengths, to compare what is drawn with what is meant.

In: vertices (x_mm, y_mm, bulge) from plan.json and from pass drawings. Out: Traces. Pure.
Method: from the start of an arc of sweep w over chord c, the point at share t lies at c sin(tw/2) / sin(w/2), turned by
(t - 1) w / 2 from the chord (angle at the circumference); bulge = tan(w / 4), DXF reference. No centre is needed, so
gentle arcs are as exact as tight ones. This is the audit's own geometry: it shares none with the planner.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString

Floats = NDArray[np.float64]

CHORD_MM = 0.002
"""How far a chord between neighbouring points of a Trace may lie off the true arc."""
POINTS_MAX = 200_000
"""About the most points on one chain: what would need more is no sign, and is followed less closely."""
FLATTEST_MM = 1e9
"""An arc of a larger radius is followed as one of this: the difference of cosines would drown in rounding."""


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """points (n, 2) mm on the true curve, a closed path ending where it starts; stations (n,): mm along it."""

    points: Floats
    stations: Floats
    closed: bool

    @property
    def length(self) -> float:
        return float(self.stations[-1])

    @property
    def line(self) -> LineString:
        return LineString(self.points)

    def at(self, stations: Floats) -> Floats:
        """Points (m, 2) at stations (m,); a closed path is gone round again, an open one ends at its ends."""
        along = stations % self.length if self.closed and self.length > 0 else stations
        x = np.interp(along, self.stations, self.points[:, 0])
        return np.column_stack((x, np.interp(along, self.stations, self.points[:, 1])))

    def station_of(self, point: Sequence[float]) -> float:
        """Where along the path the point of it nearest to `point` lies."""
        start, run = self.points[:-1], np.diff(self.points, axis=0)
        squared = np.maximum((run**2).sum(axis=1), 1e-30)
        share = np.clip(((np.asarray(point) - start) * run).sum(axis=1) / squared, 0.0, 1.0)
        nearest = int(np.argmin(((start + share[:, None] * run - point) ** 2).sum(axis=1)))
        step = self.stations[nearest + 1] - self.stations[nearest]
        return float(self.stations[nearest] + share[nearest] * step)


def trace(vertices: Floats, closed: bool) -> Trace:
    """The path through vertices (n, 3): x_mm, y_mm, bulge of the segment that starts there."""
    chain = np.vstack((vertices, vertices[:1])) if closed else vertices
    chord = np.diff(chain[:, :2], axis=0)
    half = 2.0 * np.arctan(chain[:-1, 2])
    width = np.hypot(chord[:, 0], chord[:, 1])
    true_length = width / np.sinc(half / math.pi)
    steps = _steps(width, half)
    segment = np.repeat(np.arange(len(steps)), steps)
    first = np.cumsum(steps) - steps
    share = (np.arange(len(segment)) - first[segment]) / steps[segment]
    inner = _along_arcs(chain[segment, :2], chord[segment], half[segment], share)
    begin = np.cumsum(true_length) - true_length
    stations = np.append(begin[segment] + share * true_length[segment], true_length.sum())
    return Trace(np.vstack((inner, chain[-1:, :2])), stations, closed)


def _steps(width: Floats, half: Floats) -> NDArray[np.int64]:
    """How many chords stand for each segment: sagitta CHORD_MM at most, a straight one is its own chord."""
    radius = np.clip(width / np.maximum(2.0 * np.abs(np.sin(half)), 1e-12), CHORD_MM, FLATTEST_MM)
    wanted = np.abs(half) / np.arccos(1.0 - CHORD_MM / radius)
    few = max(1.0, float(wanted.sum()) / POINTS_MAX)
    steps: NDArray[np.int64] = np.ceil(np.maximum(wanted / few, 1.0)).astype(np.int64)
    return steps


def _along_arcs(start: Floats, chord: Floats, half: Floats, share: Floats) -> Floats:
    turn = (share - 1.0) * half
    reach = share * np.sinc(share * half / math.pi) / np.sinc(half / math.pi)
    cos, sin = reach * np.cos(turn), reach * np.sin(turn)
    x = start[:, 0] + cos * chord[:, 0] - sin * chord[:, 1]
    return np.column_stack((x, start[:, 1] + sin * chord[:, 0] + cos * chord[:, 1]))


def deviation(path: Trace, ideal: Trace, start_mm: float, sense: int) -> float:
    """Largest distance of `path` from the stretch of `ideal` that starts at `start_mm`, run on (sense +1) or back (-1).

    Both are compared point by point at equal lengths along them, at the points of either, so that neither a bow nor
    a corner of one is missed by the other.
    """
    stops = sense * (ideal.stations - start_mm)
    if ideal.closed:
        stops = stops % ideal.length
    stops = np.concatenate((path.stations, stops[(stops >= 0.0) & (stops <= path.length)]))
    off = path.at(stops) - ideal.at(start_mm + sense * stops)
    return float(np.hypot(off[:, 0], off[:, 1]).max())


# ── moving ───────────────────────────────────────────────────────────────────────────────────────────────────


def _turned(vertices: Floats, turn_deg: float) -> Floats:
    cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    moved = vertices.copy()
    moved[:, 0] = cos * vertices[:, 0] - sin * vertices[:, 1]
    moved[:, 1] = sin * vertices[:, 0] + cos * vertices[:, 1]
    return moved


def placed(vertices: Floats, x_mm: float, y_mm: float, turn_deg: float, mirrored: bool) -> Floats:
    """Piece frame to sheet frame, vertices (n, 3): mirror in x, turn about the origin, shift."""
    if mirrored:
        vertices = _mirrored(vertices)
    moved = _turned(vertices, turn_deg)
    moved[:, :2] += (x_mm, y_mm)
    return moved


def to_bed(vertices: Floats, turn_deg: float, shift_mm: Sequence[float], flipped: bool = False) -> Floats:
    """Sheet frame to bed frame, vertices (n, 3) or points (n, 2): mirror in x if flipped, turn, then shift."""
    moved = _turned(_mirrored(vertices) if flipped else vertices, turn_deg)
    moved[:, :2] += shift_mm
    return moved


def to_sheet(vertices: Floats, turn_deg: float, shift_mm: Sequence[float], flipped: bool = False) -> Floats:
    """Bed frame to sheet frame: the way back."""
    back = vertices.copy()
    back[:, :2] -= shift_mm
    back = _turned(back, -turn_deg)
    return _mirrored(back) if flipped else back


def _mirrored(vertices: Floats) -> Floats:
    """In x; an arc then turns the other way."""
    return np.asarray(vertices * np.array((-1.0, 1.0, -1.0))[: vertices.shape[1]])
