"""Limits: whether all passes together can cut a piece in one piece, and what is lacking where they cannot.

In: a piece's contours, Machine. Out: nothing, or a ReachFault that names the millimetres. Pure.
A piece is judged by its contours, not by the rectangle round them: what no contour needs may lie out of reach.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from nesting import curves
from nesting.faults import ReachFault
from nesting.model import Machine, Piece, Rect, Ring
from nesting.passes.reach import EPS, reached_by, reaches

MENDS = "allow it to be split (one_piece = false), make it smaller, or use a larger machine"


def refuse_beyond_reach(piece: Piece, machine: Machine) -> None:
    """Raises ReachFault where no passes cut the piece in one piece, even on a blank that leaves just the margins."""
    rings = (piece.outline, *piece.holes)
    x0, y0, x1, y1 = curves.bounds([piece.outline])
    lacking = lacking_mm(machine, x1 - x0, y1 - y0, rings)
    if lacking > 0:
        raise ReachFault(
            f"{piece.name} is {x1 - x0:.1f} x {y1 - y0:.1f} mm: in one piece, passes on {machine.name} "
            f"(travel {machine.travel_mm[0]:g} x {machine.travel_mm[1]:g} mm) are {lacking:.1f} mm short of it"
            f"{_why(machine, x1 - x0, y1 - y0)}",
            mend=MENDS,
        )


def lacking_mm(machine: Machine, width: float, depth: float, rings: Sequence[Ring] = ()) -> float:
    """How far a piece exceeds what passes can cover, either way round, margins kept; 0 if it fits.

    Without `rings`, those of a rectangle. The measure is the least by which one side, or the whole in proportion, would
    have to be smaller.
    """
    if _covered(machine, rings or _rectangle(width, depth)):
        return 0.0
    lacking = min(_excess(machine, width, depth), _excess(machine, depth, width))
    if rings:
        size = max(width, depth)
        lacking = min(lacking, size - _largest(size, lambda tried: _covered(machine, _scaled(rings, tried / size))))
    return lacking


def _why(machine: Machine, width: float, depth: float) -> str:
    """What the blank would strike, where it does not lie flat at all; "" where it lies, but is not reached."""
    sizes = [tuple(side + 2 * machine.margin_mm for side in size) for size in ((width, depth), (depth, width))]
    if any(reaches(machine, (0.0, 0.0, *size)) for size in sizes):
        return ""
    table, wall = machine.table_mm
    walled = not (machine.open_front or machine.open_back)
    wide, deep = min(
        ((max(0.0, across - table), max(0.0, along - wall) if walled else 0.0) for across, along in sizes), key=sum
    )
    told = [f"{wide:.1f} mm too wide for the table of {table:g} mm"] if wide > EPS else []
    told += (
        [f"{deep:.1f} mm too deep: it would strike the back wall {wall:g} mm behind the front"] if deep > EPS else []
    )
    return f"; its blank is {' and '.join(told)}"


def _excess(machine: Machine, across: float, along: float) -> float:
    """The least that is too much of `along`: as it is, or with `across` brought down to the travel first."""
    widest = min(across, machine.travel_mm[0], machine.table_mm[0] - 2 * machine.margin_mm)
    longest = _largest(along, lambda tried: _covered(machine, _rectangle(across, tried)))
    longest_narrow = _largest(along, lambda tried: _covered(machine, _rectangle(widest, tried)))
    return min(along - longest, across - widest + along - longest_narrow)


def _largest(length: float, fits: Callable[[float], bool]) -> float:
    """The largest length up to `length` that fits, by bisection; 0 where none does."""
    if fits(length):
        return length
    low, high = 0.0, length
    while high - low > 1e-4:
        tried = (low + high) / 2
        low, high = (tried, high) if fits(tried) else (low, tried)
    return low


def _rectangle(width: float, depth: float) -> tuple[Ring, ...]:
    return (curves.ring_of([(0, 0), (width, 0), (width, depth), (0, depth)]),)


def _scaled(rings: Sequence[Ring], by: float) -> list[Ring]:
    return [tuple((x * by, y * by, bulge) for x, y, bulge in ring) for ring in rings]


def _covered(machine: Machine, rings: Sequence[Ring]) -> bool:
    """Whether all passes together reach every contour, on a blank that leaves just the margins."""
    margin = machine.margin_mm
    x0, y0, x1, y1 = curves.bounds(rings)
    blank: Rect = (0.0, 0.0, x1 - x0 + 2 * margin, y1 - y0 + 2 * margin)
    found = reaches(machine, blank)
    laid = (curves.moved(ring, margin - x0, margin - y0) for ring in rings)
    return bool(found) and all(held for ring in laid for _, held in reached_by(ring, found))
