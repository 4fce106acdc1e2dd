"""Sign jobs made up from a seed, to measure with: letters, discs, panels, rings and stars; racks of offcuts; offers.

In: a seed, or a number of pieces. Out: Requests. Prices, sizes and rates are examples: sheets are priced by area and
thickness, larger ones a little cheaper by area, offcuts at a share of that.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

from nesting import curves
from nesting.drawing.pieces import read_order
from nesting.model import (
    CuttingFigure,
    Job,
    JobFile,
    Machine,
    Material,
    Offcut,
    Offer,
    Piece,
    PieceOrder,
    Point,
    Rates,
    Ring,
    StockKey,
    Workshop,
)
from nesting.plan import Request

RATES = Rates("EUR", Decimal(45), Decimal(36), keep_mm=(150.0, 200.0), join_cost=Decimal("1.50"))
KEYS = (
    StockKey("acrylic", "opal", 5.0),
    StockKey("acrylic", "midnight blue", 10.0),
    StockKey("acrylic", "clear", 3.0),
    StockKey("acrylic", "signal red", 5.0),
)
PRICE_PER_M2_MM = 9.0
"""Price of a square metre, for each millimetre of its thickness."""
SIZES: tuple[Point, ...] = ((600, 400), (1000, 600), (1220, 610), (1220, 1220), (2000, 1000), (2440, 1220))
FIGURES = tuple(
    CuttingFigure("acrylic", t, kerf, 38.0 / t, t / 5) for t, kerf in ((3.0, 0.15), (5.0, 0.17), (10.0, 0.25))
)
MACHINES = (
    Machine("small bed", "laser", (600, 400), (620, 400), FIGURES, open_front=True, gap_mm=5, margin_mm=5),
    Machine("middle bed", "laser", (900, 600), (920, 600), FIGURES, open_front=True, gap_mm=5, margin_mm=5),
    Machine("long bed", "laser", (1300, 900), (1320, 900), FIGURES, open_front=True, open_back=True, gap_mm=5),
)
WORDS = ("ORRERY", "GALLERY", "TEA ROOM", "BOOKS", "STUDIO 8", "HARBOUR", "WORKSHOP", "ATELIER", "MUSEUM", "CLOCKS")
FAMILIES = ("letters", "discs", "panels", "rings", "stars")


def sign_job(seed: int) -> Request:
    """A job of one to three stock keys, two families of pieces each, with a rack and offers of its own."""
    chance = random.Random(seed)
    keys = chance.sample(KEYS, chance.randint(1, 3))
    machine = MACHINES[(0, 0, 0, 1, 2)[seed % 5]]
    pieces = [piece for key in keys for piece in _pieces(key, chance)]
    rack = [cut for key in keys for cut in _offcuts(key, chance.randint(3, 9), chance)]
    offers = [offer for key in keys for offer in _offers(key, chance.sample(SIZES, 3))]
    return _request(f"sign {seed}", machine, pieces, rack, offers)


def letters_job(count: int, offcuts: int = 25, offers: int = 6, seed: int = 1) -> Request:
    """So many letters over three stock keys, with a rack and offers for each."""
    chance = random.Random(seed)
    keys = KEYS[:3]
    rack = [cut for k, key in enumerate(keys) for cut in _offcuts(key, (offcuts + k) // 3, chance)]
    listed = [offer for k, key in enumerate(keys) for offer in _offers(key, SIZES[1 + k : 1 + k + (offers + k) // 3])]
    pieces = []
    for k, key in enumerate(keys):
        wanted = (count + k) // 3
        pool = "".join(WORDS).replace(" ", "") * (wanted // 40 + 1)
        text = "".join(chance.sample(pool, wanted))
        pieces += _letters(key, text, 110 + 20 * k)
    return _request(f"{count} letters", MACHINES[0], pieces, rack, listed)


def _request(name: str, machine: Machine, pieces: list[Piece], rack: list[Offcut], offers: list[Offer]) -> Request:
    material = (Material("acrylic", 1190.0),)
    workshop = Workshop("bench", RATES, (machine,), material, tuple(offers))
    return Request(Job(name), tuple(pieces), workshop, tuple(rack))


# ── pieces ───────────────────────────────────────────────────────────────────────────────────────────────────


def _pieces(key: StockKey, chance: random.Random) -> Iterator[Piece]:
    for family in chance.sample(FAMILIES, 2):
        if family == "letters":
            yield from _letters(key, chance.choice(WORDS), chance.randrange(80, 240, 10))
        else:
            yield from _shapes(key, family, chance)


def _letters(key: StockKey, text: str, height_mm: float) -> Iterator[Piece]:
    order = PieceOrder(f"letter {key}", *_stock(key), wording=text, height_mm=height_mm, bridge_mm=8.0)
    yield from read_order(JobFile(Job(text), (order,)), Path())[0]


def _shapes(key: StockKey, family: str, chance: random.Random) -> Iterator[Piece]:
    for size in range(chance.randint(1, 3)):
        outline, holes = _shape(family, chance)
        for copy in range(1, chance.randint(2, 8) + 1):
            name = f"{family[:-1]} {size + 1}"
            piece_id = f"{name} {key} {copy}".replace(" ", "-")
            yield Piece(piece_id, name, copy, *_stock(key), outline, holes)


def _shape(family: str, chance: random.Random) -> tuple[Ring, tuple[Ring, ...]]:
    across = float(chance.randrange(60, 330, 10))
    if family == "panels":
        deep = float(chance.randrange(60, 240, 10))
        return curves.ring_of([(0, 0), (across, 0), (across, deep), (0, deep)]), ()
    if family == "discs":
        return _circle(across / 2, across / 2), ()
    if family == "rings":
        hole = curves.reversed_ring(curves.moved(_circle(across * 0.35, across * 0.35), across * 0.15, across * 0.15))
        return _circle(across / 2, across / 2), (hole,)
    return _star(across / 2, chance.choice((5, 6, 8))), ()


def _circle(radius: float, middle: float) -> Ring:
    return ((middle - radius, middle, 1.0), (middle + radius, middle, 1.0))


def _star(radius: float, points: int) -> Ring:
    turns = [(math.pi * k / points + math.pi / 2, radius if k % 2 == 0 else radius * 0.45) for k in range(2 * points)]
    return curves.ring_of([(radius + r * math.cos(t), radius + r * math.sin(t)) for t, r in turns])


# ── stock ────────────────────────────────────────────────────────────────────────────────────────────────────


def _stock(key: StockKey) -> tuple[str, str, float]:
    return key.material, key.colour, key.thickness_mm


def _price(key: StockKey, area_mm2: float, size_mm2: float, share: float = 1.0) -> Decimal:
    """By area and thickness; a sheet of 3 m2 is a fifth cheaper by area than a small one."""
    rate = PRICE_PER_M2_MM * key.thickness_mm * (1.0 - 0.2 * min(1.0, size_mm2 / 3e6))
    return Decimal(str(round(rate * area_mm2 / 1e6 * share, 2)))


def _offers(key: StockKey, sizes: tuple[Point, ...] | list[Point]) -> Iterator[Offer]:
    for length, width in sizes:
        name = f"{key.colour} {key.thickness_mm:g} {length:g}x{width:g}".replace(" ", "-")
        price = _price(key, length * width, length * width)
        yield Offer(name, *_stock(key), float(length), float(width), price, "sheet merchant")


def _offcuts(key: StockKey, count: int, chance: random.Random) -> Iterator[Offcut]:
    for number in range(1, count + 1):
        outline, holes = _offcut(float(chance.randrange(180, 800, 10)), float(chance.randrange(160, 600, 10)), chance)
        area = abs(curves.signed_area(curves.ring_of(outline)))
        value = _price(key, area, 0.0, chance.uniform(0.25, 0.7))
        name = f"{key.colour[0].upper()}{key.thickness_mm:g}-{number}"
        yield Offcut(name, *_stock(key), outline, holes, value, f"bay {number}")


def _offcut(
    width: float, depth: float, chance: random.Random
) -> tuple[tuple[Point, ...], tuple[tuple[Point, ...], ...]]:
    """A rectangle, one without a corner, an L, or one with a round hole where a disc was cut."""
    x, y = (round(side * chance.uniform(0.4, 0.8)) for side in (width, depth))
    form = chance.choice(("rectangle", "rectangle", "corner", "L", "hole"))
    if form == "corner":
        return ((0, 0), (width, 0), (width, y), (x, depth), (0, depth)), ()
    if form == "L":
        return ((0, 0), (width, 0), (width, y), (x, y), (x, depth), (0, depth)), ()
    corners = ((0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth))
    radius = min(width, depth) * 0.25
    turns = [-math.tau * k / 48 for k in range(48)]
    hole = tuple((width / 2 + radius * math.cos(t), depth / 2 + radius * math.sin(t)) for t in turns)
    return corners, (hole,) if form == "hole" else ()
