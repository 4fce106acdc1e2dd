"""How the parts of a split piece go together: a step of the work pack for each shape, with its picture.

In: a Plan. Out: `Step`s. A piece is drawn as seen from its face, its segments where they belong in it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from shapely.geometry import Polygon

from cli.documents import canvas as look
from cli.documents import rows, words
from cli.documents.canvas import Canvas, Picture
from cli.documents.rows import Column, Table
from cli.documents.step import Step
from cli.documents.words import mm, plain
from nesting import curves
from nesting.model import Piece, Plan, Point, Ring, Seat, Split
from nesting.phrases import counted, listed

MOST_STEPS = 30
"""Shapes that get a page of their own; the table of joints has all of them."""


def assembly_steps(plan: Plan) -> Iterator[Step]:
    """One for each shape that was split; its copies go together alike."""
    alike: dict[tuple[object, ...], list[Split]] = {}
    for split in plan.splits:
        parent, places = split.parent, tuple((seat.x_mm, seat.y_mm, seat.turn_deg) for seat in split.seats)
        # The same shape may be split elsewhere, or joined another way, where another piece is asked for.
        alike.setdefault((parent.outline, parent.holes, parent.stock, split.joint, places), []).append(split)
    for splits in list(alike.values())[:MOST_STEPS]:
        yield _step(plan, splits)


def _step(plan: Plan, splits: list[Split]) -> Step:
    split = splits[0]
    parent = split.parent
    joints = _ends(plan, split)
    x0, y0, x1, y1 = curves.bounds([parent.outline])
    return Step(
        key=f"assembly-{plain(parent.id)}",
        kind="Join",
        title=f"Join {plain(parent.name)}" + (f", {len(splits)} times" if len(splits) > 1 else ""),
        lead=(
            f"{words.size(x1 - x0, y1 - y0)}, of {counted(len(split.seats), 'segment')} by "
            f"{counted(len(joints), 'joint')}, seen from its face. {FORMS[split.joint]}"
        ),
        todo=tuple(_todo(split)),
        figures=(assembly_picture(plan, split),),
        tables=(_table(plan, splits),),
        notes=tuple(_notes(split)),
        cautions=tuple(_cautions(plan, parent)),
    )


FORMS = {
    "butt": "Plain edges meet.",
    "keyed": "Edges interlock: lift one segment over the other and press it down; they cannot be slid together.",
    "strap": "Plain edges meet; a strap laps each joint from behind.",
}


def _todo(split: Split) -> Iterator[str]:
    yield "As each segment comes off the bed, write its number on the film, and each joint's label beside its edge."
    yield "Lay the segments out as pictured: edges with one label meet."
    yield "Fit them dry: no visible gap, faces level, outlines running through from one to the next."
    if split.joint == "keyed":
        eased = "A tongue that binds is eased with a fine file on the socket's side"
        yield f"{eased}; {split.clearance_mm:g} mm are allowed for."
    if split.straps:
        yield "Lay it face down on a flat, clean board, join it, and set the straps where the picture dashes them."
    yield "Let it set lying flat, for as long as the cement's data sheet says, before it is lifted."


def _notes(split: Split) -> Iterator[str]:
    yield f"Fewer than {counted(split.at_least, 'segment')} are impossible: {plain(split.why, 300)}."
    if split.gap_mm:
        yield f"Fixed in their middles, segments need {mm(split.gap_mm)} mm of gap at each joint, to grow into."
    if split.straps:
        yield "Straps: 30 to 50 mm wide, 5 mm back from what is seen (common practice); dark joints want opaque ones."


def _cautions(plan: Plan, parent: Piece) -> Iterator[str]:
    if plan.machine.kind == "laser" and "acrylic" in parent.material.casefold():
        yield (
            "Solvent cement crazes laser-cut acrylic: anneal it first, or take a gap-filling cement. Its maker's data "
            "sheet comes before this page."
        )
    yield "Cements give off fumes and burn: air, gloves, no flame. Local rules come before this page."


def _table(plan: Plan, splits: list[Split]) -> Table:
    tags = rows.numbers(plan)
    columns = (Column("joint"), Column("pieces that meet"), Column("length", "mm", 1))
    table = []
    for split in splits:
        for label, (a, b, names) in _ends(plan, split).items():
            table.append((plain(label), listed([str(tags[name]) for name in names]), math.dist(a, b)))
    return rows.rounded("segment_joints", "Joints", columns, tuple(table))


def _ends(plan: Plan, split: Split) -> dict[str, tuple[Point, Point, list[str]]]:
    """For each joint its ends in the parent's frame, and the segments that meet there."""
    found: dict[str, tuple[Point, Point, list[str]]] = {}
    for piece, seat in _seated(plan, split.seats):
        for joint in piece.joints:
            a, b = _moved(((*joint.start_mm, 0.0), (*joint.end_mm, 0.0)), seat)
            found.setdefault(joint.label, (a[:2], b[:2], []))[2].append(piece.id)
    return dict(sorted(found.items(), key=lambda one: (len(one[0]), one[0])))


def _seated(plan: Plan, seats: tuple[Seat, ...]) -> list[tuple[Piece, Seat]]:
    pieces = {piece.id: piece for piece in plan.pieces}
    return [(pieces[seat.piece], seat) for seat in seats if seat.piece in pieces]


def _moved(ring: Ring, seat: Seat) -> Ring:
    return curves.moved(ring, seat.x_mm, seat.y_mm, seat.turn_deg)


def assembly_picture(plan: Plan, split: Split) -> Picture:
    """The parent with its segments numbered, its joints labelled, its straps dashed."""
    tags = rows.numbers(plan)
    paper = Canvas(curves.bounds([split.parent.outline]), left=24, right=24, top=22, bottom=30)
    seated = _seated(plan, split.seats)
    for i, (piece, seat) in enumerate(seated):
        rings = [_moved(ring, seat) for ring in (piece.outline, *piece.holes)]
        paper.chains(rings, True, look.EDGE, look.NOW_FILL if i % 2 else look.SHEET)
    for piece, seat in _seated(plan, split.straps):
        paper.chains([_moved(piece.outline, seat)], True, look.LATER_LINE)
    joints = _ends(plan, split)
    for a, b, _ in joints.values():
        if split.joint != "keyed":
            paper.line(a, b, look.NOW_LINE)
    for label, (a, b, _) in joints.items():
        _flag(paper, a, b, label.rsplit("/", 1)[-1])
    for piece, seat in seated:
        solid = Polygon(curves.flattened(_moved(piece.outline, seat)))
        spot = solid.centroid if solid.contains(solid.centroid) else solid.representative_point()
        paper.badge(*paper.at(spot.x, spot.y), str(tags[piece.id]), radius=9.0)
    for x, y in split.parent.fixings:
        paper.ring(*paper.at(x, y), 2.5)
    legend = [("joint, with its label", look.NOW_LINE)]
    legend += [("strap, behind", look.LATER_LINE)] if split.straps else []
    title = f"{plain(split.parent.name)}: {counted(len(seated), 'segment')}, {counted(len(joints), 'joint')}"
    return paper.finish(title, legend)


LONG = 70.0
"""Paper units: a joint longer than this has its label upon it, a shorter one beside its end."""


def _flag(paper: Canvas, a: Point, b: Point, text: str) -> None:
    (ax, ay), (bx, by) = paper.at(*a), paper.at(*b)
    long = math.dist((ax, ay), (bx, by)) or 1.0
    share = 0.4 if long > LONG else 1.0 + 12.0 / long
    x, y = ax + share * (bx - ax), ay + share * (by - ay)
    paper.badge(min(max(x, 9.0), paper.width - 9.0), y, text, corners=4, radius=8.0)
