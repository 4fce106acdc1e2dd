"""Strips of rectangles that edge-to-edge cuts can free: best fit into free rectangles, in many orders.

In: upright rectangles, a strip's width (mm). Out: spots. For published strips too large for `nesting.patterns`.
Method: a list of free rectangles; the piece that leaves least over goes into the corner of one, and what remains is
split by one cut, either way. Orders are random around length, and the best of all is kept.
"""

from __future__ import annotations

import random
from collections.abc import Sequence

from nesting.layout.terms import Effort, Shape, Spot, Stop

Free = tuple[float, float, float, float]
"""x, y, width, height of an empty rectangle."""
SLACK_MM = 1e-6
WORK = 1000
"""Evaluations that one order counts for."""


def _sides(shape: Shape, turn: float) -> tuple[float, float]:
    x0, y0, x1, y1 = shape.polygon.bounds
    return (x1 - x0, y1 - y0) if turn % 180.0 == 0.0 else (y1 - y0, x1 - x0)


def _spot(shape: Shape, turn: float, x: float, y: float) -> Spot:
    x0, y0, x1, y1 = shape.polygon.bounds
    corner = {0.0: (x0, y0), 90.0: (-y1, x0), 180.0: (-x1, -y1), 270.0: (y0, -x1)}[turn % 360.0]
    return Spot(shape.id, x - corner[0], y - corner[1], turn)


def _place(shapes: Sequence[Shape], order: Sequence[int], free: list[Free], dice: random.Random) -> list[Spot] | None:
    """Lay in order where each fits most tightly; None if one does not fit."""
    spots = []
    bias = dice.random()
    for i in order:
        fits = [
            (min(f[2] - w, f[3] - h), at, w, h, turn)
            for turn in shapes[i].turns_deg or (0.0, 90.0)
            for w, h in [_sides(shapes[i], turn)]
            for at, f in enumerate(free)
            if w <= f[2] + SLACK_MM and h <= f[3] + SLACK_MM
        ]
        if not fits:
            return None
        _, at, w, h, turn = min(fits)
        x, y, fw, fh = free.pop(at)
        spots.append(_spot(shapes[i], turn, x, y))
        free += _split(x, y, fw, fh, w, h, dice.random() < bias)
    return spots


def _split(x: float, y: float, fw: float, fh: float, w: float, h: float, upright: bool) -> list[Free]:
    """What is left of a free rectangle, by one cut upright or lying, and one more."""
    if upright:
        parts = [(x + w, y, fw - w, fh), (x, y + h, w, fh - h)]
    else:
        parts = [(x + w, y, fw - w, h), (x, y + h, fw, fh - h)]
    return [part for part in parts if part[2] > SLACK_MM and part[3] > SLACK_MM]


def _order(shapes: Sequence[Shape], dice: random.Random) -> list[int]:
    noise = dice.choice((0.0, 0.1, 0.3, 1.0))

    def key(i: int) -> float:
        w, h = _sides(shapes[i], 0.0)
        return -(max(w, h) + 0.1 * (w + h)) * (1.0 + noise * (dice.random() - 0.5))

    return sorted(range(len(shapes)), key=key)


def strip(shapes: Sequence[Shape], width_mm: float, stop: Stop, seed: int) -> tuple[list[Spot], float]:
    """The shortest strip found, and its length."""
    dice, work = random.Random(seed), 0
    area = sum(shape.polygon.area for shape in shapes)
    length = 2.0 * area / width_mm + max(max(_sides(shape, 0.0)) for shape in shapes)
    best: list[Spot] = []
    while not best or stop(Effort(work)) < 1.0:
        found = _place(shapes, _order(shapes, dice), [(0.0, 0.0, length, width_mm)], dice)
        work += WORK
        if found is None:
            length *= 1.0 if best else 1.2
            continue
        best = found
        length = 0.999 * _extent(shapes, best)
    return best, _extent(shapes, best)


def _extent(shapes: Sequence[Shape], spots: Sequence[Spot]) -> float:
    by_id = {shape.id: shape for shape in shapes}
    ends = []
    for spot in spots:
        shape = by_id[spot.id]
        left = spot.x_mm - _spot(shape, spot.turn_deg, 0.0, 0.0).x_mm
        ends.append(left + _sides(shape, spot.turn_deg)[0])
    return max(ends)
