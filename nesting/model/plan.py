"""How it is made: the schema of `plan.json`."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from nesting.model.job import Job
from nesting.model.pieces import EitherWay, Piece, Split
from nesting.model.terms import Point, Rect, StockKey, Turn
from nesting.model.workshop import Machine


@dataclass(frozen=True, slots=True)
class Demand:
    """What one `[[piece]]` of the job asks for: `quantity` copies of all its `shapes`, so `quantity` x `shapes` pieces.

    `quantity` is the entry's times the job's. `source` is the drawing's file or the wording; `digest` the SHA-256 of
    the drawing's file or the font's. `pieces` are the ids before splitting: a segment counts for what it is part of.
    """

    name: str
    source: str
    digest: str
    material: str
    colour: str
    thickness_mm: float
    quantity: int
    shapes: int
    turn: Turn
    mirror: bool
    pieces: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Source:
    """Where a sheet comes from: the rack or a supplier's offer; exactly one is set.

    `cut_mm` is the size to order where the supplier cuts to size; what is counted on is smaller by the tolerance.
    """

    stock_id: str | None = None
    offer: str | None = None
    cut_mm: Point | None = None

    def __str__(self) -> str:
        if self.stock_id is not None:
            return f"offcut {self.stock_id}"
        return f"panel {self.size_words} cut from {self.offer}" if self.cut_mm else f"new sheet {self.offer}"

    @property
    def size_words(self) -> str:
        """What to order, where it is cut to size."""
        return f"{self.cut_mm[0]:g} x {self.cut_mm[1]:g} mm" if self.cut_mm else ""


TrimMethod = Literal["machine", "saw", "snap"]
Edge = Literal["A", "B", "C", "D"]
"""Of a sheet or a blank, in the sheet frame: A lower, B right, C upper, D left."""


@dataclass(frozen=True, slots=True)
class Trim:
    """A straight cut, edge to edge of what it cuts, sheet frame. `measure` is in words a person can follow.

    The tool takes `kerf_mm` of material away on the far side of the line (towards higher x or y). An edge trim makes a
    factory edge of the sheet true: `edge` says which, A lower, B right, C upper, D left.
    """

    order: int
    from_mm: Point
    to_mm: Point
    method: TrimMethod
    measure: str
    uncut_ends_mm: Point = (0.0, 0.0)
    turn_deg: int = 0
    shift_mm: Point = (0.0, 0.0)
    file: str | None = None
    kerf_mm: float = 0.0
    edge: Edge | None = None


@dataclass(frozen=True, slots=True)
class Blank:
    """The trimmed part of a sheet that goes onto the bed, sheet frame."""

    id: str
    rect_mm: Rect


@dataclass(frozen=True, slots=True)
class Placement:
    """Piece frame to sheet frame: mirror in x if mirrored, rotate about the piece's origin, translate."""

    piece: str
    blank: str
    x_mm: float
    y_mm: float
    turn_deg: float
    mirrored: bool = False


@dataclass(frozen=True, slots=True)
class Join:
    """Where a contour cut in one pass is met by another pass; listed, with one number, in both."""

    number: int
    piece: str
    sheet_mm: Point
    bed_mm: Point
    mismatch_mm: float


@dataclass(frozen=True, slots=True)
class LineUpMark:
    """A small cross in waste: cut in one pass, found again in a later one; listed in both."""

    number: int
    sheet_mm: Point
    bed_mm: Point
    cut_here: bool


@dataclass(frozen=True, slots=True)
class Share:
    """What a pass cuts of a contour of a piece that several passes share: from `start_mm` to `end_mm` along it.

    Stations count from the contour's first vertex as it lies on the sheet (a mirrored ring runs the other way); an end
    beyond the contour's length goes on past that vertex. Outlines and holes are numbered as in the piece, from 1.
    """

    piece: str
    kind: Literal["outline", "hole", "mark"]
    number: int
    start_mm: float
    end_mm: float


@dataclass(frozen=True, slots=True)
class Distance:
    """What a person can check with a rule: from a mark (`L1`), a join (`J1`) or an edge (`edge A`) to another."""

    start: str
    end: str
    mm: float


@dataclass(frozen=True, slots=True)
class LineUp:
    """What a pass is lined up on with an earlier one whose contours it goes on with: marks; where no waste that both
    reach holds any, the ends of the cuts at the joins; where both reach no more than a line, an edge against a stop.

    `worst_mm` is the largest displacement to expect on what the pass cuts of shared pieces (root mean square).
    """

    with_pass: int
    by: Literal["marks", "joins", "edge"]
    worst_mm: float
    distances: tuple[Distance, ...] = ()


Side = Literal["left", "right", "front", "back"]


@dataclass(frozen=True, slots=True)
class Stop:
    """An edge of the blank to hold against, the side of the bed it lies on, and where: x for left and right, y for
    front and back, bed frame."""

    edge: Edge
    side: Side
    at_mm: float


TurnName = Literal["none", "half", "quarter", "shift", "flip"]


@dataclass(frozen=True, slots=True)
class Pass:
    """One run with the blank held still. Sheet frame to bed frame: mirror in x if `flipped` (the blank lies face down),
    rotate by `turn_deg`, then add `shift_mm`.

    `whole` are the pieces cut from start to end in this pass, `part` those that other passes share; `shares` is what it
    cuts of the latter. `frame_mm` (bed frame) bounds all that it runs, to be run round before cutting; `spare_mm` is
    what the travel has left to its left, right, front and back. `stops` are the edges to hold against.
    """

    order: int
    blank: str
    turn_deg: int
    shift_mm: Point
    turn_before: TurnName
    file: str
    whole: tuple[str, ...]
    part: tuple[str, ...] = ()
    shares: tuple[Share, ...] = ()
    joins: tuple[Join, ...] = ()
    lineup: tuple[LineUpMark, ...] = ()
    lines_up: tuple[LineUp, ...] = ()
    frame_mm: Rect | None = None
    spare_mm: tuple[float, float, float, float] | None = None
    stops: tuple[Stop, ...] = ()
    flipped: bool = False


@dataclass(frozen=True, slots=True)
class Leftover:
    """What remains of a sheet, sheet frame: kept as an offcut, or scrap. `usable_mm` is its largest rectangle."""

    outline_mm: tuple[Point, ...]
    holes_mm: tuple[tuple[Point, ...], ...]
    keep: bool
    usable_mm: Rect
    credit: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class NextBest:
    """The cheapest choice found that does without a sheet: what it uses in its place, what the plan then costs more.

    `instead` names offcuts and offers, each as often as it is used more than in the plan.
    """

    instead: tuple[Source, ...]
    extra: Decimal


@dataclass(frozen=True, slots=True)
class PlannedSheet:
    """One sheet of the plan: what it is, how it is trimmed, what lies where, how it is cut, what is left.

    `lot` is an offcut's; sheets of one offer, bought in one order, are one lot (common practice, no source). `why` says
    in words what it is used for; `next_best` is left out where no plan without this offcut, or without any
    sheet of this offer, was found within the effort. With `square` none of its edges is in doubt.
    """

    id: str
    source: Source
    material: str
    colour: str
    thickness_mm: float
    outline_mm: tuple[Point, ...]
    holes_mm: tuple[tuple[Point, ...], ...]
    price: Decimal
    place: str
    trims: tuple[Trim, ...]
    blanks: tuple[Blank, ...]
    placements: tuple[Placement, ...]
    passes: tuple[Pass, ...]
    leftovers: tuple[Leftover, ...]
    why: str = ""
    lot: str = ""
    next_best: NextBest | None = None
    both_faces_alike: bool = False
    square: bool = False

    @property
    def stock(self) -> StockKey:
        return StockKey(self.material, self.colour, self.thickness_mm)


@dataclass(frozen=True, slots=True)
class CostLine:
    """One term of the cost: what, how much of it, in what unit, for how much money."""

    what: str
    quantity: float
    unit: str
    amount: Decimal


@dataclass(frozen=True, slots=True)
class StockCost:
    """What one stock key's part of the plan costs, what it must cost at least, and the gap in per cent of the cost."""

    material: str
    colour: str
    thickness_mm: float
    cost: Decimal
    bound: Decimal
    gap_percent: float


@dataclass(frozen=True, slots=True)
class Cost:
    """All terms, their sum, a proven lower bound on any plan's sum, and the gap between the two in per cent."""

    currency: str
    lines: tuple[CostLine, ...]
    total: Decimal
    bound: Decimal
    gap_percent: float
    by_stock: tuple[StockCost, ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """`plan.json`, whole. `warnings` ask for a person's care, `notes` only tell what a drawing or a wording is."""

    job: Job
    seed: int
    effort: int
    machine: Machine
    pieces: tuple[Piece, ...]
    sheets: tuple[PlannedSheet, ...]
    cost: Cost
    warnings: tuple[str, ...] = ()
    demands: tuple[Demand, ...] = ()
    splits: tuple[Split, ...] = ()
    either_way: tuple[EitherWay, ...] = ()
    notes: tuple[str, ...] = ()
    format: Literal["halfturn-plan/1"] = "halfturn-plan/1"

    def piece(self, piece_id: str) -> Piece:
        """The piece with this id; KeyError if the plan has none."""
        for piece in self.pieces:
            if piece.id == piece_id:
                return piece
        raise KeyError(piece_id)


@dataclass(frozen=True, slots=True)
class Progress:
    """What a watcher is told: the step under way, rounds done, best cost so far and the proven bound."""

    step: str
    rounds: int = 0
    best: Decimal | None = None
    bound: Decimal | None = None
    note: str = ""
