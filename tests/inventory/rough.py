"""Rough treatment of a rack: killed processes and crowds of them. Short in the tests, long by `make crash-rack`.

`python -m tests.inventory.rough --kills 300 --crowd 8 --operations 500` treats a fresh rack on SQLite, and on
PostgreSQL where HALFTURN_TEST_POSTGRESQL names a server, and prints what it has seen.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import random
import signal
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Collection, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy import event

from inventory.books import ENTRY, SHEET, entries_of_plan, find_sheets, plan_from, recount
from inventory.books import PLAN as PLANS
from inventory.database import open_rack, reading, sqlite_url, writing
from inventory.ledger import OPEN, Kind, PlanState, State
from inventory.plans import accept, arrive, cancel, finish, leftovers_of, pass_done, start
from inventory.plans import standing as standing_of
from inventory.rack import measure, move, on_hand, receive, scrap
from inventory.stocktake import count
from inventory.tables import import_sheets
from nesting.faults import RackFault
from tests.inventory.conftest import SERVER, fresh_postgresql
from tests.inventory.sample import A1, plan_for, rectangle, sample_plan

FORK = multiprocessing.get_context("fork")
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
HEAD = "id,material,colour,thickness_mm,length_mm,width_mm,book_value,place,lot\n"


# ── one person's work, which may be begun again at any point ─────────────────────────────────────────────────


def steps(name: str, table: Path) -> list[Callable[[sa.Connection], object]]:
    """Import a table, then accept, start, run and finish a plan: each step one command."""
    said = {"at": NOON, "who": name}
    plan = sample_plan(f"{name}-1", job=name)
    return [
        lambda conn: import_sheets(conn, table, **said),
        lambda conn: accept(conn, name, plan, "{}", **said),
        lambda conn: start(conn, name, plan, **said),
        lambda conn: pass_done(conn, name, plan, "S1", 1, **said),
        lambda conn: arrive(conn, name, plan, {"S2"}, **said),
        lambda conn: finish(conn, name, plan, **said),
    ]


def table_of(name: str, folder: Path) -> Path:
    """A table of ten sheets, two of them on one row with a size of their own."""
    path = folder / f"{name}.csv"
    rows = [f"{name}-{n},acrylic,opal,5,600,{700 if n == 1 else 300 + n},9.50,bay 1,OP-1" for n in range(1, 11)]
    path.write_text(HEAD + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def work(url: str, names: list[str], folder: Path, dies_at: int | None = None) -> None:
    """Do everything, from the beginning; killed at the `dies_at`-th moment (a statement or a commit) if given."""
    engine = open_rack(url)
    if dies_at is not None:
        _mine(engine, dies_at)
    for name in names:
        for step in steps(name, folder / f"{name}.csv"):
            _unless_finished(engine, step)
    engine.dispose()


def _unless_finished(engine: sa.Engine, step: Callable[[sa.Connection], object]) -> None:
    """Who begins again after the last step was booked is told so, and nothing else."""
    try:
        with writing(engine) as conn:
            step(conn)
    except RackFault as fault:
        if "is finished" not in fault.what:
            raise


def _mine(engine: sa.Engine, dies_at: int) -> None:
    moments = iter(range(dies_at, 0, -1))

    def moment(*_: object) -> None:
        if next(moments, 1) == 1:
            os.kill(os.getpid(), signal.SIGKILL)

    for name in ("before_cursor_execute", "after_cursor_execute", "commit"):
        event.listen(engine, name, moment)


def killed_at(url: str, names: list[str], folder: Path, moment: int) -> bool:
    """Run `work` in a process of its own that dies at this moment; False if it came to its end before."""
    worker = FORK.Process(target=work, args=(url, names, folder, moment))
    worker.start()
    worker.join()
    return worker.exitcode == -signal.SIGKILL


# ── what must be true whatever happened ──────────────────────────────────────────────────────────────────────


def check(engine: sa.Engine, names: Collection[str] | None = None) -> None:
    """The ledger and the rack agree, plans (these, or all) hold all their sheets or none, areas add up, the file is
    whole."""
    with reading(engine) as conn:
        assert recount(conn) == ()
        if engine.dialect.name == "sqlite":
            assert conn.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
        wanted = sa.true() if names is None else PLANS.c.id.in_(names)
        for plan in map(plan_from, conn.execute(sa.select(PLANS).where(wanted)).all()):
            _check_plan(conn, plan.id, plan.state)
        for body in conn.scalars(sa.select(ENTRY.c.body).where(ENTRY.c.kind == Kind.CUT.value)):
            _check_areas(body)


def _check_plan(conn: sa.Connection, plan: str, state: PlanState) -> None:
    entries = list(entries_of_plan(conn, plan))
    sheets = find_sheets(conn, set(standing_of(conn, plan).stock.values())).values()
    if state in (*OPEN, PlanState.FINISHED):
        assert {sheet.plan for sheet in sheets} <= {plan}
        assert {sheet.state is State.CUT for sheet in sheets} <= {state is PlanState.FINISHED}
    if state is PlanState.FINISHED and any("pieces" in entry.body for entry in entries):
        assert len(leftovers_of(conn, plan)) == 2


def _check_areas(body: str) -> None:
    import json

    areas = json.loads(body)
    parts = sum(areas[f"{part}_mm2"] for part in ("pieces", "leftovers", "kerf", "scrap"))
    assert abs(parts - areas["area_mm2"]) < 1.0


def standing(engine: sa.Engine) -> list[tuple[object, ...]]:
    """Every sheet as it stands but for its number, which depends on who was first."""
    with reading(engine) as conn:
        rows = conn.execute(sa.select(SHEET)).all()
    return sorted(
        (row.id if "-" in row.id else "R", row.state, row.plan or "", row.area_mm2, row.value_cents) for row in rows
    )


# ── a crowd ──────────────────────────────────────────────────────────────────────────────────────────────────


def crowd_member(url: str, who: str, operations: int, seed: int) -> None:
    """Random commands on few sheets; faults of the rack are an answer like any other, anything else is a failure."""
    chance, engine = random.Random(seed), open_rack(url)
    said = {"at": NOON, "who": who}
    for n in range(operations):
        sheet, plan = f"C{chance.randrange(12)}", f"plan {chance.randrange(8)}"
        command = chance.choice(_COMMANDS)
        try:
            with writing(engine) as conn:
                command(conn, sheet, plan, said, f"{who}-{n}")
        except RackFault as fault:
            assert "too long" not in fault.what, fault
    engine.dispose()


def _accept(conn: sa.Connection, sheet: str, plan: str, said: dict, _: str) -> None:
    taken = [offcut.id for offcut in on_hand(conn) if offcut.outline_mm == A1.outline_mm][:2]
    accept(conn, plan, plan_for(*(taken or [sheet])), "{}", **said)


_COMMANDS: list[Callable[..., object]] = [
    lambda conn, sheet, plan, said, new: receive(conn, replace(A1, id=sheet), **said),
    lambda conn, sheet, plan, said, new: receive(conn, replace(A1, id=""), **said),
    lambda conn, sheet, plan, said, new: move(conn, sheet, new, **said),
    lambda conn, sheet, plan, said, new: measure(conn, sheet, rectangle(500, 300), **said),
    lambda conn, sheet, plan, said, new: scrap(conn, sheet, why="chipped", **said),
    lambda conn, sheet, plan, said, new: count(conn, {sheet}, "bay 1", **said),
    lambda conn, sheet, plan, said, new: cancel(conn, plan, **said),
    _accept,
    _accept,
]


def crowd(url: str, people: int, operations: int) -> Counter[str]:
    """Let a crowd loose; returns how many entries each person has in the ledger, whose order is the serial order."""
    engine = open_rack(url)
    workers = [FORK.Process(target=crowd_member, args=(url, f"P{n}", operations, n)) for n in range(people)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert [worker.exitcode for worker in workers] == [0] * people
    check(engine)
    with reading(engine) as conn:
        numbers = list(conn.scalars(sa.select(ENTRY.c.seq).order_by(ENTRY.c.seq)))
        found = Counter(conn.scalars(sa.select(ENTRY.c.who)))
        taken = Counter(row.sheet for row in conn.execute(sa.select(ENTRY.c.sheet).where(ENTRY.c.kind == "received")))
    engine.dispose()
    assert numbers == list(range(1, len(numbers) + 1))
    assert set(taken.values()) <= {1}
    return found


# ── the long treatment ───────────────────────────────────────────────────────────────────────────────────────


@contextmanager
def _fresh(kind: str) -> Iterator[tuple[str, Path]]:
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        yield sqlite_url(folder / "r.sqlite3") if kind == "sqlite" else stack.enter_context(fresh_postgresql()), folder


def kill_sweep(kind: str, kills: int, chance: random.Random) -> None:
    """Two people at work; the first is killed after a random time, again and again, and begins again each time."""
    with _fresh(kind) as (url, folder), _fresh(kind) as (calm_url, _):
        others, names, killed, rounds = [f"b{n}" for n in range(kills // 3)], [], 0, 0
        for name in others:
            table_of(name, folder)
        begun = time.monotonic()
        load = FORK.Process(target=work, args=(url, others, folder))
        load.start()
        engine = open_rack(url)
        while killed < kills:
            if rounds % 2 == 0:  # half the rounds begin with work that was broken off, half with new work
                names.append(f"a{rounds}")
                table_of(names[-1], folder)
            killed += _killed_after(chance.uniform(0.005, 0.2), url, names[-2:], folder)
            rounds += 1
            check(engine, names[-2:])
            engine.dispose()  # a worker must not inherit an open connection
        load.join()
        assert load.exitcode == 0
        check(engine)
        work(url, names, folder)
        work(calm_url, [*names, *others], folder)
        calm = open_rack(calm_url)
        assert standing(engine) == standing(calm)
        engine.dispose()
        calm.dispose()
        took = time.monotonic() - begun
        print(f"{kind}: {killed} kills in {took:.0f} s, all invariants held, all work repeated", flush=True)


def _killed_after(seconds: float, url: str, names: list[str], folder: Path) -> bool:
    """Whether the worker was still at it."""
    worker = FORK.Process(target=work, args=(url, names, folder))
    worker.start()
    worker.join(seconds)
    alive = worker.is_alive()
    if alive and worker.pid is not None:
        os.kill(worker.pid, signal.SIGKILL)
    worker.join()
    return alive


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--kills", type=int, default=300)
    asked.add_argument("--crowd", type=int, default=8)
    asked.add_argument("--operations", type=int, default=500)
    options = asked.parse_args()
    for kind in ("sqlite", "postgresql"):
        if kind == "postgresql" and SERVER not in os.environ:
            print(f"postgresql: left out, {SERVER} names no server")
            continue
        kill_sweep(kind, options.kills, random.Random(7))
        with _fresh(kind) as (url, _):
            begun = time.monotonic()
            found = crowd(url, options.crowd, options.operations)
            took = f"{sum(found.values())} entries in {time.monotonic() - begun:.0f} s"
            print(f"{kind}: {options.crowd} processes x {options.operations} operations, {took}, all explained")


if __name__ == "__main__":
    main()
