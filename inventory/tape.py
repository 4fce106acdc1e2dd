"""A sheet measured with a tape: sides and diagonals between corners become an outline, and tell how square it is.

In: distances in mm between corners named A, B, C, ... all the way round, counter-clockwise. Out: the outline with A at
the origin and B to the right of it, how well the measurements agree, how far each corner is from a right angle. Pure.
Method: corners one by one by trilateration from A (which must see all of them), then least squares over all distances
(Gauss-Newton), so that a further diagonal is a check and not a choice.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from string import ascii_uppercase

import numpy as np

from nesting.faults import RackFault
from nesting.model import Point

AGREE_MM = 3.0
"""A tape is read to a millimetre; distances that disagree by more were misread."""
ROUNDS = 20

Pair = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Taped:
    """`off_mm` is by how much the worst distance disagrees with the outline, 0 where nothing was measured twice over;
    `askew_deg` is each corner's angle less the next right angle."""

    outline_mm: tuple[Point, ...]
    off_mm: float
    askew_deg: tuple[float, ...]

    @property
    def out_of_square_mm_per_m(self) -> float:
        """The worst corner: how far a metre of one side leans."""
        return 1000.0 * math.tan(math.radians(max(map(abs, self.askew_deg))))


def from_tape(text: str) -> Taped:
    """The outline of `AB=600 BC=400 CD=600 DA=400 AC=721`. Raises RackFault if that is too little or contradictory."""
    distances = _distances(text)
    corners = _trilaterated(distances)
    adjusted = _adjusted(corners, distances)
    worst, off = max(((pair, _off(adjusted, pair, mm)) for pair, mm in distances.items()), key=lambda one: abs(one[1]))
    if abs(off) > AGREE_MM:
        raise RackFault(
            f"the measurements contradict each other: {_name(worst)} disagrees by {abs(off):.0f} mm",
            mend="measure again, that one first; name the corners in order, all the way round",
        )
    return Taped(tuple((round(x, 2), round(y, 2)) for x, y in adjusted), abs(off), _askew(adjusted))


def _distances(text: str) -> dict[Pair, float]:
    found: dict[Pair, float] = {}
    for word in text.replace(",", ".").split():
        match = re.fullmatch(r"([A-Za-z])([A-Za-z])[=:]([0-9.]+)", word)
        try:
            mm = float(match[3]) if match else 0.0
        except ValueError:
            mm = 0.0
        if match is None or not 0 < mm <= 20_000 or match[1].upper() == match[2].upper():
            raise RackFault(f"{word!r} is no measurement", mend="write e.g. AB=600 BC=400 CD=600 DA=400 AC=721")
        a, b = sorted(ascii_uppercase.index(letter) for letter in (match[1].upper(), match[2].upper()))
        found[a, b] = mm
    return found


def _trilaterated(distances: Mapping[Pair, float]) -> list[Point]:
    """A at the origin, B to its right, each next corner from A and the one before, on the left of the way to it."""
    count = 1 + max((b for _, b in distances), default=0)
    if count < 3:
        raise RackFault("a sheet has three corners or more", mend="name them A, B, C, ... in order")
    needed = [(n, n + 1) for n in range(count - 1)] + [(0, n) for n in range(2, count)]
    lacking = [_name(pair) for pair in needed if pair not in distances]
    if lacking:
        raise RackFault(
            f"not enough was measured: {', '.join(lacking)}", mend="measure every side, and from A to every corner"
        )
    corners: list[Point] = [(0.0, 0.0), (distances[0, 1], 0.0)]
    for n in range(2, count):
        corners.append(_third(corners[n - 1], distances[0, n], distances[n - 1, n], f"A{_name((n - 1, n))}"))
    return corners


def _third(before: Point, from_a: float, from_before: float, triangle: str) -> Point:
    """The corner at these distances from A (the origin) and from the corner before."""
    base = math.hypot(*before)
    along = (base**2 + from_a**2 - from_before**2) / (2 * base)
    high = from_a**2 - along**2
    if high <= 0:
        raise RackFault(
            f"the sides of the triangle {triangle} do not meet: {base:g}, {from_before:g} and {from_a:g} mm",
            mend="measure these three again",
        )
    ux, uy = before[0] / base, before[1] / base
    up = math.sqrt(high)
    return along * ux - up * uy, along * uy + up * ux


def _adjusted(corners: Sequence[Point], distances: Mapping[Pair, float]) -> list[Point]:
    """The corners that agree best with all distances; A stays at the origin and B on the x axis."""
    at = np.array(corners, dtype=np.float64)
    pairs = np.array(list(distances), dtype=np.intp)
    wanted = np.array(list(distances.values()))
    free = np.ones(at.size, dtype=bool)
    free[[0, 1, 3]] = False
    rows = np.arange(len(pairs))
    for _ in range(ROUNDS):
        between = at[pairs[:, 1]] - at[pairs[:, 0]]
        length = np.hypot(between[:, 0], between[:, 1])
        slope = np.zeros((len(pairs), *at.shape))
        slope[rows, pairs[:, 1]] = between / length[:, None]
        slope[rows, pairs[:, 0]] = -between / length[:, None]
        step = np.linalg.lstsq(slope.reshape(len(pairs), -1)[:, free], wanted - length, rcond=None)[0]
        at.flat[np.flatnonzero(free)] += step
        if np.abs(step).max() < 1e-9:
            break
    return [(float(x), float(y)) for x, y in at]


def _off(corners: Sequence[Point], pair: Pair, mm: float) -> float:
    return math.dist(corners[pair[0]], corners[pair[1]]) - mm


def _askew(corners: Sequence[Point]) -> tuple[float, ...]:
    """Each corner's inner angle less the nearest multiple of 90 degrees."""
    count = len(corners)
    angles = []
    for n, (x, y) in enumerate(corners):
        (px, py), (qx, qy) = corners[n - 1], corners[(n + 1) % count]
        inner = math.degrees(math.atan2(py - y, px - x) - math.atan2(qy - y, qx - x)) % 360
        angles.append(inner - 90 * round(inner / 90))
    return tuple(angles)


def _name(pair: Pair) -> str:
    return ascii_uppercase[pair[0]] + ascii_uppercase[pair[1]]
