"""From a reading that trips an undelayed rule to its message on a real mail server, at 1,000 readings a second.

A real mosquitto, ``maturing-room run`` as a child, and a mail server.  Beside the load, carbon dioxide in one room after
another is published over its limit for a moment.  The baseline is the goal: so much time between reading and message.
Run it on a machine that does nothing else; half a processor less shows at once.
"""

from __future__ import annotations

import json
import multiprocessing
import re
import statistics
import tempfile
import time
from pathlib import Path

from monitor.clock import now_ms
from tests.alarms.servers import MailServer
from tests.benchmarks import Figure
from tests.system.parts import Mosquitto, wait_for
from tests.system.running import MonitorProcess, publisher

RATE, LOADING, ROOMS, TRIPS, APART_S = 1000, 250, 20, 120, 0.7
GOAL_S = 2.0
HEAD = """
version = 1
[site]
name = "Benchmark"
[broker]
port = {port}
[alarms]
hold_s = 0
[[route]]
name = "mail"
address_env = "MATURING_ROUTE_MAIL"
least_priority = "critical"
"""
ROOM = """
[[room]]
id = "r{n}"
name = "Room {n}"
kind = "cave"
place = [{{ id = "here" }}]
[[sensor]]
id = "gas-{n}"
room = "r{n}"
place = "here"
interval_s = 60
quantities = ["carbon_dioxide"]
payload = "json"
"""
SENSOR = """
[[sensor]]
id = "air-{n}"
room = "r{room}"
place = "here"
interval_s = 1
payload = "json"
"""


def run() -> list[Figure]:
    with (
        tempfile.TemporaryDirectory() as name,
        Mosquitto(Path(name) / "broker") as broker,
        MailServer() as mail,
    ):
        path = Path(name) / "site.toml"
        parts = [ROOM.format(n=n) for n in range(ROOMS)]
        parts += [SENSOR.format(n=n, room=n % ROOMS) for n in range(LOADING)]
        path.write_text(HEAD.format(port=broker.port) + "".join(parts), "utf-8")
        with MonitorProcess(path, {"MATURING_ROUTE_MAIL": mail.address("nora@rooms.example")}):
            stop = multiprocessing.Event()
            load = multiprocessing.Process(target=_load, args=(broker.port, stop), daemon=True)
            load.start()
            time.sleep(10)
            delays = _trips(broker.port, mail)
            stop.set()
            load.join(10)
    delays.sort()
    median, p99 = statistics.median(delays), delays[round(0.99 * (len(delays) - 1))]
    note = f"{len(delays)} of {TRIPS} trips, {RATE} readings/s from {LOADING} sensors; real mosquitto, service, SMTP"
    return [
        Figure("reading to message, p99", p99, "s", "goal", GOAL_S, p99 / GOAL_S, "<= 1", note),
        Figure("reading to message, median", median, "s", "goal", GOAL_S, median / GOAL_S, "", note),
    ]


def _load(port: int, stop: multiprocessing.synchronize.Event) -> None:  # type: ignore[name-defined]
    """Publish temperature and humidity of each sensor twice a second, at an even pace."""
    client = publisher(port)
    number, begin = 0, time.monotonic()
    while not stop.is_set():
        body = {"time": now_ms() / 1000, "temperature": 11.0, "humidity": 86.0}
        client.publish(f"maturing/air-{number % LOADING}/json", json.dumps(body), qos=1)
        number += 1
        ahead = begin + number * 2 / RATE - time.monotonic()
        if ahead > 0.005:
            time.sleep(ahead)
    client.disconnect()


def _trips(port: int, mail: MailServer) -> list[float]:
    """One room after another over its limit, and back; seconds from publishing to the mail server."""
    client = publisher(port)
    for room in range(ROOMS):
        _gas(client, room, 600.0)
    time.sleep(3)
    published: dict[tuple[int, int], float] = {}
    for trip in range(TRIPS):
        room = trip % ROOMS
        published[room, trip // ROOMS] = time.time()
        _gas(client, room, 40_000.0)
        time.sleep(APART_S)
        _gas(client, (room - ROOMS // 2) % ROOMS, 600.0)
    wait_for(lambda: len(_raised(mail)) >= TRIPS * 0.9, 30, "the messages")
    time.sleep(2)
    client.disconnect()
    arrived: dict[int, list[float]] = {}
    for room, at in _raised(mail):
        arrived.setdefault(room, []).append(at)
    return [
        times[turn] - published[room, turn]
        for room, times in arrived.items()
        for turn in range(min(len(times), TRIPS // ROOMS))
    ]


def _gas(client: object, room: int, value: float) -> None:
    body = json.dumps({"time": now_ms() / 1000, "carbon_dioxide": value})
    client.publish(f"maturing/gas-{room}/json", body, qos=1)  # type: ignore[attr-defined]


def _raised(mail: MailServer) -> list[tuple[int, float]]:
    """The room and time of each mail that says that something stands."""
    found = [
        (re.match(r"Now: STAY OUT of Room (\d+):", str(m["Subject"])), at) for _, m, at in list(mail.mails)
    ]
    return [(int(room[1]), at) for room, at in found if room]
