"""The monitor told on the broker, and a disk that is full: real broker, real file system."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest

from monitor.alarms import open_alarms
from monitor.site import load
from monitor.store import open_store
from tests.system.parts import Mosquitto, absent, need, wait_for
from tests.system.running import MonitorProcess, publisher, write_site

pytestmark = pytest.mark.system
TOPIC = "maturing-monitor/health"
START = 1_772_366_400_000


class Listener:
    """Keeps the newest retained word about the monitor."""

    def __init__(self, port: int) -> None:
        self.told: list[dict[str, object]] = []
        self.client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        self.client.on_message = lambda _c, _d, message: self.told.append(json.loads(message.payload))
        self.client.on_connect = lambda client, *_: client.subscribe(TOPIC, 1)
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()

    def newest(self) -> dict[str, object]:
        return self.told[-1] if self.told else {}


def test_the_broker_knows_whether_the_monitor_runs(tmp_path: Path) -> None:
    """Retained while it runs; the last will once it is killed; a word of goodbye when it is stopped."""
    with Mosquitto(tmp_path / "broker") as broker:
        site_path = write_site(tmp_path, broker.port, ["rack-1"])
        listener = Listener(broker.port)
        monitor = MonitorProcess(site_path).start()
        wait_for(lambda: listener.newest().get("well") is True, what="word that it runs and is well")
        monitor.kill()
        wait_for(lambda: listener.newest().get("why") == "the connection was lost", 60, "the last will")
        monitor.start()
        wait_for(lambda: listener.newest().get("running") is True, what="word that it runs again")
        monitor.stop()
        wait_for(lambda: listener.newest().get("why") == "stopped", what="the goodbye")
        late = Listener(broker.port)
        wait_for(lambda: late.newest().get("why") == "stopped", what="the retained word")
        assert open_store(load(site_path)).reject_counts() == {}
        for one in (listener, late):
            one.client.loop_stop()


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 24 MB in memory."""
    folder = tmp_path / "small"
    folder.mkdir()
    if os.geteuid() != 0:
        absent("mounting a small disk needs root")
    subprocess.run([need("mount"), "-t", "tmpfs", "-o", "size=24m", "tmpfs", str(folder)], check=True)
    yield folder
    subprocess.run([need("umount"), "-l", str(folder)], check=True)


def test_a_full_disk_loses_nothing_and_is_told(tmp_path: Path, small_disk: Path) -> None:
    """The disk fills up under the intake: an alarm stands before it is full, what cannot be kept is not acknowledged,
    and once there is room again everything is stored and the alarm ends, without help."""
    with Mosquitto(tmp_path / "broker") as broker:
        site_path = write_site(
            tmp_path, broker.port, ["rack-1"], more=f'[store]\nfolder = "{small_disk}"\nleast_free_mb = 6'
        )
        site = load(site_path)
        with MonitorProcess(site_path):
            wait_for(lambda: (small_disk / "reserve").exists(), what="the monitor and its reserve")
            free = shutil.disk_usage(small_disk).free
            (small_disk / "growing").write_bytes(b"\0" * (free - 5_500_000))
            wait_for(lambda: "part-disk" in standing(site), 60, "the alarm")
            full = threading.Event()
            filling = threading.Thread(target=fill, args=(small_disk / "filler", full))
            filling.start()
            client = publisher(broker.port)
            sent: set[int] = set()
            while "nothing is acknowledged until it is back" not in log(site_path):
                assert len(sent) < 500_000, "the disk never was full"
                infos = [
                    publish(client, time_ms) for time_ms in range(START + len(sent), START + len(sent) + 2000)
                ]
                sent |= set(range(START + len(sent), START + len(sent) + 2000))
                wait_for(lambda: all(i.is_published() for i in infos), 60, "the broker's acknowledgements")  # noqa: B023
            full.set()
            filling.join()
            assert "part-disk" in standing(site)
            for name in ("filler", "growing"):
                (small_disk / name).unlink()
            store = open_store(site)
            wait_for(lambda: sum(s.count for s in store.series()) == len(sent), 90, "every reading")
            assert set(store.read("rack-1", "temperature", 0, 2**52).index.as_unit("ms").asi8) == sent
            store.close()
            wait_for(
                lambda: "part-store" not in standing(site) and "part-disk" not in standing(site),
                60,
                "its end",
            )
            client.loop_stop()


def publish(client: mqtt.Client, time_ms: int) -> mqtt.MQTTMessageInfo:
    record = f'[{{"bt":{time_ms / 1000:.3f},"n":"temperature","u":"Cel","v":{10 + time_ms % 100 / 7}}}]'
    return client.publish("maturing/rack-1/senml", record, qos=1)


def fill(path: Path, enough: threading.Event) -> None:
    """Take every byte that is free, again and again."""
    with path.open("ab", buffering=0) as file:
        while not enough.is_set():
            try:
                file.write(b"\0" * 4096)
            except OSError:
                time.sleep(0.02)


def standing(site) -> set[str]:  # type: ignore[no-untyped-def]
    alarms = open_alarms(site)
    try:
        return {a.finding.aspect for a in alarms.standing() if a.active}
    finally:
        alarms.close()


def log(site_path: Path) -> str:
    return (site_path.parent / "monitor.log").read_text(errors="replace")
