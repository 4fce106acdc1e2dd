"""Holding: what a person lays the blank against in a pass, and the frame to run round before cutting.

In: a blank, a pass, what it cuts. Out: Stops; the frame and what the travel has to spare round it. Pure, bed frame.
"""

from __future__ import annotations

from collections.abc import Iterable

from nesting import curves
from nesting.model import Edge, Machine, Pass, Rect, Side, Stop
from nesting.passes.cuts import Cut, cross, to_bed
from nesting.passes.reach import EPS, Reach, turned_rect

SIDES: tuple[Side, ...] = ("front", "right", "back", "left")
"""Counter-clockwise from the person; edge A of a sheet is its lower edge in the sheet frame."""


def edge_at(side: Side, turn_deg: int, flipped: bool = False) -> Edge:
    """The letter of the blank's edge that lies on a side of the bed when the sheet is turned, or lies face down.

    >>> edge_at("front", 0), edge_at("front", 90), edge_at("front", 180), edge_at("right", 0, flipped=True)
    ('A', 'D', 'C', 'D')
    """
    edges: tuple[Edge, ...] = ("A", "D", "C", "B") if flipped else ("A", "B", "C", "D")
    return edges[(SIDES.index(side) - turn_deg // 90) % 4]


def stops(machine: Machine, blank: Rect, reach: Reach) -> tuple[Stop, ...]:
    """The edge on the datum's side, and the front or the back one; neither of these where it hangs out at both ends."""
    x0, y0, x1, y1 = turned_rect(blank, reach.turn_deg, reach.flipped)
    dx, dy = reach.shift_mm
    table_front, table_back = machine.table_rect[1::2]
    found = [_stop("right", x1 + dx, reach) if "right" in machine.datum else _stop("left", x0 + dx, reach)]
    front, back = y0 + dy, y1 + dy
    at_back = abs(back - table_back) < EPS or "back" in machine.datum
    if front >= table_front - EPS and not (at_back and back <= table_back + EPS):
        found.append(_stop("front", front, reach))
    elif back <= table_back + EPS:
        found.append(_stop("back", back, reach))
    return tuple(found)


def _stop(side: Side, at: float, reach: Reach) -> Stop:
    return Stop(edge_at(side, reach.turn_deg, reach.flipped), side, round(at, 6) + 0.0)


def frame_of(run: Pass, cuts: Iterable[Cut]) -> Rect | None:
    """Bounding rectangle of what a pass runs, its own line-up marks included; None if it runs nothing."""
    chains = [cut.stretch for cut in cuts if cut.kind != "hole" or cut.piece not in run.whole]
    chains += [arm for mark in run.lineup if mark.cut_here for arm in cross(mark.sheet_mm)]
    if not chains:
        return None
    boxes = [curves.bounds([to_bed(run, chain.vertices)], closed=chain.closed) for chain in chains]
    x0s, y0s, x1s, y1s = zip(*boxes, strict=True)
    x0, y0, x1, y1 = (round(edge, 4) + 0.0 for edge in (min(x0s), min(y0s), max(x1s), max(y1s)))
    return x0, y0, x1, y1


def spare(machine: Machine, frame: Rect) -> tuple[float, float, float, float]:
    """Millimetres between the frame and the end of the travel: left, right, front, back."""
    (x0, y0, x1, y1), (left, front, right, back) = frame, machine.travel_rect
    a, b, c, d = (round(room, 4) + 0.0 for room in (x0 - left, right - x1, y0 - front, back - y1))
    return a, b, c, d
