"""What the engine is asked and what it answers: shapes, ground, spots, layouts, stop rules, watchers. Millimetres.

A `Stop` says which share of the effort allowed is used up; it sees work done, never a clock, so that the same seed
gives the same layout everywhere. Stops are small callables that compose with `first_of`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from shapely.geometry import Polygon

TOLERANCE_MM = 1e-4
"""How far a gap, margin or reach may be fallen short of; far below what a machine can do."""


def same_turn(one_deg: float, other_deg: float) -> bool:
    """Whether two turns are the same, whole turns apart or not."""
    return abs((one_deg - other_deg + 180.0) % 360.0 - 180.0) < 1e-7


@dataclass(frozen=True, slots=True)
class Shape:
    """What is to be laid, in its own frame. `polygon` may have holes; other shapes may lie in them.

    `turns_deg`: the turns allowed, None for any angle. `value`: its worth when only a subset fits.
    `quality`: it may lie on zones of at least that quality; by default on no zone at all.
    `reach_charge`: the value lost if it lies across reaches; None: it must lie wholly in one.
    """

    id: str
    polygon: Polygon
    turns_deg: tuple[float, ...] | None = (0.0,)
    mirror: bool = False
    value: float = 1.0
    reach_charge: float | None = None
    quality: float = math.inf

    def may_turn(self, turn_deg: float) -> bool:
        """Whether it may be laid turned so."""
        return self.turns_deg is None or any(same_turn(turn, turn_deg) for turn in self.turns_deg)


@dataclass(frozen=True, slots=True)
class Ground:
    """Where to lay, sheet frame: an outline with holes; the reaches a shape must lie in (none: everywhere); what is
    pinned there already, from which the rest keeps the gap; zones of lower quality, the higher the better."""

    polygon: Polygon
    reaches: tuple[Polygon, ...] = ()
    pinned: tuple[Polygon, ...] = ()
    zones: tuple[tuple[Polygon, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a shape lies: mirror in x if mirrored, turn ccw about the shape's own origin, translate.

    `ground` counts the grounds where there are several; `across`: it lies across reaches and is charged for it."""

    id: str
    x_mm: float
    y_mm: float
    turn_deg: float
    mirrored: bool = False
    ground: int = 0
    across: bool = False


@dataclass(frozen=True, slots=True)
class Effort:
    """Work done so far: positions tried, and rounds of moving every shape in conflict."""

    evaluations: int = 0
    rounds: int = 0

    def __add__(self, other: Effort) -> Effort:
        return Effort(self.evaluations + other.evaluations, self.rounds + other.rounds)


@dataclass(frozen=True, slots=True)
class Layout:
    """A valid layout: spots in the order of the shapes, ids of those that found no place, the value laid (charges
    taken off), the length used (strips), the effort spent."""

    spots: tuple[Spot, ...]
    missing: tuple[str, ...] = ()
    value: float = 0.0
    length_mm: float | None = None
    effort: Effort = Effort()


Stop = Callable[[Effort], float]
"""The share of the effort allowed that is used up: 1 or more means stop."""


def after_evaluations(most: int) -> Stop:
    """Stop when so many positions have been tried; a thread tries one to three million a second."""
    return lambda effort: effort.evaluations / most


def first_of(*stops: Stop) -> Stop:
    """Stop when the first of these stops."""
    return lambda effort: max(stop(effort) for stop in stops)


class Watch(Protocol):
    """Told of progress; returns nothing."""

    def better(self, layout: Layout) -> None:
        """A better layout was found."""


class Quiet:
    """Watches nothing."""

    def better(self, layout: Layout) -> None:
        """Nothing to tell."""


QUIET = Quiet()
