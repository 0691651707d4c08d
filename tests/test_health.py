"""How the monitor itself is doing."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.clock import now_ms
from monitor.health import BEAT, ClockWatch, PartsHealth, Rate, Reserve, TimesWatch, health_of
from monitor.intake.measurement import AHEAD_REASON
from monitor.records import AirRecord, Reading, Reject
from monitor.rules.finding import Finding
from monitor.site import check_text, load
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


NOW = 1_772_366_400_000


def at(offset_s: float, *sensors: str) -> list[Reading]:
    return [Reading(name, "humidity", NOW + round(offset_s * 1000), 86.0) for name in sensors]


def test_sensors_that_are_all_ahead_doubt_this_clock() -> None:
    """Three sensors state times 90 s ahead: this machine's clock is in doubt until one of them says otherwise."""
    watch = TimesWatch()
    assert watch.update(at(90, "a", "b"), NOW, 0.0) == ""
    assert watch.update(at(95, "c"), NOW, 1.0).startswith("all 3 sensors heard from state times ahead")
    assert watch.update(at(-1, "d"), NOW, 2.0) == ""


def test_a_burst_from_a_while_ago_is_no_wrong_clock() -> None:
    """Sensors that held their readings back for an hour send old ones first and reach to now; that is no fault, but
    staying an hour behind is."""
    watch = TimesWatch()
    watch.update(at(-5, "a", "b", "c"), NOW, 0.0)
    assert watch.update(at(-3600, "a", "b", "c"), NOW, 60.0) == ""
    assert watch.update(at(-3600, "a", "b", "c"), NOW, 700.0).startswith(
        "all 3 sensors heard from state times behind"
    )
    assert watch.update([], NOW, 1400.0) == ""


def test_a_clock_so_wrong_that_readings_are_refused_is_told() -> None:
    """A machine that starts an hour in the past refuses what its sensors send: that is no fault of three sensors.
    What was refused before the start tells nothing, nor does one sensor alone."""
    watch = TimesWatch()
    old = [Reject(NOW - 5000, f"maturing/{name}/senml", AHEAD_REASON, sensor=name) for name in "abc"]
    watch.refused(old, 0.0)
    assert watch.update([], NOW, 0.0) == ""
    fresh = [
        Reject(NOW + n, f"maturing/{name}/senml", AHEAD_REASON, sensor=name) for n, name in enumerate("abc")
    ]
    watch.refused([*fresh[:1], *old], 10.0)
    assert watch.update([], NOW, 10.0) == ""
    watch.refused([*fresh, *old], 20.0)
    assert watch.update([], NOW, 20.0).startswith(
        "all 3 sensors heard from state times ahead of this machine's, by 600 s"
    )


def test_clock_and_channel_are_parts(site_path: Path) -> None:
    """What the judge learned of messages that do not get out, and of the sensors' times, is a part's state."""
    told = {
        "channel": {"trouble": "messages by route phone do not get out"},
        "sensor_times": {"trouble": "all ahead"},
    }
    states = PartsHealth(load(site_path)).update(told)
    assert {name: states[name]["detail"] for name in ("channel", "clock")} == {
        "channel": "messages by route phone do not get out",
        "clock": "all ahead",
    }
    assert not states["channel"]["ok"]
    assert not states["clock"]["ok"]


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


def test_what_is_wrong_with_a_sensor_is_told(site_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A finding about a sensor, the creep its place's air carries, and when it is due for calibration."""
    text = site_path.read_text()
    entry = '[[sensor.calibration]]\nquantity = "humidity"\nat = 2026-03-01T09:00:00Z\npoints = [[88.0, 86.8]]\nhow = "KCl"\n'
    first, rest = text.split("[[sensor]]", 1)[0], text.split("[[sensor]]", 1)[1].split("[[sensor]]", 1)
    site_path.write_text(f"{first}[[sensor]]{rest[0]}{entry}\n[[sensor]]{rest[1]}")
    site = load(site_path)
    stuck = Finding(
        "sensor_health",
        "vault",
        NOW,
        NOW,
        "Sensor rack-1 repeats one value",
        "Breathe on it",
        sensor="rack-1",
    )
    store = open_store(site)
    store.put_document("findings", [asdict(stuck)])
    air = AirRecord(
        "vault", "low-rack", NOW, 11.0, 11.0, 11.0, 88.0, 88.0, 88.0, 1.0, 9.1, 157.0, rh_creep_pct=2.4
    )
    store.write_air([air])
    store.close()
    main(["health", str(site_path)])
    said = capsys.readouterr().out
    assert "Sensor rack-1 repeats one value" in said
    assert "Check first: Breathe on it" in said
    assert "may read up to 2.4 % high" in said
    main(["health", str(site_path), "--json"])
    told = json.loads(capsys.readouterr().out)["sensors"]
    assert [len(s["troubles"]) for s in told] == [1, 0]
    assert told[0]["creep_pct"] == 2.4
    assert told[0]["calibration_due_at"] == "2027-03-01T09:00:00Z"
    assert told[1]["calibration_due_at"] is None


@pytest.mark.parametrize("topic", ["maturing-monitor/health", "maturing-monitor/health/a"])
def test_no_sensor_has_the_monitors_own_topic(site_path: Path, topic: str) -> None:
    """What the monitor says of itself would come back as a reading."""
    text = site_path.read_text().replace('id = "rack-2"', f'id = "rack-2"\ntopic = "{topic}"')
    site, faults = check_text(text, site_path)
    assert site is None
    assert "is where the monitor tells of itself" in str(faults[0])


def test_a_torn_store_is_told_not_raised(site_path: Path) -> None:
    """Health is asked when things are broken: a store that cannot be opened is part of the answer."""
    folder = load(site_path).data_folder
    folder.mkdir()
    (folder / "readings.sqlite").write_bytes(b"SQLite format 3\x00" + b"\xff" * 5000)
    told = health_of(load(site_path))
    assert told["well"] is False
    assert "damaged" in told["parts"]["store"]["detail"]
