"""Panels that the supplier cuts to size: which sizes are worth laying pieces on, and how close to them they are cut.

In: the largest panel of an offer, kinds, machine. Out: candidates of the sizes that the bed takes; and, once pieces lie
on one, the panel and the spots drawn in round them. Pure.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from nesting.assigning.stock import Candidate, panel_sized
from nesting.model import Machine, Piece, Placement, Point, Rates, Rect
from nesting.passes.reach import reaches
from nesting.placing import lay


def sized(found: Iterable[Candidate], sizes: Iterable[Point], machine: Machine, rates: Rates) -> tuple[Candidate, ...]:
    """All candidates; panels cut to size in each of the sizes that the supplier cuts and that lie in the machine, and
    larger by edge trims where the shop makes them."""
    by = 2 * rates.edge_trim_mm if rates.trims_edges else 0.0
    wanted = tuple(size for x, y in sizes for size in ((x, y), (x + by, y + by)))
    listed: list[Candidate] = []
    for candidate in found:
        if candidate.cut is None:
            listed.append(candidate)
            continue
        _, _, length, width = candidate.rect
        within = {(min(x, length), min(y, width)) for x, y in wanted}
        panels = [panel_sized(candidate, size) for size in sorted(within)]
        fitting = {p.rect: p for p in panels if p.rect[2] <= length and p.rect[3] <= width and reaches(machine, p.rect)}
        listed.extend(map(_limited, fitting.values()))
    return tuple(listed)


def _limited(panel: Candidate) -> Candidate:
    """As many of it as the supplier's sheets give; how all sizes share these is for the master to mind."""
    if panel.supply is None or panel.source.cut_mm is None:
        return panel
    return replace(panel, most=panel.supply.sheets * panel.supply.panels_of_one(panel.source.cut_mm))


def drawn_in(
    candidate: Candidate, spots: Sequence[Placement], pieces: Mapping[str, Piece], beside_mm: Rect
) -> tuple[Candidate, list[Placement]]:
    """The panel no larger than the pieces and what is left beside them (left, below, right, above) ask for, to the next
    whole millimetre."""
    bounds = [lay(pieces[spot.piece], spot).bounds for spot in spots]
    left, below, right, above = beside_mm
    low = min(b[0] for b in bounds) - left, min(b[1] for b in bounds) - below
    high = max(b[2] for b in bounds) + right, max(b[3] for b in bounds) + above
    size = float(-(-(high[0] - low[0] - 1e-6) // 1)), float(-(-(high[1] - low[1] - 1e-6) // 1))
    panel = panel_sized(candidate, size)
    if panel.rect[2] > candidate.rect[2] or panel.rect[3] > candidate.rect[3]:
        return candidate, list(spots)
    # Moved by whole micrometres, outwards, so that the margins stay.
    dx, dy = (-(side * 1e3 // 1) / 1e3 if side > 0 else 0.0 for side in low)
    return panel, [replace(s, x_mm=round(s.x_mm + dx, 6), y_mm=round(s.y_mm + dy, 6)) for s in spots]
