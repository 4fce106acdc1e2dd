"""Drawing primitives: a picture is a list of paths and words in paper units, rendered to SVG and PDF alike.

In: shapes in millimetres, y up. Out: a Picture, y down, 360 units wide: a phone shows one unit as about one pixel.
Method: one scale and one shift map the world to paper; an arc stays an arc, its bulge changes sign with y.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from nesting.model import Point, Rect, Vertex

WIDTH = 360.0
"""Paper units across a picture."""
MAX_DRAWING = 380.0
"""Paper units a drawing may be deep; more would not go on one phone screen."""


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line's look; a dash pattern beside every colour, so that black-and-white print tells lines apart."""

    width: float
    colour: str
    dash: tuple[float, ...] = ()


INK = "#1f2a30"
MUTED = "#6b7378"
PAPER = "#ffffff"
SHEET = "#f3efe6"
SHADE = "#e3ddd0"
NOW = "#0d5c75"
NOW_FILL = "#cfe3ea"
LATER = "#9a4a12"

EDGE = Stroke(1.0, INK)
NOW_LINE = Stroke(2.2, NOW)
MARK_LINE = Stroke(1.0, NOW, (1.0, 1.5))
BEFORE_LINE = Stroke(1.5, MUTED, (1.2, 3.0))
LATER_LINE = Stroke(1.2, LATER, (7.0, 4.0))
TRAVEL_LINE = Stroke(1.2, INK, (9.0, 3.0, 1.5, 3.0))
FRAME_LINE = Stroke(0.8, NOW, (3.5, 2.5))
TRIM_LINE = Stroke(2.4, LATER, (9.0, 4.5))
THIN = Stroke(0.6, MUTED)
HATCH = Stroke(0.5, MUTED)


@dataclass(frozen=True, slots=True)
class Path:
    """Chains of vertices (x, y, bulge), paper units; filled even-odd when `fill` is set."""

    chains: tuple[tuple[Vertex, ...], ...]
    closed: bool
    stroke: Stroke | None = None
    fill: str | None = None


@dataclass(frozen=True, slots=True)
class Words:
    """One line of text; `size` in paper units, anchored at its baseline's start, middle or end.

    `is_mm` says that the text is a bare figure in millimetres, as on a dimension line.
    """

    x: float
    y: float
    text: str
    size: float = 10.0
    anchor: str = "middle"
    bold: bool = False
    colour: str = INK
    turn_deg: float = 0.0
    halo: bool = True
    is_mm: bool = False


Item = Path | Words


def disc(x: float, y: float, radius: float, stroke: Stroke | None = None, fill: str | None = None) -> Path:
    """A circle, paper units."""
    return Path((((x - radius, y, 1.0), (x + radius, y, 1.0)),), True, stroke, fill)


@dataclass(frozen=True, slots=True)
class Picture:
    """What to draw, and the same in words for those who cannot see it."""

    width: float
    height: float
    items: tuple[Item, ...]
    alt: str


@dataclass(slots=True)
class Canvas:
    """Collects the items of one picture. `world` is the rectangle of millimetres that must be seen.

    `origin` may be moved between items, to draw several things that each count from their own corner.
    """

    world: Rect
    left: float = 12.0
    top: float = 12.0
    right: float = 12.0
    bottom: float = 12.0
    width: float = WIDTH
    origin: Point = (0.0, 0.0)
    deepest: float = MAX_DRAWING
    items: list[Item] = field(default_factory=list)
    scale: float = field(init=False)
    height: float = field(init=False)

    def __post_init__(self) -> None:
        x0, y0, x1, y1 = self.world
        across, deep = max(x1 - x0, 1.0), max(y1 - y0, 1.0)
        self.scale = min((self.width - self.left - self.right) / across, self.deepest / deep)
        # A drawing limited by its depth is set in the middle.
        self.left += (self.width - self.left - self.right - self.scale * across) / 2
        self.height = self.top + self.scale * deep + self.bottom

    def at(self, x_mm: float, y_mm: float) -> Point:
        """Millimetres, counted from `origin`, to paper units."""
        x, y = x_mm + self.origin[0] - self.world[0], self.world[3] - y_mm - self.origin[1]
        return self.left + x * self.scale, self.top + y * self.scale

    # ── from millimetres ──

    def chains(
        self,
        chains: Iterable[Sequence[Vertex]],
        closed: bool,
        stroke: Stroke | None = None,
        fill: str | None = None,
    ) -> None:
        drawn = tuple(tuple((*self.at(x, y), -bulge) for x, y, bulge in chain) for chain in chains)
        if drawn:
            self.items.append(Path(drawn, closed, stroke, fill))

    def shape(self, shape: BaseGeometry, stroke: Stroke | None = None, fill: str | None = None) -> None:
        """Every polygon of a shapely shape, holes left open, and every line."""
        for part in shapely.get_parts(shape).tolist():
            if isinstance(part, LineString):
                self.chains([[(x, y, 0.0) for x, y in part.coords]], False, stroke)
            elif isinstance(part, Polygon):
                rings = [part.exterior, *part.interiors]
                self.chains([[(x, y, 0.0) for x, y in ring.coords[:-1]] for ring in rings], True, stroke, fill)

    def rect(self, rect: Rect, stroke: Stroke | None = None, fill: str | None = None) -> None:
        self.shape(shapely.box(*rect), stroke, fill)

    def line(self, a: Point, b: Point, stroke: Stroke) -> None:
        self.chains([[(*a, 0.0), (*b, 0.0)]], False, stroke)

    def hatch(self, shape: BaseGeometry, step: float = 6.0, stroke: Stroke = HATCH) -> None:
        """Slanting lines over a shape, `step` paper units apart."""
        x0, y0, x1, y1 = shape.bounds
        deep, gap = y1 - y0, step / self.scale * math.sqrt(2)
        count = math.ceil((x1 - x0 + deep) / gap)
        lines = [LineString([(x0 - deep + i * gap, y0), (x0 + i * gap, y1)]) for i in range(1, count)]
        self.shape(shapely.intersection(shape, shapely.union_all(lines)), stroke)

    def label(
        self,
        x_mm: float,
        y_mm: float,
        text: str,
        size: float = 10.0,
        dy: float = 0.0,
        bold: bool = False,
        turn_deg: float = 0.0,
    ) -> None:
        """Words centred on a point of the world; `dy` paper units lower."""
        x, y = self.at(x_mm, y_mm)
        turn = math.radians(turn_deg)
        sink = size * 0.36  # from the middle of the digits down to their feet
        self.words(x - sink * math.sin(turn), y + sink * math.cos(turn) + dy, text, size, bold=bold, turn_deg=turn_deg)

    def measure(self, a: Point, b: Point, text: str, away: float = 16.0) -> None:
        """A dimension line `away` paper units to the right of the way from a to b, with its figure upon it."""
        (ax, ay), (bx, by) = self.at(*a), self.at(*b)
        along = math.dist((ax, ay), (bx, by)) or 1.0
        ux, uy = (bx - ax) / along, (by - ay) / along
        nx, ny = -uy, ux
        ends = [(ax + nx * away, ay + ny * away), (bx + nx * away, by + ny * away)]
        for (x, y), (foot_x, foot_y) in zip(ends, [(ax, ay), (bx, by)], strict=True):
            self._stroke([(foot_x, foot_y), (x + nx * 3, y + ny * 3)], THIN)
            self._stroke([(x - 2.5 * (ux + nx), y - 2.5 * (uy + ny)), (x + 2.5 * (ux + nx), y + 2.5 * (uy + ny))], EDGE)
        self._stroke(ends, THIN)
        # A figure longer than its line stands beside it, not on it.
        aside = 9.0 if along < 6.5 * len(text) else 0.0
        x, y = (ends[0][0] + ends[1][0]) / 2 + nx * aside, (ends[0][1] + ends[1][1]) / 2 + ny * aside
        if abs(ux) >= abs(uy):
            self.items.append(Words(x, y + 3.6, text, bold=True, is_mm=True))
        else:
            self.items.append(Words(x + 3.6, y, text, bold=True, turn_deg=-90.0, is_mm=True))

    # ── in paper units ──

    def _stroke(self, points: Sequence[Point], stroke: Stroke, closed: bool = False, fill: str | None = None) -> None:
        self.items.append(Path((tuple((*p, 0.0) for p in points),), closed, stroke, fill))

    def words(
        self,
        x: float,
        y: float,
        text: str,
        size: float = 10.0,
        anchor: str = "middle",
        bold: bool = False,
        colour: str = INK,
        turn_deg: float = 0.0,
    ) -> None:
        self.items.append(Words(x, y, text, size, anchor, bold, colour, turn_deg))

    def badge(self, x: float, y: float, text: str, corners: int = 0, radius: float = 7.0) -> None:
        """A short label in a disc, or in a polygon standing on a corner."""
        if corners:
            turn = math.tau / corners
            points = [
                (x + radius * 1.2 * math.sin(i * turn), y - radius * 1.2 * math.cos(i * turn)) for i in range(corners)
            ]
            self._stroke(points, EDGE, closed=True, fill=PAPER)
        else:
            self.items.append(disc(x, y, radius, EDGE, PAPER))
        self.items.append(Words(x, y + 3.0, text, 8.5, bold=True, halo=False))

    def cross(self, x: float, y: float, radius: float = 5.0) -> None:
        self._stroke([(x - radius, y), (x + radius, y)], NOW_LINE)
        self._stroke([(x, y - radius), (x, y + radius)], NOW_LINE)

    def ring(self, x: float, y: float, radius: float) -> None:
        self.items.append(disc(x, y, radius, EDGE))

    def arrow(self, ax: float, ay: float, bx: float, by: float) -> None:
        along = math.dist((ax, ay), (bx, by)) or 1.0
        ux, uy = (bx - ax) / along, (by - ay) / along
        self._stroke([(ax, ay), (bx - 6 * ux, by - 6 * uy)], Stroke(2.0, INK))
        head = [(bx, by), (bx - 8 * ux - 4 * uy, by - 8 * uy + 4 * ux), (bx - 8 * ux + 4 * uy, by - 8 * uy - 4 * ux)]
        self._stroke(head, Stroke(0.5, INK), closed=True, fill=INK)

    def standing(self, x: float, y: float, text: str) -> None:
        """The person's place: a solid triangle that points into the machine, words below it."""
        self._stroke([(x - 5, y), (x + 5, y), (x, y - 8)], Stroke(0.5, INK), closed=True, fill=INK)
        self.words(x, y + 10, text, 8.5)

    def datum(self, x: float, y: float) -> None:
        """The corner that coordinates count from: a disc, and two arrows beside the axes."""
        self.arrow(x, y + 9, x + 28, y + 9)
        self.arrow(x - 9, y, x - 9, y - 28)
        self.items.append(disc(x, y, 3.5, EDGE, INK))
        self.words(x + 34, y + 12, "x", 9.0, bold=True)
        self.words(x - 9, y - 33, "y", 9.0, bold=True)
        self.words(x - 9, y + 13, "0,0", 8.5, bold=True)

    def plate(self, x_mm: float, y_mm: float, text: str, radius: float) -> None:
        """A light letter on a dark square, for the edges of a blank."""
        x, y = self.at(x_mm, y_mm)
        corners = [
            (x - radius, y - radius),
            (x + radius, y - radius),
            (x + radius, y + radius),
            (x - radius, y + radius),
        ]
        self._stroke(corners, Stroke(0.8, PAPER), closed=True, fill=INK)
        self.items.append(Words(x, y + radius * 0.6, text, radius * 1.65, bold=True, colour=PAPER, halo=False))

    def finish(self, alt: str, legend: Sequence[tuple[str, Stroke | str]] = ()) -> Picture:
        """The picture, with its scale bar and the meaning of its lines below the drawing."""
        self._scale_bar()
        for i, (text, look) in enumerate(legend):
            column, row = i % 2, i // 2
            x, y = 8.0 + column * self.width / 2, self.height + 10.0 + row * 15.0
            self._sample(x, y, look)
            self.items.append(Words(x + 30.0, y + 3.4, text, 9.0, "start", halo=False))
        self.height += 15.0 * math.ceil(len(legend) / 2) + (4.0 if legend else 0.0)
        return Picture(self.width, round(self.height, 2), tuple(self.items), alt)

    def _sample(self, x: float, y: float, look: Stroke | str) -> None:
        if isinstance(look, Stroke):
            self._stroke([(x, y), (x + 25.0, y)], look)
        else:
            self._stroke([(x, y - 5), (x + 25.0, y - 5), (x + 25.0, y + 5), (x, y + 5)], THIN, closed=True, fill=look)

    def _scale_bar(self) -> None:
        """A bar of a round number of millimetres, in two halves, at the lower left."""
        length = next((mm for mm in (1000, 500, 200, 100, 50, 20, 10) if mm * self.scale <= 110.0), 10)
        half = length * self.scale / 2
        x, y = 8.0, self.height + 8.0
        for i, fill in enumerate([INK, PAPER]):
            left = x + i * half
            corners = [(left, y), (left + half, y), (left + half, y + 4.0), (left, y + 4.0)]
            self._stroke(corners, Stroke(0.6, INK), closed=True, fill=fill)
        self.items.append(Words(x + 2 * half + 6.0, y + 5.5, f"{length} mm", 9.0, "start", halo=False))
        self.height += 20.0
