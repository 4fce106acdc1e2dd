"""The pictures of a plan, each to scale with a scale bar: sheet, trim, pass, turn, leftovers.

In: a Plan and one of its sheets, trims or passes. Out: a `Picture` of drawing primitives.
A sheet is drawn face up in its own frame; the bed as the person sees it who stands at its front edge.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence

import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from cli.documents import canvas as look
from cli.documents import rows, states, words
from cli.documents.canvas import Canvas, Picture
from nesting import curves
from nesting.model import Machine, Pass, Piece, Plan, PlannedSheet, Point, Rect, Trim
from nesting.passes.cuts import Cut, to_bed
from nesting.passes.holding import SIDES, edge_at
from nesting.phrases import counted
from nesting.placing import Laid

LEGEND_SHEET = (
    ("piece, with its number", look.NOW_FILL),
    ("sheet", look.SHEET),
    ("trim cut", look.TRIM_LINE),
)
LEGEND_PASS = (
    ("cut in this pass", look.NOW_LINE),
    ("cut before", look.BEFORE_LINE),
    ("comes later", look.LATER_LINE),
    ("reach of the head", look.TRAVEL_LINE),
    ("frame round this pass", look.FRAME_LINE),
    ("edge of the sheet", look.EDGE),
)


def union(rects: Iterable[Rect]) -> Rect:
    """The rectangle round rectangles."""
    x0s, y0s, x1s, y1s = zip(*rects, strict=True)
    return min(x0s), min(y0s), max(x1s), max(y1s)


# ── sheets ───────────────────────────────────────────────────────────────────────────────────────────────────


def sheet_picture(plan: Plan, sheet: PlannedSheet) -> Picture:
    """The whole sheet, face up: what lies where, where it is trimmed, its size."""
    shape = states.sheet_shape(sheet)
    paper = Canvas(shape.bounds, left=36, bottom=34, top=14, right=14)
    paper.shape(shape, look.EDGE, look.SHEET)
    _pieces(paper, plan, sheet, look.NOW_FILL)
    _trim_lines(paper, sheet.trims)
    solids = [one.solid for one in states.laid(plan, sheet).values()]
    named = [_room(paper, at) for at in (*map(_tag_spot, solids), *map(_trim_spot, sheet.trims))]
    for blank in sheet.blanks:
        named = _edge_letters(paper, states.blank_shape(sheet, blank), 0, solids, named)
    _size(paper, shape.bounds)
    name = f"Sheet {words.plain(sheet.id)}, {words.source(sheet)}, {_size_words(shape.bounds)}"
    legend = LEGEND_SHEET if sheet.trims else LEGEND_SHEET[:2]
    return paper.finish(f"{name}, with {counted(len(sheet.placements), 'piece')}", legend)


def _size_words(bounds: Rect) -> str:
    return words.size(bounds[2] - bounds[0], bounds[3] - bounds[1])


def _size(paper: Canvas, bounds: Rect) -> None:
    """Length below, width at the left."""
    x0, y0, x1, y1 = bounds
    paper.measure((x0, y0), (x1, y0), words.mm(x1 - x0))
    paper.measure((x0, y1), (x0, y0), words.mm(y1 - y0))


def _pieces(paper: Canvas, plan: Plan, sheet: PlannedSheet, fill: str | None, stroke: look.Stroke = look.EDGE) -> None:
    """Every piece on the sheet, filled, with its number where it is widest."""
    tags = rows.numbers(plan)
    pieces = states.laid(plan, sheet)
    for one in pieces.values():
        paper.chains(one.rings, True, stroke, fill)
        paper.chains(one.marks, False, look.MARK_LINE)
    for name, one in pieces.items():
        _tag(paper, one.solid, str(tags[name]))


def _room(paper: Canvas, at: Point, radius: float = 8.0) -> BaseGeometry:
    """What a name there takes up of the paper, in the world's millimetres."""
    return shapely.Point(at).buffer(radius / paper.scale)


def _tag_spot(shape: Polygon) -> Point:
    """Where a piece is widest, or its middle if that is nearly as wide."""
    (x, y), _ = _tag_circle(shape)
    return x, y


def _tag_circle(shape: Polygon) -> tuple[Point, float]:
    """Where a piece's number goes, and how far it is from there to the nearest edge."""
    widest = shapely.maximum_inscribed_circle(shape, tolerance=1.0)
    x, y = widest.coords[0]
    middle = shape.centroid
    room = middle.distance(shape.boundary) if shape.contains(middle) else 0.0
    return ((middle.x, middle.y), room) if room >= NEARLY * widest.length else ((x, y), widest.length)


NEARLY = 0.9
"""The share of its greatest width that a piece must have in its middle to bear its number there."""
LONG = 2.0
"""How many times as long as wide a piece is whose number may run along it."""


def _tag(paper: Canvas, shape: Polygon, text: str) -> None:
    """A piece's number where it is widest, along it if it is long and too narrow for the number across."""
    (x, y), radius = _tag_circle(shape)
    x0, y0, x1, y1 = shape.bounds
    upright, lying = y1 - y0 > LONG * (x1 - x0), x1 - x0 > LONG * (y1 - y0)
    wide = 2 * radius * paper.scale
    size = min(11.0, max(5.5, wide * (1.2 if upright or lying else 0.75 / len(text) ** 0.5)))
    across = DIGIT * size * len(text) <= wide
    paper.label(x, y, text, size, bold=True, turn_deg=-90.0 if upright and not across else 0.0)


DIGIT = 0.7
"""How wide a bold digit is, of its size."""


def _trim_lines(paper: Canvas, trims: Sequence[Trim]) -> None:
    for trim in trims:
        paper.line(trim.from_mm, trim.to_mm, look.TRIM_LINE)
        paper.badge(*paper.at(*_trim_spot(trim)), f"{trim.order}", corners=4)


def _trim_spot(trim: Trim) -> Point:
    (ax, ay), (bx, by) = trim.from_mm, trim.to_mm
    return ax + 0.8 * (bx - ax), ay + 0.8 * (by - ay)


def leftover_picture(plan: Plan, sheet: PlannedSheet) -> Picture:
    """What goes back on the rack, with its largest usable rectangle; what is scrap."""
    shape = states.sheet_shape(sheet)
    paper = Canvas(shape.bounds, bottom=8)
    paper.shape(shape, look.THIN)
    _faint_pieces(paper, plan, sheet)
    kept = [left for left in sheet.leftovers if left.keep]
    for left in sheet.leftovers:
        part = Polygon(left.outline_mm, left.holes_mm)
        paper.shape(part, look.EDGE, look.NOW_FILL if left.keep else look.SHADE)
        if not left.keep:
            paper.hatch(part)
    for number, left in enumerate(kept, start=1):
        x0, y0, x1, y1 = left.usable_mm
        paper.rect(left.usable_mm, look.FRAME_LINE)
        x, y = paper.at((x0 + x1) / 2, (y0 + y1) / 2)
        if (y1 - y0) * paper.scale < FLAT:  # a flat one has its number beside its size
            paper.label((x0 + x1) / 2, (y0 + y1) / 2, _size_words(left.usable_mm))
            paper.badge(x - 70, y, f"{number}")
        else:
            paper.label((x0 + x1) / 2, (y0 + y1) / 2, _size_words(left.usable_mm), dy=12)
            paper.badge(x, y - 8, f"{number}")
    legend = (("back on the rack", look.NOW_FILL), ("scrap", look.SHADE), ("largest usable rectangle", look.FRAME_LINE))
    return paper.finish(f"Leftovers of sheet {words.plain(sheet.id)}: {counted(len(kept), 'part')} to keep", legend)


FLAT = 40.0
"""Paper units: a rectangle lower than this does not hold its number above its size."""


def _faint_pieces(paper: Canvas, plan: Plan, sheet: PlannedSheet) -> None:
    for one in states.laid(plan, sheet).values():
        paper.chains(one.rings, True, look.THIN)


def contact_picture(plan: Plan) -> Picture:
    """Every sheet of the plan, to one scale, each with its name below."""
    boxes = [states.sheet_shape(sheet).bounds for sheet in plan.sheets]
    sizes = [(x1 - x0, y1 - y0) for x0, y0, x1, y1 in boxes]
    corners, total = _in_rows(sizes)
    paper = Canvas((0.0, -total[1], total[0], 0.0), bottom=24, top=8)
    for sheet, (x0, y0, x1, _), (x, y) in zip(plan.sheets, boxes, corners, strict=True):
        paper.origin = (x - x0, y - y0)
        paper.shape(states.sheet_shape(sheet), look.EDGE, look.SHEET)
        for one in states.laid(plan, sheet).values():
            paper.chains(one.rings, True, look.THIN, look.NOW_FILL)
        below_x, below_y = paper.at((x0 + x1) / 2, y0)
        paper.words(below_x, below_y + 11, words.plain(sheet.id, 12), 9.0, bold=True)
    return paper.finish(f"All {counted(len(plan.sheets), 'sheet')} of the plan, to one scale")


def pieces_picture(items: Sequence[Sequence[Piece]]) -> Picture:
    """The pieces of each item, letters as the wording is set, others side by side; all to one scale, without a word of
    how they are laid out."""
    groups = [_group(item[:MOST_SHAPES]) for item in items if item]
    corners, total = _in_rows([size for _, size in groups])
    paper = Canvas((0.0, -total[1], total[0], 0.0), bottom=12, top=8, deepest=200)
    for (spots, _), (x, y) in zip(groups, corners, strict=True):
        for piece, (left, below) in spots:
            paper.origin = (x + left, y + below)
            paper.chains((*piece.holes, piece.outline), True, look.EDGE, look.NOW_FILL)
            paper.chains(piece.marks, False, look.MARK_LINE)
    return paper.finish(f"{counted(sum(len(spots) for spots, _ in groups), 'piece')}, to one scale")


def _group(pieces: Sequence[Piece]) -> tuple[list[tuple[Piece, Point]], Point]:
    """Where each piece's own origin goes, from the lower left corner of them all; and the size of them all."""
    boxes = [curves.bounds([piece.outline]) for piece in pieces]
    at = [piece.at_mm for piece in pieces]
    if not any(map(any, at)):
        gap = 0.1 * max(y1 - y0 for _, y0, _, y1 in boxes)
        steps = itertools.accumulate((x1 - x0 + gap for x0, _, x1, _ in boxes), initial=0.0)
        at = [(x - x0, -y0) for x, (x0, y0, _, _) in zip(steps, boxes, strict=False)]
    placed = list(zip(at, boxes, strict=True))
    left, low = (min(place[axis] + box[axis] for place, box in placed) for axis in (0, 1))
    right, high = (max(place[axis] + box[axis + 2] for place, box in placed) for axis in (0, 1))
    spots = [(piece, (x - left, y - low)) for piece, (x, y) in zip(pieces, at, strict=True)]
    return spots, (right - left, high - low)


MOST_SHAPES = 60
"""Of one item."""


def _in_rows(sizes: Sequence[Point]) -> tuple[list[Point], Point]:
    """Lower left corners of boxes set in rows from the top left, y below 0; and the size of the whole."""
    widest = max(width for width, _ in sizes)
    across = max(widest, 1.3 * sum(width * height for width, height in sizes) ** 0.5)
    gap = 0.07 * across
    corners: list[Point] = []
    x = y = row = furthest = 0.0
    for width, height in sizes:
        if x > 0 and x + width > across:
            x, y, row = 0.0, y + row + gap, 0.0
        corners.append((x, -y - height))
        row, furthest = max(row, height), max(furthest, x + width)
        x += width + gap
    return corners, (furthest, y + row)


# ── trims ────────────────────────────────────────────────────────────────────────────────────────────────────


def trim_picture(sheet: PlannedSheet, trim: Trim) -> Picture:
    """The part that this trim cuts in two, the cut with its measure, what is already off."""
    whole = states.sheet_shape(sheet)
    paper = Canvas(whole.bounds, left=36, bottom=36, top=36, right=36)
    parts = states.parts_before(sheet, trim)
    part = states.part_cut(parts, trim)
    for other in parts:
        if other is not part:
            paper.shape(other, look.BEFORE_LINE)
    paper.shape(part, look.EDGE, look.SHEET)
    _blanks(paper, sheet, part)
    paper.line(trim.from_mm, trim.to_mm, look.TRIM_LINE)
    _trim_measures(paper, part.bounds, trim)
    _uncut_ends(paper, trim)
    legend = [("the cut", look.TRIM_LINE), ("blank to keep", look.FRAME_LINE)]
    legend += [("already off", look.BEFORE_LINE)] if len(parts) > 1 else []
    return paper.finish(
        f"Trim cut {trim.order} of sheet {words.plain(sheet.id)}: {words.plain(trim.measure, 200)}", legend
    )


def _blanks(paper: Canvas, sheet: PlannedSheet, part: Polygon) -> None:
    for blank in sheet.blanks:
        x0, y0, x1, y1 = blank.rect_mm
        if part.intersection(shapely.box(*blank.rect_mm)).area > 0:
            paper.rect(blank.rect_mm, look.FRAME_LINE)
            paper.label((x0 + x1) / 2, (y0 + y1) / 2, f"blank {words.plain(blank.id, 12)}")


def _trim_measures(paper: Canvas, bounds: Rect, trim: Trim) -> None:
    """Both measures of a cut square to the sheet: of the part before it, and of what the tool leaves beyond it."""
    x0, y0, x1, y1 = bounds
    (ax, ay), (kx, ky) = trim.from_mm, states.far_side(trim)
    if kx or abs(ax - trim.to_mm[0]) < abs(ay - trim.to_mm[1]):
        paper.measure((x0, y0), (ax, y0), words.mm(ax - x0))
        paper.measure((ax + kx, y0), (x1, y0), words.mm(x1 - ax - kx))
    else:
        paper.measure((x0, ay), (x0, y0), words.mm(ay - y0))
        paper.measure((x0, y1), (x0, ay + ky), words.mm(y1 - ay - ky))


def _uncut_ends(paper: Canvas, trim: Trim) -> None:
    """A ring round each end that the machine leaves uncut, with its length."""
    for end, uncut in zip((trim.from_mm, trim.to_mm), trim.uncut_ends_mm, strict=True):
        if uncut > 0:
            x, y = paper.at(*end)
            inwards = 14.0 if y < paper.height / 2 else -8.0
            paper.ring(x, y, 6.0)
            paper.words(x - 9, y + inwards, f"snap {words.mm(uncut)} mm", 9.0, "end", bold=True)


# ── the bed ──────────────────────────────────────────────────────────────────────────────────────────────────


def pass_picture(plan: Plan, sheet: PlannedSheet, run: Pass, cuts: states.Cuts, checks: Sequence[Point]) -> Picture:
    """The bed as the person sees it: what is cut now, what was before, what comes later, joins and marks."""
    shape = states.bed_shape(states.blank_shape(sheet, states.blank_of(sheet, run)), run)
    paper = _bed(plan.machine, [shape])
    paper.shape(shape, look.EDGE, look.SHEET)
    pieces = [one for one in states.laid(plan, sheet).values() if one.blank == run.blank]
    _fills(paper, sheet, run, pieces)
    for order, found in sorted(cuts.items(), reverse=True):
        for cut in found:
            paper.chains([to_bed(run, cut.stretch.vertices)], cut.stretch.closed, _stroke(cut, order - run.order))
    _travel(paper, plan.machine)
    if run.frame_mm:
        paper.rect(run.frame_mm, look.FRAME_LINE)
    solids = [states.bed_shape(one.solid, run) for one in pieces]
    pins = (*checks, *(mark.bed_mm for mark in run.lineup), *(join.bed_mm for join in run.joins))
    named = [*(_room(paper, pin, PIN_ROOM) for pin in pins), *(_room(paper, _tag_spot(solid)) for solid in solids)]
    _edge_letters(paper, shape, run.turn_deg, solids, named, flipped=run.flipped)
    tags = rows.numbers(plan)
    for one, solid in zip(pieces, solids, strict=True):
        _tag(paper, solid, str(tags[one.piece.id]))
    _pins(paper, run, checks, [paper.at(*_tag_spot(solid)) for solid in solids])
    if run.flipped:
        x0, y0, x1, y1 = shape.bounds
        paper.label(x0 + 0.75 * (x1 - x0), y0 + 0.25 * (y1 - y0), "face down", bold=True)
    title = f"Pass {run.order} of blank {words.plain(run.blank)}, seen from the front of the machine"
    marked = any(cut.kind == "mark" for cut in cuts[run.order])
    return paper.finish(title, (*LEGEND_PASS, ("marked, not cut", look.MARK_LINE)) if marked else LEGEND_PASS)


PIN_ROOM = 22.0
"""Paper units that a mark, a join or a point on the edge takes up with its name."""


def _stroke(cut: Cut, passes_ahead: int) -> look.Stroke:
    if passes_ahead == 0:
        return look.MARK_LINE if cut.kind == "mark" else look.NOW_LINE
    return look.BEFORE_LINE if passes_ahead < 0 else look.LATER_LINE


def _bed(machine: Machine, shapes: Sequence[BaseGeometry]) -> Canvas:
    """Table, back wall or opening, the person's place; room for all that lies on it or hangs over."""
    table = machine.table_rect
    # Room for the arrows of the datum beyond the corner it lies in.
    top, right = (42 if "back" in machine.datum else 22), (48 if "right" in machine.datum else 30)
    paper = Canvas(union([table, *(shape.bounds for shape in shapes)]), top=top, bottom=30, left=30, right=right)
    paper.rect(table, look.THIN, look.PAPER)
    middle = (machine.travel_rect[0] + machine.travel_rect[2]) / 2
    back_x, back_y = paper.at(middle, paper.world[3])
    if machine.open_back:
        paper.words(back_x, back_y - 6, "open back", 8.5, colour=look.MUTED)
    else:
        paper.line((table[0], table[3]), (table[2], table[3]), look.Stroke(3.0, look.INK))
        paper.words(back_x, back_y - 6, "back wall", 8.5, colour=look.MUTED)
    front_x, front_y = paper.at(middle, paper.world[1])
    paper.standing(front_x, front_y + 12, "you stand here")
    return paper


def _travel(paper: Canvas, machine: Machine) -> None:
    """The rectangle the head reaches, and its datum corner."""
    paper.rect(machine.travel_rect, look.TRAVEL_LINE)
    x, y = paper.at(0.0, 0.0)
    paper.datum(x, y)


def _fills(paper: Canvas, sheet: PlannedSheet, run: Pass, pieces: Sequence[Laid]) -> None:
    """Pieces cut whole in this pass are tinted; those that are out by now are shaded."""
    for one in pieces:
        last = max((other.order for other in states.passes_of(sheet, one.piece.id)), default=run.order)
        rings = [to_bed(run, ring) for ring in one.rings]
        if one.piece.id in run.whole:
            paper.chains(rings, True, None, look.NOW_FILL)
        elif last < run.order:
            paper.chains(rings, True, None, look.SHADE)


def _edge_letters(
    paper: Canvas,
    blank: BaseGeometry,
    turn_deg: int,
    pieces: Iterable[BaseGeometry] = (),
    named: Iterable[BaseGeometry] = (),
    radius: float = 6.0,
    flipped: bool = False,
) -> list[BaseGeometry]:
    """The letters of a blank's edges, just inside them: on the material, off what has a name of its own, and clear of
    the pieces where there is room. Returns where they stand, for the next to keep off."""
    x0, y0, x1, y1 = blank.bounds
    inset = (radius + 2.0) / paper.scale
    taken, places = shapely.union_all(list(pieces)), list(named)
    for side in SIDES:
        spots = []
        kept_off = shapely.union_all(places)
        for share in EDGE_SHARES:
            x, y = x0 + share * (x1 - x0), y0 + share * (y1 - y0)
            across = {
                "front": (x, y0 + inset),
                "back": (x, y1 - inset),
                "left": (x0 + inset, y),
                "right": (x1 - inset, y),
            }
            plate = shapely.Point(across[side]).buffer(radius / paper.scale)
            worse = plate.difference(blank), plate.intersection(kept_off), plate.intersection(taken)
            spots.append((tuple(round(part.area) for part in worse), across[side]))
        _, (x, y) = min(spots, key=lambda spot: spot[0])
        paper.plate(x, y, edge_at(side, turn_deg, flipped), radius)
        places.append(shapely.Point(x, y).buffer(radius / paper.scale, cap_style="square"))
    return places


EDGE_SHARES = (0.25, 0.75, 0.5, *(i / 20 for i in range(2, 19)))


def _pins(paper: Canvas, run: Pass | None, checks: Sequence[Point], numbers: Sequence[Point] = ()) -> None:
    """Points on the edge, line-up marks and joins; then their names, each clear of the other points and of the pieces'
    numbers, as far as may be."""
    marks, joins = (run.lineup, run.joins) if run else ((), ())
    edges = {f"E{number}": paper.at(*point) for number, point in enumerate(checks, start=1)}
    found = {f"L{mark.number}": paper.at(*mark.bed_mm) for mark in marks}
    shared = {f"J{join.number}": paper.at(*join.bed_mm) for join in joins}
    for at in edges.values():
        paper.ring(*at, 3.5)
    for at in found.values():
        paper.cross(*at)
    for at in shared.values():
        paper.ring(*at, 2.5)
    x, y = paper.at(0.0, 0.0)
    taken = [*edges.values(), *found.values(), *shared.values(), (x, y), (x - 9, y + 11), (x + 15, y + 9), *numbers]
    for name, at in {**edges, **found}.items():
        x, y = _free_spot(at, NAME_SPOTS, taken, paper)
        paper.words(x, y + 3.2, name, 9.0, bold=True)
        taken.append((x, y))
    for name, at in shared.items():
        x, y = _free_spot(at, JOIN_SPOTS, taken, paper)
        paper.badge(x, y, name, corners=4, radius=9.0)
        taken.append((x, y))


NAME_SPOTS = ((13.0, -9.0), (-13.0, -9.0), (13.0, 9.0), (-13.0, 9.0))
JOIN_SPOTS = ((0.0, 15.0), (0.0, -15.0), (15.0, 0.0), (-15.0, 0.0))
NAME_ROOM = 16.0
"""Paper units: names so far from other points cannot be taken for theirs."""


def _free_spot(at: Point, spots: Sequence[Point], taken: Sequence[Point], paper: Canvas) -> Point:
    """Beside a point: the first place that is clear of all others and on the drawing, else the clearest."""

    def clear(spot: Point) -> float:
        x0, y0, x1, y1 = paper.world
        (left, low), (right, high) = paper.at(x0, y0), paper.at(x1, y1)
        inside = left < spot[0] < right and high < spot[1] < low
        others = (math.dist(spot, other) for other in taken if other != at)
        return min([NAME_ROOM, *others]) if inside else -1.0

    return max(((at[0] + dx, at[1] + dy) for dx, dy in spots), key=clear)


def trim_bed_picture(plan: Plan, sheet: PlannedSheet, trim: Trim, checks: Sequence[Point]) -> Picture:
    """A trim made on the machine: how the part lies on the bed."""
    part = states.part_cut(states.parts_before(sheet, trim), trim)
    shape = states.bed_shape(part, trim)
    paper = _bed(plan.machine, [shape])
    paper.shape(shape, look.EDGE, look.SHEET)
    _travel(paper, plan.machine)
    paper.shape(states.bed_shape(LineString([trim.from_mm, trim.to_mm]), trim), look.TRIM_LINE)
    for blank in sheet.blanks:
        if part.intersection(shapely.box(*blank.rect_mm)).area > 0:
            lying = states.bed_shape(shapely.box(*blank.rect_mm), trim)
            paper.shape(lying, look.FRAME_LINE)
            _edge_letters(paper, lying, trim.turn_deg, named=[_room(paper, point, PIN_ROOM) for point in checks])
    _pins(paper, None, checks)
    legend = (("the cut", look.TRIM_LINE), ("reach of the head", look.TRAVEL_LINE), ("blank to keep", look.FRAME_LINE))
    return paper.finish(f"Trim cut {trim.order} on the bed, seen from the front of the machine", legend)


def turn_picture(plan: Plan, sheet: PlannedSheet, before: Pass, after: Pass) -> Picture:
    """Two small beds side by side, before and after the turn: which edge goes where."""
    shape = states.blank_shape(sheet, states.blank_of(sheet, after))
    lying = [states.bed_shape(shape, before), states.bed_shape(shape, after)]
    (left, front, right, _), wall = plan.machine.travel_rect, plan.machine.table_rect[3]
    table = (left, front, right, wall)
    x0, y0, x1, y1 = union([table, *(part.bounds for part in lying)])
    step = (x1 - x0) * 1.22
    paper = Canvas((x0, y0, x1 + step, y1), top=34, bottom=30)
    then = "after the slide" if after.turn_before == "shift" else "after the turn"
    for i, (run, part, title) in enumerate(zip((before, after), lying, ("now", then), strict=True)):
        paper.origin = (i * step, 0.0)
        _small_bed(paper, plan, sheet, run, part)
        x, _ = paper.at((x0 + x1) / 2, y1)
        paper.words(x, 14, title, 10.0, bold=True)
        paper.standing(x, paper.height - 18, "you")
    paper.origin = (0.0, 0.0)
    x, y = paper.at((x1 + x0 + step) / 2, (y0 + y1) / 2)
    paper.arrow(x - 12, y, x + 12, y)
    paper.words(
        x, y - 8, {"half": "180°", "quarter": "90°", "flip": "over"}.get(after.turn_before, "slide"), 9.0, bold=True
    )
    return paper.finish(words.turn_words(before, after))


def _small_bed(paper: Canvas, plan: Plan, sheet: PlannedSheet, run: Pass, shape: BaseGeometry) -> None:
    """Back wall, travel, and the blank with its pieces and its lettered edges."""
    left, _, right, _ = plan.machine.travel_rect
    paper.shape(shape, look.EDGE, look.SHEET)
    for one in states.laid(plan, sheet).values():
        if one.blank == run.blank:
            paper.chains([to_bed(run, ring) for ring in one.rings], True, look.THIN)
    paper.rect(plan.machine.travel_rect, look.TRAVEL_LINE)
    if not plan.machine.open_back:
        wall = plan.machine.table_rect[3]
        paper.line((left, wall), (right, wall), look.Stroke(3.0, look.INK))
    _edge_letters(paper, shape, run.turn_deg, radius=8.0, flipped=run.flipped)
