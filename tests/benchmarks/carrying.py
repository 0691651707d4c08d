"""Carrying over to InfluxDB what waited while it was away, against a real server that takes its write protocol."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

from monitor.clock import now_ms
from monitor.records import Reading
from monitor.store.influx import BATCH, InfluxStore
from monitor.store.influx_far import InfluxFar
from monitor.store.spool import NearStore
from tests.benchmarks import Figure
from tests.system.parts import victoria_metrics

READINGS, SENSORS = 200_000, 50


def run() -> list[Figure]:
    with tempfile.TemporaryDirectory() as folder, victoria_metrics(Path(folder)) as url:
        far = InfluxFar(url, "dairy", "rooms", "none", "main")
        store = InfluxStore(NearStore(Path(folder) / "near.sqlite"), far)
        store.near.settle(older_far=False)
        start_ms = now_ms() - READINGS * 1000
        readings = [
            Reading(f"rack-{n % SENSORS}", "humidity", start_ms + n * 1000, 80 + n % 97 / 7)
            for n in range(READINGS)
        ]
        for first in range(0, READINGS, BATCH):
            store.write(readings[first : first + BATCH])
        started = time.perf_counter()
        while store.carry():
            pass
        carried_s = time.perf_counter() - started
        started = time.perf_counter()
        for first in range(0, READINGS, BATCH):
            far.write(readings[first : first + BATCH], [])
        plain_s = time.perf_counter() - started
        store.close()
    rate, plain = READINGS / carried_s, READINGS / plain_s
    note = f"{READINGS} readings that waited, {BATCH} a request, to victoria-metrics on the same machine"
    return [Figure("carried over after an outage", rate, "readings/s", "the same lines without a near store", plain,
                   rate / plain, "> 10,000", note)]  # fmt: skip
