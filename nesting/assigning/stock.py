"""What may be used: offcuts on the rack and sheets on offer, in one form for the master problem.

In: Offcuts, Offers. Out: Candidates. Pure.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from shapely.geometry import Polygon

from nesting.faults import StockFault
from nesting.model import Machine, Offcut, Offer, Piece, Point, Rect, Source, StockKey


@dataclass(frozen=True, slots=True)
class Candidate:
    """A sheet that may be used: an offcut once, an offer any number of times."""

    id: str
    source: Source
    stock: StockKey
    outline_mm: tuple[Point, ...]
    holes_mm: tuple[tuple[Point, ...], ...]
    price: Decimal
    place: str
    polygon: Polygon

    @property
    def once(self) -> bool:
        return self.source.stock_id is not None

    @property
    def rect(self) -> Rect:
        x0, y0, x1, y1 = self.polygon.bounds
        return x0, y0, x1, y1

    @property
    def price_per_mm2(self) -> Decimal:
        return self.price / Decimal(str(round(self.polygon.area, 3)))


def candidates(stock: StockKey, rack: Iterable[Offcut], offers: Iterable[Offer]) -> tuple[Candidate, ...]:
    """All sheets of one stock key, offcuts first."""
    found = [
        Candidate(
            cut.id,
            Source(stock_id=cut.id),
            cut.stock,
            cut.outline_mm,
            cut.holes_mm,
            cut.book_value,
            cut.place,
            Polygon(cut.outline_mm, cut.holes_mm),
        )
        for cut in sorted(rack, key=lambda cut: cut.id)
        if cut.stock == stock
    ]
    for offer in sorted(offers, key=lambda offer: offer.id):
        if offer.stock == stock:
            corners = ((0.0, 0.0), (offer.length_mm, 0.0), (offer.length_mm, offer.width_mm), (0.0, offer.width_mm))
            source = Source(offer=offer.id)
            found.append(Candidate(offer.id, source, stock, corners, (), offer.price, offer.supplier, Polygon(corners)))
    return tuple(found)


def check_stock(pieces: Iterable[Piece], rack: Iterable[Offcut], offers: Iterable[Offer]) -> None:
    """Raises StockFault for the first piece whose stock key neither the rack nor the offers have."""
    on_rack = {cut.stock for cut in rack}
    on_offer = {offer.stock for offer in offers}
    for piece in pieces:
        if piece.stock not in on_rack | on_offer:
            have = ", ".join(str(stock) for stock in sorted(on_rack | on_offer)) or "nothing"
            raise StockFault(
                f"{piece.name} needs {piece.stock}, which is neither on the rack nor on offer (there is: {have})",
                mend="add an [[offer]] to workshop.toml, put such a sheet on the rack, or correct the piece's stock",
            )


def rooms(found: Iterable[Candidate], machine: Machine) -> list[Point]:
    """What one pass can hold of each sheet, inside its margins: (x, y) of the sheet frame, for both ways to lay it."""
    inset = 2 * machine.margin_mm
    listed = []
    for candidate in found:
        x0, y0, x1, y1 = candidate.rect
        width, depth = x1 - x0 - inset, y1 - y0 - inset
        for travel_x, travel_y in (machine.travel_mm, machine.travel_mm[::-1]):
            listed.append((min(width, travel_x), min(depth, travel_y)))
    return listed
