"""The vocabulary: what the trade talks about, as frozen records.

The same records are read from `workshop.toml` and `job.toml` and written to `plan.json`, so their field names are
the names in those files. Millimetres, degrees counter-clockwise, minutes where the name says so; money is Decimal.

Frames: piece frame as drawn, y up; sheet frame with its origin at the lower left corner of the sheet's bounding
rectangle, face up; bed frame with its origin at the machine's datum corner, x to the right, y away from the operator.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Any, ClassVar, Literal

from nesting.figures import LONGEST_MM, MINUTES, MOST_MONEY, THICKNESS_MM, check_range, check_words

Point = tuple[float, float]
"""x_mm, y_mm."""
Vertex = tuple[float, float, float]
"""x_mm, y_mm, bulge of the segment that starts here: tan of a quarter of the arc's sweep, 0 straight, + ccw."""
Ring = tuple[Vertex, ...]
"""A closed chain: the last vertex's segment ends at the first vertex."""
Chain = tuple[Vertex, ...]
"""An open chain: the last vertex ends it and its bulge is 0."""
Rect = tuple[float, float, float, float]
"""x0_mm, y0_mm, x1_mm, y1_mm."""

STRICT: dict[str, Any] = {"extra": "forbid", "allow_inf_nan": False}
"""Read from a file, an unknown key is a mistake, never ignored, and a number is a number."""


class Turn(StrEnum):
    """How a piece may be turned on the sheet."""

    ANY = "any"
    HALF = "half"
    NONE = "none"


@dataclass(frozen=True, slots=True, order=True)
class StockKey:
    """Pieces only go on sheets with the same key."""

    __pydantic_config__: ClassVar[dict[str, str]] = STRICT

    material: str
    colour: str
    thickness_mm: float

    def __str__(self) -> str:
        return f"{self.material} {self.colour} {self.thickness_mm:g} mm"


# ── pieces ───────────────────────────────────────────────────────────────────────────────────────────────────


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

    Pieces with the same `joints_aligned` are neighbours whose joints lie at common heights over `baseline_mm`.
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
    baseline_mm: float = 0.0
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


# ── stock ────────────────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class PriceBreak:
    """From so many `sheets` in one order, each of them costs `price`."""

    __pydantic_config__: ClassVar[dict[str, str]] = STRICT

    sheets: int
    price: Decimal


@dataclass(frozen=True, slots=True)
class CutToSize:
    """What a supplier takes for a panel cut to the size asked for: by its area, and a `fee` for cutting each.

    The panel comes at most `tolerance_mm` smaller or larger each way, so it is ordered larger by that; `smallest_mm` is
    the least that is cut.
    """

    __pydantic_config__: ClassVar[dict[str, str]] = STRICT

    price_per_m2: Decimal
    fee: Decimal = Decimal(0)
    smallest_mm: Point = (100.0, 100.0)
    tolerance_mm: float = 1.0

    def __post_init__(self) -> None:
        if not all(0 <= price <= MOST_MONEY for price in (self.price_per_m2, self.fee)):
            raise ValueError("a price must be 0 or more, and no more than ten million")
        if not (all(0 < side <= LONGEST_MM for side in self.smallest_mm) and 0 <= self.tolerance_mm <= 50):
            raise ValueError("`smallest_mm` must be above 0, `tolerance_mm` from 0 to 50 mm")


@dataclass(frozen=True, slots=True)
class Offer:
    """A full sheet that a supplier sells; `length_mm` runs along x of the sheet frame.

    `square`: its edges are known to be straight and square; else what relies on one is trimmed or told, as `edge_trim`
    under `[rates]` says.
    `min_order` is the smallest order, in sheets; what of it the job does not need goes on the rack. `breaks` are lower
    prices, for every sheet of an order, from so many sheets. `in_stock` is how many the supplier has: 0 is none; left
    out, as many as are asked for. With `cut` panels up to its size are sold cut to size too, without `whole` only so.
    """

    __pydantic_config__: ClassVar[dict[str, str]] = STRICT

    id: str
    material: str
    colour: str
    thickness_mm: float
    length_mm: float
    width_mm: float
    price: Decimal
    supplier: str = ""
    min_order: int = 1
    breaks: tuple[PriceBreak, ...] = ()
    in_stock: int | None = None
    square: bool = False
    cut: CutToSize | None = None
    whole: bool = True

    def __post_init__(self) -> None:
        check_words(self)
        check_range(self, *THICKNESS_MM, "thickness_mm")
        check_range(self, 1, LONGEST_MM, "length_mm", "width_mm")
        if not self.whole and self.cut is None:
            raise ValueError("`whole = false` sells nothing without `cut`")
        if self.cut is not None and self.cut.tolerance_mm >= min(self.length_mm, self.width_mm):
            raise ValueError("`tolerance_mm` must be less than the sheet")
        steps = [1, *(step.sheets for step in self.breaks)]
        prices = [self.price, *(step.price for step in self.breaks)]
        if self.min_order < 1:
            raise ValueError("`min_order` is a number of sheets, 1 or more")
        if self.in_stock is not None and self.in_stock < 0:
            raise ValueError("`in_stock` is how many sheets the supplier has, 0 for none")
        if not all(0 <= price <= MOST_MONEY for price in prices):
            raise ValueError("a price must be 0 or more, and no more than ten million")
        if any(more <= few for few, more in itertools.pairwise(steps)):
            raise ValueError("`breaks` must go up in `sheets` and start above 1")
        if any(later > first for first, later in itertools.pairwise(prices)):
            raise ValueError("`breaks` must go down in `price`")

    @property
    def stock(self) -> StockKey:
        return StockKey(self.material, self.colour, self.thickness_mm)


@dataclass(frozen=True, slots=True)
class Offcut:
    """A sheet on the rack: any polygon with holes, in the sheet frame, straight edges.

    An empty `lot` is an unknown one. `faces` says which side is masked, mirrored or frosted. `grain_deg` is the grain's
    direction in the sheet frame. `true_edges` are the edges still as the factory cut them: the indices of their first
    corners in `outline_mm`.
    """

    id: str
    material: str
    colour: str
    thickness_mm: float
    outline_mm: tuple[Point, ...]
    holes_mm: tuple[tuple[Point, ...], ...] = ()
    book_value: Decimal = Decimal(0)
    place: str = ""
    lot: str = ""
    faces: str = ""
    grain_deg: float | None = None
    true_edges: tuple[int, ...] = ()

    @property
    def stock(self) -> StockKey:
        return StockKey(self.material, self.colour, self.thickness_mm)


# ── the workshop: machines, rates ────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class CuttingFigure:
    """How the machine cuts one material in one thickness."""

    __pydantic_config__: ClassVar[dict[str, str]] = STRICT

    material: str
    thickness_mm: float
    kerf_mm: float
    feed_mm_s: float
    pierce_s: float
    power_percent: float | None = None

    def __post_init__(self) -> None:
        check_words(self)
        check_range(self, *THICKNESS_MM, "thickness_mm")
        check_range(self, 0, 50, "kerf_mm")
        check_range(self, 0.001, LONGEST_MM, "feed_mm_s")
        check_range(self, 0, 3600, "pierce_s")


@dataclass(frozen=True, slots=True)
class Machine:
    """Bed frame: its origin is the `datum` corner of the travel, x runs to the right, y away from the operator.

    The travel is what the head reaches; the table is what lies flat: `table_left_mm` of what it is wider lies left of
    the travel (half of it where left out), and it reaches from the travel's front edge to the back wall in y.
    `face_down` says whether blanks may be laid face down, where both faces of a sheet are alike.

    Closed marks are filled by lines `fill_spacing_mm` apart; 0: marks are followed, never filled.
    At a join the later pass runs `join_overlap_mm` over what the earlier one has cut, where the travel holds it.
    Beyond `max_sag_mm` of sag at the end that hangs out, support is asked for.
    """

    __pydantic_config__: ClassVar[dict[str, str]] = STRICT

    name: str
    kind: Literal["laser", "router"]
    travel_mm: Point
    table_mm: Point
    cutting: tuple[CuttingFigure, ...]
    datum: Literal["front left", "front right", "back left", "back right"] = "front left"
    table_left_mm: float | None = None
    face_down: bool = True
    open_front: bool = False
    open_back: bool = False
    gap_mm: float = 3.0
    margin_mm: float = 5.0
    setup_min: float = 4.0
    turn_min: float = 3.0
    trim_min: float = 2.0
    mark_feed_mm_s: float = 100.0
    fill_spacing_mm: float = 0.0
    rapid_mm_s: float = 200.0
    lineup_error_mm: float = 0.15
    join_overlap_mm: float = 0.0
    max_sag_mm: float | None = None

    def __post_init__(self) -> None:
        check_words(self)
        check_range(
            self, 0, LONGEST_MM, "travel_mm", "table_mm", "gap_mm", "margin_mm", "lineup_error_mm", "max_sag_mm"
        )
        check_range(self, *MINUTES, "setup_min", "turn_min", "trim_min")
        check_range(self, 0.001, LONGEST_MM, "mark_feed_mm_s", "rapid_mm_s")
        if not self.join_overlap_mm >= 0:
            raise ValueError("`join_overlap_mm` must be 0 or more")
        for axis, travel, table in zip("xy", self.travel_mm, self.table_mm, strict=True):
            if not travel > 0:
                raise ValueError(f"the travel in {axis} must be above 0, not {travel:g} mm")
            if not travel <= table:
                raise ValueError(f"the table ({table:g} mm in {axis}) must be at least the travel ({travel:g} mm)")
        wider = self.table_mm[0] - self.travel_mm[0]
        if self.table_left_mm is not None and not 0 <= self.table_left_mm <= wider:
            raise ValueError(f"`table_left_mm` is a part of the {wider:g} mm that the table is wider than the travel")
        if not self.fill_spacing_mm >= 0:
            raise ValueError("fill_spacing_mm is the distance between the lines that fill a mark, 0 for none")

    @property
    def travel_rect(self) -> Rect:
        """What the head reaches, bed frame."""
        x, y = self.travel_mm
        x0, y0 = -x if "right" in self.datum else 0.0, -y if "back" in self.datum else 0.0
        return x0, y0, x0 + x, y0 + y

    @property
    def table_rect(self) -> Rect:
        """What lies flat, from the front edge to the back wall, bed frame."""
        x0, y0, _, _ = self.travel_rect
        wider = self.table_mm[0] - self.travel_mm[0]
        left = x0 - (wider / 2 if self.table_left_mm is None else self.table_left_mm)
        return left, y0, left + self.table_mm[0], y0 + self.table_mm[1]


@dataclass(frozen=True, slots=True)
class Rates:
    """The shop's own figures in money and time; every cost line is made of these.

    A sheet cut up into several blanks is cut in at most `trim_stages` stages: all cuts of a stage run the same way.
    `edge_trim_mm` is what an edge trim takes off a factory edge to make it straight and square, kerf included. Where a
    plan relies on an edge that is not known to be square, a trim is `offered` in a warning; or it is made before all
    other cuts: `when relied on`.
    """

    __pydantic_config__: ClassVar[dict[str, str]] = STRICT

    currency: str
    machine_per_hour: Decimal
    labour_per_hour: Decimal
    leftover_credit: float = 0.5
    keep_mm: Point = (150.0, 150.0)
    saw_kerf_mm: float = 3.0
    saw_trim_min: float = 4.0
    snap_max_mm: float = 3.0
    join_cost: Decimal = Decimal("1.00")
    joint_cost: Decimal = Decimal("5.00")
    trim_stages: int = 3
    edge_trim_mm: float = 5.0
    edge_trim: Literal["offered", "when relied on"] = "offered"

    def __post_init__(self) -> None:
        check_words(self)
        check_range(self, 0, float(MOST_MONEY), "machine_per_hour", "labour_per_hour", "join_cost", "joint_cost")
        check_range(self, 0, LONGEST_MM, "keep_mm", "saw_kerf_mm", "snap_max_mm")
        check_range(self, *MINUTES, "saw_trim_min")
        if not 0 <= self.leftover_credit <= 1:
            raise ValueError("leftover_credit is a share of the price paid, from 0 to 1")
        if self.trim_stages < 1:
            raise ValueError("`trim_stages` must be 1 or more")
        if not 0 <= self.edge_trim_mm <= 100:
            raise ValueError("`edge_trim_mm` must be from 0 to 100")
        if self.trims_edges and not self.edge_trim_mm > self.saw_kerf_mm:
            raise ValueError("`edge_trim_mm` must be more than `saw_kerf_mm`, or the saw has nothing to run in")

    @property
    def trims_edges(self) -> bool:
        """Whether factory edges that are relied on are trimmed, not only told."""
        return self.edge_trim == "when relied on"


@dataclass(frozen=True, slots=True)
class Material:
    """What a sheet is made of; `density_kg_m3` for its mass, `modulus_gpa` (Young's) for its sag.

    `expansion_per_k` is what it grows by for each degree, a share of its length: for the gaps between segments.
    """

    __pydantic_config__: ClassVar[dict[str, str]] = STRICT

    name: str
    density_kg_m3: float
    faces_alike: bool = True
    modulus_gpa: float | None = None
    expansion_per_k: float | None = None

    def __post_init__(self) -> None:
        check_words(self)
        check_range(self, 1, 30_000, "density_kg_m3")
        if self.expansion_per_k is not None and not 0 < self.expansion_per_k < 1e-3:
            raise ValueError("`expansion_per_k` is a share of the length for each degree, such as 7e-5")
        if self.modulus_gpa is not None and not self.modulus_gpa > 0:
            raise ValueError("`modulus_gpa` must be above 0")


@dataclass(frozen=True, slots=True)
class Quoting:
    """How the shop turns cost into a price. Shares run from 0 to 1: mark-up is a share of the cost, tax of the price.

    `material` says what a customer is charged for: whole sheets less what goes back on the rack, or the pieces' share
    of a sheet, with `waste` the share of it that nobody can use. Quantities in `copies` are quoted side by side.
    """

    __pydantic_config__: ClassVar[dict[str, str]] = STRICT

    material: Literal["sheets", "share"] = "sheets"
    waste: float = 0.2
    markup: float = 0.4
    tax: float = 0.2
    finishing_per_m: Decimal = Decimal(0)
    freight_per_kg: Decimal = Decimal(0)
    valid_days: int = 30
    copies: tuple[int, ...] = (1, 5, 10, 50)

    def __post_init__(self) -> None:
        if not 0 <= self.waste < 1:
            raise ValueError("waste is a share of the sheet, from 0 to below 1")
        check_range(self, 0, 100, "markup", "tax")
        check_range(self, 0, float(MOST_MONEY), "finishing_per_m", "freight_per_kg")
        if not self.copies or min(self.copies) < 1:
            raise ValueError("copies are whole numbers from 1")


@dataclass(frozen=True, slots=True)
class Workshop:
    """`workshop.toml`: what the shop owns and what it charges."""

    __pydantic_config__: ClassVar[dict[str, str]] = STRICT

    name: str
    rates: Rates
    machine: tuple[Machine, ...]
    material: tuple[Material, ...] = ()
    offer: tuple[Offer, ...] = ()
    database: str = ""
    quoting: Quoting = Quoting()

    def __post_init__(self) -> None:
        check_words(self)
        for key, names in (("machine", [m.name for m in self.machine]), ("offer", [o.id for o in self.offer])):
            twice = next((name for name in names if names.count(name) > 1), None)
            if twice is not None:
                raise ValueError(f"{key} `{twice}` is there twice")


# ── the job ──────────────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class PieceOrder:
    """One `[[piece]]` of a job: a drawing (all or one layer of it) or a wording in a font at a cap height.

    `bridge_mm` joins dots and accents to their letter by a bar that wide; `font_axes` set a variable font, such as
    [["wght", 700]]. `units` and `scale` override what the drawing says of itself; the layers named are marked or left
    out; `text` turns live text in a drawing into outlines. Where a piece is split, its segments meet by its
    `joint`, straps are cut from the `strap` stock, and those with the same `joints_aligned` have joints at one height.
    `one_lot` is a name that pieces of one visible face share: those of one stock key come from one lot.
    """

    __pydantic_config__: ClassVar[dict[str, str]] = STRICT

    name: str
    material: str
    colour: str
    thickness_mm: float
    drawing: str | None = None
    layer: str | None = None
    wording: str | None = None
    font: str | None = None
    height_mm: float | None = None
    tracking_mm: float = 0.0
    bridge_mm: float | None = None
    font_axes: tuple[tuple[str, float], ...] = ()
    quantity: int = 1
    turn: Turn = Turn.ANY
    mirror: bool = False
    one_piece: OnePiece = False
    fixings: tuple[Point, ...] = ()
    joint: JointKind = "butt"
    strap: StockKey | None = None
    joints_aligned: str = ""
    units: str | None = None
    scale: float = 1.0
    mark_layers: tuple[str, ...] = ()
    ignore_layers: tuple[str, ...] = ()
    text: bool = False
    one_lot: str = ""

    @property
    def stock(self) -> StockKey:
        return StockKey(self.material, self.colour, self.thickness_mm)

    def __post_init__(self) -> None:
        check_words(self, but="wording")
        check_range(self, 0, THICKNESS_MM[1], "thickness_mm")  # 0 in a job to start from: not filled in yet
        check_range(self, 1e-6, 1e6, "scale")
        check_range(self, 0, LONGEST_MM, "height_mm", "bridge_mm")
        check_range(self, -LONGEST_MM, LONGEST_MM, "tracking_mm")
        if (self.drawing is None) == (self.wording is None):
            raise ValueError("give either `drawing` or `wording`")
        if self.wording is not None and (self.height_mm is None or not self.height_mm > 0):
            raise ValueError("`wording` needs a `height_mm` above 0: the height of its capitals")
        if self.quantity < 1:
            raise ValueError("`quantity` must be at least 1")


@dataclass(frozen=True, slots=True)
class Job:
    """The `[job]` table. A larger step to expect at a join than `max_mismatch_mm` is warned of; without it, none is.

    With `one_lot` all pieces of one stock key come from one lot. `temperature_span_k` is the warmest day less
    the coldest: segments get gaps for it.
    """

    __pydantic_config__: ClassVar[dict[str, str]] = STRICT

    name: str
    machine: str = ""
    customer: str = ""
    quantity: int = 1
    due: str = ""
    max_mismatch_mm: float | None = None
    one_lot: bool = False
    temperature_span_k: float | None = None

    def __post_init__(self) -> None:
        check_words(self)
        if self.quantity < 1:
            raise ValueError("`quantity` must be at least 1")
        if self.temperature_span_k is not None and not 0 < self.temperature_span_k <= 150:
            raise ValueError("`temperature_span_k` is the warmest day less the coldest, above 0 and at most 150")
        if self.max_mismatch_mm is not None and not self.max_mismatch_mm > 0:
            raise ValueError("`max_mismatch_mm` must be above 0")


@dataclass(frozen=True, slots=True)
class Extra:
    """An `[[extra]]` of a job, quoted beside the pieces: once for the job, or with every copy."""

    __pydantic_config__: ClassVar[dict[str, str]] = STRICT

    what: str
    amount: Decimal
    each_copy: bool = False

    def __post_init__(self) -> None:
        check_words(self)
        check_range(self, -float(MOST_MONEY), float(MOST_MONEY), "amount")


@dataclass(frozen=True, slots=True)
class JobFile:
    """`job.toml`."""

    __pydantic_config__: ClassVar[dict[str, str]] = STRICT

    job: Job
    piece: tuple[PieceOrder, ...]
    extra: tuple[Extra, ...] = ()

    def __post_init__(self) -> None:
        if not self.piece:
            raise ValueError("a job needs a `[[piece]]`, or there is nothing to cut")


# ── the plan ─────────────────────────────────────────────────────────────────────────────────────────────────


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
    sheet of this offer, was found within the effort.
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
