"""The ledger: entries are added, never changed; what is on hand follows from them.

In: entries, from the commands of the rack. Out: the sheets and plans as they stand, in memory or in the database.
Method: `sheet_after` and `plan_after` are pure and hold every rule of what may follow what; `book` applies them to what
stands and writes the entry and what follows from it in one transaction; `recount` reads the whole ledger again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any

from nesting.faults import RackFault
from nesting.model import Offcut, Point


class Kind(StrEnum):
    """What an entry says. The first nine are about a sheet, the next six about a plan, the last about neither."""

    RECEIVED = "received"
    RESERVED = "reserved"
    RELEASED = "released"
    CUT = "cut"
    MEASURED = "measured"
    MOVED = "moved"
    COUNTED = "counted"
    SCRAPPED = "scrapped"
    CORRECTED = "corrected"
    ACCEPTED = "accepted"
    STARTED = "started"
    PASS_DONE = "pass done"
    FINISHED = "finished"
    CANCELLED = "cancelled"
    MISHAP = "mishap"
    IMPORTED = "imported"


class State(StrEnum):
    """Where a sheet stands; only what is on the rack can be planned with."""

    ON_RACK = "on rack"
    CUT = "cut"
    SCRAPPED = "scrapped"
    MISSING = "missing"


class PlanState(StrEnum):
    """Where a plan stands; the last three hold no sheets any more."""

    ACCEPTED = "accepted"
    STARTED = "started"
    FINISHED = "finished"
    CANCELLED = "cancelled"
    STOPPED = "stopped by a mishap"


LONGEST_SAYING = 500

OPEN = frozenset({PlanState.ACCEPTED, PlanState.STARTED})


@dataclass(frozen=True, slots=True)
class Entry:
    """Who said what, when and why, of which sheet and for which plan; `body` holds what the kind needs, JSON values."""

    kind: Kind
    at: datetime
    who: str
    why: str = ""
    sheet: str | None = None
    plan: str | None = None
    body: Mapping[str, Any] = field(default_factory=dict)
    seq: int = 0

    def __post_init__(self) -> None:
        for name, text in (("who", self.who), ("why", self.why)):
            if len(text) > LONGEST_SAYING or not text.isprintable():
                raise RackFault(
                    f"`{name}` is not one line of text", mend=f"say it in up to {LONGEST_SAYING} printable characters"
                )
        if not self.who.strip():
            raise RackFault("nobody says who books this", mend="say who you are with --who, or set HALFTURN_WHO")


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet as the ledger knows it. `plan` has reserved it or has cut it; `parent` is the sheet it was cut from."""

    offcut: Offcut
    state: State
    since: datetime
    plan: str | None = None
    parent: str | None = None

    @property
    def free(self) -> bool:
        return self.state is State.ON_RACK and self.plan is None


@dataclass(frozen=True, slots=True)
class PlanOnRack:
    """A plan as the ledger knows it: its state, for whom it is made, and who said so last."""

    id: str
    state: PlanState
    job: str
    customer: str
    at: datetime
    who: str


# ── what may follow what ─────────────────────────────────────────────────────────────────────────────────────


def sheet_after(sheet: Sheet | None, entry: Entry) -> Sheet:
    """The sheet once `entry` is booked; None before it was received. Raises RackFault if the entry cannot follow."""
    if entry.kind is Kind.RECEIVED:
        return _received(sheet, entry)
    if sheet is None:
        raise RackFault(f"there is no sheet {entry.sheet!r}", mend="look it up with `halfturn rack list`")
    return _SHEET_RULES[entry.kind](sheet, entry)


def plan_after(plan: PlanOnRack | None, entry: Entry) -> PlanOnRack:
    """The plan once `entry` is booked; None before it was accepted. Raises RackFault if the entry cannot follow."""
    assert entry.plan is not None
    if entry.kind is Kind.ACCEPTED:
        if plan is not None and plan.state is not PlanState.CANCELLED:
            raise RackFault(
                f"the plan {plan.id} was accepted before and is {plan.state}",
                mend="for a further run of a finished plan, `halfturn rack accept --again`",
            )
        job, customer = entry.body.get("job", ""), entry.body.get("customer", "")
        return PlanOnRack(entry.plan, PlanState.ACCEPTED, job, customer, entry.at, entry.who)
    if plan is None:
        raise RackFault(f"the plan {entry.plan} was never accepted", mend="accept it first")
    allowed, after = _PLAN_RULES[entry.kind]
    if plan.state not in allowed:
        raise RackFault(
            f"the plan {plan.id} is {plan.state} (by {plan.who}, {plan.at:%Y-%m-%d %H:%M})",
            mend="see where plans stand with `halfturn rack plans --all`",
        )
    return replace(plan, state=after, at=entry.at, who=entry.who)


_PLAN_RULES: Mapping[Kind, tuple[frozenset[PlanState], PlanState]] = {
    Kind.STARTED: (frozenset({PlanState.ACCEPTED}), PlanState.STARTED),
    Kind.PASS_DONE: (frozenset({PlanState.STARTED}), PlanState.STARTED),
    Kind.FINISHED: (frozenset({PlanState.STARTED}), PlanState.FINISHED),
    Kind.CANCELLED: (OPEN, PlanState.CANCELLED),
    Kind.MISHAP: (OPEN, PlanState.STOPPED),
}


def fold(entries: Iterable[Entry]) -> tuple[dict[str, Sheet], dict[str, PlanOnRack]]:
    """All sheets and all plans, by id, as they stand after `entries` in order."""
    sheets: dict[str, Sheet] = {}
    plans: dict[str, PlanOnRack] = {}
    for entry in entries:
        if entry.sheet is not None:
            sheets[entry.sheet] = sheet_after(sheets.get(entry.sheet), entry)
        elif entry.plan is not None:
            plans[entry.plan] = plan_after(plans.get(entry.plan), entry)
    return sheets, plans


def _received(sheet: Sheet | None, entry: Entry) -> Sheet:
    if sheet is not None:
        raise RackFault(
            f"the sheet {entry.sheet} was received before, on {sheet.since:%Y-%m-%d}, and is {sheet.state}",
            mend="give the new one another number, or correct the old one",
        )
    offcut = offcut_from(entry.body["sheet"])
    return Sheet(offcut, State.ON_RACK, entry.at, None, entry.body.get("parent"))


def _reserved(sheet: Sheet, entry: Entry) -> Sheet:
    _must_be_on_rack(sheet)
    if sheet.plan is not None:
        raise RackFault(
            f"the sheet {sheet.offcut.id} is reserved for the plan {sheet.plan}",
            mend="plan again without it, or cancel that plan",
        )
    return replace(sheet, plan=entry.plan)


def _released(sheet: Sheet, entry: Entry) -> Sheet:
    _must_be_of(sheet, entry)
    return replace(sheet, plan=None)


def _cut(sheet: Sheet, entry: Entry) -> Sheet:
    _must_be_on_rack(sheet)
    _must_be_of(sheet, entry)
    return replace(sheet, state=State.CUT)


def _measured(sheet: Sheet, entry: Entry) -> Sheet:
    _must_be_on_rack(sheet)
    shape = entry.body
    offcut = replace(sheet.offcut, outline_mm=points(shape["outline_mm"]), true_edges=tuple(shape["true_edges"]))
    return replace(sheet, offcut=replace(offcut, holes_mm=tuple(points(hole) for hole in shape["holes_mm"])))


def _moved(sheet: Sheet, entry: Entry) -> Sheet:
    _must_be_on_rack(sheet)
    return replace(sheet, offcut=replace(sheet.offcut, place=entry.body["place"]))


def _counted(sheet: Sheet, entry: Entry) -> Sheet:
    if sheet.state not in (State.ON_RACK, State.MISSING):
        raise RackFault(
            f"the sheet {sheet.offcut.id} was counted, but the ledger says it is {sheet.state}",
            mend="look at the number again; if it is that sheet, correct it back onto the rack first",
        )
    return replace(sheet, state=State.ON_RACK if entry.body["found"] else State.MISSING)


def _scrapped(sheet: Sheet, entry: Entry) -> Sheet:
    if sheet.state not in (State.ON_RACK, State.MISSING):
        raise RackFault(
            f"the sheet {sheet.offcut.id} is {sheet.state} already",
            mend=f"see `halfturn rack history {sheet.offcut.id}`",
        )
    if sheet.plan is not None and sheet.plan != entry.plan:
        raise RackFault(
            f"the sheet {sheet.offcut.id} is reserved for the plan {sheet.plan}",
            mend="tell that plan first, with `halfturn rack mishap` or `halfturn rack cancel`",
        )
    return replace(sheet, state=State.SCRAPPED, plan=None)


def _corrected(sheet: Sheet, entry: Entry) -> Sheet:
    """Mistakes of the record; a scrapped or missing sheet comes back, one that was cut does not."""
    if sheet.state is State.CUT:
        raise RackFault(
            f"the sheet {sheet.offcut.id} is cut: nothing is left of it to correct",
            mend=f"correct what was cut from it: see `halfturn rack history {sheet.offcut.id}`",
        )
    changes = dict(entry.body)
    back = changes.pop("on_rack", False)
    if "book_value" in changes:
        changes["book_value"] = Decimal(changes["book_value"])
    return replace(sheet, offcut=replace(sheet.offcut, **changes), state=State.ON_RACK if back else sheet.state)


_SHEET_RULES: Mapping[Kind, Callable[[Sheet, Entry], Sheet]] = {
    Kind.RESERVED: _reserved,
    Kind.RELEASED: _released,
    Kind.CUT: _cut,
    Kind.MEASURED: _measured,
    Kind.MOVED: _moved,
    Kind.COUNTED: _counted,
    Kind.SCRAPPED: _scrapped,
    Kind.CORRECTED: _corrected,
}


def _must_be_on_rack(sheet: Sheet) -> None:
    if sheet.state is not State.ON_RACK:
        raise RackFault(
            f"the sheet {sheet.offcut.id} is {sheet.state}", mend=f"see `halfturn rack history {sheet.offcut.id}`"
        )


def _must_be_of(sheet: Sheet, entry: Entry) -> None:
    if sheet.plan is None or sheet.plan != entry.plan:
        holder = f"reserved for the plan {sheet.plan}" if sheet.plan else "not reserved"
        raise RackFault(f"the sheet {sheet.offcut.id} is {holder}, not for {entry.plan}", mend="plan again")


# ── records as JSON ──────────────────────────────────────────────────────────────────────────────────────────


def offcut_as_json(offcut: Offcut) -> dict[str, Any]:
    """JSON values that `offcut_from` reads back to an equal record."""
    return {
        "id": offcut.id,
        "material": offcut.material,
        "colour": offcut.colour,
        "thickness_mm": offcut.thickness_mm,
        "outline_mm": offcut.outline_mm,
        "holes_mm": offcut.holes_mm,
        "book_value": str(offcut.book_value),
        "place": offcut.place,
        "lot": offcut.lot,
        "faces": offcut.faces,
        "grain_deg": offcut.grain_deg,
        "true_edges": offcut.true_edges,
        "square": offcut.square,
    }


def offcut_from(values: Mapping[str, Any]) -> Offcut:
    """The record that `offcut_as_json` wrote."""
    return Offcut(
        id=values["id"],
        material=values["material"],
        colour=values["colour"],
        thickness_mm=values["thickness_mm"],
        outline_mm=points(values["outline_mm"]),
        holes_mm=tuple(points(hole) for hole in values["holes_mm"]),
        book_value=Decimal(values["book_value"]),
        place=values["place"],
        lot=values["lot"],
        faces=values["faces"],
        grain_deg=values["grain_deg"],
        true_edges=tuple(values["true_edges"]),
        square=values.get("square", False),  # not said of sheets received before it was asked
    )


def points(values: Iterable[Iterable[float]]) -> tuple[Point, ...]:
    """Corners read from JSON as tuples again."""
    return tuple((float(x), float(y)) for x, y in values)
