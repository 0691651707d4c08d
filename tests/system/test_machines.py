"""Readings taken in on two machines (two folders, two near stores), and judged on one of them.

The broker is one real mosquitto, InfluxDB is our stand-in; what neither proves stands in ``monitor/docs/machines.md``.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.clock import now_ms
from monitor.site import load
from monitor.store import open_store
from monitor.store.influx import InfluxStore
from tests.store.influx_double import TOKEN, InfluxDouble
from tests.system.parts import Mosquitto, wait_for
from tests.system.running import MonitorProcess, publish_all, write_site

pytestmark = [pytest.mark.system, pytest.mark.timeout(240)]
STORE = '[store]\nkind = "influx"\ntaken_in_elsewhere = true\nleast_free_mb = 0'
COUNT, SENSORS = 1000, 5


def messages(first: int, start_ms: int) -> list[tuple[str, bytes]]:
    def one(number: int) -> tuple[str, bytes]:
        record = {
            "bt": (start_ms + number * 1000) / 1000,
            "n": "humidity",
            "u": "%RH",
            "v": 80 + number % 90 / 10,
        }
        return f"maturing/rack-{number % SENSORS}/senml", json.dumps([record]).encode()

    return [one(number) for number in range(first, first + COUNT)]


def test_what_two_machines_take_in_is_judged_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One machine is killed amid its share and comes back, InfluxDB is away for a while: the judging one ends with every
    reading once, and with air records made of them."""
    double = InfluxDouble()
    for name, value in {"URL": double.url, "ORG": "dairy", "BUCKET": "rooms", "TOKEN": TOKEN}.items():
        monkeypatch.setenv(f"MATURING_INFLUX_{name}", value)
    start_ms = now_ms() - 3_600_000
    with Mosquitto(tmp_path / "broker") as broker:
        paths = []
        for name in ("taking", "judging"):
            (tmp_path / name).mkdir()
            racks = [f"rack-{n}" for n in range(SENSORS)]
            share = 'share_name = "crew"'
            paths.append(write_site(tmp_path / name, broker.port, racks, more=STORE, broker_more=share))
        taking = MonitorProcess(paths[0], parts=["intake"], worker="a")
        with taking, MonitorProcess(paths[1], worker="b"):
            log = tmp_path / "broker" / "mosquitto.log"
            for worker in "ab":
                wait_for(lambda: f"as maturing-room-monitor-{worker}" in log.read_text(), 60, "the workers")  # noqa: B023
            store = open_store(load(paths[1]))
            assert isinstance(store, InfluxStore)
            wait_for(
                lambda: store.near.began()[1] is False, 30, "InfluxDB's word that there is no older past"
            )
            publish_all(broker.port, messages(0, start_ms))
            taking.kill()
            double.stop()
            publish_all(broker.port, messages(COUNT, start_ms))
            taking.start()
            double.start()
            wait_for(lambda: sum(s.count for s in store.series()) == 2 * COUNT, 90, "every reading")
            wait_for(lambda: not store.changes(), 60, "the air records")
            wait_for(lambda: store.waiting() == 0, 60, "all carried over")
            frames = [store.near.read(f"rack-{n}", "humidity", 0, 2**52) for n in range(SENSORS)]
            records = store.read_air("vault", "", 0, 2**52)
            store.close()
        mine = open_store(load(paths[0]))
        taken = sum(s.count for s in mine.series())
        mine.close()
    double.stop()
    assert [len(frame) for frame in frames] == [2 * COUNT // SENSORS] * SENSORS
    assert 0 < taken < 2 * COUNT
    assert len(records) >= 2 * COUNT // 600
    assert records["rh_pct"].notna().all()
