"""Dual feasible functions: how much of a sheet an upright rectangle takes at least, seen in many ways.

In: sides of rectangles that lie upright, and of the room they share, in whole units. Out: for each of the strongest
ways the share of one sheet that each rectangle takes: whatever the layout, the shares on a sheet do not exceed 1. Pure.
Methods: products of a function of the width and one of the depth (Fekete and Schepers 2004, doi 10.1007/s001860400376);
the functions are theirs and those of Carlier, Clautiaux and Moukrim (2007), doi 10.1016/j.cor.2005.08.012. Fitted
shares hold for these rectangles alone: of all functions of the width that no row of them exceeds, the one that asks for
most beside a function of the depth, and the other way round in turn. It is the dual of a linear program over rows of
widths (Gilmore and Gomory 1961, doi 10.1287/opre.9.6.849).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from nesting.solving import relaxed

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
MOST_STEPS = 12
"""Steps that the staircase functions have at most."""
MOST_PARAMETERS = 40
"""Different sides tried as a function's parameter."""
STEPS = 1000
"""Sides are rounded down to so many parts of the room where functions are fitted to them."""
TURNS = 3
"""Times that a function of the width and one of the depth are fitted to each other."""
ROWS = 60
"""Rows of widths that a function is fitted to at most."""


def strongest_shares(
    sides: Sequence[tuple[int, int]], wanted: Sequence[int], room: tuple[int, int], most: int
) -> Floats:
    """Rows of shares, one for each rectangle, that in all ask for most sheets; only rectangles within the room count.

    sides (n, 2), room: whole units; returns (<= most, n), 0 to 1.
    """
    across, along, _, needed = _in_all(sides, wanted, room)
    best = np.argsort(-needed, axis=None, kind="stable")[: 8 * most]
    rows: list[Floats] = []
    for i, j in zip(*np.unravel_index(best, needed.shape), strict=True):
        row = across[i] * along[j]
        if len(rows) < most and not any((row <= other).all() for other in rows):
            rows.append(row)
    return np.array(rows, dtype=np.float64).reshape(len(rows), len(sides))


def in_parts(shares: Floats, whole: int) -> list[list[int]]:
    """Rows of shares in parts of which a sheet has `whole`, rounded down so that what holds of them holds still."""
    return [[math.floor(share * whole * (1.0 - 1e-9)) for share in row] for row in shares.tolist()]


def fitted_shares(
    sides: Sequence[tuple[int, int]], wanted: Sequence[float], room: tuple[int, int], copies: Sequence[int]
) -> Floats:
    """One more such row, which asks for as much as the strongest or more; of each rectangle there are so many copies.

    sides (n, 2), room: whole units; returns (n,), 0 to 1.
    """
    across, along, fits, needed = _in_all(sides, wanted, room)
    i, j = np.unravel_index(np.argmax(needed), needed.shape)
    widths, depths = ([side[axis] for side in sides] for axis in (0, 1))
    asked = np.array(wanted, dtype=np.float64) * fits
    of_width, of_depth = across[i], along[j]
    for _ in range(TURNS):
        of_width = _fitted(widths, room[0], asked * of_depth, of_width, copies)
        of_depth = _fitted(depths, room[1], asked * of_width, of_depth, copies)
    return np.asarray(of_width * of_depth * fits)


def _in_all(
    sides: Sequence[tuple[int, int]], wanted: Sequence[float], room: tuple[int, int]
) -> tuple[Floats, Floats, Floats, Floats]:
    """Functions of the width and of the depth; 1 for what fits; how many sheets each pair of functions asks for."""
    fits = np.array([0 < w <= room[0] and 0 < d <= room[1] for w, d in sides], dtype=np.float64)
    across = _values(np.array([side[0] for side in sides], dtype=np.int64), room[0]) * fits
    along = _values(np.array([side[1] for side in sides], dtype=np.int64), room[1])
    return across, along, fits, (across * np.array(wanted, dtype=np.float64)) @ along.T


def _fitted(sides: Sequence[int], room: int, asked: Floats, known: Floats, copies: Sequence[int]) -> Floats:
    """Of all functions of the side that no row of rectangles exceeds, that which asks for most; `known` if it does.

    Rows are added to a linear program until its duals, divided by the most that any row holds of them, are best.
    """
    if room > STEPS:
        sides, room = [side * STEPS // room for side in sides], STEPS
    rows = [tuple(int(other == number) for other in range(len(sides))) for number in range(len(sides))]
    best, value = known, float(asked @ known)
    for _ in range(ROWS):
        shares = np.maximum(0.0, relaxed(rows, [1.0] * len(rows), asked.tolist(), ()).duals)
        row = _fullest_row(sides, room, shares, copies)
        most = max(1.0, float(shares @ np.array(row)))
        if float(asked @ shares) > most * value:
            best, value = shares / most, float(asked @ shares) / most
        if most <= 1.0 + 1e-9 or row in rows:
            break
        rows.append(row)
    return best


def _fullest_row(sides: Sequence[int], room: int, shares: Floats, copies: Sequence[int]) -> tuple[int, ...]:
    """How many of each lie side by side in the room so that their shares sum to the most (0-1 knapsack)."""
    listed = [
        number
        for number, (side, share, most) in enumerate(zip(sides, shares.tolist(), copies, strict=True))
        for _ in range(min(most, room // max(side, 1)) if share > 0.0 and side <= room else 0)
    ]
    most = np.zeros(room + 1)
    taken = np.zeros((len(listed), room + 1), dtype=np.bool_)
    for step, number in enumerate(listed):
        side = sides[number]
        one_more = most[: room + 1 - side] + shares[number]
        taken[step, side:] = one_more > most[side:] + 1e-12
        most[side:] = np.maximum(most[side:], one_more)
    row, left = [0] * len(sides), room
    for step in range(len(listed) - 1, -1, -1):
        if taken[step, left]:
            row[listed[step]] += 1
            left -= sides[listed[step]]
    return tuple(row)


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
