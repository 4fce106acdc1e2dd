"""What is asked of several sheets and answered: stock, layouts on it, and the figures of both.

In: shapes and stock (grounds with cost and quantity), mm. Out: records.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry import Polygon

from nesting.layout.outlines import turned
from nesting.layout.terms import Effort, Ground, Layout, Shape, Spot

HASTE = 5
"""Rounds without gain before a piece forced onto one of many sheets is taken out again: another may fit better."""
QUARTERS = (0.0, 90.0, 180.0, 270.0)


@dataclass(frozen=True, slots=True)
class Stock:
    """A kind of sheet: what it costs, and how many there are (None: any number)."""

    ground: Ground
    cost: float = 1.0
    quantity: int | None = None


@dataclass(frozen=True, slots=True)
class Stocked:
    """A layout on several sheets: spot.ground counts `sheets`, each the number of a kind of stock."""

    layout: Layout
    sheets: tuple[int, ...]
    cost: float


@dataclass(frozen=True)
class Asked:
    shapes: list[Shape]
    stock: list[Stock]
    gap_mm: float
    margin_mm: float
    seed: int

    def cost(self, sheets: Iterable[int]) -> float:
        return sum(self.stock[kind].cost for kind in sheets)

    def room(self, sheets: Iterable[int]) -> float:
        """Area to lay on."""
        return sum(self.rooms[kind] for kind in sheets)

    def least(self, sheets: Iterable[int], left: Iterable[Shape]) -> float:
        """What these sheets cost, and at least those that what is left will lie on, by its area."""
        cheap = min(stock.cost / room for stock, room in zip(self.stock, self.rooms, strict=True) if room > 0.0)
        return self.cost(sheets) + cheap * sum(self.areas[shape.id] for shape in left)

    def available(self, kind: int, taken: int) -> bool:
        """Whether there are so many of a kind, or more."""
        most = self.stock[kind].quantity
        return most is None or taken <= most

    @cached_property
    def rooms(self) -> list[float]:
        return [_room(stock.ground) for stock in self.stock]

    @cached_property
    def areas(self) -> dict[str, float]:
        return {shape.id: shape.polygon.area for shape in self.shapes}

    @cached_property
    def alike(self) -> dict[str, Hashable]:
        """What pieces have in common that can take each other's place."""
        return {s.id: (s.polygon.wkb, s.turns_deg, s.mirror, s.quality, s.reach_charge) for s in self.shapes}

    def stocked(self, sheets: Sequence[int], spots: Sequence[Spot], left: Sequence[Shape], spent: int) -> Stocked:
        """A layout on such sheets, spots in the order of the shapes."""
        by_id = {spot.id: spot for spot in spots}
        ordered = tuple(by_id[shape.id] for shape in self.shapes if shape.id in by_id)
        value = sum(shape.value for shape in self.shapes) - sum(shape.value for shape in left)
        layout = Layout(ordered, tuple(shape.id for shape in left), value, None, Effort(spent))
        return Stocked(layout, tuple(sheets), self.cost(sheets))

    @cached_property
    def squared(self) -> list[Shape]:
        """Shapes that may lie at any angle, square to the axes if any sheet has room for them so."""
        boxes = [stock.ground.polygon.bounds for stock in self.stock]
        return [_squared(shape, boxes) if shape.turns_deg is None else shape for shape in self.shapes]

    @property
    def ways(self) -> list[list[Shape]]:
        """The shapes squared and as they are, or once if that is the same."""
        return [self.squared, self.shapes] if any(shape.turns_deg is None for shape in self.shapes) else [self.shapes]


def _room(ground: Ground) -> float:
    return float(ground.polygon.area - sum(pinned.intersection(ground.polygon).area for pinned in ground.pinned))


def _squared(shape: Shape, boxes: Sequence[tuple[float, float, float, float]]) -> Shape:
    """As drawn, and by quarter turns; where no edge as drawn is along an axis, also with its longest edge along one."""
    ring = shapely.get_coordinates(shape.polygon.convex_hull)
    steps = np.diff(ring, axis=0)
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    aslant = np.abs(steps).min(axis=1) > 1e-6 * lengths.max()
    turns: tuple[float, ...] = QUARTERS
    if aslant.all():
        dx, dy = steps[int(lengths.argmax())].tolist()
        flush = -math.degrees(math.atan2(dy, dx))
        turns += tuple((flush + quarter) % 360.0 for quarter in QUARTERS)
    fits = any(_fits(shape.polygon, turn, box) for turn in turns for box in boxes)
    return replace(shape, turns_deg=turns) if fits else shape


def _fits(polygon: Polygon, turn_deg: float, box: tuple[float, float, float, float]) -> bool:
    width, height = np.ptp(turned(shapely.get_coordinates(polygon), turn_deg, False), axis=0)
    return bool(width <= box[2] - box[0] and height <= box[3] - box[1])
