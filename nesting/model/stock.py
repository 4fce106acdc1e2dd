"""What it is cut from: a supplier's offers, and offcuts on the rack."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from decimal import Decimal
from typing import ClassVar

from nesting.model.figures import LONGEST_MM, MOST_MONEY, THICKNESS_MM, check_range, check_words
from nesting.model.terms import STRICT, Point, StockKey


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
    corners in `outline_mm`; with `square` these are known to be straight and square.
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
    square: bool = False

    @property
    def stock(self) -> StockKey:
        return StockKey(self.material, self.colour, self.thickness_mm)
