"""Many pieces alike on one sheet, in rows and one by one: the table of docs/layout.md, and a picture of one of them.

    python -m tests.bench.alike

In: outlines below, a sheet of 3000 x 1500 mm, gap 2 mm, margin 5 mm, any angle. Out: docs.
"""

import math
import time
from collections.abc import Sequence
from unittest.mock import patch

from shapely import affinity
from shapely.geometry import Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from nesting.layout import Ground, Layout, Shape, after_evaluations, alike, fill
from nesting.layout.outlines import laid
from nesting.layout.ready import get_ready
from tests.bench.choice import DOCS, put

LENGTH, WIDTH = 3000.0, 1500.0
EFFORTS = (20_000, 300_000, 3_000_000)
DRAWN = "five-pointed star, 200 mm across"
COLOURS = {"one by one": "#b45f06", "in rows": "#0b5394"}


def round_about(corners: int, *radii: float) -> Polygon:
    """Corners at even turns, at the radii in turn, the first upwards."""
    at = [(2 * math.pi * k / corners, radii[k % len(radii)]) for k in range(corners)]
    return Polygon([(radius * math.sin(turn), radius * math.cos(turn)) for turn, radius in at])


def crescent() -> BaseGeometry:
    wedge = Polygon([(0, 0), (-375, 1028), (-375, 1200), (375, 1200), (375, 1028)])
    return Point(0, 0).buffer(1100, quad_segs=72).difference(Point(0, 0).buffer(1000, quad_segs=72)).intersection(wedge)


PIECES = {
    DRAWN: round_about(10, 100, 45),
    "tee, 200 x 250 mm, 50 mm wide": box(0, 0, 200, 50).union(box(75, 0, 125, 250)),
    "U, 300 x 250 mm, 60 mm wide": box(0, 0, 300, 250).difference(box(60, 60, 240, 250)),
    "crescent, 750 mm long": crescent(),
    "ell, 700 x 550 mm, 50 mm wide": box(0, 0, 700, 50).union(box(0, 0, 50, 550)),
    "regular pentagon, 120 mm across": round_about(5, 60),
    "disc, 100 mm": round_about(72, 50),
}


def filled(polygon: BaseGeometry, effort: int, *, rows: bool) -> Layout:
    shapes = [Shape(str(k), polygon, None) for k in range(int(LENGTH * WIDTH / polygon.area))]
    with patch.object(alike, "MANY", alike.MANY if rows else math.inf):
        sheet = Ground(box(0, 0, LENGTH, WIDTH))
        return fill(shapes, sheet, gap_mm=2, margin_mm=5, stop=after_evaluations(effort), seed=1)


def line(name: str, polygon: BaseGeometry) -> str:
    counts, seconds = dict[bool, list[int]](), dict[bool, list[float]]()
    for rows in (False, True):
        for effort in EFFORTS:
            begun = time.process_time()
            counts.setdefault(rows, []).append(len(filled(polygon, effort, rows=rows).spots))
            seconds.setdefault(rows, []).append(time.process_time() - begun)
    cells = [", ".join(map(str, counts[rows])) for rows in (False, True)]
    first = [f"{seconds[rows][0]:.1f}" for rows in (False, True)]
    share = 100 * counts[True][-1] * polygon.area / (LENGTH * WIDTH)
    return f"| {name} | {cells[0]} | {cells[1]} | {share:.0f} % | {first[0]} | {first[1]} |"


def picture(layouts: dict[str, Layout], polygon: BaseGeometry) -> str:
    """The sheets one below the other, with how many lie on each."""
    size = f'viewBox="0 0 {LENGTH:g} {len(layouts) * (WIDTH + 200):g}" font-family="sans-serif" font-size="100"'
    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" {size}>', '<rect width="100%" height="100%" fill="white"/>']
    for number, (name, layout) in enumerate(layouts.items()):
        y = number * (WIDTH + 200)
        parts.append(f'<text x="0" y="{y + 120:g}" fill="#333333">{len(layout.spots)} {name}</text>')
        parts.append(f'<rect x="0" y="{y + 160:g}" width="{LENGTH:g}" height="{WIDTH:g}" fill="#f4efe6"/>')
        for spot in layout.spots:
            shape = affinity.translate(laid(polygon, spot), 0, y + 160)
            points = " ".join(f"{px:.1f},{py:.1f}" for px, py in shape.exterior.coords[:-1])
            parts.append(f'<polygon points="{points}" fill="{COLOURS[name]}"/>')
    return "\n".join([*parts, "</svg>\n"])


def main(pieces: Sequence[str] = tuple(PIECES)) -> None:
    get_ready(outlines_only=True)
    head = ["| piece | one by one | with rows | of the sheet | first answer, s | with rows, s |", f"|{'---|' * 6}"]
    put(DOCS / "layout.md", "alike", [*head, *(line(name, PIECES[name]) for name in pieces)])
    layouts = {name: filled(PIECES[DRAWN], EFFORTS[1], rows=name == "in rows") for name in COLOURS}
    (DOCS / "pictures" / "alike.svg").write_text(picture(layouts, PIECES[DRAWN]), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
