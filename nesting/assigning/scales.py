"""Dual feasible functions: how much of a sheet an upright rectangle takes at least, seen in many ways.

In: sides of rectangles that lie upright, and of the room they share, in whole units. Out: for each of the strongest
ways the share of one sheet that each rectangle takes: whatever the layout, the shares on a sheet do not exceed 1. Pure.
Methods: products of a function of the width and one of the depth (Fekete and Schepers 2004, doi 10.1007/s001860400376);
the functions are theirs and those of Carlier, Clautiaux and Moukrim (2007), doi 10.1016/j.cor.2005.08.012.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
MOST_STEPS = 12
"""Steps that the staircase functions have at most."""
MOST_PARAMETERS = 40
"""Different sides tried as a function's parameter."""


def strongest_shares(
    sides: Sequence[tuple[int, int]], wanted: Sequence[int], room: tuple[int, int], most: int
) -> Floats:
    """Rows of shares, one for each rectangle, that in all ask for most sheets; only rectangles within the room count.

    sides (n, 2), room: whole units; returns (<= most, n), 0 to 1.
    """
    fits = np.array([0 < w <= room[0] and 0 < d <= room[1] for w, d in sides], dtype=np.float64)
    across = _values(np.array([side[0] for side in sides], dtype=np.int64), room[0]) * fits
    along = _values(np.array([side[1] for side in sides], dtype=np.int64), room[1])
    needed = (across * np.array(wanted, dtype=np.float64)) @ along.T
    best = np.argsort(-needed, axis=None, kind="stable")[: 8 * most]
    rows: list[Floats] = []
    for i, j in zip(*np.unravel_index(best, needed.shape), strict=True):
        row = across[i] * along[j]
        if len(rows) < most and not any((row <= other).all() for other in rows):
            rows.append(row)
    return np.array(rows, dtype=np.float64).reshape(len(rows), len(sides))


def _values(sides: Ints, room: int) -> Floats:
    """Each function's value for each side; of functions alike on all sides one is kept."""
    sides = np.minimum(np.maximum(sides, 0), room)
    small = np.unique(sides[(2 * sides <= room) & (sides > 0)])
    parameters = small[:: max(1, -(-len(small) // MOST_PARAMETERS))]
    rows = [sides / room]
    rows += [_only_large(sides, room, int(least)) for least in (*parameters, (room + 1) // 2)]
    rows += [_staircase(sides, room, steps) for steps in range(1, MOST_STEPS + 1)]
    beside = room - np.unique(sides[(2 * sides > room) & (sides < room)])
    units = np.unique(np.concatenate([parameters, beside, beside + 1]))
    rows += [_counted(sides, room, int(unit)) for unit in units[: 2 * MOST_PARAMETERS] if 2 * unit <= room]
    return np.unique(np.array(rows), axis=0)


def _only_large(sides: Ints, room: int, least: int) -> Floats:
    """Sides under `least` count nothing, and so those count in full that leave less than it."""
    return np.where(sides > room - least, 1.0, np.where(sides < least, 0.0, sides / room))


def _staircase(sides: Ints, room: int, steps: int) -> Floats:
    """u(k): so many steps, but true on the steps' own edges."""
    exact = (steps + 1) * sides % room == 0
    return np.where(exact, sides / room, (steps + 1) * sides // room / steps)


def _counted(sides: Ints, room: int, unit: int) -> Floats:
    """How many units a small side holds; a large one takes what the units beside it cannot."""
    whole = room // unit
    small, large = 2 * (sides // unit), 2 * (whole - (room - sides) // unit)
    counted = np.where(2 * sides > room, large, np.where(2 * sides == room, whole, small))
    return counted / (2 * whole)
