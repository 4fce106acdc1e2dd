"""How fast a large rack answers: 100,000 sheets on the rack, 1,000,000 entries of made-up history.

In: a database URL (a file in a temporary folder if none is given). Out: milliseconds on stdout, the best of several
runs and the worst. `make bench-rack` runs it; a figure above 200 ms is marked.
"""

from __future__ import annotations

import argparse
import random
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

from sqlalchemy.engine import Connection, Engine

from inventory.books import book
from inventory.database import open_rack, reading, sqlite_url, writing
from inventory.ledger import Entry, Kind, offcut_as_json
from inventory.plans import accept, cancel
from inventory.rack import on_hand
from inventory.shapes import rectangle
from inventory.views import Wish, history, listing, worth
from nesting.model import Cost, Job, Machine, Offcut, Plan, PlannedSheet, Source, StockKey

TARGET_MS = 200.0
RUNS = 7
BATCH = 20_000
BEGUN = datetime(2020, 1, 1, tzinfo=UTC)
MATERIALS = ("acrylic", "birch plywood", "MDF")
COLOURS = ("opal", "midnight blue", "clear", "signal red", "white", "black", "sand", "leaf green")
THICKNESSES = (3.0, 5.0, 8.0, 10.0)


def entries_of(number: int, entries: int, chance: random.Random) -> Iterator[Entry]:
    """The life of one sheet: received, then moved and counted in turn."""
    sheet = _sheet(number, chance)
    at = BEGUN + timedelta(minutes=17 * number)
    yield Entry(Kind.RECEIVED, at, "bench", sheet=sheet.id, body={"sheet": offcut_as_json(sheet)})
    for n in range(1, entries):
        kind, body = (Kind.MOVED, {"place": f"bay {n}"}) if n % 2 else (Kind.COUNTED, {"found": True})
        yield Entry(kind, at + timedelta(days=n), "bench", sheet=sheet.id, body=body)


def _sheet(number: int, chance: random.Random) -> Offcut:
    outline = rectangle(float(chance.randrange(150, 1220)), float(chance.randrange(150, 1220)))
    key = chance.choice(MATERIALS), chance.choice(COLOURS), chance.choice(THICKNESSES)
    value = Decimal(chance.randrange(100, 6000)).scaleb(-2)
    return Offcut(f"R{number}", *key, outline, (), value, f"bay {chance.randrange(20)}", f"L{number // 50}")


def fill(rack: Engine, sheets: int, entries: int) -> None:
    """Book the whole history, in batches."""
    chance = random.Random(1)
    batch: list[Entry] = []
    for number in range(1, sheets + 1):
        batch += entries_of(number, entries // sheets, chance)
        if len(batch) >= BATCH or number == sheets:
            with writing(rack) as conn:
                book(conn, batch)
            batch = []


def plan_of(sheets: tuple[Offcut, ...]) -> Plan:
    """A plan that wants these sheets."""
    wanted = tuple(
        PlannedSheet(
            f"S{n}",
            Source(s.id),
            s.material,
            s.colour,
            s.thickness_mm,
            s.outline_mm,
            (),
            s.book_value,
            s.place,
            (),
            (),
            (),
            (),
            (),
        )
        for n, s in enumerate(sheets, 1)
    )
    machine = Machine("laser", "laser", (600, 400), (620, 420), ())
    return Plan(Job("bench"), 1, 1, machine, (), wanted, Cost("EUR", (), Decimal(0), Decimal(0), 0.0))


def questions(rack: Engine) -> Iterator[tuple[str, Callable[[Connection], object]]]:
    """What is asked, each in words and as a call."""
    key = StockKey("acrylic", "opal", 5.0)
    with reading(rack) as conn:
        some = on_hand(conn, [key])[:20]
    plan = plan_of(some)
    yield "list: the first 100 on the rack, with sums", lambda conn: listing(conn, Wish(), limit=100)
    yield "list: the first 100 of all ever, with sums", lambda conn: listing(conn, Wish(state=None), limit=100)
    yield (
        "filter: one stock key that holds 600 x 400",
        lambda conn: listing(
            conn, Wish(material=key.material, colour=key.colour, thickness_mm=5.0, fits_mm=(600, 400)), limit=100
        ),
    )
    yield (
        "filter: one place, largest value first",
        lambda conn: listing(conn, Wish(place="bay 9"), order="value", limit=100),
    )
    yield "free sheets of one stock key, for the planner", lambda conn: on_hand(conn, [key])
    yield "value by stock key", worth
    yield "history of one sheet", lambda conn: history(conn, some[0].id)
    yield (
        f"accept a plan of {len(some)} sheets",
        lambda conn: accept(conn, "bench", plan, "{}", at=BEGUN, who="bench"),
    )
    yield f"cancel a plan of {len(some)} sheets", lambda conn: cancel(conn, "bench", at=BEGUN, who="bench")


def measure(rack: Engine) -> Iterator[str]:
    """A line for each question; writing is measured with its commit."""
    for words, ask in questions(rack):
        writes = words.startswith(("accept", "cancel"))
        took = [_milliseconds(rack, ask, writes) for _ in range(1 if writes else RUNS)]
        mark = "" if max(took) <= TARGET_MS else f"  above {TARGET_MS:g} ms"
        yield f"{words:<48} {min(took):8.1f} ms  worst {max(took):8.1f} ms{mark}"


def _milliseconds(rack: Engine, ask: Callable[[Connection], object], writes: bool) -> float:
    begun = time.perf_counter()
    with (writing if writes else reading)(rack) as conn:
        ask(conn)
    return (time.perf_counter() - begun) * 1000


def main() -> None:
    """Command line: `python -m tests.bench.rack [--url URL]`."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--url", help="an empty database; a temporary file if left out")
    asked.add_argument("--sheets", type=int, default=100_000)
    asked.add_argument("--entries", type=int, default=1_000_000)
    options = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        rack = open_rack(options.url or sqlite_url(Path(folder) / "rack.sqlite3"))
        begun = time.perf_counter()
        fill(rack, options.sheets, options.entries)
        took = time.perf_counter() - begun
        print(f"{rack.dialect.name}: {options.sheets} sheets, {options.entries} entries, booked in {took:.0f} s")
        for line in measure(rack):
            print(line)
        rack.dispose()


if __name__ == "__main__":
    main()
