"""A monitor of one's own for system tests: a site folder, `maturing-room run` as a child, a publisher."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

import paho.mqtt.client as mqtt

from tests.system.parts import wait_for

SITE = """
version = 1
[site]
name = "Test site"
time_zone = "Europe/Dublin"
[broker]
port = {port}
{broker_more}
{more}
[[room]]
id = "vault"
name = "North vault"
kind = "cave"
[[room.place]]
id = "low-rack"
[[style]]
id = "clothed"
name = "Clothed hard"
rind = "cloth-bound"
geometry = {{ diameter_m = 0.36, height_m = 0.2, mass_kg = 22 }}
[[style.stage]]
name = "all along"
from_day = 0
temperature_c = [9, 13]
rh_pct = [80, 90]
reference_temperature_c = 11
reference_rh_pct = 85
"""

SENSOR = """
[[sensor]]
id = "{name}"
room = "vault"
place = "low-rack"
interval_s = {interval_s}
"""


def write_site(
    folder: Path,
    port: int,
    sensors: Sequence[str],
    interval_s: float = 60,
    more: str = "",
    broker_more: str = "",
) -> Path:
    """A site file with one room, one place, one style and some sensors."""
    text = SITE.format(port=port, more=more, broker_more=broker_more)
    text += "".join(SENSOR.format(name=name, interval_s=interval_s) for name in sensors)
    path = folder / "site.toml"
    path.write_text(text, encoding="utf-8")
    return path


class MonitorProcess:
    """`maturing-room run` in a child of the test."""

    def __init__(
        self,
        site_path: Path,
        environment: dict[str, str] | None = None,
        parts: Sequence[str] = (),
        worker: str = "",
    ) -> None:
        self.site_path, self._environment, self._parts = site_path, environment or {}, parts
        self._worker = ["--worker", worker] if worker else []
        self.process: subprocess.Popen[bytes] | None = None
        self.log = site_path.parent / "monitor.log"

    def start(self) -> MonitorProcess:
        command = [sys.executable, "-m", "monitor.cli", "run", str(self.site_path), *self._worker]
        for part in self._parts:
            command += ["--part", part]
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                command, env={**os.environ, **self._environment}, stdout=log, stderr=log
            )
        return self

    def kill(self) -> None:
        """End it as a power cut would: no goodbye, nothing flushed."""
        assert self.process is not None
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(10)

    def stop(self) -> int:
        assert self.process is not None
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(20)

    def __enter__(self) -> MonitorProcess:
        return self.start()

    def __exit__(self, *_: object) -> None:
        if self.process is not None and self.process.poll() is None:
            self.stop()


def publisher(port: int, username: str = "", password: str = "") -> mqtt.Client:
    """A connected MQTT client with a running network loop."""
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    if username:
        client.username_pw_set(username, password)
    client.max_inflight_messages_set(200)
    client.max_queued_messages_set(0)
    client.connect("127.0.0.1", port)
    client.loop_start()
    wait_for(client.is_connected, what="the publisher's connection")
    return client


def publish_all(port: int, messages: Iterable[tuple[str, bytes]], seconds: float = 60.0) -> int:
    """Publish with QoS 1 and return how many the broker acknowledged: all of them, or the test fails."""
    client = publisher(port)
    sent = [client.publish(topic, payload, qos=1) for topic, payload in messages]
    wait_for(
        lambda: all(s.is_published() for s in sent), seconds, "the broker's acknowledgement of every message"
    )
    client.disconnect()
    client.loop_stop()
    return len(sent)
