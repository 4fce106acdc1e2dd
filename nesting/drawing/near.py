"""Which points lie close together, with a bound on how many pairs anyone is willing to look at.

In: points or rings. Out: index pairs. A drawing in which thousands of ends lie on one spot is refused, not computed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.drawing.fitting import Points
from nesting.faults import DrawingFault

MOST_PER_CELL = 400
MOST_PAIRS = 4_000_000
CHUNK = 500

Pairs = NDArray[np.intp]
"""(n, 2) indices."""


def near_pairs(points: Points, distance: float) -> Pairs:
    """All i < j with points no further apart than `distance`, in order. DrawingFault if they crowd."""
    _refuse_crowds(points)
    geometries = np.asarray(shapely.points(points), dtype=object)
    tree = shapely.STRtree(geometries)
    found: list[Pairs] = []
    for first, second in _chunks(tree, geometries, "dwithin", distance):
        ahead = first < second
        found.append(np.column_stack([first[ahead], second[ahead]]))
    pairs = np.concatenate(found) if found else np.empty((0, 2), dtype=np.intp)
    return pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]


def related(
    shapes: Sequence[shapely.Geometry],
    others: Sequence[shapely.Geometry],
    predicate: str,
    distance: float | None = None,
) -> Iterator[Pairs]:
    """Pairs (i of `shapes`, j of `others`) for which the predicate holds, some hundred shapes at a time."""
    tree = shapely.STRtree(np.array(others, dtype=object))
    for first, second in _chunks(tree, np.array(shapes, dtype=object), predicate, distance):
        yield np.column_stack([first, second])


def _chunks(
    tree: shapely.STRtree, shapes: NDArray[np.object_], predicate: str, distance: float | None
) -> Iterator[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    total = 0
    for start in range(0, len(shapes), CHUNK):
        part = shapes[start : start + CHUNK]
        first, second = tree.query(part, predicate=predicate, distance=distance)  # type: ignore[call-overload]
        total += len(first)
        if total > MOST_PAIRS:
            raise DrawingFault(
                "too many lines lie on top of each other",
                mend="keep only the outlines to cut, each drawn once",
            )
        yield first + start, second


def _refuse_crowds(points: Points) -> None:
    cells, counts = np.unique(np.floor(points), axis=0, return_counts=True)
    if len(counts) and counts.max() > MOST_PER_CELL:
        x, y = cells[counts.argmax()]
        raise DrawingFault(
            f"{counts.max()} line ends lie within a millimetre at ({x:g}, {y:g})",
            mend="keep only the outlines to cut, each drawn once; check the units",
        )
