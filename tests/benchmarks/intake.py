"""Durable QoS 1 intake against a paho subscriber that does nothing, on one and the same mosquitto.

A backlog waits in each subscriber's persistent session before it connects, so the subscriber is the bound, not the
publisher.  Rounds alternate; the median of each kind counts.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from pathlib import Path
from typing import Any

from paho.mqtt.client import CallbackAPIVersion, Client, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from monitor.intake.router import Router
from monitor.intake.subscriber import Subscriber
from monitor.site import Broker
from monitor.store.embedded import EmbeddedStore
from tests.benchmarks import Figure
from tests.intake.samples import sensor, site_with
from tests.system.parts import Mosquitto, wait_for

MESSAGES, ROUNDS, SENSORS = 20_000, 3, 50
FILTER = "maturing/#"
V5, V311 = MQTTProtocolVersion.MQTTv5, MQTTProtocolVersion.MQTTv311


def run() -> list[Figure]:
    with tempfile.TemporaryDirectory() as folder, Mosquitto(Path(folder) / "broker") as broker:
        rates: dict[str, list[float]] = {"5": [], "3.1.1": [], "durable": []}
        for number in range(ROUNDS):
            rates["5"].append(_plain(broker, f"plain-5-{number}", V5))
            rates["durable"].append(_durable(broker, Path(folder) / f"{number}.sqlite", f"durable-{number}"))
            rates["3.1.1"].append(_plain(broker, f"plain-3-{number}", V311))
    value = statistics.median(rates["durable"])
    note = f"{MESSAGES} messages from {SENSORS} sensors, commit with fsync, median of {ROUNDS}"
    figures = []
    # The subscriber needs MQTT 5 (its Receive Maximum), so that is the baseline with a goal; the other is for the record.
    for version in ("5", "3.1.1"):
        baseline = statistics.median(rates[version])
        name = f"paho subscriber that does nothing, MQTT {version}"
        ratio, goal = value / baseline, ">= 0.7" if version == "5" else ""
        figures.append(Figure("durable QoS 1 intake", value, "messages/s", name, baseline, ratio, goal, note))
    return figures


def _client(name: str, protocol: MQTTProtocolVersion = V5) -> Client:
    more: dict[str, Any] = {} if protocol == V5 else {"clean_session": False}
    return Client(CallbackAPIVersion.VERSION2, client_id=name, protocol=protocol, **more)


def _connect(client: Client, port: int, session: bool) -> None:
    if client._protocol == V311:
        client.connect("127.0.0.1", port)
        return
    properties = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = 3600 if session else 0
    client.connect("127.0.0.1", port, clean_start=not session, properties=properties)


def _leave_session(port: int, name: str, protocol: MQTTProtocolVersion = V5) -> None:
    """Make a persistent session that collects messages, and go away."""
    client = _client(name, protocol)
    done: list[bool] = []
    client.on_connect = lambda c, *_: c.subscribe(FILTER, 1)
    client.on_subscribe = lambda *_: done.append(True)
    _connect(client, port, session=True)
    client.loop_start()
    wait_for(lambda: done, what="the subscription")
    client.disconnect()
    client.loop_stop()


def _fill(port: int) -> None:
    client = _client("publisher")
    client.max_inflight_messages_set(1000)
    _connect(client, port, session=False)
    client.loop_start()
    start_s = round(time.time()) - MESSAGES
    infos: list[Any] = []
    for number in range(MESSAGES):
        rack = f"rack-{number % SENSORS}"
        value = f'"n":"temperature","u":"Cel","v":12.{number % 100:02}'
        payload = f'[{{"bn":"urn:dev:id:{rack}:","bt":{start_s + number},{value}}}]'
        infos.append(client.publish(f"maturing/{rack}/senml", payload, qos=1))
    for info in infos:
        info.wait_for_publish(60)
    client.disconnect()
    client.loop_stop()


def _plain(broker: Mosquitto, name: str, protocol: MQTTProtocolVersion) -> float:
    _leave_session(broker.port, name, protocol)
    _fill(broker.port)
    client = _client(name, protocol)
    count = [0]

    def counted(*_: Any) -> None:
        count[0] += 1

    client.on_message = counted
    started = time.perf_counter()
    _connect(client, broker.port, session=True)
    client.loop_start()
    wait_for(lambda: count[0] >= MESSAGES, 60, "the backlog")
    rate = MESSAGES / (time.perf_counter() - started)
    client.disconnect()
    client.loop_stop()
    return rate


def _durable(broker: Mosquitto, path: Path, name: str) -> float:
    _leave_session(broker.port, name)
    _fill(broker.port)
    site = site_with(
        *(sensor(f"rack-{n}") for n in range(SENSORS)), broker=Broker(port=broker.port, client_id=name)
    )
    store = EmbeddedStore(path)
    subscriber = Subscriber(site.broker, Router(site), store)
    started = time.perf_counter()
    subscriber.start()
    wait_for(lambda: subscriber.health()["readings"] >= MESSAGES, 60, "the backlog")
    rate = MESSAGES / (time.perf_counter() - started)
    subscriber.stop()
    count = sum(summary.count for summary in store.series())
    store.close()
    if count != MESSAGES:
        raise RuntimeError(f"{count} readings stored of {MESSAGES} messages")
    return rate
