"""Edge trims: a bought sheet's edges are not taken as square unless its offer says so.

In: planned sheets, pieces, the workshop. Out: offers of an edge trim, in words, where a factory edge is relied on:
passes that line up on it, or a piece that has it as its own edge. Pure.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import shapely

from nesting.model import Piece, PlannedSheet, Rates, Workshop
from nesting.placing import lay

TOUCHES_MM = 0.5
"""A piece this near an edge of the sheet has it as its own."""


def edge_trims_offered(sheets: Sequence[PlannedSheet], pieces: Sequence[Piece], workshop: Workshop) -> list[str]:
    """One sentence for each sheet as the factory cut it of which an edge is relied on."""
    square = {offer.id for offer in workshop.offer if offer.square}
    by_id = {piece.id: piece for piece in pieces}
    bought = (sheet for sheet in sheets if sheet.source.offer is not None and sheet.source.offer not in square)
    return [
        words for sheet in bought if workshop.rates.edge_trim_mm > 0 for words in _offered(sheet, by_id, workshop.rates)
    ]


def _offered(sheet: PlannedSheet, pieces: Mapping[str, Piece], rates: Rates) -> Iterator[str]:
    needs = []
    if any(lined.by == "edge" for run in sheet.passes for lined in run.lines_up):
        needs.append("its passes are lined up on its edge")
    edge = shapely.LinearRing(sheet.outline_mm)
    near = [spot.piece for spot in sheet.placements if lay(pieces[spot.piece], spot).solid.distance(edge) < TOUCHES_MM]
    if near:
        needs.append(f"{len(near)} of its pieces, such as {near[0]}, take its edge for their own")
    if needs:
        yield (
            f"{sheet.id}: its edges are as the factory cut them, sure to be neither straight nor square, and "
            f"{' and '.join(needs)}: check them with a square; an edge trim of {rates.edge_trim_mm:g} mm makes "
            f"an edge true. If they are known to be square, set `square = true` in offer {sheet.source.offer}; else "
            "plan with length_mm and width_mm less the trim"
        )
