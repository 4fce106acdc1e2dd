"""The life of a plan on the rack: accepted, started, pass by pass, finished; or cancelled; or stopped by a mishap.

In: the plan, its id, a connection from `database.writing`, who says so and when. Out: entries in the ledger; the
leftovers that were put on the rack. Every step may be repeated after a lost answer: what is booked is not booked again.
Method: a step first looks whether the sheets are still as planned (a stale plan is refused with the reason), then books
all its entries at once.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from sqlalchemy.engine import Connection

from inventory.books import book, entries_of_plan, find_plan, find_sheets, next_number
from inventory.checking import checked
from inventory.consuming import Saying, bought, cut_up, kept_of
from inventory.ledger import OPEN, Entry, Kind, PlanOnRack, PlanState, offcut_as_json
from inventory.stale import check_all_free, refuse_stale
from nesting.faults import RackFault
from nesting.model import Leftover, Offcut, Pass, Piece, Plan, PlannedSheet, Point


@dataclass(frozen=True, slots=True)
class Standing:
    """How far a plan has come: passes run (sheet of the plan, blank, order), and the stock number of each sheet of the
    plan that is on the rack."""

    passes: frozenset[tuple[str, str, int]]
    stock: Mapping[str, str]

    def ran(self, planned: PlannedSheet, one: Pass) -> bool:
        return (planned.id, one.blank, one.order) in self.passes

    def touched(self, planned: PlannedSheet) -> bool:
        return any(sheet == planned.id for sheet, _, _ in self.passes)

    def cut(self, planned: PlannedSheet) -> frozenset[str]:
        """Pieces of this sheet that are cut all round: all their passes are run."""
        waiting = {piece for one in planned.passes if not self.ran(planned, one) for piece in (*one.whole, *one.part)}
        return frozenset(spot.piece for spot in planned.placements if self.touched(planned)) - waiting

    def begun(self, planned: PlannedSheet) -> frozenset[str]:
        """Pieces of this sheet that any pass run has cut into."""
        run = (one for one in planned.passes if self.ran(planned, one))
        return frozenset(piece for one in run for piece in (*one.whole, *one.part))


@dataclass(frozen=True, slots=True)
class Mishap:
    """What went wrong: pieces spoiled (ids), sheets of the plan cracked (what is left of them is scrap), sheets of the
    plan whose outline is not as recorded."""

    spoiled: frozenset[str] = frozenset()
    cracked: frozenset[str] = frozenset()
    measured: Mapping[str, tuple[Point, ...]] = field(default_factory=dict)


# ── the steps ────────────────────────────────────────────────────────────────────────────────────────────────


def accept(conn: Connection, plan_id: str, plan: Plan, text: str, *, at: datetime, who: str) -> None:
    """Reserve all the plan's sheets from the rack, or none; `text` is the plan as written, kept in the ledger.

    Raises RackFault if a sheet is taken (by whom), gone, or no longer as it was planned with.
    """
    plan_before = find_plan(conn, plan_id)
    if plan_before is not None and plan_before.state is not PlanState.CANCELLED:
        _open(conn, plan_id)
        return
    stock = {sheet.id: sheet.source.stock_id for sheet in plan.sheets if sheet.source.stock_id is not None}
    check_all_free(conn, list(stock.values()))
    refuse_stale(conn, plan, stock)
    say = Saying(plan_id, at, who)
    accepted = say.of_plan(Kind.ACCEPTED, {"job": plan.job.name, "customer": plan.job.customer, "plan": text})
    book(conn, [accepted, *(say.of_sheet(Kind.RESERVED, stock[own], {"planned": own}) for own in stock)])


def start(conn: Connection, plan_id: str, plan: Plan, *, at: datetime, who: str) -> None:
    """The first sheet goes to the machine. Raises RackFault if the plan is not accepted, or stale."""
    if _open(conn, plan_id).state is PlanState.STARTED:
        return
    refuse_stale(conn, plan, standing(conn, plan_id).stock, plan_id)
    book(conn, [Saying(plan_id, at, who).of_plan(Kind.STARTED)])


def arrive(conn: Connection, plan_id: str, plan: Plan, sheets: Collection[str], *, at: datetime, who: str) -> None:
    """Book bought sheets of the plan in: they are on the rack now, held for it. `sheets` are ids of the plan's own.

    Raises RackFault if the plan has no such sheet, or is not open.
    """
    _open(conn, plan_id)
    for sheet in sheets:
        _planned(plan, sheet)
    known = standing(conn, plan_id).stock
    say = Saying(plan_id, at, who)
    entries: list[Entry] = []
    new = [planned for planned in plan.sheets if planned.id in sheets and planned.id not in known]
    for number, planned in enumerate(new, next_number(conn)):
        offcut = bought(planned, number)
        body = {"sheet": offcut_as_json(offcut)}
        entries.append(say.of_sheet(Kind.RECEIVED, offcut.id, body, f"bought: {planned.source.offer}"))
        entries.append(say.of_sheet(Kind.RESERVED, offcut.id, {"planned": planned.id}))
    book(conn, entries)


def pass_done(conn: Connection, plan_id: str, plan: Plan, name: str, order: int, *, at: datetime, who: str) -> None:
    """One pass is run, of the blank `S01-b2` or of the only blank of `S01`.

    Raises RackFault if there is no such pass, or if one before it on the blank was not run.
    """
    planned, passes = _passes_of(plan, name)
    run = next((one for one in passes if one.order == order), None)
    if run is None:
        raise RackFault(f"{name} has no pass {order}", mend=f"it has passes 1 to {len(passes)}" if passes else "")
    start(conn, plan_id, plan, at=at, who=who)
    before = standing(conn, plan_id)
    if before.ran(planned, run):
        return
    skipped = [one.order for one in passes if one.order < order and not before.ran(planned, one)]
    if skipped:
        raise RackFault(f"pass {skipped[0]} of {name} is not run yet", mend="book the passes in their order")
    arrive(conn, plan_id, plan, {planned.id}, at=at, who=who)
    refuse_stale(conn, plan, standing(conn, plan_id).stock, plan_id, only=planned.id)
    body = {"sheet": planned.id, "blank": run.blank, "pass": order}
    book(conn, [Saying(plan_id, at, who).of_plan(Kind.PASS_DONE, body)])


def finish(conn: Connection, plan_id: str, plan: Plan, *, at: datetime, who: str) -> tuple[Offcut, ...]:
    """Everything is cut: bought sheets in, all sheets consumed, leftovers worth keeping on the rack, as returned.

    Raises RackFault if the plan is not accepted, or stale.
    """
    found = find_plan(conn, plan_id)
    if found is not None and found.state is PlanState.FINISHED:
        return leftovers_of(conn, plan_id)
    start(conn, plan_id, plan, at=at, who=who)
    arrive(conn, plan_id, plan, {sheet.id for sheet in plan.sheets}, at=at, who=who)
    stock = standing(conn, plan_id).stock
    refuse_stale(conn, plan, stock, plan_id)
    say = Saying(plan_id, at, who)
    whole = {sheet.id: (frozenset(spot.piece for spot in sheet.placements), sheet.leftovers) for sheet in plan.sheets}
    book(conn, [*_cut_all(conn, plan, stock, whole, {}, say), say.of_plan(Kind.FINISHED)])
    return leftovers_of(conn, plan_id)


def cancel(conn: Connection, plan_id: str, *, at: datetime, who: str, why: str = "") -> None:
    """Let all the plan's sheets go; bought ones that have arrived stay on the rack. Raises RackFault once cut into."""
    found = find_plan(conn, plan_id)
    if found is not None and found.state is PlanState.CANCELLED:
        return
    _open(conn, plan_id)
    now = standing(conn, plan_id)
    if now.passes:
        raise RackFault(
            f"the plan {plan_id} has been cut into: {len(now.passes)} passes are run",
            mend="finish it, or stop it with `halfturn rack mishap`",
        )
    say = Saying(plan_id, at, who, why)
    freed = [say.of_sheet(Kind.RELEASED, sheet) for sheet in now.stock.values()]
    book(conn, [*freed, say.of_plan(Kind.CANCELLED)])


def stop(
    conn: Connection,
    plan_id: str,
    plan: Plan,
    mishap: Mishap,
    remnants: Mapping[str, Sequence[Leftover]],
    *,
    at: datetime,
    who: str,
    why: str = "",
) -> tuple[Piece, ...]:
    """Stop the plan after a mishap; returns the pieces that are still missing.

    Sheets that were cut into are booked as cut, with the good pieces that came out of them and their `remnants` (by id
    of the planned sheet, sheet frame) on the rack; untouched ones are let go, as measured; cracked ones are scrapped.
    """
    found = find_plan(conn, plan_id)
    if found is None or found.state is not PlanState.STOPPED:
        _open(conn, plan_id)
        _check_mishap(plan, mishap)
        arrive(conn, plan_id, plan, {*mishap.cracked, *mishap.measured}, at=at, who=who)  # they are here, then
        now, say = standing(conn, plan_id), Saying(plan_id, at, who, why)
        done = {sheet.id: now.cut(sheet) - mishap.spoiled for sheet in plan.sheets if now.touched(sheet)}
        missing = [piece.id for piece in plan.pieces if not any(piece.id in good for good in done.values())]
        measured = _measured(conn, now, mishap)
        cut = {sheet: (good, tuple(remnants.get(sheet, ()))) for sheet, good in done.items()}
        consumed = _cut_all(conn, plan, now.stock, cut, measured, say)
        freed = [
            say.of_sheet(Kind.SCRAPPED if sheet in mishap.cracked else Kind.RELEASED, stock)
            for sheet, stock in now.stock.items()
            if sheet not in done
        ]
        shapes = [say.of_sheet(Kind.MEASURED, sheet.id, _shape(sheet)) for sheet in measured.values()]
        book(conn, [*shapes, *consumed, *freed, say.of_plan(Kind.MISHAP, {"missing": missing})])
    last = [entry for entry in entries_of_plan(conn, plan_id) if entry.kind is Kind.MISHAP][-1]
    return tuple(plan.piece(piece) for piece in last.body["missing"])


def _check_mishap(plan: Plan, mishap: Mishap) -> None:
    for sheet in {*mishap.cracked, *mishap.measured}:
        _planned(plan, sheet)
    unknown = sorted(mishap.spoiled - {piece.id for piece in plan.pieces})
    if unknown:
        raise RackFault(f"the plan has no piece {unknown[0]!r}", mend="take the piece's number from the work pack")


def _measured(conn: Connection, now: Standing, mishap: Mishap) -> dict[str, Offcut]:
    """The sheets that are not as recorded, by id of the planned sheet, as they really are."""
    sheets = find_sheets(conn, {now.stock[sheet] for sheet in mishap.measured})
    return {
        sheet: checked(replace(sheets[now.stock[sheet]].offcut, outline_mm=outline, holes_mm=(), true_edges=()))
        for sheet, outline in mishap.measured.items()
    }


def _shape(sheet: Offcut) -> dict[str, object]:
    return {"outline_mm": sheet.outline_mm, "holes_mm": sheet.holes_mm, "true_edges": sheet.true_edges}


def _cut_all(
    conn: Connection,
    plan: Plan,
    stock: Mapping[str, str],
    cut: Mapping[str, tuple[frozenset[str], tuple[Leftover, ...]]],
    measured: Mapping[str, Offcut],
    say: Saying,
) -> list[Entry]:
    """Consume the sheets in `cut` (by id of the planned sheet): the good pieces that came out, and what is left."""
    parents = {sheet.offcut.id: sheet.offcut for sheet in find_sheets(conn, {stock[sheet] for sheet in cut}).values()}
    number = next_number(conn)
    entries: list[Entry] = []
    for planned in plan.sheets:
        if planned.id not in cut:
            continue
        good, left = cut[planned.id]
        parent = measured.get(planned.id, parents[stock[planned.id]])
        kept = kept_of(parent, left, number)
        number += len(kept)
        pieces = [piece for piece in plan.pieces if piece.id in good]
        entries += cut_up(plan.machine, planned, parent, pieces, kept, say)
    return entries


# ── questions ────────────────────────────────────────────────────────────────────────────────────────────────


def standing(conn: Connection, plan_id: str) -> Standing:
    """How far the plan has come since it was accepted last."""
    passes: set[tuple[str, str, int]] = set()
    stock: dict[str, str] = {}
    for entry in entries_of_plan(conn, plan_id):
        if entry.kind is Kind.ACCEPTED:
            passes, stock = set(), {}
        elif entry.kind is Kind.PASS_DONE:
            passes.add((entry.body["sheet"], entry.body["blank"], entry.body["pass"]))
        elif entry.kind is Kind.RESERVED and entry.sheet is not None:
            stock[entry.body["planned"]] = entry.sheet
    return Standing(frozenset(passes), stock)


def leftovers_of(conn: Connection, plan_id: str) -> tuple[Offcut, ...]:
    """The offcuts that the plan has put on the rack, as they are now."""
    received = [e for e in entries_of_plan(conn, plan_id) if e.kind is Kind.RECEIVED and "parent" in e.body]
    ids = [entry.sheet for entry in received if entry.sheet is not None]
    sheets = find_sheets(conn, set(ids))
    return tuple(sheets[sheet].offcut for sheet in ids)


def accepted_text(conn: Connection, plan_id: str) -> str:
    """The plan as it was written when it was accepted last. Raises RackFault if it never was."""
    texts = [e.body.get("plan", "") for e in entries_of_plan(conn, plan_id) if e.kind is Kind.ACCEPTED]
    if not texts:
        raise RackFault(
            f"there is no plan folder {plan_id}, and no plan was accepted under that name",
            mend="give the plan's folder, or a name that `halfturn rack plans --all` lists",
        )
    return str(texts[-1])


def _open(conn: Connection, plan_id: str) -> PlanOnRack:
    plan = find_plan(conn, plan_id)
    if plan is None:
        raise RackFault(f"the plan {plan_id} was never accepted", mend="accept it with `halfturn rack accept`")
    if plan.state not in OPEN:
        raise RackFault(
            f"the plan {plan_id} is {plan.state}, by {plan.who}, {plan.at:%Y-%m-%d %H:%M}",
            mend="nothing is to be done; for another run make and accept a plan anew",
        )
    return plan


def _passes_of(plan: Plan, name: str) -> tuple[PlannedSheet, tuple[Pass, ...]]:
    """A sheet and the passes of the blank that is meant. Raises RackFault if it has several, or none so named."""
    for planned in plan.sheets:
        blanks = {f"{planned.id}-{one.blank}": one.blank for one in planned.passes}
        if name in blanks:
            return planned, tuple(one for one in planned.passes if one.blank == blanks[name])
        if name == planned.id:
            if len(blanks) > 1:
                raise RackFault(f"sheet {name} is cut in {len(blanks)} blanks", mend=f"say which: {', '.join(blanks)}")
            return planned, planned.passes
    every = dict.fromkeys(f"{planned.id}-{one.blank}" for planned in plan.sheets for one in planned.passes)
    raise RackFault(f"the plan has no blank {name!r}", mend=f"its blanks are {', '.join(every)}")


def _planned(plan: Plan, sheet: str) -> PlannedSheet:
    for planned in plan.sheets:
        if planned.id == sheet:
            return planned
    raise RackFault(
        f"the plan has no sheet {sheet!r}", mend="its sheets are " + ", ".join(planned.id for planned in plan.sheets)
    )
