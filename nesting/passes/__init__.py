"""Passes: from pieces laid on a blank to runs of the machine, their joins and their line-up marks.

In: a sheet with its blank, laid pieces, machine, rates. Out: Pass records in running order. Pure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

import shapely

from nesting import curves
from nesting.faults import within
from nesting.model import Blank, Join, Machine, Pass, Point, Rates, Share, TurnName
from nesting.passes.choose import choose_runs
from nesting.passes.cuts import cuts_of
from nesting.passes.freeing import homes, inmost_first
from nesting.passes.holding import frame_of, spare, stops
from nesting.passes.joins import shares_of
from nesting.passes.lineup import Pair, lined_up, listed, mismatch_mm, pair_marks
from nesting.passes.reach import EPS, Reach, reaches
from nesting.placing import Laid

__all__ = ["minutes", "plan_passes"]

Meet = tuple[int, str, Point]
"""A join: its number through the blank, the piece, the point in the sheet frame."""


def plan_passes(
    sheet_id: str, sheet: shapely.Polygon, blank: Blank, laid: Sequence[Laid], machine: Machine, rates: Rates
) -> tuple[Pass, ...]:
    """Passes in running order. Raises ReachFault where no passes cover the pieces."""
    with within(f"sheet {sheet_id}"):
        chosen = choose_runs(laid, reaches(machine, blank.rect_mm), machine, rates)
    runs = chosen.reaches
    rects = [reach.rect_mm for reach in runs]
    dealt = {one.piece.id: shares_of(one, rects) for one in inmost_first(laid) if one.piece.id in chosen.shared}
    home = homes(laid, rects, dealt)
    known = {one.piece.id: one for one in laid}
    meets = _meeting_points(known, dealt)
    between = _meeting_passes(meets)
    # A trimmed edge is an edge like the sheet's own: marks keep clear of it.
    ground = sheet.intersection(shapely.box(*blank.rect_mm))
    marks = pair_marks(sorted(set(between.values())), rects, ground, laid, machine.gap_mm)
    passes = []
    for k, reach in enumerate(runs):
        whole = tuple(one.piece.id for one in inmost_first(laid) if home.get(one.piece.id) == k)
        shares = tuple(share for shared in dealt.values() for n, share in reversed(shared) if n == k)
        run = Pass(
            order=k + 1,
            blank=blank.id,
            turn_deg=reach.turn_deg,
            shift_mm=reach.shift_mm,
            turn_before=turn_between(runs[k - 1], reach) if k else "none",
            file=f"{sheet_id}-{blank.id}-pass{k + 1}.dxf",
            whole=whole,
            part=tuple(dict.fromkeys(share.piece for share in shares)),
            shares=shares,
            joins=tuple(_join(reach, meet, marks.get(between[meet[0]], ()), machine) for meet in meets.get(k, ())),
            lineup=listed(k, reach, marks),
            stops=stops(machine, blank.rect_mm, reach),
            flipped=reach.flipped,
        )
        passes.append(run)
    lined = []
    for run in passes:
        points = [point for share in run.shares for point in _along(known[share.piece], share)]
        lined.append(replace(run, lines_up=lined_up(run, passes, rects, ground, points, machine.lineup_error_mm)))
    return tuple(_framed(run, lined, known, machine) for run in lined)


def _framed(run: Pass, passes: Sequence[Pass], laid: Mapping[str, Laid], machine: Machine) -> Pass:
    frame = frame_of(run, cuts_of(passes, run, laid, machine))
    return replace(run, frame_mm=frame, spare_mm=spare(machine, frame)) if frame else run


def minutes(passes: Sequence[Pass], machine: Machine) -> tuple[Decimal, Decimal]:
    """Minutes of setting up and of turning for the passes of one blank."""
    turns = sum(p.turn_before != "none" for p in passes)
    setups = Decimal(str(machine.setup_min)) if passes else Decimal(0)
    return setups, turns * Decimal(str(machine.turn_min))


def turn_between(before: Reach, after: Reach) -> TurnName:
    """What the operator does between two passes."""
    if after.flipped != before.flipped:
        return "flip"
    turned = (after.turn_deg - before.turn_deg) % 360
    names: dict[int, TurnName] = {0: "shift", 180: "half"}
    return names.get(turned, "quarter")


def _meeting_points(
    laid: Mapping[str, Laid], dealt: Mapping[str, Sequence[tuple[int, Share]]]
) -> dict[int, tuple[Meet, ...]]:
    """For each pass its joins, of outlines and holes."""
    known: list[Meet] = []
    found: dict[int, list[Meet]] = {}
    for piece, shared in dealt.items():
        for k, share in shared:
            for x, y in _ends(laid[piece], share):
                meet = next((old for old in known if old[1] == piece and math.dist(old[2], (x, y)) < EPS), None)
                if meet is None:
                    meet = len(known) + 1, piece, (round(x, 4) + 0.0, round(y, 4) + 0.0)
                    known.append(meet)
                found.setdefault(k, []).append(meet)
    return {k: tuple(sorted(set(several))) for k, several in found.items()}


def _ends(one: Laid, share: Share) -> list[Point]:
    """Where a pass hands a contour over to others; none of a contour it cuts all round, nor of a mark."""
    if share.kind == "mark":
        return []
    ring = one.contour(share)
    if share.end_mm - share.start_mm > curves.length(ring, closed=True) - 1e-4:
        return []
    return [spot.point for spot in curves.spots_at(ring, True, (share.start_mm, share.end_mm))]


def _along(one: Laid, share: Share) -> list[Point]:
    """Points of a shared contour, close enough to find the one farthest from anything; none of a mark."""
    if share.kind == "mark":
        return []
    ring = one.contour(share)
    corners = curves.stretch(ring, True, share.start_mm, share.end_mm)
    steps = [share.start_mm + (share.end_mm - share.start_mm) * k / 100 for k in range(101)]
    return [*((x, y) for x, y, _ in corners), *(spot.point for spot in curves.spots_at(ring, True, steps))]


def _meeting_passes(meets: Mapping[int, Sequence[Meet]]) -> dict[int, Pair]:
    """For each join, by number, the passes that meet there."""
    passes: dict[int, list[int]] = {}
    for k in sorted(meets):
        for number, _, _ in meets[k]:
            passes.setdefault(number, []).append(k)
    return {number: (several[0], several[-1]) for number, several in passes.items()}


def _join(reach: Reach, meet: Meet, marks: Sequence[Point], machine: Machine) -> Join:
    number, piece, point = meet
    # Without marks the join ends themselves are lined up: each within the error, no lever.
    expected = mismatch_mm(point, marks, machine.lineup_error_mm) if marks else machine.lineup_error_mm
    return Join(number, piece, point, reach.to_bed(point), round(expected, 3))
