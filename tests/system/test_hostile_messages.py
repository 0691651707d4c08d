"""Whatever a broker delivers, the service goes on, and each refusal can be read with its reason."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.clock import now_ms
from monitor.records import Flag
from monitor.site import load
from monitor.store import open_store
from tests.system.parts import Mosquitto, wait_for
from tests.system.running import MonitorProcess, publish_all, write_site

pytestmark = pytest.mark.system
TOPIC = "maturing/nv-1/senml"


def senml(value: object, unit: str = "Cel", name: str = "temperature", at_s: float | None = None) -> bytes:
    at = now_ms() / 1000 if at_s is None else at_s
    text = json.dumps([{"bn": "urn:dev:id:nv-1:", "bt": at, "n": name, "u": unit, "v": value}])
    return text.encode()


HOSTILE: list[tuple[str, str, bytes, str]] = [
    ("garbage", TOPIC, b"\xff\x00\x13garbage", "JSON"),
    ("nothing", TOPIC, b"", "empty"),
    ("a megabyte", TOPIC, b"[" + b" " * 1_000_000 + b"]", "64 kB"),
    ("not a number", TOPIC, senml(float("nan")), "NaN"),
    ("infinity", TOPIC, senml(float("inf")), "infinity"),
    ("a wrong unit", TOPIC, senml(12.0, unit="lb"), "unit"),
    ("an unknown topic", "maturing/nobody/senml", senml(12.0), "topic"),
    ("a clock of 1970", TOPIC, senml(12.0, at_s=300_000_000), "before the year"),
    ("a clock of 2100", TOPIC, senml(12.0, at_s=4_102_444_800), "ahead"),
    ("markup for a name", TOPIC, senml(12.0, name="<script>alert(1)</script>"), "unknown sensor"),
]


def rooms(site_path: Path) -> dict:
    command = [sys.executable, "-m", "monitor.cli", "rooms", str(site_path), "--json"]
    return json.loads(subprocess.run(command, capture_output=True, check=True, timeout=60).stdout)


def test_each_refusal_has_a_reason_and_the_service_goes_on(tmp_path: Path) -> None:
    """Ten kinds of nonsense are counted with ten readable reasons; a good message after them is stored as ever."""
    with Mosquitto(tmp_path / "broker") as broker:
        site_path = write_site(tmp_path, broker.port, ["nv-1"])
        with MonitorProcess(site_path) as monitor:
            wait_for(
                lambda: "broker: connected" in monitor.log.read_text("utf-8"), what="the monitor's connection"
            )
            publish_all(broker.port, [(topic, payload) for _, topic, payload, _ in HOSTILE])
            publish_all(broker.port, [(TOPIC, senml(12.25))])
            store = open_store(load(site_path))
            wait_for(lambda: store.series(), what="the good reading")
            assert monitor.process is not None
            assert monitor.process.poll() is None
        rejects = rooms(site_path)["rejects"]
        store.close()
    assert rejects["total"] == len(HOSTILE)
    for kind, _, _, word in HOSTILE:
        told = [reason for reason in rejects["by_reason"] if word.lower() in reason.lower()]
        assert told, f"no reason speaks of {word!r} for {kind}: {rejects['by_reason']}"
    assert len(json.dumps(rejects)) < 50_000


def test_an_impossible_value_is_kept_and_flagged(tmp_path: Path) -> None:
    """500 degC is what the sensor said: it stays in the store, failed, with the reason, and out of the room's air."""
    with Mosquitto(tmp_path / "broker") as broker:
        site_path = write_site(tmp_path, broker.port, ["nv-1"])
        with MonitorProcess(site_path) as monitor:
            wait_for(
                lambda: "broker: connected" in monitor.log.read_text("utf-8"), what="the monitor's connection"
            )
            store = open_store(load(site_path))
            publish_all(broker.port, [(TOPIC, senml(500.0))])
            wait_for(
                lambda: store.series() and not store.changes(1), what="the reading and its slot's record"
            )
        (room,) = rooms(site_path)["rooms"]
        (series,) = store.series()
        store.close()
    assert series.last_value == 500.0
    assert series.last_flag == Flag.FAIL
    assert room["temperature_c"] is None
    assert room["sensors"][0]["flag"] == Flag.FAIL
    assert "outside -40 to 85 degC" in room["sensors"][0]["reason"]
