"""Random commands against the rack and against a plain model of it, which must agree after every one.

The model is written from the rules in words and shares no code with `inventory.ledger`: a dictionary of sheets, a
dictionary of plans. What the model refuses the rack must refuse too, and then nothing may have changed.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from inventory.books import ENTRY, SHEET, recount
from inventory.database import open_rack, reading, sqlite_url, writing
from inventory.plans import Mishap, accept, arrive, cancel, finish, leftovers_of, pass_done, start, stop
from inventory.rack import correct, measure, move, on_hand, receive, report_missing, scrap
from inventory.stocktake import count
from nesting.faults import RackFault
from nesting.model import Plan
from tests.inventory.conftest import SERVER, fresh_postgresql
from tests.inventory.sample import A1, rectangle, sample_plan

ALL = frozenset({"A1", "A2", "R1", "R2", "R5"})
SHEETS = st.sampled_from(sorted(ALL))
NAMES = st.sampled_from(["one", "two", "three", "four"])
PLANS: dict[str, Plan] = {
    "one": sample_plan("A1"),
    "two": sample_plan("A2"),
    "three": sample_plan("A1"),
    "four": sample_plan(None),
}
SIZES = {"S1": (600.0, 700.0), "S2": (1000.0, 500.0)}
SHORT = settings(max_examples=24, stateful_step_count=30, suppress_health_check=[HealthCheck.filter_too_much])


@dataclass
class Kept:
    """A sheet in the model."""

    state: str = "on rack"
    plan: str | None = None
    place: str = "bay 1"
    size: tuple[float, float] = (600.0, 700.0)
    lot: str = "OP-1"


@dataclass
class Known:
    """A plan in the model: its state, passes run, and which sheet stands for which of its own."""

    state: str
    passes: set[tuple[str, int]]
    stock: dict[str, str]


class Refused(Exception):
    """The model says no."""


class RackMachine(RuleBasedStateMachine):
    """Each rule asks the model first, then the rack."""

    where = "sqlite"

    @initialize()
    def open(self) -> None:
        self.cleanup = contextlib.ExitStack()
        if self.where == "sqlite":
            folder = self.cleanup.enter_context(tempfile.TemporaryDirectory())
            url = sqlite_url(Path(folder) / "rack.sqlite3")
        else:
            url = self.cleanup.enter_context(fresh_postgresql())
        self.rack = open_rack(url)
        self.cleanup.callback(self.rack.dispose)
        self.sheets: dict[str, Kept] = {}
        self.plans: dict[str, Known] = {}
        self.clock = datetime(2026, 3, 2, tzinfo=UTC)
        self.entries = 0
        for sheet in ("A1", "A2"):
            self.receive(sheet)

    def teardown(self) -> None:
        if hasattr(self, "cleanup"):
            self.cleanup.close()

    def both(self, model: Callable[[], None], command: Callable[..., object]) -> None:
        """The model's answer is the rack's answer, and a refusal leaves everything as it was."""
        self.clock += timedelta(minutes=1)
        saved = {i: replace(s) for i, s in self.sheets.items()}
        plans = {i: Known(p.state, set(p.passes), dict(p.stock)) for i, p in self.plans.items()}
        try:
            model()
            refused = False
        except Refused:
            self.sheets, self.plans, refused = saved, plans, True
        try:
            with writing(self.rack) as conn:
                command(conn, at=self.clock, who="Ann")
        except RackFault as fault:
            assert refused, f"the rack refused what it should have done: {fault}"
        else:
            assert not refused, "the rack did what it should have refused"

    # ── sheets ──

    def there(self, sheet: str, *states: str) -> Kept:
        if sheet not in self.sheets or self.sheets[sheet].state not in states:
            raise Refused
        return self.sheets[sheet]

    def receive(self, sheet: str) -> None:
        def model() -> None:
            if sheet in self.sheets:
                raise Refused
            self.sheets[sheet] = Kept()

        self.both(model, lambda conn, **said: receive(conn, replace(A1, id=sheet), **said))

    @rule(sheet=SHEETS, data=st.data())
    def change(self, sheet: str, data: st.DataObject) -> None:
        """One of the ways in which a sheet turns out to be other than recorded: rarer than the life of plans."""
        match data.draw(st.sampled_from(["receive", "move", "measure", "lose", "scrap", "correct", "count"])):
            case "receive":
                self.receive(sheet)
            case "count":
                unseen = data.draw(st.frozensets(SHEETS, max_size=2))
                self.count(ALL - unseen, data.draw(st.sampled_from([None, "bay 1", "bay 2"])))
            case "move":
                self.move(sheet, data.draw(st.sampled_from(["bay 1", "bay 2"])))
            case "measure":
                self.measure(sheet, data.draw(st.sampled_from([600.0, 590.0])))
            case "correct":
                self.correct(sheet, data.draw(st.sampled_from(["", "OP-2"])), data.draw(st.booleans()))
            case "lose":
                self.lose(sheet)
            case "scrap":
                self.scrap(sheet)

    def move(self, sheet: str, place: str) -> None:
        def model() -> None:
            self.there(sheet, "on rack").place = place

        self.both(model, lambda conn, **said: move(conn, sheet, place, **said))

    def measure(self, sheet: str, width: float) -> None:
        def model() -> None:
            self.there(sheet, "on rack").size = (width, 700.0)

        self.both(model, lambda conn, **said: measure(conn, sheet, rectangle(width, 700), **said))

    def lose(self, sheet: str) -> None:
        def model() -> None:
            self.there(sheet, "on rack", "missing").state = "missing"

        self.both(model, lambda conn, **said: report_missing(conn, sheet, **said))

    def scrap(self, sheet: str) -> None:
        def model() -> None:
            kept = self.there(sheet, "on rack", "missing")
            if kept.plan:
                raise Refused
            kept.state = "scrapped"

        self.both(model, lambda conn, **said: scrap(conn, sheet, why="chipped", **said))

    def correct(self, sheet: str, lot: str, back: bool) -> None:
        def model() -> None:
            kept = self.there(sheet, "on rack", "missing", "scrapped")
            kept.lot = lot
            kept.state = "on rack" if back else kept.state

        self.both(model, lambda conn, **said: correct(conn, sheet, {"lot": lot}, why="slip", back=back, **said))

    @rule(
        seen=st.frozensets(SHEETS, max_size=2).map(lambda unseen: ALL - unseen),
        place=st.sampled_from([None, "bay 1", "bay 2"]),
    )
    def count(self, seen: frozenset[str], place: str | None) -> None:
        def model() -> None:
            for sheet, kept in self.sheets.items():
                if kept.state == "on rack" and sheet not in seen and place in (None, kept.place):
                    kept.state = "missing"
                elif kept.state in ("on rack", "missing") and sheet in seen:
                    kept.state, kept.place = "on rack", place or kept.place

        self.both(model, lambda conn, **said: count(conn, seen, place, **said))

    # ── plans ──

    def opened(self, name: str) -> Known:
        plan = self.plans.get(name)
        if plan is None or plan.state not in ("accepted", "started"):
            raise Refused
        return plan

    def fresh(self, name: str, only: str | None = None) -> None:
        for own, sheet in self.plans[name].stock.items():
            kept = self.sheets[sheet]
            if only in (None, own) and (kept.state != "on rack" or kept.plan != name or kept.size != SIZES[own]):
                raise Refused

    def book_in(self, name: str, *own: str) -> None:
        plan = self.opened(name)
        for one in own:
            if one not in plan.stock:
                number = 1 + max((int(i[1:]) for i in self.sheets if i.startswith("R")), default=0)
                plan.stock[one] = f"R{number}"
                self.sheets[f"R{number}"] = Kept("on rack", name, "", SIZES[one], "")

    def begin(self, name: str) -> None:
        if self.opened(name).state == "accepted":
            self.fresh(name)
        self.plans[name].state = "started"

    def consume(self, name: str, own: str, sizes: list[tuple[float, float]]) -> None:
        parent = self.sheets[self.plans[name].stock[own]]
        parent.state = "cut"
        for size in sizes:
            number = 1 + max((int(i[1:]) for i in self.sheets if i.startswith("R")), default=0)
            self.sheets[f"R{number}"] = Kept("on rack", None, parent.place, size, parent.lot)

    @rule(name=NAMES)
    def accept(self, name: str) -> None:
        sheet = PLANS[name].sheets[0].source.stock_id

        def model() -> None:
            known = self.plans.get(name)
            if known and known.state in ("accepted", "started"):
                return
            if known and known.state != "cancelled":
                raise Refused
            if sheet is not None:
                kept = self.there(sheet, "on rack")
                if kept.plan or kept.size != SIZES["S1"]:
                    raise Refused
                kept.plan = name
            self.plans[name] = Known("accepted", set(), {"S1": sheet} if sheet else {})

        self.both(model, lambda conn, **said: accept(conn, name, PLANS[name], "{}", **said))

    @precondition(lambda self: self.plans)
    @rule(name=NAMES, data=st.data())
    def end(self, name: str, data: st.DataObject) -> None:
        """The ways in which a plan comes to its end: each rarer than a step on the way."""
        match data.draw(st.sampled_from(["finish", "cancel", "stop"])):
            case "finish":
                self.finish(name)
            case "cancel":
                self.cancel(name)
            case "stop":
                self.stop(name, data.draw(st.booleans()), data.draw(st.booleans()))

    @precondition(lambda self: self.plans)
    @rule(name=NAMES)
    def start(self, name: str) -> None:
        self.both(lambda: self.begin(name), lambda conn, **said: start(conn, name, PLANS[name], **said))

    @precondition(lambda self: self.plans)
    @rule(name=NAMES)
    def arrive(self, name: str) -> None:
        self.both(
            lambda: self.book_in(name, "S2"), lambda conn, **said: arrive(conn, name, PLANS[name], {"S2"}, **said)
        )

    @precondition(lambda self: self.plans)
    @rule(name=NAMES, own=st.sampled_from(["S1", "S2"]), order=st.integers(1, 2))
    def pass_done(self, name: str, own: str, order: int) -> None:
        def model() -> None:
            if (own, order) == ("S2", 2):
                raise Refused
            self.begin(name)
            plan = self.plans[name]
            if (own, order) in plan.passes:
                return
            if order == 2 and (own, 1) not in plan.passes:
                raise Refused
            self.book_in(name, own)
            self.fresh(name, own)
            plan.passes.add((own, order))

        self.both(model, lambda conn, **said: pass_done(conn, name, PLANS[name], own, order, **said))

    def finish(self, name: str) -> None:
        def model() -> None:
            if name in self.plans and self.plans[name].state == "finished":
                return
            self.begin(name)
            self.book_in(name, "S1", "S2")
            self.fresh(name)
            self.consume(name, "S1", [(140.0, 700.0)])
            self.consume(name, "S2", [(780.0, 500.0)])
            self.plans[name].state = "finished"

        self.both(model, lambda conn, **said: finish(conn, name, PLANS[name], **said))

    def cancel(self, name: str) -> None:
        def model() -> None:
            if name in self.plans and self.plans[name].state == "cancelled":
                return
            plan = self.opened(name)
            if plan.passes:
                raise Refused
            for sheet in plan.stock.values():
                self.sheets[sheet].plan = None
            plan.state = "cancelled"

        self.both(model, lambda conn, **said: cancel(conn, name, **said))

    def stop(self, name: str, cracked: bool, spoiled: bool) -> None:
        event = Mishap(frozenset({"p1"} if spoiled else ()), frozenset({"S1"} if cracked else ()))

        def model() -> None:
            if name in self.plans and self.plans[name].state == "stopped":
                return
            plan = self.opened(name)
            self.book_in(name, *sorted(event.cracked))
            for own, sheet in plan.stock.items():
                kept = self.sheets[sheet]
                if any(run == own for run, _ in plan.passes):
                    if kept.state != "on rack":
                        raise Refused
                    self.consume(name, own, [])
                else:
                    kept.plan = None
                    kept.state = "scrapped" if own in event.cracked else kept.state
            plan.state = "stopped"

        self.both(model, lambda conn, **said: stop(conn, name, PLANS[name], event, {}, **said))

    # ── what must be true at all times ──

    @invariant()
    def the_rack_is_what_the_model_says(self) -> None:
        if not hasattr(self, "rack"):
            return
        with reading(self.rack) as conn:
            assert recount(conn) == ()
            rows = conn.execute(sa.select(SHEET)).all()
            found = {
                row.id: Kept(row.state, row.plan, row.place, tuple(sorted((row.short_mm, row.long_mm))), row.lot)
                for row in rows
            }
            free = {offcut.id for offcut in on_hand(conn)}
            entries = conn.execute(sa.select(sa.func.count(), sa.func.max(ENTRY.c.seq)).select_from(ENTRY)).one()
        model = {i: replace(kept, size=tuple(sorted(kept.size))) for i, kept in self.sheets.items()}
        assert found == model
        assert free == {i for i, kept in self.sheets.items() if kept.state == "on rack" and kept.plan is None}
        assert entries[0] == (entries[1] or 0) >= self.entries
        self.entries = entries[0]

    @invariant()
    def all_area_is_accounted_for(self) -> None:
        if not hasattr(self, "rack"):
            return
        with reading(self.rack) as conn:
            for name, known in self.plans.items():
                if known.state == "finished":
                    assert len(leftovers_of(conn, name)) == 2


class PostgresqlMachine(RackMachine):
    """The same on PostgreSQL."""

    where = "postgresql"


TestOnSqlite = RackMachine.TestCase
TestOnSqlite.settings = SHORT
TestOnPostgresql = pytest.mark.skipif(SERVER not in os.environ, reason=f"{SERVER} names no PostgreSQL server")(
    PostgresqlMachine.TestCase
)
TestOnPostgresql.settings = settings(SHORT, max_examples=6)
