"""Charts of a few points with straight lines between them: `Picture`s made of the same primitives as all others.

In: series of (x, y). Out: a Picture with axes, a dot for each point and, beside it, its value.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cli.documents import canvas as look
from cli.documents.canvas import Item, Path, Picture, Stroke, Words
from cli.documents.words import wrapped
from nesting.model import Point

WIDTH, HEIGHT = look.WIDTH, 200.0
LEFT, RIGHT, TOP, BOTTOM = 44.0, 20.0, 24.0, 34.0
LINE = 11.0
CHARACTERS = 60
"""Across the picture, in the size of the axes' names."""


@dataclass(frozen=True, slots=True)
class Series:
    """Points in order of x, one look for all."""

    name: str
    points: tuple[Point, ...]
    stroke: Stroke


def chart(series: Sequence[Series], across: str, up: str, alt: str) -> Picture:
    """Straight axes from the lowest to the highest value, y from zero; x in even steps from point to point."""
    xs = sorted({x for one in series for x, _ in one.points})
    highest = max(y for one in series for _, y in one.points) or 1.0
    heads = wrapped(up, CHARACTERS, len)
    top = TOP + LINE * (len(heads) - 1)
    step = (WIDTH - LEFT - RIGHT) / max(1, len(xs) - 1)

    def at(point: Point) -> Point:
        return LEFT + xs.index(point[0]) * step, HEIGHT - BOTTOM - point[1] / highest * (HEIGHT - top - BOTTOM)

    items: list[Item] = [_line([(LEFT, top), (LEFT, HEIGHT - BOTTOM), (WIDTH - RIGHT, HEIGHT - BOTTOM)], look.THIN)]
    items += [Words(at((x, 0.0))[0], HEIGHT - BOTTOM + 12, f"{x:g}", 9.0) for x in xs[:: max(1, len(xs) // 8)]]
    items += [
        Words(LEFT - 5, top + 3, f"{highest:.0f}", 9.0, "end"),
        Words(LEFT - 5, HEIGHT - BOTTOM + 3, "0", 9.0, "end"),
    ]
    items += [Words((LEFT + WIDTH - RIGHT) / 2, HEIGHT - 8, across, 9.0)]
    items += [Words(6, 12 + LINE * n, head, 9.0, "start") for n, head in enumerate(heads)]
    for number, one in enumerate(series):
        places = [at(point) for point in one.points]
        items.append(_line(places, one.stroke))
        items += [look.disc(x, y, 2.5, fill=one.stroke.colour) for x, y in places]
        x, y = places[-1]
        # Names stand above the first line and below the others, which lie lower.
        items.append(Words(x, y + (15 if number else -7), f"{one.name} {one.points[-1][1]:.2f}", 9.0, "end", bold=True))
    return Picture(WIDTH, HEIGHT, tuple(items), alt)


def _line(points: Sequence[Point], stroke: Stroke) -> Path:
    return Path((tuple((*point, 0.0) for point in points),), False, stroke)
