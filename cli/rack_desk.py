"""Where the commands of the rack meet the workshop's database: a question, or a command that is booked whole.

In: the workshop folder. Out: a connection to its rack.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from cli.options import workshop_folder

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection, Engine


@contextmanager
def workshop_rack(folder: Path) -> Iterator[Engine]:
    """The rack that the workshop file names, else `rack.sqlite3` beside it. Raises JobFault, RackFault."""
    from inventory.database import open_rack, url_in
    from nesting.toml_files import read_workshop

    engine = open_rack(url_in(folder, read_workshop(folder / "workshop.toml").database))
    try:
        yield engine
    finally:
        engine.dispose()


def load_table(folder: Path, table: Path, *, at: datetime, who: str) -> int:
    """Put the sheets of a table on the workshop's rack; how many were new. Raises JobFault, RackFault."""
    from inventory.database import writing
    from inventory.tables import import_sheets

    with workshop_rack(folder) as rack, writing(rack) as conn:
        return len(import_sheets(conn, table, at=at, who=who).sheets)


@contextmanager
def asking(workshop: Path | None) -> Iterator[Connection]:
    """A question to the workshop's rack."""
    from inventory.database import reading

    with workshop_rack(workshop_folder(workshop)) as rack, reading(rack) as conn:
        yield conn


@contextmanager
def booking(workshop: Path | None) -> Iterator[Connection]:
    """A command on the workshop's rack: booked whole or not at all."""
    from inventory.database import writing

    with workshop_rack(workshop_folder(workshop)) as rack, writing(rack) as conn:
        yield conn


def now() -> datetime:
    """The moment of booking, to the second."""
    return datetime.now(UTC).replace(microsecond=0)
