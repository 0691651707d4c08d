"""The journal's contract runs over both databases: SQLite, and a real PostgreSQL server."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.alarms import Alarms
from monitor.alarms.journal import Journal
from monitor.site import Site
from tests.alarms.people import Opened, opener
from tests.alarms.samples import make_site
from tests.wheels.postgres import fresh_database, server


@pytest.fixture(scope="package")
def postgres() -> Iterator[str]:
    with server() as address:
        yield address


@pytest.fixture
def site(tmp_path: Path) -> Site:
    return make_site(tmp_path)


@pytest.fixture(params=["sqlite", "postgresql"])
def alarms_of_both(request: pytest.FixtureRequest, site: Site, tmp_path: Path) -> Iterator[Alarms]:
    """Alarms on an empty database of each kind."""
    if request.param == "sqlite":
        journal = Journal(f"sqlite:///{tmp_path}/alarms.sqlite")
    else:
        address = fresh_database(request.getfixturevalue("postgres"), f"alarms_{secrets.token_hex(6)}")
        journal = Journal(address.replace("postgresql://", "postgresql+psycopg://"))
    alarms = Alarms(journal, site)
    yield alarms
    alarms.close()


@pytest.fixture
def opened(site: Site, phones: None) -> Opened:
    """Opens alarms with settings of one's own, and somebody who carries their phone."""
    return opener(Journal("sqlite://"), site)


@pytest.fixture
def opened_on_both(alarms_of_both: Alarms, site: Site, phones: None) -> Opened:
    """The same on each kind of database."""
    return opener(alarms_of_both.journal, site)


@pytest.fixture
def phones(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two phones that have an address."""
    for name in ("PHONE", "SECOND"):
        monkeypatch.setenv(f"MATURING_ROUTE_{name}", f"json://{name.lower()}.invalid")
