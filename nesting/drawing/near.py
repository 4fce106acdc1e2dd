"""Which points lie close together, with a bound on how many pairs anyone is willing to look at.

In: points or rings. Out: index pairs. A drawing in which thousands of ends lie on one spot is refused, not computed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.drawing.fitting import Points
from nesting.faults import DrawingFault

MOST_PER_CELL = 400
MOST_PAIRS = 4_000_000
MOST_MEETINGS = 60
"""Sides that a side of a figure may come near, on average."""
MOST_WORK = 300_000_000
"""Corners of all pairs looked at together: some seconds."""
CHUNK = 500

Pairs = NDArray[np.intp]
"""(n, 2) indices."""


def near_pairs(points: Points, distance: float) -> Pairs:
    """All i < j with points no further apart than `distance`, in order. DrawingFault if they crowd."""
    _refuse_crowds(points)
    geometries = np.asarray(shapely.points(points), dtype=object)
    found = list(related(geometries, geometries, "dwithin", distance))
    pairs = np.concatenate(found) if found else np.empty((0, 2), dtype=np.intp)
    return pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]


def related(
    shapes: Sequence[shapely.Geometry] | NDArray[np.object_],
    others: Sequence[shapely.Geometry] | NDArray[np.object_],
    predicate: Literal["dwithin", "overlaps", "within"],
    distance: float = 0.0,
) -> Iterator[Pairs]:
    """Pairs (i of `shapes`, j of `others`) for which the predicate holds, some hundred shapes at a time; if both are
    the same, only those with i < j.

    DrawingFault where so many lie over each other that looking at them all would take minutes.
    """
    ours, theirs = np.array(shapes, dtype=object), np.array(others, dtype=object)
    sizes, their_sizes = shapely.get_num_coordinates(ours), shapely.get_num_coordinates(theirs)
    tree = shapely.STRtree(theirs)
    total = work = 0
    for start in range(0, len(ours), CHUNK):
        part = ours[start : start + CHUNK]
        reach = shapely.box(*(shapely.bounds(part) + distance * np.array([-1, -1, 1, 1])).T)
        first, second = tree.query(reach)
        total += len(first)
        work += int((sizes[start + first] + their_sizes[second]).sum())
        if total > MOST_PAIRS or work > MOST_WORK:
            raise DrawingFault("too many lines lie over each other", mend="keep only the outlines to cut, each once")
        if shapes is others:
            first, second = first[start + first < second], second[start + first < second]
        a, b = part[first], theirs[second]
        holds = shapely.dwithin(a, b, distance) if predicate == "dwithin" else getattr(shapely, predicate)(a, b)
        yield np.column_stack([first[holds] + start, second[holds]])


def refuse_tangles(loops: Sequence[Points]) -> None:
    """DrawingFault if the sides of these loops cross each other so often that to part them would take minutes."""
    starts = np.concatenate(loops)
    ends = np.concatenate([np.roll(loop, -1, axis=0) for loop in loops])
    if len(starts) < CHUNK:
        return
    boxes = shapely.box(*np.minimum(starts, ends).T, *np.maximum(starts, ends).T)
    tree = shapely.STRtree(boxes)
    pairs = 0
    for start in range(0, len(boxes), CHUNK):
        pairs += len(tree.query(boxes[start : start + CHUNK])[0])
        if pairs > MOST_MEETINGS * len(boxes):
            raise DrawingFault("a figure crosses itself too often", mend="keep only the outlines to cut")


def _refuse_crowds(points: Points) -> None:
    cells, counts = np.unique(np.floor(points), axis=0, return_counts=True)
    if len(counts) and counts.max() > MOST_PER_CELL:
        x, y = cells[counts.argmax()]
        raise DrawingFault(
            f"{counts.max()} line ends lie within a millimetre at ({x:g}, {y:g})",
            mend="keep only the outlines to cut, each drawn once; check the units",
        )
