"""One piece or several: shapes that are better left whole are planned both ways, and the cheaper way is taken.

In: the pieces of a job, and how to plan them. Out: the cheaper Plan, which says what the other way would cost. Pure.
Method: all such shapes whole first, where they can be; then each in turn split, the others as decided so far.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from nesting.faults import Fault, ReachFault, StockFault
from nesting.model import EitherWay, OnePiece, Piece, Plan, Ring

Planner = Callable[[tuple[Piece, ...]], Plan]
Shape = tuple[str, Ring]


def cheaper_way(pieces: Sequence[Piece], planned: Planner) -> Plan:
    """The plan with every preference decided. Raises the Fault of planning them split where neither way can be."""
    wishes = {_shape(piece): piece.name for piece in pieces if piece.one_piece == "prefer"}
    decided: dict[Shape, OnePiece] = dict.fromkeys(wishes, True)
    if not wishes:
        return planned(tuple(pieces))
    best = _tried(pieces, decided, planned)
    told = []
    for shape, name in wishes.items():
        other = _tried(pieces, {**decided, shape: False}, planned)
        split_pays = isinstance(best, Fault) or (isinstance(other, Plan) and other.cost.total < best.cost.total)
        taken, left = (other, best) if split_pays else (best, other)
        decided[shape] = not split_pays
        if isinstance(taken, Plan):
            told.append(_told(name, not split_pays, taken, left))
        best = taken
    if isinstance(best, Fault):
        raise best
    return replace(best, either_way=tuple(told))


def _shape(piece: Piece) -> Shape:
    return piece.name, piece.outline


def _tried(pieces: Sequence[Piece], decided: Mapping[Shape, OnePiece], planned: Planner) -> Plan | Fault:
    """The plan with these decisions, or why there is none."""
    settled = tuple(
        replace(piece, one_piece=decided[_shape(piece)]) if piece.one_piece == "prefer" else piece for piece in pieces
    )
    try:
        return planned(settled)
    except (ReachFault, StockFault) as fault:
        return fault


def _told(name: str, one_piece: bool, taken: Plan, left: Plan | Fault) -> EitherWay:
    if isinstance(left, Fault):
        return EitherWay(name, one_piece, taken.cost.total, None, left.what)
    return EitherWay(name, one_piece, taken.cost.total, left.cost.total)


def either_way_words(one: EitherWay, currency: str) -> str:
    """What was decided for a shape, and what the other way would cost, in words."""
    way, other = ("in one piece", "split") if one.one_piece else ("split", "in one piece")
    if one.other_cost is None:
        return f"{one.piece}: {way}, as it cannot be {other}: {one.why_not}"
    if one.other_cost == one.cost:
        return f"{one.piece}: {way}; {other} the plan would cost the same"
    return f"{one.piece}: {way}; {other} the plan would cost {one.other_cost} {currency} instead of {one.cost}"
