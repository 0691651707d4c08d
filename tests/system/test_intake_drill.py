"""The drill: kills, restarts, a store that is away and a flood, all at once; nothing acknowledged is lost or doubled.

Run on the embedded store, and on the near store of InfluxDB with (a stand-in for) InfluxDB away meanwhile. It is short by default.  MATURING_DRILL=full makes it the long one: 1,000 messages/s for 60 s.
"""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from paho.mqtt.client import CallbackAPIVersion, Client, MQTTProtocolVersion

from monitor.site import load
from monitor.store.embedded import FILE_NAME, EmbeddedStore
from monitor.store.spool import NEAR_FILE_NAME, NearStore
from tests.store.influx_double import TOKEN, InfluxDouble
from tests.system.parts import Mosquitto, wait_for

pytestmark = [pytest.mark.system, pytest.mark.timeout(400)]

FULL = os.environ.get("MATURING_DRILL") == "full"
SECONDS, RATE, KILLS, RESTARTS, AWAY_S = (60, 1000, 10, 2, 10.0) if FULL else (6, 500, 3, 1, 1.5)
SENSORS = 50


def site_file(folder: Path, port: int, kind: str) -> Path:
    rooms = f'version = 1\n[site]\nname = "Drill"\n[store]\nkind = "{kind}"\n'
    room = '[[room]]\nid = "cave"\nname = "Cave"\nkind = "cave"\n[[room.place]]\nid = "left"\n'
    sensors = "".join(f'[[sensor]]\nid = "rack-{n}"\nroom = "cave"\nplace = "left"\n' for n in range(SENSORS))
    path = folder / "site.toml"
    path.write_text(f'{rooms}[broker]\nport = {port}\nclient_id = "drill"\n{room}{sensors}')
    return path


class Publisher:
    """Publishes at a steady rate and waits until the broker has acknowledged all."""

    def __init__(self, port: int) -> None:
        self.client = Client(
            CallbackAPIVersion.VERSION2, "drill-publisher", False, protocol=MQTTProtocolVersion.MQTTv311
        )
        self.client.max_inflight_messages_set(200)
        self.client.reconnect_delay_set(1, 1)
        self.sent: set[tuple[str, int]] = set()
        self.published = self.acknowledged = 0
        self.start_ms = round(time.time() * 1000) - 86_400_000
        # Counted by the broker's answers: what is sent while it is away waits in the client and is answered later.
        self.client.on_publish = self._count
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()

    def run(self) -> None:
        start_ms = self.start_ms
        begun = time.monotonic()
        for number in range(SECONDS * RATE):
            rack = f"rack-{number % SENSORS}"
            self.publish(rack, start_ms + number, 10 + number % 500 / 100)
            if number % SENSORS == 7:  # one sensor floods with doubles
                for _ in range(10):
                    self.publish(rack, start_ms + number, 10 + number % 500 / 100)
            time.sleep(max(0.0, begun + number / RATE - time.monotonic()))

    def probe(self) -> bool:
        """Publish one and the same message, which counts like all others."""
        self.publish("rack-0", self.start_ms - 1000, 12.5)
        time.sleep(0.2)
        return True

    def publish(self, rack: str, time_ms: int, value: float) -> None:
        record = f'[{{"bn":"urn:dev:id:{rack}:","bt":{time_ms / 1000:.3f},"n":"temperature","u":"Cel","v":{value}}}]'
        info: Any = self.client.publish(f"maturing/{rack}/senml", record, qos=1)
        assert info.mid
        self.published += 1
        self.sent.add((rack, time_ms))

    def all_acknowledged(self) -> bool:
        return self.acknowledged >= self.published

    def _count(self, *_: object) -> None:
        self.acknowledged += 1


class Monitor:
    """The intake as its own process, killed and started again."""

    def __init__(self, site: Path, environment: dict[str, str]) -> None:
        self._environment = {**os.environ, **environment}
        self._command = [sys.executable, "-m", "monitor.cli", "run", str(site), "--part", "intake"]
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        self.process = subprocess.Popen(self._command, env=self._environment, stderr=subprocess.DEVNULL)

    def kill(self) -> None:
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait(10)
            self.process = None

    def __enter__(self) -> Monitor:
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()


def take_store_away(path: Path) -> None:
    """Hold the store's write lock, as a backup gone wrong or a stuck disk would."""
    lock = sqlite3.connect(path, isolation_level=None, timeout=30)
    lock.execute("BEGIN IMMEDIATE")
    time.sleep(AWAY_S)
    lock.execute("ROLLBACK")
    lock.close()


class Far:
    """A stand-in for InfluxDB that can be taken away, and what the monitor needs to know of it."""

    def __init__(self) -> None:
        self.double = InfluxDouble()
        values = {"URL": self.double.url, "ORG": "dairy", "BUCKET": "rooms", "TOKEN": TOKEN}
        self.environment = {f"MATURING_INFLUX_{name}": value for name, value in values.items()}

    def go_away(self) -> None:
        self.double.stop()
        time.sleep(AWAY_S)
        self.double.start()

    def held(self) -> dict[tuple[str, int], float]:
        return {
            (dict(tags)["sensor"], t): fields["value"] for (tags, t), fields in self.double.points.items()
        }


@pytest.mark.parametrize("kind", ["embedded", "influx"])
def test_the_drill(tmp_path: Path, kind: str) -> None:
    """Every message that the broker acknowledged is stored exactly once, with its own value."""
    far = Far() if kind == "influx" else None
    path = site_file(tmp_path, 1, kind)
    with Mosquitto(tmp_path / "broker") as broker:
        path.write_text(path.read_text().replace("port = 1", f"port = {broker.port}"))
        with Monitor(path, far.environment if far else {}) as monitor:
            name = FILE_NAME if far is None else NEAR_FILE_NAME
            store = (EmbeddedStore if far is None else NearStore)(load(path).data_folder / name)
            monitor.start()
            publisher = Publisher(broker.port)
            # The session must stand before the drill begins, or the broker has nobody to keep messages for.
            wait_for(lambda: publisher.probe() and store.series(), 60, "the first reading")
            sending = threading.Thread(target=publisher.run)
            sending.start()
            _harm(broker, monitor, store.path, far)
            sending.join()
            wait_for(publisher.all_acknowledged, 60, "the broker's acknowledgements")
            expected = publisher.sent
            wait_for(
                lambda: sum(s.count for s in store.series()) >= len(expected),
                120,
                "every acknowledged message",
            )
            if far is not None:
                wait_for(lambda: len(far.double.points) >= len(expected), 120, "every message carried over")
            time.sleep(1)
            monitor.kill()
            publisher.client.disconnect()
            publisher.client.loop_stop()
    stored = [
        ((s.sensor, int(time_ms)), value)
        for s in store.series()
        for time_ms, value in _points(store.read(s.sensor, "temperature", 0, 2**52))
    ]
    store.close()
    assert len(stored) == len(dict(stored))
    assert set(dict(stored)) == expected
    assert len(expected) == SECONDS * RATE + 1
    if far is not None:
        assert far.held() == dict(stored)
        far.double.stop()


def _points(frame: pd.DataFrame) -> Iterator[tuple[int, float]]:
    return zip(pd.DatetimeIndex(frame.index).as_unit("ms").asi8, frame["value"], strict=True)


def _harm(broker: Mosquitto, monitor: Monitor, store: Path, far: Far | None) -> None:
    begun, pause = time.monotonic(), SECONDS / (KILLS + 1)
    harm = [threading.Timer(SECONDS * 0.4, take_store_away, (store,))]
    if far is not None:
        harm.append(threading.Timer(SECONDS * 0.5, far.go_away))
    for away in harm:
        away.start()
    for number in range(KILLS):
        time.sleep(max(0.0, begun + pause * (number + 1) - time.monotonic()))
        monitor.kill()
        monitor.start()
        if number % max(1, KILLS // RESTARTS) == KILLS // RESTARTS // 2:
            broker.restart(away_s=0.3)
    for away in harm:
        away.join()
