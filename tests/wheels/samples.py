"""A ledger with a make of three wheels, at a fixed present."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from monitor.site import Site, check_text
from monitor.wheels import Ledger, open_ledger
from monitor.wheels.database import Database, ledger_url
from tests.test_site import GOOD

NOW = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
MADE = NOW - timedelta(days=100)


def make_site(folder: Path) -> Site:
    site, faults = check_text(GOOD, folder / "site.toml")
    assert site is not None, faults
    return site


def make_ledger(folder: Path, address: str | None = None) -> Ledger:
    """Three wheels of 22 kg, made 100 days ago, on the low rack since; in SQLite unless an address is given."""
    site = make_site(folder)
    if address is None:
        ledger = open_ledger(site, clock=lambda: NOW)
    else:
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("TEST_LEDGER_URL", address)
            ledger = Ledger(site, Database(ledger_url(folder, "TEST_LEDGER_URL")), lambda: NOW)
    if not ledger.wheels():
        ledger.add_make(
            "HF",
            "clothed",
            MADE,
            ["HF-01", "HF-02", "HF-03"],
            author="Nora",
            mass_kg=22,
            room="vault",
            place="low-rack",
        )
    return ledger
