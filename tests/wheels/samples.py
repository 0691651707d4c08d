"""A ledger with a make of three wheels, at a fixed present."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from monitor.site import Site, check_text
from monitor.wheels import Ledger, open_ledger
from tests.test_site import GOOD

NOW = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
MADE = NOW - timedelta(days=100)


def make_site(folder: Path) -> Site:
    site, faults = check_text(GOOD, folder / "site.toml")
    assert site is not None, faults
    return site


def make_ledger(folder: Path) -> Ledger:
    """Three wheels of 22 kg, made 100 days ago, on the low rack since."""
    ledger = open_ledger(make_site(folder), clock=lambda: NOW)
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
