"""After a mishap: what is really left of the sheets that were cut into, and a plan for what is still missing.

In: the plan that was stopped, how far it had come, what went wrong. Out: remnants for the rack; a new plan.
Method: a remnant is the sheet less all pieces that any pass has begun, less the trim cuts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence, Sized
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from inventory.plans import Mishap, Standing
    from nesting.assigning.search import Watcher
    from nesting.model import Demand, Leftover, Offcut, Piece, Plan, PlannedSheet, Point, Rates, Split, Workshop


def remnants(plan: Plan, now: Standing, mishap: Mishap, rates: Rates) -> Mapping[str, tuple[Leftover, ...]]:
    """What is worth keeping of each sheet of the plan that was cut into and did not crack; sheet frame."""
    return {
        sheet.id: _remnant(plan, sheet, now.begun(sheet), mishap.measured.get(sheet.id), rates)
        for sheet in plan.sheets
        if now.touched(sheet) and sheet.id not in mishap.cracked
    }


def _remnant(
    plan: Plan, sheet: PlannedSheet, begun: frozenset[str], measured: Sequence[Point] | None, rates: Rates
) -> tuple[Leftover, ...]:
    from shapely.geometry import Polygon

    from cli.documents.states import parts_after
    from nesting.assigning.leftovers import leftovers
    from nesting.costing import figure_for
    from nesting.placing import lay

    whole = Polygon(sheet.outline_mm, sheet.holes_mm)
    laid = [lay(plan.piece(spot.piece), spot) for spot in sheet.placements if spot.piece in begun]
    # All trims come before the first pass.
    parts = parts_after(Polygon(measured) if measured else whole, sheet.trims)
    kerf = figure_for(plan.machine, sheet.stock).kerf_mm
    return leftovers(parts, laid, kerf, sheet.price / Decimal(str(round(whole.area, 3))), rates)


def plan_again(
    plan: Plan, missing: tuple[Piece, ...], rack: tuple[Offcut, ...], workshop: Workshop, watch: Watcher, stop: Sized
) -> Plan:
    """A plan for the pieces still missing, with the seed and effort of the first. Raises a Fault if there is none."""
    from nesting.plan import Request, make_plan

    pieces, warnings = order_of(missing)
    demands = demands_of(plan.demands, pieces)
    request = Request(plan.job, pieces, workshop, rack, plan.seed, plan.effort, (), warnings, demands)
    made = make_plan(request, watch, stop)
    return replace(made, splits=(*splits_of(plan.splits, pieces), *made.splits))


def splits_of(splits: Sequence[Split], missing: Sequence[Piece]) -> tuple[Split, ...]:
    """Where the missing segments belong; what else their parents consist of was made before."""
    left = {piece.id for piece in missing}
    found = []
    for split in splits:
        names = [seat.piece for seat in (*split.seats, *split.straps)]
        if not left.isdisjoint(names):
            found.append(replace(split, made_before=tuple(name for name in names if name not in left)))
    return tuple(found)


def demands_of(demands: Sequence[Demand], missing: Sequence[Piece]) -> tuple[Demand, ...]:
    """The first plan's demands, cut down to what is missing: each once, as many shapes as are left of it."""
    left = {piece.segment_of or piece.id for piece in missing}
    kept = (replace(demand, pieces=tuple(one for one in demand.pieces if one in left)) for demand in demands)
    return tuple(replace(demand, quantity=1, shapes=len(demand.pieces)) for demand in kept if demand.pieces)


def order_of(missing: Sequence[Piece]) -> tuple[tuple[Piece, ...], tuple[str, ...]]:
    """The missing pieces as an order of their own: copies counted from 1 again, ids as they were; a joint to a segment
    that is cut already becomes a warning."""
    sides = Counter((piece.segment_of or piece.id, joint.label) for piece in missing for joint in piece.joints)
    copies: Counter[str] = Counter()
    pieces, warnings = [], []
    for piece in missing:
        copies[piece.name] += 1
        alone = [joint for joint in piece.joints if sides[piece.segment_of or piece.id, joint.label] < 2]
        warnings += [f"{piece.id}: its joint {joint.label} meets a segment that is cut already" for joint in alone]
        joints = tuple(joint for joint in piece.joints if joint not in alone)
        pieces.append(replace(piece, copy=copies[piece.name], joints=joints))
    return tuple(pieces), tuple(warnings)
