"""A live run: rooms move on in time and their sensors publish over MQTT, at the speed asked for.

Messages wait here while the broker is away and go out, oldest first, when it is back; none is dropped before
the broker has acknowledged it (QoS 1).
"""

from __future__ import annotations

import heapq
import itertools
import logging
import math
import os
import threading
import time
from dataclasses import dataclass
from typing import Any, Literal

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from sensors_sim.contacts import States
from sensors_sim.errors import BrokerRefused
from sensors_sim.messages import senml, senml_state
from sensors_sim.network import SensorNetwork
from sensors_sim.scenario import Fault, Scenario
from sensors_sim.sensors import Samples
from sensors_sim.world import World

log = logging.getLogger(__name__)
TICK_S = 0.2
INFLIGHT = 200
FIRST_ANSWER_S = 10.0


@dataclass(frozen=True)
class BrokerAddress:
    """Where to publish, and how to be let in; name and password come from environment variables."""

    host: str = "127.0.0.1"
    port: int = 1883
    username_env: str | None = None
    password_env: str | None = None
    tls: bool = False
    ca_file: str | None = None
    client_id: str = "sensors-sim"

    def credentials(self) -> tuple[str, str | None] | None:
        """Name and password, or None.

        Raises
        ------
        BrokerRefused
            A variable is named but not set.
        """
        values = {}
        for name in (self.username_env, self.password_env):
            if name and name not in os.environ:
                raise BrokerRefused(
                    f"the environment variable {name} is not set; it should hold the broker's login"
                )
            values[name] = os.environ[name] if name else None
        user = values.get(self.username_env)
        return (user, values.get(self.password_env)) if user is not None else None


class Publisher:
    """Sends messages to a broker and keeps them until the broker has acknowledged each."""

    def __init__(self, address: BrokerAddress) -> None:
        self._address = address
        self._answered = threading.Event()
        self._refusal = ""
        self._connected = False
        self._lock = threading.Lock()
        self._waiting: dict[int, tuple[str, bytes, bool]] = {}
        self._handed: set[int] = set()
        self._sent: dict[int, int] = {}
        self._early: set[int] = set()  # acknowledged before `publish` returned
        self._numbers = itertools.count()
        self.acknowledged = 0
        self._client = self._make_client()

    def _make_client(self) -> mqtt.Client:
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=self._address.client_id, clean_session=True
        )
        login = self._address.credentials()
        if login:
            client.username_pw_set(*login)
        if self._address.tls:
            client.tls_set(ca_certs=self._address.ca_file)
        client.max_inflight_messages_set(INFLIGHT)
        client.reconnect_delay_set(1, 5)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_publish = self._on_publish
        return client

    def connect(self) -> None:
        """Reach the broker and wait for its answer.  A broker that is away is waited for in the background.

        Raises
        ------
        BrokerRefused
            It answered and refused, or its certificate does not hold.
        """
        try:
            self._client.connect(self._address.host, self._address.port, keepalive=20)
        except OSError as error:
            if "certificate" in str(error).lower() or "ssl" in type(error).__name__.lower():
                raise BrokerRefused(f"{self._where}: TLS failed: {error}") from error
            log.warning("%s cannot be reached (%s); messages are kept until it can", self._where, error)
            self._client.connect_async(self._address.host, self._address.port, keepalive=20)
        self._client.loop_start()
        self._answered.wait(FIRST_ANSWER_S if self._client.socket() else 0.0)
        self.check()

    @property
    def _where(self) -> str:
        return f"broker {self._address.host}:{self._address.port}"

    def check(self) -> None:
        """Raise BrokerRefused if the broker has refused us."""
        if self._refusal:
            raise BrokerRefused(
                f"{self._where} refused: {self._refusal}; check name, password and its access list"
            )

    def send(self, topic: str, payload: bytes, retained: bool = False) -> None:
        """Take a message; it is sent as soon as the broker is there and kept until acknowledged."""
        with self._lock:
            number = next(self._numbers)
            self._waiting[number] = (topic, payload, retained)
        if self._connected:
            self._hand_over(number)

    def _hand_over(self, number: int) -> None:
        """Give a message to the MQTT client, which keeps it through reconnections until acknowledged.

        The client calls back under a lock of its own, so it must never be called under ours.
        """
        with self._lock:
            message = self._waiting.get(number)
            if message is None or number in self._handed:
                return
            self._handed.add(number)
        topic, payload, retained = message
        info = self._client.publish(topic, payload, qos=1, retain=retained)
        with self._lock:
            if info.mid in self._early:
                self._early.discard(info.mid)
                self._settled(number)
            else:
                self._sent[info.mid] = number

    def _settled(self, number: int) -> None:
        self._waiting.pop(number, None)
        self._handed.discard(number)
        self.acknowledged += 1

    @property
    def unacknowledged(self) -> int:
        """Messages taken that the broker has not acknowledged."""
        return len(self._waiting)

    def flush(self, timeout_s: float) -> bool:
        """Wait until everything is acknowledged; False if that took too long."""
        deadline = time.monotonic() + timeout_s
        while self._waiting and time.monotonic() < deadline:
            time.sleep(0.02)
        return not self._waiting

    def close(self) -> None:
        """Say goodbye and stop the network thread."""
        self._client.disconnect()
        self._client.loop_stop()

    def _on_connect(
        self, client: mqtt.Client, _data: Any, _flags: Any, reason: ReasonCode, _properties: Any
    ) -> None:
        if reason.is_failure:
            self._refusal = str(reason)
            self._answered.set()
            return
        self._connected = True
        self._answered.set()
        with self._lock:
            not_yet = sorted(set(self._waiting) - self._handed)
        for number in not_yet:
            self._hand_over(number)

    def _on_disconnect(self, *_arguments: Any) -> None:
        self._connected = False

    def _on_publish(self, _client: mqtt.Client, _data: Any, mid: int, _reason: Any, _properties: Any) -> None:
        with self._lock:
            number = self._sent.pop(mid, None)
            if number is None:
                self._early.add(mid)
            else:
                self._settled(number)


class _Clock:
    """Simulated time of a live run, and the stamps that go with it."""

    def __init__(self, scenario: Scenario, speed: float, stamps: Literal["real", "simulated"]) -> None:
        self.speed, self._stamps = speed, stamps
        self._start_epoch_s = scenario.start.timestamp()
        self._launch_epoch_s = time.time()
        self._launch = time.monotonic()

    def now_s(self) -> float:
        """Simulated seconds since launch."""
        return (time.monotonic() - self._launch) * self.speed

    def epoch_s(self, simulated_s: float) -> float:
        """The time a message states for a simulated moment."""
        if self._stamps == "simulated":
            return self._start_epoch_s + simulated_s
        return self._launch_epoch_s + simulated_s / self.speed


def publish(
    scenario: Scenario,
    address: BrokerAddress,
    speed: float = 1.0,
    seconds: float | None = None,
    stop: threading.Event | None = None,
    stamps: Literal["real", "simulated"] = "real",
) -> int:
    """Run a scenario live until ``stop`` is set or ``seconds`` real seconds have passed.

    Parameters
    ----------
    speed
        Simulated seconds in a real one [-].  A sensor's interval counts in real seconds, so that messages
        come as often as from a real sensor while its room moves on faster.
    stamps
        "real": messages state the present moment; "simulated": the time in the scenario.

    Returns
    -------
    int
        Messages that the broker acknowledged.

    Raises
    ------
    BrokerRefused
        The broker answered, and refused.
    """
    if not 0.001 <= speed <= 100_000:
        raise ValueError(f"speed {speed:g} is outside 0.001 to 100000")
    stop = stop or threading.Event()
    publisher = Publisher(address)
    publisher.connect()
    try:
        _run(_at_speed(scenario, speed, stamps), publisher, speed, seconds, stop, stamps)
        publisher.flush(5.0)
        if publisher.unacknowledged:
            log.warning("%d messages were not acknowledged before the end", publisher.unacknowledged)
        return publisher.acknowledged
    finally:
        publisher.close()


def _at_speed(scenario: Scenario, speed: float, stamps: str) -> Scenario:
    """With real stamps, intervals, lags of radio and clock errors count in real seconds: stretch them to simulated."""
    if stamps == "simulated":
        return scenario
    sensors = tuple(
        s.model_copy(
            update={
                "interval": s.interval * speed,
                "clock_offset_s": s.clock_offset_s * speed,
                "clock_jitter_s": s.clock_jitter_s * speed,
                "dropout_longest": s.dropout_longest * speed,
                "dropouts_per_week": s.dropouts_per_week / speed,
            }
        )
        for s in scenario.sensors
    )
    return scenario.model_copy(update={"sensors": sensors})


def _run(
    scenario: Scenario,
    publisher: Publisher,
    speed: float,
    seconds: float | None,
    stop: threading.Event,
    stamps: Literal["real", "simulated"],
) -> None:
    world = World(scenario, speed)
    network, clock = SensorNetwork(scenario, world.faults), _Clock(scenario, speed, stamps)
    queue: list[tuple[float, int, str, bytes, bool]] = []
    counter = itertools.count()
    while not stop.is_set() and (seconds is None or clock.now_s() < seconds * speed):
        behind = clock.now_s() - world.time_s
        if behind > 0:
            steps = max(1, math.ceil(behind / scenario.step))
            span = world.advance(steps, behind / steps)
            for samples in network.messages(span):
                for item in _messages(samples, clock, world.faults):
                    heapq.heappush(queue, (item[0], next(counter), *item[1:]))
            for states in network.states(span):
                for item in _state_messages(states, clock, world.faults):
                    heapq.heappush(queue, (item[0], next(counter), *item[1:]))
        publisher.check()
        while queue and queue[0][0] <= world.time_s:
            _, _, topic, payload, retained = heapq.heappop(queue)
            publisher.send(topic, payload, retained)
        stop.wait(TICK_S)


def _messages(samples: Samples, clock: _Clock, faults: list[Fault]) -> list[tuple[float, str, bytes, bool]]:
    """Messages with the simulated time at which each goes out; those due while "the broker is down" wait."""
    result = []
    for index in range(len(samples)):
        payload = senml(
            samples.sensor,
            clock.epoch_s(float(samples.stamp_s[index])),
            float(samples.temperature_c[index]),
            float(samples.humidity_pct[index]),
            float(samples.battery_v[index]),
        )
        send_s = _held_s(float(samples.send_s[index]), faults)
        result.append((send_s, samples.topic, payload, samples.retained))
    return result


def _state_messages(
    states: States, clock: _Clock, faults: list[Fault]
) -> list[tuple[float, str, bytes, bool]]:
    """As `_messages`, for a contact."""
    result = []
    for stamp_s, send_s, is_on in zip(states.stamp_s, states.send_s, states.is_on, strict=True):
        payload = senml_state(states.sensor, clock.epoch_s(float(stamp_s)), states.quantity, bool(is_on))
        result.append((_held_s(float(send_s), faults), states.topic, payload, states.retained))
    return result


def _held_s(send_s: float, faults: list[Fault]) -> float:
    for fault in faults:
        if fault.kind == "broker down" and fault.start <= send_s < fault.end:
            send_s = fault.end
    return send_s
