"""A simulated span lived through by the real parts: broker, intake, store, quality, air records, ledger.

The rooms and wheels have a truth of their own (`sensors_sim`); what the monitor gets of it are the messages of the
sensors and the entries of the person who keeps the ledger, as fast as they can be taken in.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from tqdm import tqdm

import demo_data
from monitor.climate.air_book import AirBook
from monitor.climate.air_records import AirKeeper
from monitor.intake.calibration import judging
from monitor.intake.router import Router
from monitor.intake.subscriber import Subscriber
from monitor.site import Site, load
from monitor.store import Store, open_store
from monitor.twins.hourly import HourlyAir
from monitor.wheels import Ledger, open_ledger
from monitor.wheels.life import Life, life_of
from sensors_sim.messages import senml
from sensors_sim.network import SensorNetwork
from sensors_sim.recorder import Recorder
from sensors_sim.scenario import Scenario
from sensors_sim.wheels import Wheel
from tests.system.parts import Mosquitto, wait_for
from tests.system.running import publish_all

DAY_S = 86_400.0
LEAST_DAYS = 30
CHUNK = 20_000
Floats = NDArray[np.float64]
Message = tuple[str, bytes]


@dataclass(frozen=True)
class Subject:
    """A wheel, its age [s] at the end of each day it was there, and its true mass then [kg]."""

    wheel: Wheel
    ages_s: Floats
    mass_kg: Floats


@dataclass
class Truth:
    """What was simulated: wheels there for `LEAST_DAYS` or longer, messages in the order sent, ledger rows."""

    scenario: Scenario
    subjects: list[Subject]
    messages: list[Message]
    rows: list[dict[str, str]]


@dataclass
class Taken:
    """What the monitor holds of it after the real path."""

    site: Site
    store: Store
    ledger: Ledger
    air: HourlyAir
    lives: dict[str, Life]
    end_ms: int


def simulate(scenario: Scenario, progress: bool = False) -> Truth:
    """Run a scenario to its end."""
    recorder = Recorder(scenario)
    network = SensorNetwork(scenario, recorder.world.faults)
    start_s, sent = scenario.start.timestamp(), []
    for span in tqdm(recorder.days(), total=round(scenario.days), unit="day", disable=not progress):
        for said in network.messages(span):
            columns = (said.send_s, said.stamp_s, said.temperature_c, said.humidity_pct, said.battery_v)
            topic = f"maturing/{said.sensor}/senml"
            sent += [
                (at, topic, senml(said.sensor, start_s + stamp, *values))
                for at, stamp, *values in zip(*(c.tolist() for c in columns), strict=True)
            ]
    sent.sort(key=lambda message: message[0])
    rows = [_row(row, scenario.start) for row in sorted(recorder.observer.rows, key=lambda row: row["at_s"])]
    return Truth(scenario, _subjects(recorder), [(topic, payload) for _, topic, payload in sent], rows)


def _row(row: dict, start: datetime) -> dict[str, str]:
    at = (start + timedelta(seconds=row["at_s"])).isoformat(timespec="seconds").replace("+00:00", "Z")
    told = {key: str(value) for key, value in row.items() if key != "at_s" and value not in ("", None)}
    return {**told, "at": at}


def _subjects(recorder: Recorder) -> list[Subject]:
    masses, found = np.array(recorder.mass_kg), []
    for index, wheel in enumerate(recorder.world.stock.wheels):
        there = np.flatnonzero(np.isfinite(masses[:, index]))
        if len(there) >= LEAST_DAYS and wheel.made_s >= 0.0:
            found.append(Subject(wheel, (there + 1) * DAY_S - wheel.made_s, masses[there, index]))
    return found


def take_in(truth: Truth, folder: Path, progress: bool = False) -> Taken:
    """Send it all through a broker of its own into a new site's store, make the air records, load the ledger."""
    with Mosquitto(folder / "broker") as broker:
        site = _site(folder, broker.port)
        store = open_store(site)
        taking = Subscriber(site.broker, Router(site), store)
        taking.start()
        wait_for(lambda: taking.health()["connected"], what="the connection to the broker")
        chunks = range(0, len(truth.messages), CHUNK)
        for first in tqdm(chunks, unit="chunk", disable=not progress):
            publish_all(broker.port, truth.messages[first : first + CHUNK], seconds=300)
        sensor, end = site.sensors[0], truth.scenario.start.timestamp() + truth.scenario.length_s
        publish_all(broker.port, [(sensor.full_topic, _last_of(sensor.id, end))])
        wait_for(lambda: _last_ms(store) >= end * 1000, 600, "the last message in the store")
        taking.stop()
    keeper = AirKeeper(site, store, judging(site))
    while keeper.update():
        pass
    ledger = open_ledger(site)
    ledger.load(truth.rows, sure=True)
    air = HourlyAir(AirBook(store))
    while not air.book.catch_up(1000):
        pass
    lives = dict(_lives(ledger))
    for life in lives.values():
        for room, place, *_ in life.stays:
            air.number(room, place)
    end = truth.scenario.start + timedelta(seconds=truth.scenario.length_s)
    return Taken(site, store, ledger, air, lives, int(end.timestamp() * 1000))


def _last_of(sensor: str, at_s: float) -> bytes:
    """A message after all others, which come in the order they were sent: a battery's voltage."""
    return json.dumps(
        [{"bn": f"urn:dev:id:{sensor}:", "bt": at_s, "n": "battery_voltage", "u": "V", "v": 3.0}]
    ).encode()


def _last_ms(store: Store) -> float:
    return max((s.last_ms for s in store.series() if s.quantity == "battery_voltage"), default=0)


def _site(folder: Path, port: int) -> Site:
    text = demo_data.SITE_FILE.read_text("utf-8")
    text = re.sub(r"(?m)^(protocol|username_env|password_env) = .*\n", "", text)
    path = folder / "site.toml"
    path.write_text(text.replace("port = 1883", f"port = {port}"), encoding="utf-8")
    return load(path)


def _lives(ledger: Ledger) -> Iterator[tuple[str, Life]]:
    names, _ = ledger.changed_wheels(0)
    histories = ledger.histories(ledger.known(names))
    for name in names:
        life = life_of(name, histories[name]) if name in histories else None
        if life is not None:
            yield name, life
