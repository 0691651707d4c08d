"""The service: what the judge knows survives a crash, and a store that is away at the start is waited for."""

from __future__ import annotations

import sqlite3
import threading
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from monitor.alarms import Alarms, open_alarms
from monitor.clock import from_ms, now_ms
from monitor.errors import StoreAway
from monitor.health import BEAT
from monitor.records import Reading
from monitor.rules.own_parts import WORDS
from monitor.service import Judge, Service
from monitor.site import Site, check_text
from monitor.store import open_store
from monitor.store.embedded import FILE_NAME
from monitor.wheels import open_ledger
from tests.system.parts import wait_for
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


def raised(alarms: Alarms) -> set[str]:
    """The rules whose alarms hold."""
    return {alarm.finding.rule for alarm in alarms.standing() if alarm.active}


def refuses(judge: Judge) -> bool:
    """Whether a tick finds that the store takes nothing."""
    try:
        judge.tick({})
    except StoreAway:
        return True
    return False


def test_a_crash_right_after_an_alarm_neither_ends_nor_doubles_it(site: Site) -> None:
    """A judge that dies between two of its checkpoints is followed by one that holds the same alarm standing."""
    ledger = open_ledger(site)
    made = from_ms(now_ms()) - timedelta(days=100)
    ledger.add_make("HF", "clothed", made, ["HF-1", "HF-2"], author="Nora", room="vault", place="low-rack")
    ledger.close()
    judge, alarms = Judge(site), open_alarms(site)
    let_breathe(site, 84.0, ago_ms=1_500_000)
    judge.tick({})
    let_breathe(site, 60.0, ago_ms=0)
    # A tick works on the air for a moment only, which a busy machine may use up.
    wait_for(lambda: judge.tick({}) or "band" in raised(alarms), 60, "the dry air")
    before = [a for a in alarms.standing() if a.finding.rule == "band"]
    Judge(site).tick({})
    after = [a for a in alarms.standing() if a.finding.rule == "band"]
    assert len(before) == 1
    assert [a.id for a in after] == [a.id for a in before]
    assert after[0].active
    assert [step["event"] for step in alarms.history(after[0].id)] == ["raise"]


def test_a_store_that_is_away_at_the_start_is_waited_for(
    site: Site, caplog: pytest.LogCaptureFixture
) -> None:
    """Another program holds the store's file when the monitor starts: it says so, and begins once the file is free."""
    open_store(site).close()
    lock = sqlite3.connect(site.data_folder / FILE_NAME, isolation_level=None)
    lock.execute("BEGIN EXCLUSIVE")
    service = Service(site, ["judge"])
    running = threading.Thread(target=service.run)
    running.start()
    wait_for(lambda: "the store is away" in caplog.text, what="word of it")
    lock.execute("ROLLBACK")
    lock.close()
    store = open_store(site)
    wait_for(lambda: store.document(BEAT), 60, "the first beat")
    service.stop()
    running.join(20)
    store.close()


def test_an_air_alarm_is_raised_though_the_store_takes_nothing(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk is full just as the air dries: that the monitor cannot judge is raised, and so is the dry air."""
    ledger = open_ledger(site)
    made = from_ms(now_ms()) - timedelta(days=100)
    ledger.add_make("HF", "clothed", made, ["HF-1", "HF-2"], author="Nora", room="vault", place="low-rack")
    ledger.close()
    judge = Judge(site)
    let_breathe(site, 84.0, ago_ms=1_500_000)
    judge.tick({})
    let_breathe(site, 60.0, ago_ms=0)

    def full(*_: object) -> None:
        raise StoreAway("the disk is full")

    monkeypatch.setattr(judge._store, "put_document", full)
    wait_for(lambda: refuses(judge), 60, "word of a full disk")
    ill = {"judge": {"ok": False, "since_ms": now_ms() - 120_000, "detail": "the disk is full"}}
    judge.tick_failed(ill)
    alarms = open_alarms(site)
    assert {"band", "monitor"} <= raised(alarms)
    again = Judge(site)
    again.tick_failed(ill)
    assert {"band", "monitor"} <= raised(alarms)
    monkeypatch.undo()
    judge.tick({})
    assert "band" in raised(alarms)
    assert "monitor" not in raised(alarms)


def test_a_service_that_cannot_judge_says_so(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each look at the air fails: the service goes on, and an alarm says that nobody watches the air, and why."""
    monkeypatch.setitem(WORDS, "judge", replace(WORDS["judge"], after_ms=0))

    def fails(*_: object) -> None:
        raise ValueError("no such column")

    monkeypatch.setattr(Judge, "tick", fails)
    service = Service(site, ["judge"])
    running = threading.Thread(target=service.run)
    running.start()
    alarms = open_alarms(site)
    wait_for(lambda: alarms.standing(), 60, "an alarm")
    service.stop()
    running.join(20)
    assert alarms.standing()[0].finding.what == "The monitor cannot judge the air (no such column)"
