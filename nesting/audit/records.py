"""A plan as its folder says it: `plan.json` read strictly, key by key, into the audit's own records.

In: a plan folder. Out: PlanRecord, lengths in mm, angles in degrees. Whatever cannot be read is a PlanFault.
Method: strict typed reading (pydantic); every number finite and within reason, every file a plain name in the folder.
The audit keeps its own records on purpose: it trusts what is written, not what the planner meant to write.
"""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from nesting.faults import PlanFault

PLAN_BYTES_MAX = 64_000_000
"""Far above any real plan: a larger `plan.json` is refused unread."""

REPLAN = "plan the job again: plan.json is written by `halfturn plan` and not meant to be edited"


def _printable(text: str) -> str:
    if not text.isprintable():
        raise ValueError("has characters that cannot be printed")
    return text


def _plain_file(name: str) -> str:
    plain = PurePosixPath(name).name == name == PureWindowsPath(name).name
    if not plain or name.startswith(".") or not name.endswith(".dxf"):
        raise ValueError("is not the plain name of a .dxf file in the plan folder")
    return name


Length = Annotated[float, Field(ge=-1e6, le=1e6)]
Size = Annotated[float, Field(ge=0, le=1e6)]
Name = Annotated[str, Field(max_length=300), AfterValidator(_printable)]
FileName = Annotated[Name, Field(min_length=1), AfterValidator(_plain_file)]
Point = tuple[Length, Length]
Vertex = tuple[Length, Length, Length]
Ring = Annotated[tuple[Vertex, ...], Field(min_length=2)]
Corners = Annotated[tuple[Point, ...], Field(min_length=3)]
QuarterTurn = Literal[0, 90, 180, 270]


class Record(BaseModel):
    """Read strictly: right types, finite numbers; keys the audit has no use for are passed over."""

    model_config = ConfigDict(frozen=True, strict=True, extra="ignore", allow_inf_nan=False)


class MachineRecord(Record):
    travel_mm: tuple[Annotated[Size, Field(gt=0)], Annotated[Size, Field(gt=0)]]
    table_mm: tuple[Annotated[Size, Field(gt=0)], Annotated[Size, Field(gt=0)]]
    datum: Literal["front left", "front right", "back left", "back right"] = "front left"
    table_left_mm: Size | None = None
    face_down: bool = True
    open_front: bool = False
    open_back: bool = False
    gap_mm: Size
    margin_mm: Size
    lineup_error_mm: Size
    join_overlap_mm: Size = 0.0

    @property
    def travel_box(self) -> tuple[float, float, float, float]:
        """What the head reaches: the datum corner is at (0, 0)."""
        (x, y), right, back = self.travel_mm, self.datum.endswith("right"), self.datum.startswith("back")
        return (-x if right else 0.0, -y if back else 0.0, 0.0 if right else x, 0.0 if back else y)

    @property
    def table_box(self) -> tuple[float, float, float, float]:
        """What lies flat, from the front edge to the back wall."""
        x0, y0, x1, _ = self.travel_box
        wider = self.table_mm[0] - self.travel_mm[0]
        left = wider / 2 if self.table_left_mm is None else self.table_left_mm
        return x0 - left, y0, x1 + wider - left, y0 + self.table_mm[1]


class JointRecord(Record):
    label: Name
    start_mm: Point
    end_mm: Point


class PieceRecord(Record):
    id: Name
    name: Name
    copy_number: int = Field(alias="copy", ge=1, le=1_000_000)
    material: Name
    colour: Name
    thickness_mm: Size
    outline: Ring
    holes: tuple[Ring, ...] = ()
    marks: tuple[Ring, ...] = ()
    turn: Literal["any", "half", "none"]
    mirror: bool
    segment_of: Name | None = None
    joints: tuple[JointRecord, ...] = ()
    one_lot: Name = ""


class DemandRecord(Record):
    name: Name
    source: str
    digest: Name
    material: Name
    colour: Name
    thickness_mm: Size
    quantity: int = Field(ge=1, le=1_000_000)
    shapes: int = Field(ge=0, le=1_000_000)
    turn: Literal["any", "half", "none"]
    mirror: bool
    pieces: tuple[Name, ...]


class SeatRecord(Record):
    piece: Name
    x_mm: Length
    y_mm: Length
    turn_deg: Length


class SplitRecord(Record):
    parent: PieceRecord
    seats: tuple[SeatRecord, ...]
    at_least: int
    clearance_mm: Annotated[float, Field(ge=0, le=1.0)] = 0.0
    straps: tuple[SeatRecord, ...] = ()
    made_before: tuple[Name, ...] = ()


class SourceRecord(Record):
    stock_id: Name | None = None
    offer: Name | None = None
    cut_mm: tuple[Size, Size] | None = None


class TrimRecord(Record):
    order: int
    from_mm: Point
    to_mm: Point
    method: Literal["machine", "saw", "snap"]
    measure: Name
    uncut_ends_mm: tuple[Size, Size] = (0.0, 0.0)
    turn_deg: QuarterTurn = 0
    shift_mm: Point = (0.0, 0.0)
    file: FileName | None = None
    kerf_mm: Size = 0.0
    edge: Literal["A", "B", "C", "D"] | None = None


class BlankRecord(Record):
    id: Name
    rect_mm: tuple[Length, Length, Length, Length]


class PlacementRecord(Record):
    piece: Name
    blank: Name
    x_mm: Length
    y_mm: Length
    turn_deg: Length
    mirrored: bool = False


class JoinRecord(Record):
    number: int
    piece: Name
    sheet_mm: Point
    bed_mm: Point
    mismatch_mm: Size


class LineUpRecord(Record):
    number: int
    sheet_mm: Point
    bed_mm: Point
    cut_here: bool


class ShareRecord(Record):
    piece: Name
    kind: Literal["outline", "hole", "mark"]
    number: Annotated[int, Field(ge=1)]
    start_mm: Length
    end_mm: Length


class DistanceRecord(Record):
    start: Name
    end: Name
    mm: Size


class LinesUpRecord(Record):
    with_pass: int
    by: Literal["marks", "joins", "edge"]
    worst_mm: Size
    distances: tuple[DistanceRecord, ...] = ()


class StopRecord(Record):
    edge: Literal["A", "B", "C", "D"]
    side: Literal["left", "right", "front", "back"]
    at_mm: Length


class PassRecord(Record):
    order: int
    blank: Name
    turn_deg: QuarterTurn
    shift_mm: Point
    turn_before: Literal["none", "half", "quarter", "shift", "flip"]
    file: FileName
    whole: tuple[Name, ...]
    part: tuple[Name, ...] = ()
    joins: tuple[JoinRecord, ...] = ()
    shares: tuple[ShareRecord, ...] = ()
    lineup: tuple[LineUpRecord, ...] = ()
    lines_up: tuple[LinesUpRecord, ...] = ()
    frame_mm: tuple[Length, Length, Length, Length] | None = None
    spare_mm: tuple[Length, Length, Length, Length] | None = None
    stops: tuple[StopRecord, ...] = ()
    flipped: bool = False


class LeftoverRecord(Record):
    outline_mm: Corners
    holes_mm: tuple[Corners, ...] = ()
    keep: bool
    usable_mm: tuple[Length, Length, Length, Length]
    credit: Decimal = Decimal(0)


class NextBestRecord(Record):
    instead: tuple[SourceRecord, ...]
    extra: Decimal


class SheetRecord(Record):
    id: Name
    source: SourceRecord
    material: Name
    colour: Name
    thickness_mm: Size
    outline_mm: Corners
    holes_mm: tuple[Corners, ...] = ()
    price: Decimal
    trims: tuple[TrimRecord, ...]
    blanks: tuple[BlankRecord, ...]
    placements: tuple[PlacementRecord, ...]
    passes: tuple[PassRecord, ...]
    leftovers: tuple[LeftoverRecord, ...]
    lot: Name = ""
    both_faces_alike: bool = False
    next_best: NextBestRecord | None = None


class CostLineRecord(Record):
    what: Name
    amount: Decimal


class StockCostRecord(Record):
    material: str
    colour: str
    thickness_mm: float
    cost: Decimal
    bound: Decimal
    gap_percent: float


class CostRecord(Record):
    lines: tuple[CostLineRecord, ...]
    total: Decimal
    bound: Decimal
    gap_percent: float
    by_stock: tuple[StockCostRecord, ...] = ()


class PlanRecord(Record):
    format: Literal["halfturn-plan/1"]
    machine: MachineRecord
    pieces: tuple[PieceRecord, ...]
    sheets: tuple[SheetRecord, ...]
    cost: CostRecord
    warnings: tuple[str, ...] = ()
    demands: tuple[DemandRecord, ...] = ()
    splits: tuple[SplitRecord, ...] = ()


def read_plan(folder: Path) -> PlanRecord:
    """`plan.json` of a plan folder. Raises PlanFault if it is not there, too large or not such a plan."""
    path = folder / "plan.json"
    if not path.is_file():
        raise PlanFault("no plan here: there is no `plan.json`", where=(str(folder),), mend="name a plan folder")
    try:
        if path.stat().st_size > PLAN_BYTES_MAX:
            raise PlanFault(f"`plan.json` is over {PLAN_BYTES_MAX // 1_000_000} MB", where=(str(path),), mend=REPLAN)
        return PlanRecord.model_validate_json(path.read_bytes())
    except OSError as error:
        raise PlanFault(
            f"`plan.json` cannot be read: {error.strerror}", where=(str(path),), mend="check its rights"
        ) from error
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        trail = tuple(str(step) for step in first["loc"])
        more = f" (and {error.error_count() - 1} more)" if error.error_count() > 1 else ""
        raise PlanFault(f"not a plan: {first['msg']}{more}", where=(str(path), *trail), mend=REPLAN) from None
