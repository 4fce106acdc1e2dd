"""A plain chart of falling steps as SVG, without a plotting library.

In: points by name, words for the axes. Out: SVG text; x logarithmic, y in per cent above each curve's last value,
by its square root, so that the last small steps can be told apart beside large first ones.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

WIDTH, HEIGHT, LEFT, TOP, RIGHT, BOTTOM = 760.0, 420.0, 60.0, 40.0, 150.0, 50.0
COLOURS = ("#0b5394", "#b45f06", "#38761d", "#741b47", "#45818e", "#7f6000", "#990000", "#351c75")
LEVELS = (0, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 10_000)
"""Where the chart may be ruled across."""
Points = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class _Axes:
    low: float
    high: float
    top: float

    def at(self, x: float, y: float) -> str:
        across = (math.log10(x) - math.log10(self.low)) / (math.log10(self.high) - math.log10(self.low))
        up = math.sqrt(max(0.0, y) / self.top)
        return f"{LEFT + across * (WIDTH - LEFT - RIGHT):.1f},{HEIGHT - BOTTOM - up * (HEIGHT - TOP - BOTTOM):.1f}"


def steps_svg(curves: Mapping[str, Points], x_words: str, y_words: str) -> str:
    """One step line for each curve, and its name beside the chart."""
    scaled = {name: [(x, 100.0 * (y / points[-1][1] - 1)) for x, y in points] for name, points in curves.items()}
    every = [point for points in scaled.values() for point in points]
    axes = _Axes(
        10 ** math.floor(math.log10(min(x for x, _ in every))),
        10 ** math.ceil(math.log10(max(x for x, _ in every))),
        next(level for level in LEVELS[1:] if level >= max(y for _, y in every)),
    )
    lines = [part for k, (name, points) in enumerate(scaled.items()) for part in _curve(k, name, points, axes)]
    font = 'font-family="sans-serif" font-size="12"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" {font}>'
    words = [_text(LEFT, HEIGHT - 12, x_words), _text(LEFT, 20, f"{y_words}: per cent above the last")]
    return "\n".join(
        [head, '<rect width="100%" height="100%" fill="white"/>', *_grid(axes), *lines, *words, "</svg>\n"]
    )


def _curve(k: int, name: str, points: Points, axes: _Axes) -> Iterator[str]:
    corners = [axes.at(*points[0])]
    for (_, before), (x, y) in itertools.pairwise(points):
        corners += [axes.at(x, before), axes.at(x, y)]
    colour = COLOURS[k % len(COLOURS)]
    yield f'<polyline points="{" ".join(corners)}" fill="none" stroke="{colour}" stroke-width="2"/>'
    yield f'<circle cx="{corners[-1].split(",")[0]}" cy="{corners[-1].split(",")[1]}" r="3" fill="{colour}"/>'
    yield _text(WIDTH - RIGHT + 15, TOP + 18 * k + 10, name, colour)


def _grid(axes: _Axes) -> Iterator[str]:
    decades = range(round(math.log10(axes.low)), round(math.log10(axes.high)) + 1)
    for x in (10.0**power for power in decades):
        yield _rule(axes.at(x, 0.0), axes.at(x, axes.top))
        yield _text(float(axes.at(x, 0.0).split(",")[0]) - 4, HEIGHT - BOTTOM + 16, f"{x:g}")
    for y in (level for level in LEVELS if level <= axes.top):
        yield _rule(axes.at(axes.low, y), axes.at(axes.high, y))
        yield _text(LEFT - 34, float(axes.at(axes.low, y).split(",")[1]) + 4, f"{y}")


def _rule(start: str, end: str) -> str:
    (x1, y1), (x2, y2) = start.split(","), end.split(",")
    return f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" stroke="#cccccc"/>'


def _text(x: float, y: float, words: str, colour: str = "#222222") -> str:
    return f'<text x="{x:g}" y="{y:g}" fill="{colour}">{escape(words)}</text>'
