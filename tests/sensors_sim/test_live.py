"""Live runs over a real broker: what was taken is delivered, a broker that is away is waited for, a no is a no."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from sensors_sim.errors import BrokerRefused
from sensors_sim.live import BrokerAddress, Publisher, publish
from sensors_sim.scenario_file import build_scenario
from tests.system.parts import Mosquitto, free_port, wait_for

pytestmark = pytest.mark.system


class Listener:
    """Takes everything under maturing/; keeps its session over a restart of the broker."""

    def __init__(self, port: int, user: tuple[str, str] | None = None) -> None:
        self.payloads: list[tuple[str, bytes]] = []
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="listener", clean_session=False)
        if user:
            self.client.username_pw_set(*user)
        subscribed = threading.Event()
        self.client.on_connect = lambda c, *_: c.subscribe("maturing/#", qos=1)
        self.client.on_subscribe = lambda *_: subscribed.set()
        self.client.on_message = lambda _c, _d, m: self.payloads.append((m.topic, m.payload))
        self.client.reconnect_delay_set(1, 1)
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()
        assert subscribed.wait(5)

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


def test_a_scenario_is_published_with_the_present_time(small: dict[str, Any], tmp_path: Path) -> None:
    """A message a second from each sensor and contact, stamped now, while rooms move on sixty times faster."""
    door = {**small["sensors"][0], "id": "cave-door", "measures": "door_open"}
    small["sensors"] = [{**s, "interval": 1} for s in (*small["sensors"], door)]
    with Mosquitto(tmp_path / "broker") as broker:
        listener = Listener(broker.port)
        begun = time.time()
        count = publish(build_scenario(small), BrokerAddress(port=broker.port), speed=60.0, seconds=3.0)
        wait_for(lambda: len(listener.payloads) >= count, what="all messages")
        listener.close()
    assert 8 <= count <= 25
    assert any(topic == "maturing/cave-door/senml" and b'"vb":' in body for topic, body in listener.payloads)
    for topic, payload in listener.payloads:
        first = json.loads(payload)[0]
        assert first["bn"] == f"urn:dev:id:{topic.split('/')[1]}:"
        assert begun - 2 <= first["bt"] <= time.time() + 1


def test_messages_are_kept_while_the_broker_is_away(tmp_path: Path) -> None:
    """Killed and restarted amid a stream: every message arrives, those taken meanwhile too."""
    broker = Mosquitto(tmp_path / "broker").start()
    try:
        listener = Listener(broker.port)
        publisher = Publisher(BrokerAddress(port=broker.port))
        publisher.connect()
        for number in range(400):
            publisher.send(f"maturing/s{number % 4}/senml", str(number).encode())
            if number == 100:
                assert publisher.flush(10)
                wait_for(lambda: len({p for _, p in listener.payloads}) == 101, what="the first hundred")
                broker.stop()
        assert publisher.unacknowledged >= 299
        broker.start()
        assert publisher.flush(20)
        wait_for(lambda: len({p for _, p in listener.payloads}) == 400, what="all four hundred")
        assert publisher.acknowledged == 400
        publisher.close()
        listener.close()
    finally:
        broker.stop()


def test_sending_and_acknowledging_never_wait_for_each_other(tmp_path: Path) -> None:
    """Three thousand messages as fast as they go, acknowledged meanwhile by another thread."""
    with Mosquitto(tmp_path / "broker") as broker:
        publisher = Publisher(BrokerAddress(port=broker.port))
        publisher.connect()
        sender = threading.Thread(
            target=lambda: [publisher.send("maturing/x/senml", str(n).encode()) for n in range(3000)],
            daemon=True,
        )
        sender.start()
        sender.join(30)
        assert not sender.is_alive(), "sending locked up"
        assert publisher.flush(20)
        assert publisher.acknowledged == 3000
        publisher.close()


def test_a_broker_that_is_not_there_yet_is_waited_for(small: dict[str, Any], tmp_path: Path) -> None:
    """A run that starts before its broker delivers once it is there."""
    small["sensors"] = [{**s, "interval": 1} for s in small["sensors"]]
    broker = Mosquitto(tmp_path / "broker")
    counts: list[int] = []
    run = threading.Thread(
        target=lambda: counts.append(
            publish(build_scenario(small), BrokerAddress(port=broker.port), speed=10.0, seconds=5.0)
        )
    )
    run.start()
    time.sleep(1.0)
    broker.start()
    run.join(30)
    broker.stop()
    assert counts
    assert counts[0] >= 12


def test_a_broker_that_refuses_is_an_error_at_once(
    small: dict[str, Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A wrong password ends the run with a message that says so; the right one is let in."""
    monkeypatch.setenv("SIM_USER", "sensors")
    monkeypatch.setenv("SIM_PASSWORD", "wrong")
    with Mosquitto(tmp_path / "broker", users={"sensors": "right"}) as broker:
        address = BrokerAddress(port=broker.port, username_env="SIM_USER", password_env="SIM_PASSWORD")
        with pytest.raises(BrokerRefused, match="refused"):
            publish(build_scenario(small), address, seconds=5.0)
        monkeypatch.setenv("SIM_PASSWORD", "right")
        assert publish(build_scenario(small), address, speed=100.0, seconds=1.0) >= 4


def test_an_unset_login_is_named(small: dict[str, Any]) -> None:
    """The message names the variable; the secret is never a parameter."""
    with pytest.raises(BrokerRefused, match="NOT_SET_ANYWHERE"):
        publish(build_scenario(small), BrokerAddress(username_env="NOT_SET_ANYWHERE"), seconds=1.0)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["run", "missing.toml"], "missing.toml"),
        (["run", "missing.toml", "--broker", "nonsense"], "HOST:PORT"),
        (["check", "missing.toml"], "cannot be read"),
    ],
)
def test_the_command_says_what_is_wrong(arguments: list[str], words: str, tmp_path: Path) -> None:
    """Exit status not 0, one sentence, no traceback."""
    done = subprocess.run(
        [sys.executable, "-m", "sensors_sim", *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        cwd=tmp_path,
        env={"PYTHONPATH": str(Path(__file__).parents[2]), "PATH": ""},
    )
    assert done.returncode != 0
    assert words in done.stderr
    assert "Traceback" not in done.stderr


def test_a_port_where_nothing_listens_is_no_refusal() -> None:
    """Only an answer counts as a no."""
    publisher = Publisher(BrokerAddress(port=free_port()))
    publisher.connect()
    publisher.send("maturing/x/senml", b"1")
    assert publisher.unacknowledged == 1
    publisher.close()
