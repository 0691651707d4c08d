"""Every ledger test runs over both databases: SQLite, and a real PostgreSQL server."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.wheels import Ledger
from tests.wheels.postgres import fresh_database, server
from tests.wheels.samples import make_ledger


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    with server() as address:
        yield address


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request: pytest.FixtureRequest) -> str | None:
    """The address of an empty database; None for a SQLite file in the test's own folder."""
    if request.param == "sqlite":
        return None
    return fresh_database(request.getfixturevalue("postgres"), f"ledger_{secrets.token_hex(6)}")


@pytest.fixture
def ledger(tmp_path: Path, database: str | None) -> Iterator[Ledger]:
    with make_ledger(tmp_path, database) as opened:
        yield opened
