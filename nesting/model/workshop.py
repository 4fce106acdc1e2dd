"""What the shop owns and charges: the schema of `workshop.toml`."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import ClassVar, Literal

from nesting.model.figures import LONGEST_MM, MINUTES, MOST_MONEY, THICKNESS_MM, check_range, check_words
from nesting.model.stock import Offer
from nesting.model.terms import STRICT, Point, Rect


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
            raise ValueError("`fill_spacing_mm` is the distance between the lines that fill a mark, 0 for none")

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
            raise ValueError("`leftover_credit` is a share of the price paid, from 0 to 1")
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
            raise ValueError("`waste` is a share of the sheet, from 0 to below 1")
        check_range(self, 0, 100, "markup", "tax")
        check_range(self, 0, float(MOST_MONEY), "finishing_per_m", "freight_per_kg")
        if not self.copies or min(self.copies) < 1:
            raise ValueError("`copies` are whole numbers from 1")


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
