"""What is to be cut: pieces, and what becomes of one that is split."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from nesting.model.terms import Chain, Point, Ring, StockKey, Turn

OnePiece = bool | Literal["prefer"]
"""Whether a piece must not be split; `prefer`: whatever costs less."""
JointKind = Literal["butt", "keyed", "strap"]
"""Plain edges; edges that interlock; plain edges lapped by a strap behind them."""


@dataclass(frozen=True, slots=True)
class Joint:
    """Where a segment meets its neighbour, straight from end to end; both carry the same label. Piece frame."""

    label: str
    start_mm: Point
    end_mm: Point


@dataclass(frozen=True, slots=True)
class Piece:
    """One thing to cut, piece frame. `outline` runs counter-clockwise, `holes` clockwise; marks ride along.

    Pieces with the same `joints_aligned` are neighbours whose joints lie at common heights over their baseline. Of
    letters `at_mm` says where the piece frame lies in the wording as set: from the start of its first line, on the
    baseline.
    Pieces of one stock key with the same `one_lot` form one visible face: they come from one lot.
    """

    id: str
    name: str
    copy: int
    material: str
    colour: str
    thickness_mm: float
    outline: Ring
    holes: tuple[Ring, ...] = ()
    marks: tuple[Chain, ...] = ()
    turn: Turn = Turn.ANY
    mirror: bool = False
    one_piece: OnePiece = True
    fixings: tuple[Point, ...] = ()
    segment_of: str | None = None
    joints: tuple[Joint, ...] = ()
    joint: JointKind = "butt"
    strap: StockKey | None = None
    joints_aligned: str = ""
    at_mm: Point = (0.0, 0.0)
    one_lot: str = ""

    @property
    def stock(self) -> StockKey:
        return StockKey(self.material, self.colour, self.thickness_mm)


@dataclass(frozen=True, slots=True)
class Seat:
    """Where a segment belongs in its parent: rotate by `turn_deg` about its origin, then translate."""

    piece: str
    x_mm: float
    y_mm: float
    turn_deg: float


@dataclass(frozen=True, slots=True)
class Split:
    """How an oversize piece, `parent`, was split; `why` no way of splitting it gives fewer segments than `at_least`.

    Tongues of keyed joints have `clearance_mm` round them. Segments fixed in their middles need `gap_mm` at each joint.
    Segments in `made_before` were cut by an earlier plan.
    """

    parent: Piece
    seats: tuple[Seat, ...]
    at_least: int
    why: str
    joint: JointKind = "butt"
    clearance_mm: float = 0.0
    straps: tuple[Seat, ...] = ()
    gap_mm: float = 0.0
    made_before: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class EitherWay:
    """A piece that was better left in one piece, if that pays: what the plan costs as it is, and the other way.

    `other_cost` is None where there is no other way: `why_not`.
    """

    piece: str
    one_piece: bool
    cost: Decimal
    other_cost: Decimal | None
    why_not: str = ""
