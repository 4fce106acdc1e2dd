"""How time and memory grow with the number of pieces: the same mix of pieces, 60 on one sheet up to 500 on twelve.

    python -m nesting.layout.growth --used 0.6

In: nothing; pieces are made from a seed. Out: a line per number of pieces with the processor time and the positions
tried until all lay (`fit`, on all sheets at once; and `fill`, on one sheet of their joint area), the most memory used
so far, and the power of the number by which time grew since the line before and since the first.
"""

from __future__ import annotations

import argparse
import math
import resource
import sys
import time
from collections.abc import Callable

import numpy as np
import shapely
from shapely.geometry import Point, Polygon, box

from nesting.layout.bench import warm_up
from nesting.layout.fill import fill
from nesting.layout.fit import fit
from nesting.layout.instances import scaled_by
from nesting.layout.terms import Ground, Layout, Shape, after_evaluations

SHEET_MM = (1200.0, 800.0)
A_SHEET = 42
NUMBERS = (60, 125, 250, 500)
GAP_MM, MARGIN_MM = 2.0, 5.0
MOST = 60_000_000
"""Positions tried at most, about a minute's work."""


def pieces(count: int, used: float, seed: int) -> list[Shape]:
    """Bars, ells, tees, rings and stars of 60 to 160 mm by four turns, scaled to use a share of the sheets."""
    dice = np.random.default_rng(seed)
    corners = [
        ((1.0 if k % 2 else 0.45) * math.cos(k * math.pi / 5), (1.0 if k % 2 else 0.45) * math.sin(k * math.pi / 5))
        for k in range(10)
    ]
    sorts: list[shapely.Geometry] = [
        box(0, 0, 0.3, 1),
        box(0, 0, 0.3, 1).union(box(0, 0, 0.8, 0.3)),
        box(0.3, 0, 0.6, 1).union(box(0, 0.7, 0.9, 1)),
        Point(0.5, 0.5).buffer(0.5, quad_segs=8).difference(Point(0.5, 0.5).buffer(0.25, quad_segs=6)),
        scaled_by(Polygon(corners), 0.5),
    ]
    drawn = [scaled_by(sorts[k % len(sorts)], dice.uniform(60, 160)) for k in range(count)]
    room = SHEET_MM[0] * SHEET_MM[1] * sheets(count)
    grow = math.sqrt(used * room / sum(polygon.area for polygon in drawn))
    return [Shape(str(k), scaled_by(polygon, grow), (0.0, 90.0, 180.0, 270.0)) for k, polygon in enumerate(drawn)]


def sheets(count: int) -> int:
    """How many sheets so many pieces are made for."""
    return round(count / A_SHEET)


def laid_by_fit(shapes: list[Shape], seed: int) -> Layout | None:
    """All on as many sheets as their number asks for."""
    grounds = [Ground(box(0, 0, *SHEET_MM))] * sheets(len(shapes))
    return fit(shapes, grounds, gap_mm=GAP_MM, margin_mm=MARGIN_MM, stop=after_evaluations(MOST), seed=seed)


def laid_by_fill(shapes: list[Shape], seed: int) -> Layout | None:
    """All on one large sheet."""
    side = math.sqrt(sheets(len(shapes)))
    sheet = Ground(box(0, 0, SHEET_MM[0] * side, SHEET_MM[1] * side))
    layout = fill(shapes, sheet, gap_mm=GAP_MM, margin_mm=MARGIN_MM, stop=after_evaluations(MOST), seed=seed)
    return None if layout.missing else layout


def measure(question: Callable[[list[Shape], int], Layout | None], used: float, seed: int) -> None:
    """Print a line for each number of pieces."""
    first: tuple[int, float] | None = None
    before: tuple[int, float] | None = None
    for count in NUMBERS:
        shapes, start = pieces(count, used, seed), time.process_time()
        layout = question(shapes, seed)
        took = time.process_time() - start
        powers = [math.log(took / t) / math.log(count / n) for n, t in (each for each in (before, first) if each)]
        first, before = first or (count, took), (count, took)
        megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        tried = "not found" if layout is None else f"{layout.effort.evaluations:9d}"
        grew = " ".join(f"n^{power:.2f}" for power in powers)
        name = question.__name__.removeprefix("laid_by_")
        print(f"{name:5s} {count:5d} pieces {took:7.2f} s {tried} positions {megabytes:6.0f} MB  {grew}", flush=True)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--used", type=float, default=0.6, help="share of the sheets' area that the pieces use")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    warm_up()
    for question in (laid_by_fit, laid_by_fill):
        measure(question, options.used, options.seed)
    return 0


if __name__ == "__main__":
    sys.exit(main())
