"""What is to be made: the schema of `job.toml`."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import ClassVar

from nesting.model.figures import LONGEST_MM, MOST_MONEY, THICKNESS_MM, check_range, check_words
from nesting.model.pieces import JointKind, OnePiece
from nesting.model.terms import STRICT, Point, StockKey, Turn


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
