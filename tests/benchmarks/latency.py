"""From publishing to durable at 1,000 messages a second, against the same road without a store."""

from __future__ import annotations

import tempfile
import threading
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from monitor.intake.router import Router
from monitor.intake.subscriber import Subscriber
from monitor.records import Reading
from monitor.site import Broker
from monitor.store.embedded import EmbeddedStore
from monitor.store.protocol import Store, Written
from tests.benchmarks import Figure
from tests.intake.samples import sensor, site_with
from tests.system.parts import Mosquitto, wait_for
from tests.system.running import publisher

RATE, SECONDS, SENSORS = 1_000, 15, 50


def run() -> list[Figure]:
    with tempfile.TemporaryDirectory() as folder, Mosquitto(Path(folder) / "broker") as broker:
        store = EmbeddedStore(Path(folder) / "readings.sqlite")
        durable = _delays(broker.port, "durable", store)
        store.close()
        nothing = _delays(broker.port, "nothing", Nowhere())
    value, baseline = (float(np.percentile(d, 99)) for d in (durable, nothing))
    note = (
        f"{RATE} messages/s for {SECONDS} s from {SENSORS} sensors; median {np.median(durable) * 1000:.0f} ms, "
        f"longest {durable.max() * 1000:.0f} ms"
    )
    return [Figure("publish to durable, 99th percentile", value, "s", "the same without a store", baseline,
                   value / baseline, "<= 1.2 s", note)]  # fmt: skip


class Nowhere(Store):
    """Takes readings and keeps nothing."""

    def write(self, readings: Sequence[Reading]) -> Written:
        return Written(len(readings), 0, 0)

    def reject(self, rejects: object) -> None:
        pass


def _delays(port: int, name: str, store: Store) -> np.ndarray:
    """Seconds from the call of publish to the reading being stored, for every message."""
    site = site_with(*(sensor(f"rack-{n}") for n in range(SENSORS)), broker=Broker(port=port, client_id=name))
    sent: dict[int, float] = {}
    stored: dict[int, float] = {}
    start_ms = round(time.time() * 1000) - 3_600_000

    def note(readings: Sequence[Reading]) -> None:
        at = time.perf_counter()
        stored.update((r.time_ms - start_ms, at) for r in readings)

    subscriber = Subscriber(site.broker, Router(site), store, on_stored=note)
    subscriber.start()
    wait_for(lambda: subscriber.health()["connected"], what="the subscriber")
    client = publisher(port)
    publishing = threading.Thread(target=_publish, args=(client, sent, start_ms))
    publishing.start()
    publishing.join()
    wait_for(lambda: len(stored) == RATE * SECONDS, 60, "every reading")
    subscriber.stop()
    client.disconnect()
    client.loop_stop()
    return np.array([stored[number] - at for number, at in sent.items()])


def _publish(client, sent: dict[int, float], start_ms: int) -> None:  # type: ignore[no-untyped-def]
    begun = time.perf_counter()
    for number in range(RATE * SECONDS):
        rack = f"rack-{number % SENSORS}"
        record = f'[{{"bt":{(start_ms + number) / 1000:.3f},"n":"temperature","u":"Cel","v":{10 + number % 500 / 100}}}]'
        sent[number] = time.perf_counter()
        client.publish(f"maturing/{rack}/senml", record, qos=1)
        time.sleep(max(0.0, begun + (number + 1) / RATE - time.perf_counter()))
