"""Pictures as SVG text: `Picture` in, one <svg> element out, without a style sheet or a font of its own."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape, quoteattr

from cli.documents.canvas import PAPER, Item, Path, Picture, Words
from nesting import curves
from nesting.model import Vertex

MOST_SWEEP_RAD = math.pi / 2
"""Longer arcs are written in parts: an arc given by its ends and radius is told to no better than its centre, which
near half a circle runs away with the last decimal of the ends."""


def svg(picture: Picture) -> str:
    """The picture as an <svg> element that may stand alone or in a page."""
    size = f"0 0 {picture.width:g} {picture.height:g}"
    body = "\n".join(_element(item) for item in picture.items)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{size}" role="img" aria-label={quoteattr(picture.alt)} '
        f'font-family="DejaVu Sans, Verdana, sans-serif">\n<title>{escape(picture.alt)}</title>\n{body}\n</svg>\n'
    )


def _element(item: Item) -> str:
    return _path(item) if isinstance(item, Path) else _text(item)


def _path(path: Path) -> str:
    data = " ".join(_data(chain, path.closed) for chain in path.chains)
    look = f'fill="{path.fill or "none"}" fill-rule="evenodd"'
    if path.stroke:
        look += f' stroke="{path.stroke.colour}" stroke-width="{path.stroke.width:g}" stroke-linejoin="round"'
        if path.stroke.dash:
            look += f' stroke-dasharray="{" ".join(f"{d:g}" for d in path.stroke.dash)}"'
    return f'<path d="{data}" {look}/>'


def _data(chain: Sequence[Vertex], closed: bool) -> str:
    parts = [f"M{_n(chain[0][0])} {_n(chain[0][1])}"]
    for s in (part for segment in curves.segments(chain, closed) for part in _parts(segment)):
        end = f"{_n(s.b[0])} {_n(s.b[1])}"
        parts.append(f"L{end}" if s.bulge == 0 else f"A{_n(s.radius)} {_n(s.radius)} 0 0 {int(s.bulge > 0)} {end}")
    return "".join(parts) + ("Z" if closed else "")


def _parts(s: curves.Segment) -> Iterator[curves.Segment]:
    """The segment, an arc in equal parts of at most `MOST_SWEEP_RAD`."""
    count = max(1, math.ceil(abs(s.sweep) / MOST_SWEEP_RAD - 1e-9))
    yield from [s] if count == 1 else (s.part(k / count, (k + 1) / count) for k in range(count))


def _text(words: Words) -> str:
    look = f'font-size="{words.size:g}" text-anchor="{words.anchor}" fill="{words.colour}"'
    if words.bold:
        look += ' font-weight="bold"'
    if words.halo:
        look += f' stroke="{PAPER}" stroke-width="{words.size * 0.28:.3g}" paint-order="stroke" stroke-linejoin="round"'
    if words.turn_deg:
        look += f' transform="rotate({words.turn_deg:g} {_n(words.x)} {_n(words.y)})"'
    return f'<text x="{_n(words.x)}" y="{_n(words.y)}" {look}>{escape(words.text)}</text>'


def _n(value: float) -> str:
    """Two decimals of a paper unit, about a hundredth of a pixel; never a minus before a zero."""
    return f"{round(value, 2) + 0.0:g}" if abs(value) < 1e4 else f"{value:.1f}"
