"""Draws the demo's DXF files: the crescent face, the base rail and the small star of a planetarium's entrance sign.

Run once from the project's folder, `python demo_data/make_drawings.py`; what it writes is committed. Millimetres.
"""

import math
from pathlib import Path

from nesting.curves import reversed_ring
from nesting.drawing.shapes import DrawnChain
from nesting.drawing.writing import write_drawing
from nesting.model import Ring

DRAWINGS = Path(__file__).parent / "drawings"


def circle(x: float, y: float, diameter: float) -> Ring:
    r = diameter / 2
    return ((x - r, y, 1.0), (x + r, y, 1.0))


def slot(x: float, y: float, length: float, width: float) -> Ring:
    """A slot along x with round ends, centred on (x, y)."""
    half, r = (length - width) / 2, width / 2
    return ((x - half, y - r, 0.0), (x + half, y - r, 1.0), (x + half, y + r, 0.0), (x - half, y + r, 1.0))


def crescent() -> tuple[Ring, list[Ring]]:
    """Two arcs whose horns are rounded, its back to the left; 560 x 720 mm. Holes follow the middle of the body."""
    outer, inner, reach, nose = 360.0, 295.0, 200.0, 6.0
    # Nose circles touch the outer arc from inside and the inner arc from outside.
    far, near = outer - nose, inner + nose
    x = (far**2 - near**2 + reach**2) / (2 * reach)
    y = math.sqrt(far**2 - x**2)
    out = math.atan2(y, x)
    into = math.atan2(y, x - reach)
    on_outer = (outer * math.cos(out), outer * math.sin(out))
    on_inner = (reach + inner * math.cos(into), inner * math.sin(into))
    body = math.tan((math.tau - 2 * out) / 4)
    hollow = -math.tan((math.tau - 2 * into) / 4)
    tip = math.tan((out - into - math.pi) % math.tau / 4)
    outline = (
        (*on_outer, body),
        (on_outer[0], -on_outer[1], tip),
        (on_inner[0], -on_inner[1], hollow),
        (*on_inner, tip),
    )
    turns = [math.radians(t) for t in (115, 148, 180, 212, 245)]
    middle = [(_middle(t, outer, inner, reach), t) for t in turns]
    holes = [circle(r * math.cos(t), r * math.sin(t), 5.0) for r, t in middle]
    return outline, holes


def _middle(turn: float, outer: float, inner: float, reach: float) -> float:
    """Half way between the arcs along a ray from the outer arc's centre."""
    cos, sin = math.cos(turn), math.sin(turn)
    near = reach * cos + math.sqrt(inner**2 - (reach * sin) ** 2)
    return (near + outer) / 2


def rail() -> tuple[Ring, list[Ring]]:
    """A base rail with round ends, two slots for the cable, holes for the letters' studs and the wall."""
    holes = [circle(35.0 + i * 130.0, 35.0, 6.0) for i in range(12)]
    return slot(750.0, 35.0, 1500.0, 70.0), [*holes, slot(360.0, 35.0, 90.0, 14.0), slot(1140.0, 35.0, 90.0, 14.0)]


def star(points: int = 5, across: float = 45.0, waist: float = 0.42) -> Ring:
    """A star whose tips lie on a circle `across` mm wide."""
    radii = (across / 2, across / 2 * waist)
    turns = [math.pi / 2 + i * math.pi / points for i in range(2 * points)]
    return tuple((radii[i % 2] * math.cos(t), radii[i % 2] * math.sin(t), 0.0) for i, t in enumerate(turns))


def write(name: str, outline: Ring, holes: list[Ring]) -> None:
    chains = [DrawnChain(reversed_ring(hole), True) for hole in holes]
    write_drawing(DRAWINGS / name, {"CUT": [*chains, DrawnChain(outline, True)]})


if __name__ == "__main__":
    DRAWINGS.mkdir(exist_ok=True)
    write("crescent.dxf", *crescent())
    write("rail.dxf", *rail())
    write("star.dxf", star(), [])
