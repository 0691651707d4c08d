"""Intake against a real mosquitto: what is acknowledged is stored, and what is stored is stored once."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.publish as publish
import pytest

from monitor.clock import now_ms
from monitor.errors import StoreAway
from monitor.intake.router import Router
from monitor.intake.subscriber import Subscriber
from monitor.records import Reading
from monitor.site import Broker, Site
from monitor.store.embedded import EmbeddedStore
from tests.intake.samples import site_with
from tests.system.parts import Mosquitto, need, wait_for

pytestmark = pytest.mark.system

START_MS = now_ms() - 3_600_000


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path / "broker") as running:
        yield running


@pytest.fixture
def store(tmp_path: Path) -> Iterator[EmbeddedStore]:
    held = EmbeddedStore(tmp_path / "readings.sqlite")
    yield held
    held.close()


def subscriber(site: Site, store: EmbeddedStore, **settings: object) -> Subscriber:
    made = Subscriber(site.broker, Router(site), store, backoff_s=(0.1, 0.5), **settings)  # type: ignore[arg-type]
    made.start()
    wait_for(lambda: made.health()["connected"], what="the connection to the broker")
    return made


def messages(first: int, count: int) -> list[dict[str, object]]:
    def one(number: int) -> dict[str, object]:
        pack = [
            {"bn": "urn:dev:id:rack-1:", "bt": (START_MS + number * 1000) / 1000},
            {"n": "temperature", "u": "Cel", "v": 12.0 + number / 1000},
        ]
        return {"topic": "maturing/rack-1/senml", "payload": json.dumps(pack), "qos": 1}

    return [one(number) for number in range(first, first + count)]


def send(broker: Mosquitto, what: list[dict[str, object]]) -> None:
    publish.multiple(what, port=broker.port)  # type: ignore[arg-type]


def stored(store: EmbeddedStore) -> int:
    return sum(summary.count for summary in store.series())


def test_messages_become_readings_over_mqtt_5(broker: Mosquitto, store: EmbeddedStore) -> None:
    """Two thousand messages arrive, are stored and acknowledged; the broker keeps none."""
    site = site_with(broker=Broker(port=broker.port))
    heard: list[Reading] = []
    taking = subscriber(site, store, on_stored=heard.extend)
    send(broker, messages(0, 2000))
    wait_for(lambda: stored(store) == 2000, what="2,000 readings")
    taking.stop()
    assert taking.health()["protocol"] == "5"
    assert len(heard) == 2000
    again = subscriber(site, store)
    send(broker, messages(2000, 1))
    wait_for(lambda: stored(store) == 2001, what="the last reading")
    again.stop()
    assert again.health()["already_stored"] == 0


def test_what_came_while_away_is_delivered_later(broker: Mosquitto, store: EmbeddedStore) -> None:
    """The session stays with the broker: messages sent while the monitor is down are not lost."""
    site = site_with(broker=Broker(port=broker.port))
    subscriber(site, store).stop()
    send(broker, messages(0, 500))
    back = subscriber(site, store)
    wait_for(lambda: stored(store) == 500, what="the messages sent meanwhile")
    back.stop()


class Fickle:
    """A store that is away until it is told otherwise."""

    def __init__(self, inner: EmbeddedStore) -> None:
        self.inner, self.away, self.refused = inner, True, 0

    def write(self, readings: list[Reading]) -> object:
        if self.away:
            self.refused += 1
            raise StoreAway("the store cannot be used now: it is away")
        return self.inner.write(readings)

    def reject(self, rejects: object) -> None:
        self.inner.reject(rejects)  # type: ignore[arg-type]


def test_a_store_that_is_away_holds_the_acknowledgements(broker: Mosquitto, store: EmbeddedStore) -> None:
    """While the store is away nothing is acknowledged; when it is back everything is stored."""
    site = site_with(broker=Broker(port=broker.port))
    fickle = Fickle(store)
    taking = subscriber(site, fickle)  # type: ignore[arg-type]
    send(broker, messages(0, 300))
    wait_for(lambda: fickle.refused >= 2, what="two refused writes")
    assert taking.health()["store_error"]
    taking.stop()
    after = subscriber(site, store)
    wait_for(lambda: stored(store) == 300, what="the redelivery of what was not acknowledged")
    after.stop()


def test_the_broker_may_restart(broker: Mosquitto, store: EmbeddedStore) -> None:
    """A broker that goes and comes back is found again, and its queue is taken in."""
    site = site_with(broker=Broker(port=broker.port))
    taking = subscriber(site, store)
    send(broker, messages(0, 100))
    wait_for(lambda: stored(store) == 100, what="the first messages")
    broker.restart(away_s=0.5)
    send(broker, messages(100, 100))
    wait_for(lambda: stored(store) == 200, what="the messages after the restart")
    taking.stop()


def test_a_wrong_password_is_said_once(
    tmp_path: Path, store: EmbeddedStore, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """A refused password is told in words, once, and tried again with pauses."""
    monkeypatch.setenv("TEST_BROKER_USER", "monitor")
    monkeypatch.setenv("TEST_BROKER_PASSWORD", "wrong")
    with Mosquitto(tmp_path / "guarded", users={"monitor": "right"}) as guarded:
        broker = Broker(
            port=guarded.port, username_env="TEST_BROKER_USER", password_env="TEST_BROKER_PASSWORD"
        )
        taking = Subscriber(broker, Router(site_with(broker=broker)), store, backoff_s=(0.05, 0.1))
        taking.start()
        wait_for(lambda: taking.health()["error"], what="the refusal")
        monkeypatch.setenv("TEST_BROKER_PASSWORD", "right")
        wait_for(lambda: taking.health()["connected"], what="the connection with the right password")
        taking.stop()
    said = [record for record in caplog.records if "refuses the connection" in record.getMessage()]
    assert len(said) == 1


def test_garbage_is_counted_and_acknowledged(broker: Mosquitto, store: EmbeddedStore) -> None:
    """Garbage does not come back for ever: it is kept with its reason and acknowledged."""
    site = site_with(broker=Broker(port=broker.port))
    taking = subscriber(site, store)
    payloads = [b"\xff\xfe", b"", b"x" * 1_000_000, b'[{"n":"temperature","v":NaN}]', b"[]"]
    send(broker, [{"topic": "maturing/rack-1/senml", "payload": p, "qos": 1} for p in payloads])
    send(broker, [{"topic": "maturing/nobody/senml", "payload": b"1", "qos": 1}, *messages(0, 1)])
    wait_for(lambda: stored(store) == 1, what="the good reading after the garbage")
    taking.stop()
    assert sum(store.reject_counts().values()) == 6
    again = subscriber(site, store)
    again.stop()
    assert sum(store.reject_counts().values()) == 6


def test_two_workers_share_the_load(broker: Mosquitto, store: EmbeddedStore, tmp_path: Path) -> None:
    """Under one share name two workers split the messages: none is lost, none stored twice, both work."""
    site = site_with(broker=Broker(port=broker.port, share_name="intake"))
    second = EmbeddedStore(store.path)
    workers = [subscriber(site, store, worker="a"), subscriber(site, second, worker="b")]
    send(broker, messages(0, 600))
    wait_for(lambda: stored(store) == 600, what="600 readings from two workers")
    for worker in workers:
        worker.stop()
    taken = [worker.health()["messages"] for worker in workers]
    assert sum(taken) == 600
    assert min(taken) > 100
    assert sum(worker.health()["already_stored"] for worker in workers) == 0
    second.close()


@pytest.mark.parametrize(("vouched_for", "told"), [(False, "self-signed"), (True, "mismatch")])
def test_a_certificate_that_does_not_match_is_told(
    tmp_path: Path, store: EmbeddedStore, vouched_for: bool, told: str, caplog: pytest.LogCaptureFixture
) -> None:
    """A broker whose certificate nobody vouches for, or which is another host's, is not trusted; why is said once."""
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    subprocess.run(
        [need("openssl"), "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=elsewhere",
         "-addext", "subjectAltName=DNS:elsewhere", "-keyout", str(key), "-out", str(certificate)],
        check=True, capture_output=True,
    )  # fmt: skip
    secure = f"certfile {certificate}\nkeyfile {key}"
    with Mosquitto(tmp_path / "secure", more=secure) as guarded:
        broker = Broker(port=guarded.port, tls=True, ca_file=str(certificate) if vouched_for else None)
        taking = Subscriber(broker, Router(site_with(broker=broker)), store, backoff_s=(0.05, 0.1))
        taking.start()
        wait_for(lambda: told in (taking.health()["error"] or "").lower(), what=f"the word {told}")
        assert not taking.health()["connected"]
        log = tmp_path / "secure" / "mosquitto.log"
        wait_for(lambda: log.read_text().count("New connection") >= 4, what="further attempts")
        taking.stop()
    assert sum("certificate" in record.getMessage() for record in caplog.records) == 1
