"""The rack's database: one SQLite file beside the workshop's other files, or PostgreSQL by URL for several workplaces.

In: a database URL. Out: an engine, and transactions that either happen whole or not at all.
Method: one writer at a time. SQLite takes its write lock at the start (BEGIN IMMEDIATE), PostgreSQL an advisory lock
for the length of the transaction; so a command reads, decides and writes on ground that does not move. Readers never
wait: WAL on SQLite, a repeatable-read snapshot on PostgreSQL.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy import event
from sqlalchemy.engine import URL, Connection, Engine, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError

from inventory.migrations import migrate
from nesting.faults import RackFault

WAIT_S = 30
"""How long a writer waits for the one before it."""
WRITER_LOCK = 0x68616C66
"""PostgreSQL advisory lock that only one writing transaction holds at a time; any fixed number does."""


def sqlite_url(path: Path) -> str:
    """The URL of a SQLite file; any path, also one with spaces or question marks."""
    return URL.create("sqlite", database=str(path)).render_as_string(hide_password=False)


def url_in(folder: Path, named: str) -> str:
    """The URL that a workshop names: `rack.sqlite3` where it names none, a relative SQLite file in its own folder."""
    if not named:
        return sqlite_url(folder / "rack.sqlite3")
    prefix = "sqlite:///"
    if named.startswith(prefix) and not Path(named.removeprefix(prefix)).is_absolute():
        return sqlite_url(folder / named.removeprefix(prefix))
    return named


def open_rack(url: str) -> Engine:
    """The rack at `url`, made if it is new and brought up to date if it is old. Raises RackFault."""
    engine = _engine(url)
    try:
        with _explained(engine):
            migrate(engine)
    except BaseException:
        engine.dispose()
        raise
    return engine


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """One command: all of it is booked, or nothing. Raises RackFault when the database refuses."""
    with _explained(engine), engine.begin() as conn:
        yield conn


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """One consistent view, without waiting for anybody. Raises RackFault when the database refuses."""
    with _explained(engine), engine.connect() as conn:
        if engine.dialect.name == "postgresql":
            conn.execution_options(isolation_level="REPEATABLE READ")
        with conn.execution_options(rack_reads=True).begin():
            yield conn


def _engine(url: str) -> Engine:
    try:
        parsed = make_url(url)
        if parsed.drivername == "postgresql":
            parsed = parsed.set(drivername="postgresql+psycopg")
        if parsed.get_backend_name() not in ("sqlite", "postgresql"):
            raise RackFault(f"a rack cannot be kept in {parsed.get_backend_name()!r}", mend=_URL_MEND)
        engine = sa.create_engine(parsed)
    except (ArgumentError, NoSuchModuleError, ValueError):
        raise RackFault("the database URL cannot be understood", mend=_URL_MEND) from None
    except ModuleNotFoundError:
        raise RackFault(
            "PostgreSQL needs a driver that is not installed", mend='pip install "psycopg[binary]"'
        ) from None
    event.listen(engine, "begin", _begin_sqlite if parsed.get_backend_name() == "sqlite" else _begin_postgresql)
    if parsed.get_backend_name() == "sqlite":
        event.listen(engine, "connect", _connect_sqlite)
    return engine


_URL_MEND = "give `sqlite:///rack.sqlite3` or `postgresql://user@host/name` as `database` in workshop.toml"


def _connect_sqlite(dbapi: sqlite3.Connection, _record: object) -> None:
    dbapi.isolation_level = None  # the driver would otherwise begin transactions of its own, too late
    dbapi.execute(f"PRAGMA busy_timeout = {WAIT_S * 1000}")
    if dbapi.execute("PRAGMA journal_mode").fetchone() != ("wal",):
        dbapi.execute("PRAGMA journal_mode = WAL")  # kept in the file, so that only a new one is written to
    dbapi.execute("PRAGMA foreign_keys = ON")
    dbapi.execute("PRAGMA recursive_triggers = ON")  # INSERT OR REPLACE then counts as the DELETE that it is
    dbapi.execute("PRAGMA synchronous = FULL")  # what was said to be booked survives a power cut


def _begin_sqlite(conn: Connection) -> None:
    reads = conn.get_execution_options().get("rack_reads")
    conn.exec_driver_sql("BEGIN" if reads else "BEGIN IMMEDIATE")


def _begin_postgresql(conn: Connection) -> None:
    if not conn.get_execution_options().get("rack_reads"):
        conn.exec_driver_sql(f"SET LOCAL lock_timeout = '{WAIT_S}s'")
        conn.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITER_LOCK})")


@contextmanager
def _explained(engine: Engine) -> Iterator[None]:
    """A refusal of the database in words; what had been written in the transaction is undone by then."""
    try:
        yield
    except UnicodeDecodeError as error:  # a damaged schema, told by the driver in bytes that are no text
        what, mend = _SQLITE_REASONS[sqlite3.SQLITE_CORRUPT]
        raise RackFault(what, mend=mend, where=(engine.url.render_as_string(),)) from error
    except (DBAPIError, sqlite3.Error) as error:
        cause = error.orig if isinstance(error, DBAPIError) else error
        found = _sqlite_reason(cause) if engine.dialect.name == "sqlite" else _postgresql_reason(cause)
        if found is None:
            raise
        what, mend = found
        raise RackFault(what, mend=mend, where=(engine.url.render_as_string(),)) from error


_SQLITE_REASONS = {
    sqlite3.SQLITE_BUSY: ("somebody else has been writing to the rack for too long", "try again"),
    sqlite3.SQLITE_FULL: ("the disk is full: nothing was booked", "make room, then repeat the command"),
    sqlite3.SQLITE_IOERR: (
        "the disk refused to read or write: nothing was booked",
        "check room and state of the disk, then repeat the command",
    ),
    sqlite3.SQLITE_READONLY: (
        "the rack may only be read: nothing was booked",
        "get leave to write to the file and its folder",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "the rack's file cannot be opened",
        "check that its folder exists and may be written to",
    ),
    sqlite3.SQLITE_ERROR: ("this file's tables are not those of a rack", "name another file, or fetch the last copy"),
    sqlite3.SQLITE_NOTADB: ("this file is no rack", "name another file, or move this one away"),
    sqlite3.SQLITE_CORRUPT: ("the rack's file is damaged", "fetch the last copy; keep the damaged file for inspection"),
}

_POSTGRESQL_REASONS = {
    "53": ("the database server has run out of room or memory: nothing was booked", "make room, then repeat"),
    "25": ("the rack may only be read: nothing was booked", "connect to the server that may be written to"),
    "28": ("the database server does not let you in", "check user and password in the database URL"),
    "3D": ("the database server has no database of that name", "create it, e.g. with `createdb`"),
    "42": ("you have no right to the rack's tables", "have them granted, or give another user in the URL"),
    "55": ("somebody else has been writing to the rack for too long", "try again"),
    "57": ("the database server is shutting down or starting", "repeat the command in a moment"),
}


def _sqlite_reason(error: BaseException | None) -> tuple[str, str] | None:
    code = getattr(error, "sqlite_errorcode", None)
    if code is None:  # text that is no text any more is told without a code
        return _SQLITE_REASONS[sqlite3.SQLITE_CORRUPT] if isinstance(error, sqlite3.OperationalError) else None
    return _SQLITE_REASONS.get(code & 0xFF)


def _postgresql_reason(error: BaseException | None) -> tuple[str, str] | None:
    state = getattr(error, "sqlstate", None)
    if state is None:
        said = " ".join(str(error).split())[:200]  # a connection that fails is told in the server's words alone
        return f"the database server cannot be used: {said}", "check address, name, user and network, then repeat"
    return _POSTGRESQL_REASONS.get(state[:2])
