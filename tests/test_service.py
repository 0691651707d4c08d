"""The judge: what it knows survives a crash, so that no alarm ends or doubles by it."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from monitor.alarms import open_alarms
from monitor.clock import from_ms, now_ms
from monitor.records import Reading
from monitor.service import Judge
from monitor.site import Site, check_text
from monitor.store import open_store
from monitor.wheels import open_ledger
from tests.test_site import GOOD


@pytest.fixture
def site(tmp_path: Path) -> Site:
    site, faults = check_text(GOOD.replace("delay_min = 5", "delay_min = 0"), tmp_path / "site.toml")
    assert site is not None, faults
    return site


def let_breathe(site: Site, rh_pct: float, ago_ms: int) -> None:
    """The air of the vault, some time ago."""
    store, at_ms = open_store(site), now_ms() - ago_ms
    store.write([Reading("nv-1", "temperature", at_ms, 10.5), Reading("nv-1", "humidity", at_ms, rh_pct)])
    store.close()


def test_a_crash_right_after_an_alarm_neither_ends_nor_doubles_it(site: Site) -> None:
    """A judge that dies between two of its checkpoints is followed by one that holds the same alarm standing."""
    ledger = open_ledger(site)
    made = from_ms(now_ms()) - timedelta(days=100)
    ledger.add_make("HF", "clothed", made, ["HF-1", "HF-2"], author="Nora", room="vault", place="low-rack")
    ledger.close()
    judge = Judge(site)
    let_breathe(site, 84.0, ago_ms=1_500_000)
    judge.tick({})
    let_breathe(site, 60.0, ago_ms=0)
    judge.tick({})
    alarms = open_alarms(site)
    before = [a for a in alarms.standing() if a.finding.rule == "band"]
    Judge(site).tick({})
    after = [a for a in alarms.standing() if a.finding.rule == "band"]
    assert len(before) == 1
    assert [a.id for a in after] == [a.id for a in before]
    assert after[0].active
    assert [step["event"] for step in alarms.history(after[0].id)] == ["raise"]
