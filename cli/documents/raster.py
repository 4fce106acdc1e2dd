"""Pictures as PNG: `Picture` in, an image file's bytes out; for those who have no program that shows SVG.

Method: drawn at twice the size and halved, which smooths edges; the same picture gives the same bytes.
"""

from __future__ import annotations

import io
import itertools

from PIL import Image, ImageChops, ImageDraw, ImageFont

from cli.documents.canvas import PAPER, Path, Picture, Stroke, Words
from nesting.curves import Segment
from nesting.drawing.fitting import dense
from nesting.drawing.fonts import SHIPPED
from nesting.model import Point

SMOOTH = 2
ANCHORS = {"start": "ls", "middle": "ms", "end": "rs"}


def png(picture: Picture, scale: float = 2.0) -> bytes:
    """The picture, `scale` pixels to a paper unit."""
    k = scale * SMOOTH
    image = Image.new("RGB", (round(picture.width * k), round(picture.height * k)), PAPER)
    for item in picture.items:
        if isinstance(item, Path):
            _path(image, item, k)
        else:
            _words(image, item, k)
    small = image.resize((round(picture.width * scale), round(picture.height * scale)), Image.Resampling.BOX)
    out = io.BytesIO()
    small.save(out, "PNG", optimize=True)
    return out.getvalue()


def _path(image: Image.Image, path: Path, k: float) -> None:
    chains = [[(x * k, y * k) for x, y in dense(chain, path.closed, 0.05)] for chain in path.chains]
    if path.fill:
        _fill(image, chains, path.fill)
    if path.stroke:
        pen = ImageDraw.Draw(image)
        for chain in chains:
            _line(pen, [*chain, chain[0]] if path.closed else chain, path.stroke, k)


def _fill(image: Image.Image, chains: list[list[Point]], colour: str) -> None:
    """Even-odd: each ring turns the inside of what it covers round."""
    mask = Image.new("1", image.size)
    for chain in chains:
        ring = Image.new("1", image.size)
        ImageDraw.Draw(ring).polygon(chain, fill=1)
        mask = ImageChops.logical_xor(mask, ring)
    image.paste(colour, mask=mask)


def _line(pen: ImageDraw.ImageDraw, points: list[Point], stroke: Stroke, k: float) -> None:
    width = max(1, round(stroke.width * k))
    for part in _dashes(points, [d * k for d in stroke.dash]) if stroke.dash else [points]:
        pen.line(part, fill=stroke.colour, width=width, joint="curve")


def _dashes(points: list[Point], pattern: list[float]) -> list[list[Point]]:
    """The stretches of a line that a dash pattern leaves drawn."""
    drawn: list[list[Point]] = [[points[0]]]
    turn, left = 0, pattern[0]
    for a, b in itertools.pairwise(points):
        side = Segment(a, b, 0.0)
        gone, whole = 0.0, side.length
        while whole - gone > left:
            gone += left
            here = side.point(gone / whole)
            if turn % 2 == 0:
                drawn[-1].append(here)
            else:
                drawn.append([here])
            turn += 1
            left = pattern[turn % len(pattern)]
        left -= whole - gone
        if turn % 2 == 0:
            drawn[-1].append(b)
    return [part for part in drawn if len(part) > 1]


def _words(image: Image.Image, words: Words, k: float) -> None:
    name = "DejaVuSans-Bold.ttf" if words.bold else "DejaVuSans.ttf"
    font = ImageFont.truetype(str(SHIPPED / name), words.size * k)
    ImageDraw.Draw(image).text(
        (words.x * k, words.y * k),
        words.text,
        fill=words.colour,
        font=font,
        anchor=ANCHORS[words.anchor],
        stroke_width=round(words.size * 0.14 * k) if words.halo else 0,
        stroke_fill=PAPER,
    )
