"""A fresh rack for each test, on SQLite and, where HALFTURN_TEST_POSTGRESQL names a server's URL, on PostgreSQL too."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import sqlalchemy as sa

from inventory.database import sqlite_url

SERVER = "HALFTURN_TEST_POSTGRESQL"


@contextmanager
def fresh_postgresql() -> Iterator[str]:
    """The URL of an empty schema on the test server; dropped afterwards."""
    url = sa.make_url(os.environ[SERVER]).set(drivername="postgresql+psycopg")
    schema = f"rack_{uuid.uuid4().hex}"
    server = sa.create_engine(url, isolation_level="AUTOCOMMIT")
    with server.connect() as conn:
        conn.exec_driver_sql(f"CREATE SCHEMA {schema}")
    try:
        options = {"options": f"-csearch_path={schema}"}
        yield url.update_query_dict(options).render_as_string(hide_password=False)
    finally:
        with server.connect() as conn:
            conn.exec_driver_sql(f"DROP SCHEMA {schema} CASCADE")
        server.dispose()


@pytest.fixture(params=["sqlite", "postgresql"])
def rack_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    if request.param == "sqlite":
        yield sqlite_url(tmp_path / "rack.sqlite3")
    elif SERVER not in os.environ:
        pytest.skip(f"{SERVER} names no PostgreSQL server")
    else:
        with fresh_postgresql() as url:
            yield url


@pytest.fixture
def rack(rack_url: str) -> Iterator[sa.Engine]:
    from inventory.database import open_rack

    engine = open_rack(rack_url)
    yield engine
    engine.dispose()
