"""What may be used: offcuts on the rack and sheets on offer, in one form for the master problem.

In: Offcuts, Offers. Out: Candidates. Pure.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from shapely.geometry import Polygon

from nesting import curves
from nesting.costing import money
from nesting.faults import StockFault
from nesting.model import (
    CutToSize,
    Edge,
    Leftover,
    Offcut,
    Offer,
    Piece,
    PlannedSheet,
    Point,
    Rect,
    Source,
    StockKey,
)

USED_SHARE = 0.6
"""How much of a sheet pieces take, roughly."""
EDGES: tuple[Edge, ...] = ("A", "B", "C", "D")
ALONG_MM = 0.5
"""An edge this near a side of the sheet runs along it."""


@dataclass(frozen=True, slots=True)
class Tier:
    """What each sheet costs in an order of `least` to `most` sheets; None: any number."""

    least: int
    most: int | None
    price: Decimal


@dataclass(frozen=True, slots=True)
class Supply:
    """What a supplier has to cut panels from: so many `sheets` of this size."""

    sheets: int
    size_mm: Point

    def panels_of_one(self, ordered_mm: Point) -> int:
        """How many panels of a size come out of a sheet, side by side."""
        (length, width), (x, y) = self.size_mm, ordered_mm
        return max(1, *(math.floor(length / a + 1e-9) * math.floor(width / b + 1e-9) for a, b in ((x, y), (y, x))))


@dataclass(frozen=True, slots=True)
class Candidate:
    """A sheet that may be used: an offcut once, an offer as often as its supplier sells it.

    At `price`, an order is of `least` to `most` sheets (None: any number); larger ones cost `other_prices` a sheet.
    `doubtful` are the sides along which it is as the factory cut it, not known to be straight and square.
    """

    id: str
    source: Source
    stock: StockKey
    outline_mm: tuple[Point, ...]
    holes_mm: tuple[tuple[Point, ...], ...]
    price: Decimal
    place: str
    polygon: Polygon
    least: int = 1
    most: int | None = None
    other_prices: tuple[Tier, ...] = ()
    lot: str = ""
    cut: CutToSize | None = None
    supply: Supply | None = None
    doubtful: tuple[Edge, ...] = ()

    @property
    def lot_name(self) -> str:
        """What it shares with sheets of its own lot; an offcut of unknown lot is one by itself."""
        return f"lot {self.lot}" if self.lot else str(replace(self.source, cut_mm=None))

    @property
    def once(self) -> bool:
        return self.source.stock_id is not None

    @property
    def any_number(self) -> bool:
        """Whether an order may be of any number of sheets, all at one price."""
        return self.least == 1 and self.most is None and not self.other_prices

    @property
    def limit(self) -> int | None:
        """How many of it there are; None: as many as are asked for."""
        return 1 if self.once else (self.other_prices[-1].most if self.other_prices else self.most)

    @property
    def lowest_price(self) -> Decimal:
        """Of a sheet, in the largest order."""
        return self.other_prices[-1].price if self.other_prices else self.price

    def sheet(self, sheet_id: str, leftovers: tuple[Leftover, ...]) -> PlannedSheet:
        """The sheet as it comes: nothing trimmed, nothing laid on it."""
        return PlannedSheet(
            id=sheet_id,
            source=self.source,
            material=self.stock.material,
            colour=self.stock.colour,
            thickness_mm=self.stock.thickness_mm,
            outline_mm=self.outline_mm,
            holes_mm=self.holes_mm,
            price=self.price,
            place=self.place,
            lot=self.lot,
            trims=(),
            blanks=(),
            placements=(),
            passes=(),
            leftovers=leftovers,
            square=not self.doubtful,
        )

    def expected_price(self, needed_mm2: float) -> float:
        """Of each sheet used, roughly, where so much area of pieces is to be held: small orders pay for all of it."""
        if self.cut is not None:
            needed_m2 = needed_mm2 / USED_SHARE / 1e6
            return min(float(self.price), float(self.cut.fee) + float(self.cut.price_per_m2) * needed_m2)
        if self.once or self.any_number:
            return float(self.price)
        sheets = max(1, math.ceil(needed_mm2 / (USED_SHARE * self.polygon.area)))
        others = [(tier.least, tier.price) for tier in self.other_prices]
        return min(float(price) * max(sheets, least) / sheets for least, price in ((self.least, self.price), *others))

    @property
    def rect(self) -> Rect:
        x0, y0, x1, y1 = self.polygon.bounds
        return x0, y0, x1, y1

    @property
    def price_per_mm2(self) -> Decimal:
        return self.price / Decimal(str(round(self.polygon.area, 3)))


def candidates(stock: StockKey, rack: Iterable[Offcut], offers: Iterable[Offer]) -> tuple[Candidate, ...]:
    """All sheets of one stock key that can be had, offcuts first; last, what is cut to size, as large as it comes."""
    cuts = [_offcut(cut) for cut in sorted(rack, key=lambda cut: cut.id) if cut.stock == stock]
    listed = sorted((offer for offer in offers if offer.stock == stock), key=lambda offer: offer.id)
    whole = (_offered(offer, tiers_of(offer)) for offer in listed)
    panels = (panel_of(offer, offer.cut) for offer in listed if offer.cut is not None and offer.in_stock != 0)
    return (*cuts, *(candidate for candidate in whole if candidate is not None), *panels)


def panel_of(offer: Offer, cut: CutToSize) -> Candidate:
    """The largest panel that is cut from the offer: it stands for all smaller ones, at the fee alone."""
    size = offer.length_mm - cut.tolerance_mm, offer.width_mm - cut.tolerance_mm
    corners = ((0.0, 0.0), (size[0], 0.0), size, (0.0, size[1]))
    source = Source(offer=offer.id, cut_mm=(offer.length_mm, offer.width_mm))
    supply = None if offer.in_stock is None else Supply(offer.in_stock, (offer.length_mm, offer.width_mm))
    return Candidate(
        f"{offer.id} cut",
        source,
        offer.stock,
        corners,
        (),
        cut.fee,
        offer.supplier,
        Polygon(corners),
        cut=cut,
        supply=supply,
        doubtful=() if offer.square else EDGES,
    )


def panel_sized(largest: Candidate, size: Point) -> Candidate:
    """A panel of a size that can be counted on: ordered larger by the tolerance, priced as ordered."""
    assert largest.cut is not None
    cut = largest.cut
    x, y = (max(side, least) for side, least in zip(size, cut.smallest_mm, strict=True))
    ordered = x + cut.tolerance_mm, y + cut.tolerance_mm
    area_m2 = Decimal(str(round(ordered[0] * ordered[1], 3))) / 1_000_000
    corners = ((0.0, 0.0), (x, 0.0), (x, y), (0.0, y))
    price = money(cut.price_per_m2 * area_m2 + cut.fee)
    source = replace(largest.source, cut_mm=ordered)
    return replace(largest, source=source, outline_mm=corners, polygon=Polygon(corners), price=price)


def _offcut(cut: Offcut) -> Candidate:
    source, polygon = Source(stock_id=cut.id), Polygon(cut.outline_mm, cut.holes_mm)
    return Candidate(
        cut.id,
        source,
        cut.stock,
        cut.outline_mm,
        cut.holes_mm,
        cut.book_value,
        cut.place,
        polygon,
        most=1,
        lot=cut.lot,
        doubtful=doubtful_sides(cut),
    )


def doubtful_sides(cut: Offcut) -> tuple[Edge, ...]:
    """The sides of its bounding rectangle along which an edge runs that is still as the factory cut it; none where the
    record says that it is square."""
    if cut.square:
        return ()
    corners = cut.outline_mm
    edges = [(corners[i], corners[(i + 1) % len(corners)]) for i in cut.true_edges]
    x0, y0, x1, y1 = Polygon(corners).bounds
    return tuple(
        edge
        for edge, axis, level in zip(EDGES, (1, 0, 1, 0), (y0, x1, y1, x0), strict=True)
        if any(abs(a[axis] - level) < ALONG_MM and abs(b[axis] - level) < ALONG_MM for a, b in edges)
    )


def _offered(offer: Offer, tiers: Sequence[Tier]) -> Candidate | None:
    if not tiers:
        return None
    first, *others = tiers
    corners = ((0.0, 0.0), (offer.length_mm, 0.0), (offer.length_mm, offer.width_mm), (0.0, offer.width_mm))
    return Candidate(
        offer.id,
        Source(offer=offer.id),
        offer.stock,
        corners,
        (),
        first.price,
        offer.supplier,
        Polygon(corners),
        first.least,
        first.most,
        tuple(others),
        doubtful=() if offer.square else EDGES,
    )


def tiers_of(offer: Offer) -> tuple[Tier, ...]:
    """The sizes of order that the supplier takes and can serve, smallest first; none if it has too few sheets."""
    if not offer.whole:
        return ()
    starts = [1, *(step.sheets for step in offer.breaks)]
    prices = [offer.price, *(step.price for step in offer.breaks)]
    ends = [*(start - 1 for start in starts[1:]), None]
    found = []
    for start, end, price in zip(starts, ends, prices, strict=True):
        least = max(start, offer.min_order)
        most = min((n for n in (end, offer.in_stock) if n is not None), default=None)
        if most is None or least <= most:
            found.append(Tier(least, most, price))
    return tuple(found)


def can_be_had(offer: Offer) -> bool:
    """Whether the supplier has any of it, whole or cut to size."""
    return bool(tiers_of(offer)) or (offer.cut is not None and offer.in_stock != 0)


def check_stock(
    pieces: Iterable[Piece], rack: Iterable[Offcut] | None, offers: Iterable[Offer], margin_mm: float
) -> None:
    """Raises StockFault for the first piece whose stock key neither the rack nor the offers have, or can deliver.

    Without a rack the offers alone count, and the fault says so.
    """
    on_rack = {cut.stock for cut in rack or ()}
    listed = tuple(offers)
    on_offer = {offer.stock for offer in listed if can_be_had(offer)}
    for piece in pieces:
        if piece.stock in on_rack | on_offer:
            continue
        least = sheet_words(piece, margin_mm)
        short = "; ".join(_shortage(offer) for offer in listed if offer.stock == piece.stock)
        if short:
            lacking = f"and {short}" if rack is None else f"of which the rack has none, and {short}"
            raise StockFault(
                f"{piece.name} needs {piece.stock}, {lacking}",
                mend=f"find another supplier: the piece needs a sheet of at least {least}",
            )
        have = ", ".join(map(str, sorted(on_offer)))
        neither = "is not on offer" if rack is None else "is neither on the rack nor on offer"
        nobody = "of which nothing is on offer" if rack is None else "of which the rack has none"
        lacking = f"which {neither} (on offer: {have})" if have else nobody
        put = "" if rack is None else "put such a sheet on the rack, "
        raise StockFault(
            f"{piece.name} needs {piece.stock}, {lacking}",
            mend=f"add an [[offer]] of at least {least} to workshop.toml, {put}or correct the piece's stock",
        )


def shortages(offers: Iterable[Offer], stocks: Iterable[StockKey]) -> list[str]:
    """The offers of these stock keys that cannot be ordered, in words."""
    wanted = set(stocks)
    return [_shortage(offer) for offer in offers if offer.stock in wanted and not can_be_had(offer)]


def sheet_words(piece: Piece, margin_mm: float) -> str:
    """The smallest sheet on which the piece lies as drawn, in whole millimetres."""
    x0, y0, x1, y1 = curves.bounds([piece.outline])
    across, along = (math.ceil(side + 2 * margin_mm - 1e-6) for side in (x1 - x0, y1 - y0))
    return f"{across} x {along} mm"


def _shortage(offer: Offer) -> str:
    if not offer.in_stock:
        return f"offer {offer.id} is out of stock (in_stock = 0)"
    return f"of offer {offer.id} there are only {offer.in_stock} (in_stock), the smallest order is {offer.min_order}"
