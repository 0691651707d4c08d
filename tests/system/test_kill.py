"""Killed in the middle of the work, the monitor loses and doubles nothing."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.clock import now_ms
from monitor.site import load
from monitor.store import open_store
from tests.system.parts import Mosquitto, wait_for
from tests.system.running import MonitorProcess, publisher, write_site

pytestmark = pytest.mark.system
MESSAGES = 5000
SENSORS = 10


def test_kill_in_the_middle_of_5000_messages_loses_and_doubles_none(tmp_path: Path) -> None:
    """After kill -9 amid 5,000 QoS 1 messages and a restart, all 5,000 are stored, each once."""
    names = [f"s{n}" for n in range(SENSORS)]
    first_ms = now_ms() - MESSAGES * 1000
    with Mosquitto(tmp_path / "broker") as broker:
        site_path = write_site(tmp_path, broker.port, names)
        monitor = MonitorProcess(site_path).start()
        wait_for(
            lambda: "broker: connected" in monitor.log.read_text("utf-8"), what="the monitor's connection"
        )
        store = open_store(load(site_path))
        client = publisher(broker.port)
        sent = []
        for number in range(MESSAGES):
            payload = {"temperature": number / 1000, "time": (first_ms + number * 1000) / 1000}
            pack = [
                {
                    "bn": f"urn:dev:id:s{number % SENSORS}:",
                    "bt": payload["time"],
                    "n": "temperature",
                    "u": "Cel",
                    "v": payload["temperature"],
                }
            ]
            sent.append(client.publish(f"maturing/s{number % SENSORS}/senml", json.dumps(pack), qos=1))
            if number == MESSAGES // 2:
                wait_for(lambda: sum(s.count for s in store.series()) > 100, what="the first readings")
                monitor.kill()
        wait_for(lambda: all(s.is_published() for s in sent), 60, "the broker's acknowledgements")
        before = sum(s.count for s in store.series())
        assert 0 < before < MESSAGES
        with MonitorProcess(site_path):
            wait_for(
                lambda: sum(s.count for s in store.series()) >= MESSAGES, 60, "all messages in the store"
            )
        client.disconnect()
        client.loop_stop()
    values = sorted(
        round(v * 1000)
        for name in names
        for v in store.read(name, "temperature", first_ms, first_ms + MESSAGES * 1000)["value"]
    )
    assert values == list(range(MESSAGES))
    store.close()
