"""Blocks in DXF drawings: how much they expand to, and where the copies of an array lie.

In: a document, an INSERT. Out: offsets; or a refusal before anything is expanded, of blocks that hold themselves or
multiply beyond all use.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ezdxf.entities import DXFEntity, Insert, LWPolyline, Polyline, Spline
from ezdxf.math import Vec3

from nesting.drawing.intake import MOST_DEPTH, MOST_ENTITIES, clean_name
from nesting.faults import DrawingFault


def refuse_floods(entities: Iterable[DXFEntity]) -> None:
    """DrawingFault if the entities, blocks expanded, are more than can be looked at."""
    if _expanded(entities, {}, ()) > MOST_ENTITIES:
        raise DrawingFault(
            f"holds more than {MOST_ENTITIES} entities, blocks expanded", mend="keep only the outlines to cut"
        )


def _expanded(entities: Iterable[DXFEntity], known: dict[str, int], trail: tuple[str, ...]) -> int:
    """How many entities these are with all blocks expanded, long ones counting more; each block is looked at once."""
    total = 0
    for entity in entities:
        total += _weight(entity)
        if isinstance(entity, Insert):
            name = block_name(entity)
            if name in trail or len(trail) >= MOST_DEPTH:
                raise DrawingFault(
                    f"block {clean_name(name)} holds itself, or blocks are nested deeper than {MOST_DEPTH}",
                    mend="explode the block in the drawing",
                )
            if name not in known:
                known[name] = _expanded(block_of(entity), known, (*trail, name))
            rows, columns = _array(entity)
            total += known[name] * rows * columns
    return total


def _weight(entity: DXFEntity) -> int:
    """1, and 1 more for every ten points, of a spline for every two."""
    if isinstance(entity, LWPolyline):
        return 1 + len(entity) // 10
    if isinstance(entity, Polyline):
        return 1 + len(entity.vertices) // 10
    return 1 + entity.control_point_count() // 2 if isinstance(entity, Spline) else 1


def block_name(insert: Insert) -> str:
    """The name of the block that is placed, empty if the entity names none."""
    return str(insert.dxf.get("name") or "")


def block_of(insert: Insert) -> Iterable[DXFEntity]:
    """The entities of the block that is placed; none if it is missing."""
    return (insert.block() if block_name(insert) else None) or ()


def array_offsets(insert: Insert) -> Iterator[Vec3]:
    """Where the copies of a block array lie from the first, in the drawing's directions."""
    rows, columns = _array(insert)
    down, along = (float(insert.dxf.get(key, 0.0)) for key in ("row_spacing", "column_spacing"))
    plane, turn = insert.ocs(), float(insert.dxf.get("rotation", 0.0))
    for row in range(rows):
        for column in range(columns):
            yield plane.to_wcs(Vec3(column * along, row * down).rotate_deg(turn))


def _array(insert: Insert) -> tuple[int, int]:
    """Rows and columns; copies that would lie on each other count once."""
    rows, columns = (max(1, int(insert.dxf.get(key, 1))) for key in ("row_count", "column_count"))
    return (
        rows if insert.dxf.get("row_spacing", 0.0) else 1,
        columns if insert.dxf.get("column_spacing", 0.0) else 1,
    )
