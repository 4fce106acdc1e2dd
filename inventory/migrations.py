"""The schema of the rack, version by version: each version is the list of statements that lead to it from the last.

In: an engine. Out: the same database at the newest version; a version that was handed out is never edited, only
followed. `entry` is the truth; `sheet` and `plan` are what follows from it, kept beside it so that a list need not read
every entry ever booked (`inventory.books.recount` proves that they agree).
"""

from __future__ import annotations

from sqlalchemy import text
from sqlalchemy.engine import Connection, Engine

from nesting.faults import RackFault

VERSION_1 = (
    """CREATE TABLE entry (
        seq BIGINT PRIMARY KEY,
        at TEXT NOT NULL,
        who TEXT NOT NULL CHECK (who <> ''),
        why TEXT NOT NULL,
        kind TEXT NOT NULL,
        sheet TEXT,
        plan TEXT,
        body TEXT NOT NULL)""",
    "CREATE INDEX entry_of_sheet ON entry (sheet, seq)",
    "CREATE INDEX entry_of_plan ON entry (plan, seq) WHERE plan IS NOT NULL",
    "CREATE INDEX entry_of_no_sheet ON entry (kind, seq) WHERE sheet IS NULL",
    """CREATE TABLE plan (
        id TEXT PRIMARY KEY,
        state TEXT NOT NULL,
        job TEXT NOT NULL,
        customer TEXT NOT NULL,
        at TEXT NOT NULL,
        who TEXT NOT NULL,
        seq BIGINT NOT NULL REFERENCES entry (seq))""",
    """CREATE TABLE sheet (
        id TEXT PRIMARY KEY,
        number BIGINT,
        material TEXT NOT NULL,
        colour TEXT NOT NULL,
        thickness_mm DOUBLE PRECISION NOT NULL,
        place TEXT NOT NULL,
        lot TEXT NOT NULL,
        state TEXT NOT NULL,
        plan TEXT REFERENCES plan (id),
        parent TEXT REFERENCES sheet (id),
        since TEXT NOT NULL,
        long_mm DOUBLE PRECISION NOT NULL,
        short_mm DOUBLE PRECISION NOT NULL,
        area_mm2 DOUBLE PRECISION NOT NULL,
        value_cents BIGINT NOT NULL CHECK (value_cents >= 0),
        record TEXT NOT NULL,
        seq BIGINT NOT NULL REFERENCES entry (seq),
        CHECK (state IN ('on rack', 'cut', 'scrapped', 'missing')))""",
    "CREATE INDEX sheet_by_key ON sheet (state, material, colour, thickness_mm, since, id)",
    "CREATE INDEX sheet_by_age ON sheet (state, since, id)",
    "CREATE INDEX sheet_by_number ON sheet (number) WHERE number IS NOT NULL",
    "CREATE INDEX sheet_by_plan ON sheet (plan) WHERE plan IS NOT NULL",
    "CREATE INDEX sheet_by_parent ON sheet (parent) WHERE parent IS NOT NULL",
)
VERSION_2 = (  # sums by stock key are read from the index alone; a place is counted without reading the others
    "DROP INDEX sheet_by_key",
    "CREATE INDEX sheet_by_key ON sheet (state, material, colour, thickness_mm, since, id, area_mm2, value_cents)",
    "CREATE INDEX sheet_by_place ON sheet (state, place)",
)
MIGRATIONS = (VERSION_1, VERSION_2)

KEPT = "the ledger is only ever added to"
APPEND_ONLY = {
    "sqlite": (
        f"CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, '{KEPT}'); END",
        f"CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, '{KEPT}'); END",
        "CREATE TRIGGER entry_no_replace BEFORE INSERT ON entry WHEN EXISTS (SELECT 1 FROM entry WHERE seq = NEW.seq)"
        f" BEGIN SELECT RAISE(ABORT, '{KEPT}'); END",
    ),
    "postgresql": (
        "CREATE FUNCTION entry_is_kept() RETURNS trigger LANGUAGE plpgsql"
        f" AS $$ BEGIN RAISE EXCEPTION '{KEPT}'; END $$",
        "CREATE TRIGGER entry_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON entry"
        " FOR EACH STATEMENT EXECUTE FUNCTION entry_is_kept()",
    ),
}


def migrate(engine: Engine) -> None:
    """Bring the database to the newest version, each step whole or not at all. Raises RackFault if it is newer."""
    with engine.connect().execution_options(rack_reads=True) as conn, conn.begin():
        if _version(conn) == len(MIGRATIONS):
            return
    with engine.begin() as conn:  # somebody else may have been faster: look again, now holding the lock
        for number in range(_version(conn) + 1, len(MIGRATIONS) + 1):
            _step(conn, number)


def _version(conn: Connection) -> int:
    if not conn.dialect.has_table(conn, "rack_version"):
        return 0
    found = conn.execute(text("SELECT max(version) FROM rack_version")).scalar()
    version = int(found or 0)
    if version > len(MIGRATIONS):
        raise RackFault(
            f"the rack is at version {version}, this program knows up to {len(MIGRATIONS)}",
            mend="install the newer halfturn that wrote it",
        )
    return version


def _step(conn: Connection, number: int) -> None:
    if number == 1:
        conn.execute(text("CREATE TABLE rack_version (version INTEGER PRIMARY KEY)"))
    for statement in MIGRATIONS[number - 1] + (APPEND_ONLY[conn.dialect.name] if number == 1 else ()):
        conn.exec_driver_sql(statement)
    conn.execute(text("INSERT INTO rack_version (version) VALUES (:version)"), {"version": number})
