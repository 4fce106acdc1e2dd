"""Killed at any moment, crowded, out of room, read-only: nothing is lost or half done, work can be repeated."""

from __future__ import annotations

import os
import resource
import signal
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.database import open_rack, reading, sqlite_url, writing
from inventory.rack import on_hand, receive
from inventory.views import Wish, listing
from nesting.faults import RackFault
from tests.inventory import rough
from tests.inventory.sample import A1

ANN = {"at": rough.NOON, "who": "Ann"}


def test_work_killed_at_any_moment_is_whole_or_not_done_and_can_be_repeated(rack_url: str, tmp_path: Path) -> None:
    calm_folder = tmp_path / "calm"
    calm_folder.mkdir()
    for name in ("ann", "bob"):
        rough.table_of(name, tmp_path)
    calm_url = sqlite_url(calm_folder / "rack.sqlite3")
    rough.work(calm_url, ["ann", "bob"], tmp_path)
    engine = open_rack(rack_url)
    # Steps of a prime, so that the moments fall on statements, commits and the gaps between them in turn.
    moments = range(1, 400, 29)
    survived = [not rough.killed_at(rack_url, ["ann", "bob"], tmp_path, moment) for moment in moments]
    assert not survived[0]
    rough.check(engine)
    rough.work(rack_url, ["ann", "bob"], tmp_path)
    rough.check(engine)
    calm = open_rack(calm_url)
    assert rough.standing(engine) == rough.standing(calm)
    engine.dispose()
    calm.dispose()


def test_a_crowd_leaves_a_ledger_that_explains_every_sheet(rack_url: str) -> None:
    found = rough.crowd(rack_url, people=4, operations=40)
    assert set(found) == {"P0", "P1", "P2", "P3"}


# ── no room, no leave to write ───────────────────────────────────────────────────────────────────────────────


def told_in_a_process_of_its_own(task: Callable[[], str]) -> str:
    """What `task` returns, run where its limits and rights do not touch the tests."""
    away, home = rough.FORK.Pipe(duplex=False)

    def run() -> None:
        home.send(task())

    worker = rough.FORK.Process(target=run)
    worker.start()
    worker.join()
    return away.recv() if away.poll() else f"exit code {worker.exitcode}"


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that other users may enter, unlike those of pytest."""
    with tempfile.TemporaryDirectory() as name:
        os.chmod(name, 0o755)
        yield Path(name)


def receive_many(url: str, count: int) -> str:
    try:
        engine = open_rack(url)
        with writing(engine) as conn:
            for number in range(count):
                receive(conn, replace(A1, id=f"B{number}"), **ANN)
    except RackFault as fault:
        return str(fault)
    engine.dispose()
    return "done"


def test_a_full_disk_is_told_and_nothing_is_half_booked(open_folder: Path) -> None:
    url = sqlite_url(open_folder / "rack.sqlite3")
    assert receive_many(url, 3) == "done"

    def without_room() -> str:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        room = max(file.stat().st_size for file in open_folder.iterdir()) + 8192
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
        engine = open_rack(url)
        try:
            with writing(engine) as conn:
                for number in range(3000):
                    receive(conn, replace(A1, id=f"C{number}"), **ANN)
        except RackFault as fault:
            return str(fault)
        return "done"

    told = told_in_a_process_of_its_own(without_room)
    assert "nothing was booked" in told and "repeat the command" in told
    engine = open_rack(url)
    rough.check(engine)
    with reading(engine) as conn:
        assert listing(conn, Wish()).count == 3
    with writing(engine) as conn:
        receive(conn, replace(A1, id="C0"), **ANN)
    engine.dispose()


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can become somebody who may not write")
def test_a_rack_that_may_only_be_read_is_told_and_nothing_is_lost(open_folder: Path) -> None:
    url = sqlite_url(open_folder / "rack.sqlite3")
    assert receive_many(url, 3) == "done"
    os.chmod(open_folder / "rack.sqlite3", 0o444)

    def as_nobody() -> str:
        os.setuid(65534)
        return receive_many(url, 1)

    told = told_in_a_process_of_its_own(as_nobody)
    assert "mend:" in told and ("read" in told or "opened" in told)
    engine = open_rack(url)
    rough.check(engine)
    with reading(engine) as conn:
        assert len(on_hand(conn)) == 3
    engine.dispose()


@cache
def whole() -> bytes:
    with tempfile.TemporaryDirectory() as name:
        file = Path(name) / "rack.sqlite3"
        receive_many(sqlite_url(file), 20)
        return file.read_bytes()


@settings(max_examples=100, derandomize=True)
@given(damage=st.binary(min_size=1, max_size=400), at=st.floats(0, 1))
def test_a_damaged_file_is_read_or_told_and_no_bug_of_ours(damage: bytes, at: float) -> None:
    with tempfile.TemporaryDirectory() as name:
        file = Path(name) / "rack.sqlite3"
        data = bytearray(whole())
        start = int(at * (len(data) - len(damage)))
        data[start : start + len(damage)] = damage
        file.write_bytes(bytes(data))
        engine: sa.Engine | None = None
        try:
            engine = open_rack(sqlite_url(file))
            with reading(engine) as conn:
                on_hand(conn)
        except RackFault as fault:
            assert fault.mend
        finally:
            if engine is not None:
                engine.dispose()
