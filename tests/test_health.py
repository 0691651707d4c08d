"""How the monitor itself is doing."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.clock import now_ms
from monitor.health import BEAT, ClockWatch, PartsHealth, Rate, Reserve, health_of
from monitor.records import Reading, Reject
from monitor.site import load
from monitor.store import open_store
from tests.system.running import write_site


@pytest.fixture
def site_path(tmp_path: Path) -> Path:
    return write_site(tmp_path, 1883, ["rack-1", "rack-2"])


def intake(**more: object) -> dict[str, object]:
    return {
        "connected": True,
        "error": None,
        "store_error": None,
        "messages": 0,
        "readings": 0,
        "lag_s": 0.01,
        **more,
    }


def test_a_rate_is_over_the_last_minute() -> None:
    """Ten messages a second for two minutes, then nothing: the rate falls to nothing within a minute or so."""
    rate = Rate()
    assert rate.update(0, 0.0) is None
    for second in range(1, 121):
        found = rate.update(10 * second, float(second))
    assert found == pytest.approx(10.0, rel=0.05)
    for second in range(121, 190):
        found = rate.update(1200, float(second))
    assert found == pytest.approx(0.0, abs=0.2)


def test_a_clock_that_is_set_back_is_noticed() -> None:
    """An hour back is said for ten minutes; drift of some milliseconds is not."""
    watch = ClockWatch()
    assert watch.update(1000.0, 10.0) == ""
    assert watch.update(1010.02, 20.0) == ""
    assert watch.update(1020.0 - 3600.0, 30.0).startswith("this machine's clock was set back by 3,600 s")
    assert watch.update(1620.0 - 3600.0, 629.0)
    assert watch.update(1622.0 - 3600.0, 632.0) == ""


def test_each_part_says_since_when(site_path: Path) -> None:
    """A broker that goes away is not well since then, and well again since it came back."""
    health = PartsHealth(load(site_path))
    first = dict(health.update({"intake": intake()}))["broker"]
    gone = dict(health.update({"intake": intake(connected=False, error="refused")}))["broker"]
    assert (first["ok"], gone["ok"], gone["detail"]) == (True, False, "refused")
    assert gone["since_ms"] >= first["since_ms"]
    assert health.update({"intake": intake(store_error="the disk is full")})["store"]["ok"] is False


def test_too_little_disk_is_not_well(site_path: Path) -> None:
    """Less free than the site file asks for: the part `disk` is not well, and says how much is left."""
    site_path.write_text(site_path.read_text() + "\n[store]\nleast_free_mb = 10000000\n")
    state = PartsHealth(load(site_path)).update({})["disk"]
    assert state["ok"] is False
    assert "MB left in" in state["detail"]


def test_the_reserve_is_given_up(tmp_path: Path) -> None:
    """Room is held on the disk and let go of when asked; asking twice does no harm."""
    reserve = Reserve(tmp_path, 1_000_000)
    reserve.keep()
    assert (tmp_path / "reserve").stat().st_size == 1_000_000
    reserve.give_up()
    reserve.give_up()
    assert not (tmp_path / "reserve").exists()


def test_a_monitor_that_does_not_run_is_said(site_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit status 1, and what to do."""
    assert main(["health", str(site_path)]) == 1
    assert "Start it with: maturing-room run" in capsys.readouterr().out


def test_a_running_monitor_is_told_whole(site_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Parts, rates, sensors and refused messages, as text and as JSON."""
    store = open_store(load(site_path))
    store.write([Reading("rack-1", "temperature", now_ms(), 11.5)])
    store.reject([Reject(now_ms(), "maturing/x", "unknown topic")])
    states = {"broker": {"ok": True, "since_ms": now_ms(), "detail": "connected"}}
    parts = {"intake": intake(messages_per_s=12.5, readings=7)}
    store.put_document(BEAT, {"at_ms": now_ms(), "pid": 1, "parts": parts, "states": states})
    store.close()
    assert main(["health", str(site_path)]) == 0
    text = capsys.readouterr().out
    assert "12.5 messages a second, 7 readings since the start" in text
    assert "1 of 2 sensors heard from in time" in text
    assert "silent: rack-2" in text
    assert main(["health", str(site_path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["well"] is True
    assert told["rejects"]["by_reason"] == {"unknown topic": 1}
    assert [s["silent"] for s in told["sensors"]] == [False, True]


def test_a_torn_store_is_told_not_raised(site_path: Path) -> None:
    """Health is asked when things are broken: a store that cannot be opened is part of the answer."""
    folder = load(site_path).data_folder
    folder.mkdir()
    (folder / "readings.sqlite").write_bytes(b"SQLite format 3\x00" + b"\xff" * 5000)
    told = health_of(load(site_path))
    assert told["well"] is False
    assert "damaged" in told["parts"]["store"]["detail"]
