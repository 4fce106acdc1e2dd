"""Edges as the factory cut them: not taken as straight and square unless the stock record says so.

In: candidates, planned sheets, pieces, the workshop. Out: where pieces may lie beside such edges; which of them a sheet
relies on, as its passes line up on them; the trims that make them true, before all other cuts; or, where the shop does
not ask for that, an offer of an edge trim in words. A piece is cut all round: at an edge in doubt it only keeps off it
by as much as a trim would take. An edge trim is sawn or run by the machine: so narrow a strip does not snap. Pure.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

import shapely
from shapely.geometry import Polygon

from nesting.assigning.blanks import cut_at
from nesting.assigning.stock import EDGES, Candidate, doubtful_sides
from nesting.curves import polygons
from nesting.model import (
    Edge,
    Machine,
    Offcut,
    Pass,
    Piece,
    Placement,
    PlannedSheet,
    Point,
    Rates,
    Rect,
    Trim,
    Workshop,
)
from nesting.passes.reach import EPS
from nesting.placing import lay

TOUCHES_MM = 0.5
"""A piece this near an edge of the sheet has it as its own."""
NAMES: dict[Edge, str] = {"A": "bottom", "B": "right", "C": "top", "D": "left"}
OPPOSITE: dict[Edge, Edge] = {"A": "C", "B": "D", "C": "A", "D": "B"}
SIDE: dict[Edge, int] = {"A": 1, "B": 2, "C": 3, "D": 0}
"""Which figure of a rectangle an edge lies at."""


def sound(candidate: Candidate, machine: Machine, rates: Rates) -> Polygon:
    """The sheet as far as pieces and their margins may go: beside an edge in doubt they keep off it by a trim."""
    beyond = rates.edge_trim_mm - machine.margin_mm
    if not rates.trims_edges or beyond <= 0 or not candidate.doubtful:
        return candidate.polygon
    rect = list(candidate.rect)
    for edge in candidate.doubtful:
        rect[SIDE[edge]] += beyond if SIDE[edge] < 2 else -beyond
    x0, y0, x1, y1 = rect
    left = candidate.polygon.intersection(shapely.box(x0, y0, max(x0, x1), max(y0, y1)))
    return max(polygons(left), key=lambda part: part.area, default=Polygon())


def rooms(found: Iterable[Candidate], machine: Machine, rates: Rates) -> list[Point]:
    """What one pass can hold of each sheet, trimmed to the travel: (x, y) of the sheet frame, both ways to lay it."""
    inset = 2 * machine.margin_mm
    listed = []
    for candidate in found:
        x0, y0, x1, y1 = sound(candidate, machine, rates).bounds
        for travel_x, travel_y in (machine.travel_mm, machine.travel_mm[::-1]):
            listed.append((min(x1 - x0, travel_x) - inset, min(y1 - y0, travel_y) - inset))
    return listed


# ── what is relied on ────────────────────────────────────────────────────────────────────────────────────────────


def relied_on(sheet: PlannedSheet, doubtful: Sequence[Edge]) -> tuple[Edge, ...]:
    """The edges in doubt, not trimmed, that passes need to be straight and square: they line up on them."""
    rect = Polygon(sheet.outline_mm).bounds
    trimmed: dict[Edge, float] = {trim.edge: trim.from_mm[SIDE[trim.edge] % 2] for trim in sheet.trims if trim.edge}
    blanks = {blank.id: blank.rect_mm for blank in sheet.blanks}
    found = {
        _measured_from(stop.edge, blanks[run.blank], rect, trimmed)
        for run in _lined_up_on_edges(sheet)
        for stop in run.stops
    }
    return tuple(edge for edge in doubtful if edge in found and edge not in trimmed)


def _lined_up_on_edges(sheet: PlannedSheet) -> Iterator[Pass]:
    for run in sheet.passes:
        before = {lined.with_pass for lined in run.lines_up if lined.by == "edge"}
        if before:
            yield run
            yield from (one for one in sheet.passes if one.blank == run.blank and one.order in before)


def _measured_from(edge: Edge, blank: Rect, sheet: Rect, trimmed: Mapping[Edge, float]) -> Edge:
    """The sheet's edge that a blank's edge is, or is measured from: cuts are, from the left or the bottom edge."""
    at = SIDE[edge]
    if any(abs(blank[at] - level) < EPS for level in (sheet[at], trimmed.get(edge, sheet[at]))):
        return edge
    return "D" if at % 2 == 0 else "A"


# ── the trims ────────────────────────────────────────────────────────────────────────────────────────────────────


def edge_trims(rect: Rect, edges: Sequence[Edge], machine: Machine, rates: Rates) -> tuple[Rect, tuple[Trim, ...]]:
    """What is left of a sheet's rectangle once these edges are trimmed, and the trims: a long edge first, then what is
    squared to it, last what runs along it."""
    along: Sequence[Edge] = ("A", "C") if rect[2] - rect[0] >= rect[3] - rect[1] else ("D", "B")
    across: Sequence[Edge] = ("D", "B") if "A" in along else ("A", "C")
    long, short = ([edge for edge in both if edge in edges] for both in (along, across))
    order = [*long[:1], *short, *long[1:]]
    trims: list[Trim] = []
    for edge in order:
        trim = _edge_trim(rect, edge, order[: len(trims)], machine, rates)
        trims.append(trim)
        rect = _without(rect, edge, rates.edge_trim_mm)
    return rect, tuple(trims)


def _without(rect: Rect, edge: Edge, by_mm: float) -> Rect:
    sides = list(rect)
    sides[SIDE[edge]] += by_mm if SIDE[edge] < 2 else -by_mm
    return sides[0], sides[1], sides[2], sides[3]


def _edge_trim(rect: Rect, edge: Edge, trimmed: Sequence[Edge], machine: Machine, rates: Rates) -> Trim:
    """By machine where the sheet lies in it, else by saw; a low edge is sawn on the near side of what is kept."""
    at, low = SIDE[edge], SIDE[edge] < 2
    level = _without(rect, edge, rates.edge_trim_mm)[at]
    for sawn in (0.0, rates.saw_kerf_mm if low else 0.0):
        line = level - sawn
        words = _edge_words(edge, abs(line - rect[at]), line - rect[at - 2], trimmed, rates)
        trim = cut_at(rect, at % 2, line, words, machine, rates, len(trimmed) + 1)
        if trim.method == "machine":
            break
    return replace(trim, edge=edge)


def _edge_words(edge: Edge, off: float, from_opposite: float, trimmed: Sequence[Edge], rates: Rates) -> str:
    opposite = OPPOSITE[edge]
    what = f"edge trim, {rates.edge_trim_mm:g} mm off the {NAMES[edge]} edge"
    if opposite in trimmed and SIDE[edge] > 1:
        return f"{what}: {from_opposite:.1f} mm from the {NAMES[opposite]} edge as trimmed, all along"
    beside = next((other for other in trimmed if other != opposite), None)
    how = f"square to the {NAMES[beside]} edge as trimmed" if beside else "straight along a rule"
    return f"{what}: {off:.1f} mm from it at its middle, {how}"


# ── the offer ────────────────────────────────────────────────────────────────────────────────────────────────────


def edge_trims_offered(
    sheets: Sequence[PlannedSheet], pieces: Sequence[Piece], workshop: Workshop, rack: Sequence[Offcut]
) -> list[str]:
    """One sentence for each sheet of which an edge in doubt is relied on and not trimmed."""
    by_id = {piece.id: piece for piece in pieces}
    told = ((sheet, _doubtful(sheet, rack)) for sheet in sheets if workshop.rates.edge_trim_mm > 0)
    return [words for sheet, doubtful in told for words in _offered(sheet, doubtful, by_id, workshop.rates)]


def _doubtful(sheet: PlannedSheet, rack: Sequence[Offcut]) -> tuple[Edge, ...]:
    if sheet.source.stock_id is not None:
        return next((doubtful_sides(cut) for cut in rack if cut.id == sheet.source.stock_id), ())
    return () if sheet.square else EDGES


def _offered(sheet: PlannedSheet, doubtful: Sequence[Edge], pieces: Mapping[str, Piece], rates: Rates) -> Iterator[str]:
    needs = []
    if relied_on(sheet, doubtful):
        needs.append("its passes are lined up on them")
    near = [spot.piece for spot in sheet.placements if _touches(pieces[spot.piece], spot, sheet, doubtful)]
    if near:
        needs.append(f"{len(near)} of its pieces, such as {near[0]}, take them for their own")
    if needs:
        offer, own = sheet.source.offer, sheet.source.stock_id
        known = f"set `square = true` in offer {offer}" if offer else f"say so: `halfturn rack correct {own} --square`"
        yield (
            f"{sheet.id}: edges as the factory cut them cannot be taken as straight and square, and "
            f"{' and '.join(needs)}: check them with a square; an edge trim of {rates.edge_trim_mm:g} mm makes an edge "
            f"true. If they are known to be square, {known}; "
            'else, to have the trims planned set `edge_trim = "when relied on"` under [rates]'
        )


def _touches(piece: Piece, spot: Placement, sheet: PlannedSheet, doubtful: Sequence[Edge]) -> bool:
    bounds, rect = lay(piece, spot).bounds, Polygon(sheet.outline_mm).bounds
    return any(abs(bounds[SIDE[edge]] - rect[SIDE[edge]]) < TOUCHES_MM for edge in doubtful)
