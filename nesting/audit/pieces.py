"""Is every piece there, once, on the right stock, turned as it may be, with room around it?

In: Scene. Out: Checks `references`, `quantities`, `drawn pieces`, `joints`, `stock`, `turns`, `gaps`, `margin`, `sheet
holes`, `blanks hold`.
Method: counting; distances between areas traced to 0.002 mm (shapely).
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator

import shapely
from shapely import STRtree
from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry

from nesting.audit.checks import Check, Flaw, Reading, at_least, at_most, none_wrong
from nesting.audit.records import PieceRecord, PlanRecord
from nesting.audit.scene import Placed, Scene, SheetScene

SLACK_MM = 0.01
"""Rounding allowed in a distance."""
LOOK_MM = 20.0
"""Pieces further apart than the gap and this are not measured."""
ANGLE_DEG = 1e-6
TURN_STEPS_DEG = {"half": 180.0, "none": 360.0}


def piece_checks(scene: Scene) -> list[Check]:
    """All checks of this module, over all sheets."""
    plan, machine = scene.plan, scene.machine
    gap, margin = machine.gap_mm, machine.margin_mm
    return [
        none_wrong("references", _reference_flaws(plan), "every id is unique and every name known"),
        none_wrong("quantities", _quantity_flaws(plan), "every piece placed once, no copy missing"),
        none_wrong("drawn pieces", _shape_flaws(scene), "no piece crosses itself, holes inside outlines"),
        none_wrong("joints", _joint_flaws(plan.pieces), "every joint edge has its partner of the same length"),
        none_wrong("stock", _stock_flaws(scene), "pieces on sheets of their own stock, no sheet used twice"),
        none_wrong("turns", _turn_flaws(scene), "pieces turned and mirrored only as allowed"),
        at_least("gaps", gap, "mm", _gaps(scene, gap), "material between two pieces"),
        at_least("margin", margin, "mm", _margins(scene), "from piece to sheet edge"),
        at_least("sheet holes", min(gap, margin), "mm", _hole_gaps(scene), "from piece to a hole of the sheet"),
        at_most("blanks hold", SLACK_MM, "mm", _overhangs(scene), "a piece beyond its blank"),
    ]


# ── counting ─────────────────────────────────────────────────────────────────────────────────────────────────


def _reference_flaws(plan: PlanRecord) -> Iterator[Flaw]:
    yield from _repeated("plan.json > pieces", (piece.id for piece in plan.pieces))
    yield from _repeated("plan.json > sheets", (sheet.id for sheet in plan.sheets))
    known = {piece.id for piece in plan.pieces}
    for sheet in plan.sheets:
        blanks = {blank.id for blank in sheet.blanks}
        yield from _repeated(f"{sheet.id} > blanks", (blank.id for blank in sheet.blanks))
        yield from _repeated(f"{sheet.id} > trims", (f"trim {trim.order}" for trim in sheet.trims))
        yield from _repeated(f"{sheet.id} > passes", (f"pass {run.order} of {run.blank}" for run in sheet.passes))
        for blank in [*(p.blank for p in sheet.placements), *(run.blank for run in sheet.passes)]:
            if blank not in blanks:
                yield Flaw(sheet.id, f"blank {blank} is not among its blanks")
        named = {p.piece for p in sheet.placements} | {n for run in sheet.passes for n in (*run.whole, *run.part)}
        for piece in sorted(named - known):
            yield Flaw(sheet.id, f"piece {piece} is not among the plan's pieces")


def _repeated(where: str, ids: Iterable[str]) -> Iterator[Flaw]:
    for name, times in Counter(ids).items():
        if times > 1:
            yield Flaw(where, f"{name} is there {times} times")


def _quantity_flaws(plan: PlanRecord) -> Iterator[Flaw]:
    """Each piece once; of each name every copy number from 1 to the highest equally often."""
    times = Counter(placement.piece for sheet in plan.sheets for placement in sheet.placements)
    for piece in plan.pieces:
        if times[piece.id] != 1:
            yield Flaw(piece.id, f"is placed {times[piece.id]} times")
    copies: dict[str, Counter[int]] = defaultdict(Counter)
    for piece in plan.pieces:
        if piece.segment_of is None:
            copies[piece.name][piece.copy_number] += 1
    for name, numbers in copies.items():
        highest = max(numbers)
        if len(numbers) != highest or len(set(numbers.values())) > 1:
            missing = next((n for n in range(1, len(numbers) + 2) if n not in numbers), highest)
            yield Flaw(name, f"copies 1 to {highest} are not all there: look at copy {missing}")


def _joint_flaws(pieces: Iterable[PieceRecord]) -> Iterator[Flaw]:
    edges: dict[tuple[str, str], list[float]] = defaultdict(list)
    for piece in pieces:
        for joint in piece.joints:
            edges[piece.segment_of or piece.id, joint.label].append(math.dist(joint.start_mm, joint.end_mm))
    for (parent, label), lengths in edges.items():
        if len(lengths) != 2:
            yield Flaw(parent, f"joint {label} has {len(lengths)} sides instead of 2")
        elif abs(lengths[0] - lengths[1]) > 0.05:
            yield Flaw(parent, f"joint {label} is {lengths[0]:.2f} mm long on one side, {lengths[1]:.2f} on the other")


def _shape_flaws(scene: Scene) -> Iterator[Flaw]:
    for sheet in scene.sheets:
        for placed in sheet.placed:
            if placed.unsound:
                yield Flaw(sheet.where(placed.id), f"the piece's drawing is no sound area: {placed.unsound}")


def _stock_flaws(scene: Scene) -> Iterator[Flaw]:
    for sheet in scene.sheets:
        record = sheet.record
        if (record.source.stock_id is None) == (record.source.offer is None):
            yield Flaw(sheet.id, "a sheet comes either from the rack or from an offer")
        if max(abs(edge) for edge in sheet.shape.bounds[:2]) > SLACK_MM:
            yield Flaw(sheet.id, "the sheet's outline does not start at (0, 0)")
        key = (record.material, record.colour, record.thickness_mm)
        for placed in sheet.placed:
            asked = (placed.piece.material, placed.piece.colour, placed.piece.thickness_mm)
            if asked != key:
                yield Flaw(sheet.where(placed.id), f"asks for {asked[0]} {asked[1]} {asked[2]:g} mm, lies on {key}")
    used = [sheet.record.source.stock_id for sheet in scene.sheets if sheet.record.source.stock_id is not None]
    yield from _repeated("rack", used)


def _turn_flaws(scene: Scene) -> Iterator[Flaw]:
    for sheet in scene.sheets:
        for placed in sheet.placed:
            step = TURN_STEPS_DEG.get(placed.piece.turn)
            turn = placed.placement.turn_deg
            if step is not None and abs(turn - step * round(turn / step)) > ANGLE_DEG:
                yield Flaw(sheet.where(placed.id), f"turned by {turn:g} degrees; its turn is `{placed.piece.turn}`")
            if placed.placement.mirrored and not placed.piece.mirror:
                yield Flaw(sheet.where(placed.id), "mirrored, which it may not be")


# ── room ─────────────────────────────────────────────────────────────────────────────────────────────────────


def _gaps(scene: Scene, gap_mm: float) -> Iterator[Reading]:
    """Distances between pieces that could be nearer than the gap, each piece's holes being free room."""
    for sheet in scene.sheets:
        solids = [placed.solid for placed in sheet.placed]
        tree = STRtree(solids)
        for i, solid in enumerate(solids):
            for j in tree.query(solid, predicate="dwithin", distance=gap_mm + LOOK_MM):
                if i < j:
                    apart = _apart(solid, solids[j])
                    pair = f"{sheet.placed[i].id} - {sheet.placed[j].id}"
                    yield Reading(apart, sheet.where(pair), "overlapping" if apart < 0 else "too near")


def _apart(one: BaseGeometry, other: BaseGeometry) -> float:
    """The distance of two areas; where they overlap, less than 0 by the mean width of what they share."""
    distance = one.distance(other)
    if distance > 0:
        return float(distance)
    shared = one.intersection(other)
    return -2.0 * shared.area / shared.length if shared.area > 0 else 0.0


def _margins(scene: Scene) -> Iterator[Reading]:
    """From each piece to the sheet's outer edge; negative by how far it sticks out."""
    for sheet in scene.sheets:
        whole = Polygon(sheet.shape.exterior)
        for placed in sheet.placed:
            yield Reading(_depth(placed, whole), sheet.where(placed.id))


def _depth(placed: Placed, area: Polygon) -> float:
    outline = placed.outline.trace.line
    beyond = shapely.distance(shapely.points(placed.outline.trace.points), area).max()
    return -float(beyond) if beyond > 0 else float(outline.distance(area.exterior))


def _hole_gaps(scene: Scene) -> Iterator[Reading]:
    for sheet in scene.sheets:
        for hole in (Polygon(ring) for ring in sheet.shape.interiors):
            for placed in sheet.placed:
                yield Reading(_apart(placed.solid, hole), sheet.where(placed.id))


def _overhangs(scene: Scene) -> Iterator[Reading]:
    for sheet in scene.sheets:
        rects = {blank.id: box(*blank.rect_mm) for blank in sheet.record.blanks}
        for placed in sheet.placed:
            depth = _depth(placed, rects[placed.placement.blank])
            yield Reading(max(-depth, 0.0), sheet.where(placed.id))
        yield from _shared_ground(sheet)


def _shared_ground(sheet: SheetScene) -> Iterator[Reading]:
    """Two blanks that overlap, by the depth of their overlap."""
    blanks = sheet.record.blanks
    for i, one in enumerate(blanks):
        for other in blanks[i + 1 :]:
            (ax0, ay0, ax1, ay1), (bx0, by0, bx1, by1) = one.rect_mm, other.rect_mm
            depth = min(min(ax1, bx1) - max(ax0, bx0), min(ay1, by1) - max(ay0, by0))
            yield Reading(max(depth, 0.0), sheet.where(f"{one.id} - {other.id}"), "the blanks overlap")
