"""Splitting: an oversize piece into the fewest segments that fit, joints where they do least harm.

In: Pieces that may be split, and the rooms (length, width) that a segment may fill. Out: segments, each a Piece with
its parent and labelled joint edges, and why fewer are impossible. Pure.
Method: candidate joints part the piece into cells; sets of cells that fit are chosen by OR-Tools CP-SAT; the numbers
(S1) to (S7) are those of docs/model.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import shapely

from nesting import curves
from nesting.faults import ReachFault
from nesting.model import Chain, Joint, Piece, Point, Seat, Split
from nesting.solving import NoAnswer
from nesting.splitting.bound import Least, least_segments
from nesting.splitting.cells import Cells, Edge
from nesting.splitting.choose import Choice, Fewest, fewest, least_harm
from nesting.splitting.chords import CLEAR_MM
from nesting.splitting.columns import Column
from nesting.splitting.marks import shared_out
from nesting.splitting.parts import Part, Seam, parts_of
from nesting.splitting.proposals import HEIGHTS_MM, Proposal, Question, area_of, fitting_of, long_axis_deg, proposals
from nesting.splitting.straps import straps
from nesting.splitting.symmetry import Axis, mirror_axis
from nesting.splitting.tongues import laid_along, tongue_for

__all__ = ["Question", "Splitting", "split_all"]


@dataclass(frozen=True, slots=True)
class Splitting:
    """A piece's segments and where they belong in it; or the piece itself, and no split."""

    segments: tuple[Piece, ...]
    split: Split | None = None


@dataclass(frozen=True, slots=True)
class _Answer:
    proposal: Proposal
    choice: Choice
    count: Fewest


def fits_whole(question: Question) -> bool:
    """Whether the piece fits one of its rooms as it is, or may not be split."""
    if question.piece.one_piece:
        return True
    fitting = fitting_of(question)
    x0, y0, x1, y1 = curves.bounds([question.piece.outline])
    if any(x1 - x0 <= x + 1e-3 and y1 - y0 <= y + 1e-3 for x, y in fitting.rooms):
        return True
    return fitting.angle(fitting.spread(shapely.get_coordinates(area_of(question.piece)))) is not None


def split_all(questions: Sequence[Question]) -> list[Splitting]:
    """Each piece's segments, or the piece itself where it fits as it is. Raises ReachFault if one cannot be split.

    Pieces of one shape are split alike; neighbours (`joints_aligned`) at once, their joints at common heights.
    """
    groups: dict[object, dict[Question, _Answer]] = {}
    for question in questions:
        if not fits_whole(question):
            kind = _kind(question)
            groups.setdefault(question.piece.joints_aligned or kind, {})[kind] = _answer(question)
    chosen: dict[Question, tuple[_Answer, tuple[Column, ...]]] = {}
    for answers in groups.values():
        found = least_harm([one.choice for one in answers.values()], [one.count for one in answers.values()])
        chosen |= {kind: (answers[kind], columns) for kind, columns in zip(answers, found, strict=True)}
    return [
        _splitting(question, *chosen[_kind(question)]) if _kind(question) in chosen else _whole(question)
        for question in questions
    ]


def _kind(question: Question) -> Question:
    """The same for all pieces of one shape."""
    return replace(question, piece=replace(question.piece, id="", name="", copy=1, marks=()))


def _whole(question: Question) -> Splitting:
    return Splitting((question.piece,))


def _answer(question: Question) -> _Answer:
    """The first way across strokes that makes up the piece; else the grid with the fewest segments.

    Raises ReachFault where none does.
    """
    axis = mirror_axis(question.piece)
    grids: list[_Answer] = []
    for proposal in proposals(question, axis):
        choice = _choice(question, proposal, axis)
        try:
            answer = _Answer(proposal, choice, fewest(choice))
        except NoAnswer:
            continue
        if proposal.across_strokes:
            return answer
        grids.append(answer)
    if not grids:
        raise _impossible(question)
    return min(grids, key=lambda answer: answer.count.segments)


def _impossible(question: Question) -> ReachFault:
    piece = question.piece
    x0, y0, x1, y1 = curves.bounds([piece.outline])
    longest = max((max(room) for room in question.rooms), default=0.0)
    room = max(question.rooms, key=min, default=(0.0, 0.0))
    return ReachFault(
        f"{piece.name} is {x1 - x0:.1f} x {y1 - y0:.1f} mm: no joints at least {CLEAR_MM:g} mm off holes and fixings "
        f"give segments that fit {room[0]:g} x {room[1]:g} mm (the longest side there is is {longest:g} mm)",
        mend="move its holes or fixings, put larger sheets on offer, or use a machine with more reach",
    )


def _choice(question: Question, proposal: Proposal, axis: Axis | None) -> Choice:
    cells, columns = proposal.cells, proposal.columns
    heights = {}
    if question.piece.joints_aligned:
        base = -question.piece.at_mm[1]
        for number, edge in enumerate(cells.edges):
            chord = cells.chords[edge.chord]
            place = (chord.a[1] - base) / HEIGHTS_MM
            if chord.angle_deg == 0.0 and abs(place - round(place)) < 1e-6:
                heights[number] = round(place)
    area = curves.area(question.piece)
    stroke = 2 * area / curves.length(question.piece.outline, closed=True)
    return Choice(len(cells.faces), area, stroke, columns, _twins(cells, columns, axis), heights)


def _twins(cells: Cells, columns: Sequence[Column], axis: Axis | None) -> dict[int, int]:
    """For each column the number of its mirror image."""
    if axis is None:
        return {}
    points = [face.representative_point() for face in cells.faces]
    images = [cells.containing(axis.mirrored((point.x, point.y))) for point in points]
    numbers = {column.cells: number for number, column in enumerate(columns)}
    twins = {}
    for number, column in enumerate(columns):
        twin = numbers.get(frozenset(image for cell in column.cells if (image := images[cell]) is not None))
        if twin is not None and len(columns[twin].cells) == len(column.cells):
            twins[number] = twin
    return {number: twin for number, twin in twins.items() if twins.get(twin) == number}


# ── from columns to segments ─────────────────────────────────────────────────────────────────────────────────


def _splitting(question: Question, answer: _Answer, columns: Sequence[Column]) -> Splitting:
    piece = question.piece
    least = least_segments(area_of(piece), fitting_of(question), question.may_turn)
    seams = _seams(question, answer.proposal.cells, columns)
    parts = parts_of(piece.outline, piece.holes, seams)
    pairs = sorted(
        ((part, _column_of(part, answer.proposal.cells, columns)) for part in parts),
        key=lambda pair: _order(piece, pair[0]),
    )
    shares = shared_out(piece, seams, [part for part, _ in pairs])
    placed = [
        _segment(
            replace(piece, marks=tuple(marks), fixings=tuple(fixings)),
            part,
            number,
            seams,
            column.angle_deg if question.may_turn else 0.0,
        )
        for number, ((part, column), (marks, fixings)) in enumerate(zip(pairs, shares, strict=True), start=1)
    ]
    backing = straps(piece, [(seam.a, seam.b) for seam in seams]) if piece.joint == "strap" else []
    split = Split(
        piece,
        tuple(seat for _, seat in placed),
        least.segments,
        _why(least, answer, len(placed)),
        piece.joint,
        question.clearance_mm if piece.joint == "keyed" else 0.0,
        tuple(strap.seat for strap in backing),
    )
    return Splitting((*(segment for segment, _ in placed), *(strap.piece for strap in backing)), split)


def _why(least: Least, answer: _Answer, found: int) -> str:
    """Why not fewer: by the bound, or as far as the joints tried tell."""
    if least.segments >= found:
        return least.why
    chords = len(answer.proposal.cells.chords)
    tried = "give no fewer" if answer.count.proven else "gave no fewer within the effort"
    return f"{least.why}; the {chords} joints tried {tried} than {found}"


def _order(piece: Piece, part: Part) -> Point:
    """Along the piece's long axis, then across."""
    centre = curves.polygon(part.outline).centroid
    ((x, y, _),) = curves.moved([(centre.x, centre.y, 0.0)], 0, 0, -long_axis_deg(piece))
    return round(x), round(y)


def _column_of(part: Part, cells: Cells, columns: Sequence[Column]) -> Column:
    solid = curves.polygon(part.outline, part.holes)
    return max(columns, key=lambda column: sum(solid.intersection(cells.faces[cell]).area for cell in column.cells))


def _seams(question: Question, cells: Cells, columns: Sequence[Column]) -> list[Seam]:
    """The cut edges, those of one chord together as long as no other joint ends between them."""
    cut = sorted({edge for column in columns for edge in column.edges})
    runs: list[list[int]] = []
    for number in cut:
        edge = cells.edges[number]
        before = cells.edges[runs[-1][-1]] if runs else None
        goes_on = before is not None and before.chord == edge.chord and before.end == edge.start
        if goes_on and not _met(cells, cut, edge.chord, cells.ends(edge)[0]):
            runs[-1].append(number)
        else:
            runs.append([number])
    ends = [(cells.edges[run[0]], cells.edges[run[-1]]) for run in runs]
    drawn = [_seam(cells, first, last, question) for first, last in ends]
    piece = question.piece
    angle = long_axis_deg(piece)
    drawn.sort(key=lambda seam: _along(((seam.a[0] + seam.b[0]) / 2, (seam.a[1] + seam.b[1]) / 2), angle))
    return [replace(seam, label=f"{piece.id}/{number}") for number, seam in enumerate(drawn, start=1)]


def _along(point: Point, angle: float) -> Point:
    ((x, y, _),) = curves.moved([(*point, 0.0)], 0, 0, -angle)
    return round(x, 3), round(y, 3)


def _met(cells: Cells, cut: Sequence[int], chord: int, point: Point) -> bool:
    """Whether a joint along another chord ends at, or crosses, a point."""
    others = (cells.edges[number] for number in cut if cells.edges[number].chord != chord)
    return any(math.dist(end, point) < 1e-6 for edge in others for end in cells.ends(edge))


def _seam(cells: Cells, first: Edge, last: Edge, question: Question) -> Seam:
    chord = cells.chords[first.chord]
    start, end = first.start, last.end
    a, b = chord.at(start), chord.at(end)
    line: Chain = ((*a, 0.0), (*b, 0.0))
    ends = (chord.start if start == 0.0 else None, chord.end if end == 1.0 else None)
    tongue = tongue_for(chord.length * (end - start), question.piece.thickness_mm)
    if question.piece.joint != "keyed" or tongue is None:
        return Seam("", a, b, line, line, ends)
    # The tongue reaches to the left: it is the right part's.
    socket, length = tongue.widened(question.clearance_mm), math.dist(a, b)
    return Seam("", a, b, laid_along(socket.edge(length), a, b), laid_along(tongue.edge(length), a, b), ends)


def _segment(piece: Piece, part: Part, number: int, seams: Sequence[Seam], angle: float) -> tuple[Piece, Seat]:
    """A part as a piece of its own, laid straight, its bounds at the origin; and its seat.

    Of the piece, marks and fixings are those of the part.
    """

    def turned(ring: Chain) -> Chain:
        return curves.moved(ring, 0.0, 0.0, -angle)

    x0, y0, _, _ = curves.bounds([turned(part.outline)])
    outline, *holes = (curves.moved(turned(ring), -x0, -y0) for ring in (part.outline, *part.holes))
    fixings = tuple((*point, 0.0) for point in piece.fixings)
    joints = []
    for seam in (seams[i] for i in sorted(part.seams)):
        a, b = curves.moved([(*seam.a, 0.0), (*seam.b, 0.0)], -x0, -y0, -angle)
        joints.append(Joint(seam.label, a[:2], b[:2]))
    segment = replace(
        piece,
        id=f"{piece.id}.{number}",
        name=f"{piece.name}, segment {number}",
        outline=outline,
        holes=tuple(holes),
        marks=tuple(curves.moved(turned(mark), -x0, -y0) for mark in piece.marks),
        fixings=tuple(v[:2] for v in curves.moved(turned(fixings), -x0, -y0)),
        one_piece=True,
        segment_of=piece.id,
        joints=tuple(joints),
        at_mm=(0.0, 0.0),
    )
    ((x, y, _),) = curves.moved([(x0, y0, 0.0)], 0.0, 0.0, angle)
    return segment, Seat(segment.id, x, y, angle)
