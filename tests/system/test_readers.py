"""Real readers from hardware to store: a Modbus server and a sysfs tree, a broker that goes away, a kill -9."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.readers.outbox import Outbox
from monitor.site import load
from monitor.store import open_store
from tests.readers.hardware import Transmitter, chip
from tests.system.parts import Mosquitto, wait_for
from tests.system.running import MonitorProcess, write_site

READERS = """
[[sensor]]
id = "duct"
room = "vault"
place = "low-rack"
interval_s = 0.2
[sensor.reader]
kind = "modbus"
host = "127.0.0.1"
port = {port}
device = 7
registers.temperature = {{ address = 0, scale = 0.1 }}
registers.humidity = {{ address = 1, scale = 0.01 }}

[[sensor]]
id = "rack-1"
room = "vault"
place = "low-rack"
interval_s = 0.2
[sensor.reader]
kind = "kernel"
path = "{chip}"
"""


@pytest.fixture
def transmitter() -> Iterator[Transmitter]:
    server = Transmitter()
    yield server
    server.stop()


def site_with_readers(folder: Path, port: int, transmitter: Transmitter) -> Path:
    """A site whose two sensors hang on this machine."""
    path = write_site(folder, port, [])
    files = chip(folder / "iio:device0", in_temp_input="11840", in_humidityrelative_input="86215")
    path.write_text(path.read_text() + READERS.format(port=transmitter.port, chip=files))
    return path


def command(site_path: Path, *more: str) -> list[str]:
    return [sys.executable, "-m", "monitor.cli", "read", str(site_path), *more]


@pytest.mark.system
def test_readings_of_hardware_reach_the_store_over_outages(tmp_path: Path, transmitter: Transmitter) -> None:
    """Both sensors are read, nothing that waited while the broker was away and the reader was killed is lost."""
    with Mosquitto(tmp_path / "broker") as broker:
        site_path = site_with_readers(tmp_path, broker.port, transmitter)
        store = open_store(load(site_path))
        waiting = tmp_path / "waiting.sqlite"

        def held() -> dict[str, int]:
            return {s.sensor: s.count for s in store.series() if s.quantity == "temperature"}

        def start() -> subprocess.Popen[bytes]:
            return subprocess.Popen(command(site_path, "--waiting", str(waiting)), env=os.environ)

        with MonitorProcess(site_path, parts=["intake"]):
            reader = start()
            wait_for(lambda: min(held().get(s, 0) for s in ("duct", "rack-1")) >= 3, what="both sensors")
            broker.stop()
            outbox = Outbox(waiting)
            wait_for(lambda: outbox.waiting >= 10, what="messages that wait on disk")
            reader.kill()
            reader.wait(10)
            unsent = outbox.after(0, 10_000)
            broker.start()
            reader = start()
            wait_for(lambda: outbox.after(0, 1)[:1] != unsent[:1], what="the oldest message's leaving")
            reader.terminate()
            assert reader.wait(20) == 0
            left = {number for number, _, _ in outbox.after(0, 10_000)}
            sent = [payload for number, _, payload in unsent if number not in left]
            assert sent
            times = {round(float(p.split(b'"bt":')[1].split(b",")[0]) * 1000) for p in sent}
            wait_for(lambda: times <= _times(store), what="every message that waited, in the store")
        duct = store.read("duct", "temperature", 0, 2**52)
        assert set(duct["value"].round(6)) == {11.8}
        assert not duct.index.has_duplicates
        store.close()


def _times(store) -> set[int]:  # type: ignore[no-untyped-def]
    frames = [store.read(sensor, "temperature", 0, 2**52) for sensor in ("duct", "rack-1")]
    return {int(t) for frame in frames for t in frame.index.as_unit("ms").asi8}


@pytest.mark.system
def test_reading_once_shows_values_and_faults(tmp_path: Path, transmitter: Transmitter) -> None:
    """`read --once` tells what each sensor says without a broker; a sensor that is away gives exit status 1."""
    site_path = site_with_readers(tmp_path, 1, transmitter)
    shown = subprocess.run(command(site_path, "--once"), capture_output=True, text=True)
    assert "rack-1: air temperature 11.84 degC, relative humidity 86.22 %RH" in shown.stdout
    assert shown.returncode == 0
    transmitter_away = site_path.read_text().replace(f"port = {transmitter.port}", "port = 9")
    site_path.write_text(transmitter_away)
    shown = subprocess.run(command(site_path, "--once"), capture_output=True, text=True)
    assert "no connection to 127.0.0.1:9" in shown.stderr
    assert shown.returncode == 1
