"""Is everything there that the job demands, and nothing that it does not?

In: PlanRecord. Out: Check `demands`.
Method: counting. Each demand lists its pieces by id; a piece that was split is there by its segments. What a piece may
do (turn, mirror) and what it is cut from is the demand's word, not the piece's own.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from nesting.audit.checks import Check, Flaw, none_wrong
from nesting.audit.records import DemandRecord, PieceRecord, PlanRecord


def demand_checks(plan: PlanRecord) -> list[Check]:
    """The check of this module."""
    return [none_wrong("demands", _flaws(plan), "every piece the job demands is there, as demanded, and no other")]


def _flaws(plan: PlanRecord) -> Iterator[Flaw]:
    straps = {seat.piece for split in plan.splits for seat in split.straps}
    made: dict[str, list[PieceRecord]] = {}
    for piece in plan.pieces:
        if piece.id in straps:
            continue  # It is demanded by its joint, and of a stock of its own.
        made.setdefault(piece.segment_of or piece.id, []).append(piece)
    asked = Counter(one for demand in plan.demands for one in demand.pieces)
    for one, times in asked.items():
        if times > 1:
            yield Flaw(one, f"is demanded {times} times")
    for one in made:
        if one not in asked:
            yield Flaw(one, "is cut, but nothing in the job demands it")
    for demand in plan.demands:
        yield from _demand_flaws(demand, made)


def _demand_flaws(demand: DemandRecord, made: dict[str, list[PieceRecord]]) -> Iterator[Flaw]:
    wanted = demand.quantity * demand.shapes
    if len(demand.pieces) != wanted:
        text = f"lists {len(demand.pieces)} pieces; {demand.quantity} copies of {demand.shapes} are {wanted}"
        yield Flaw(f"demand {demand.name}", text)
    missing = [one for one in demand.pieces if one not in made]
    if missing:
        yield Flaw(f"demand {demand.name}", f"{len(missing)} of {wanted} pieces are not in the plan: {missing[0]}")
    for piece in (piece for one in demand.pieces for piece in made.get(one, ())):
        yield from _unlike(piece, demand)


def _unlike(piece: PieceRecord, demand: DemandRecord) -> Iterator[Flaw]:
    for key in ("material", "colour", "thickness_mm", "turn", "mirror"):
        has, asked = getattr(piece, key), getattr(demand, key)
        if has != asked:
            yield Flaw(piece.id, f"its {key} is `{has}`, the job demands `{asked}`")
