"""Is what the plan says will be left really left?

In: Scene. Out: Check `leftovers`.
Method: areas (shapely), drawn in by a rounding so that touching is no overlap.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from shapely.geometry import Polygon, box

from nesting.audit.checks import Check, Flaw, none_wrong
from nesting.audit.records import LeftoverRecord
from nesting.audit.scene import Scene, SheetScene, polygon
from nesting.audit.trims import trim_sheet

TOUCH_MM = 0.02
"""An overlap thinner than twice this is a touch."""


def leftover_checks(scene: Scene) -> list[Check]:
    """The check of this module, over all sheets."""
    flaws = [flaw for sheet in scene.sheets for flaw in _sheet_flaws(sheet)]
    return [none_wrong("leftovers", flaws, "inside their sheet, clear of pieces, trims and each other, usable as said")]


def _sheet_flaws(sheet: SheetScene) -> Iterator[Flaw]:
    sound: list[tuple[str, Polygon]] = []
    for number, record in enumerate(sheet.record.leftovers, 1):
        where = sheet.where(f"leftover {number}")
        area = polygon(record.outline_mm, record.holes_mm)
        if not area.is_valid or area.area <= 0:
            yield Flaw(where, "its outline and holes are no sound polygon")
            continue
        yield from _own_flaws(where, record, area)
        yield from _clashes(sheet, where, area.buffer(-TOUCH_MM, join_style="mitre"), sound)
        sound.append((where, area))


def _own_flaws(where: str, record: LeftoverRecord, area: Polygon) -> Iterator[Flaw]:
    x0, y0, x1, y1 = record.usable_mm
    if x1 <= x0 or y1 <= y0:
        yield Flaw(where, "its usable rectangle is empty")
    elif box(x0, y0, x1, y1).difference(area.buffer(TOUCH_MM, join_style="mitre")).area > 0:
        yield Flaw(where, "its usable rectangle is not all inside it")
    if record.credit < 0 or (record.credit > 0 and not record.keep):
        yield Flaw(where, f"is credited {record.credit}, which it may not be")


def _clashes(sheet: SheetScene, where: str, core: Polygon, others: Sequence[tuple[str, Polygon]]) -> Iterator[Flaw]:
    if core.difference(sheet.shape).area > 0:
        yield Flaw(where, "reaches beyond the sheet or into a hole of it")
    elif not any(part.covers(core) for part in trim_sheet(sheet).parts):
        yield Flaw(where, "is cut through by a trim, or reaches into its kerf")
    for placed in sheet.placed:
        if core.intersects(placed.solid):
            yield Flaw(where, f"holds part of {placed.id}")
    for other, area in others:
        if core.intersects(area):
            yield Flaw(where, f"overlaps {other}")
