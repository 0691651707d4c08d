"""Kills the running monitor again and again while gas trips and clears: ``python -m tests.system.kill_in_a_loop SEED KILLS``.

A real broker, ``maturing-room run`` as a child, a webhook receiver.  Before each kill three of six rooms change, each by one
reading that does not come again; after the restart exactly the rooms over their limit must stand.  In the end every
trip has one raise in the journal, and the webhook has each message once but for those under way at a kill, which come again
with the same key.
"""

from __future__ import annotations

import json
import random
import sys
import tempfile
import time
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

import paho.mqtt.client as mqtt
import sqlalchemy as sa

from monitor.alarms import Alarms, open_alarms
from monitor.alarms import journal as tables
from monitor.alarms.journal import rebuilt
from monitor.clock import now_ms
from monitor.errors import AlarmError
from monitor.site import load
from tests.alarms.servers import Webhook
from tests.benchmarks.alarms import HEAD, ROOM
from tests.system.parts import Mosquitto, wait_for
from tests.system.running import MonitorProcess, publisher

ROOMS, CHANGED, FINE_PPM, OVER_PPM = 6, 3, 600.0, 40_000.0


@dataclass
class Drill:
    """Rooms whose gas trips and clears, and what the monitor makes of it."""

    chance: random.Random
    client: mqtt.Client
    alarms: Alarms
    over: list[bool] = field(default_factory=lambda: [False] * ROOMS)
    trips: Counter[int] = field(default_factory=Counter)

    def publish(self, room: int) -> None:
        """The one reading of a room as it is now."""
        value = OVER_PPM if self.over[room] else FINE_PPM
        body = json.dumps({"time": now_ms() / 1000, "carbon_dioxide": value})
        self.client.publish(f"maturing/gas-{room}/json", body, qos=1)

    def change(self) -> None:
        """Some rooms trip or clear."""
        for room in self.chance.sample(range(ROOMS), CHANGED):
            self.over[room] = not self.over[room]
            self.trips[room] += self.over[room]
            self.publish(room)

    def is_followed(self) -> bool:
        """Whether the alarms that hold are those of the rooms over their limit."""
        holding = {a.finding.room for a in self.alarms.standing() if a.active and a.finding.rule == "gases"}
        return holding == {f"r{room}" for room in range(ROOMS) if self.over[room]}

    def acknowledge_all(self) -> None:
        """A person sees to everything."""
        for alarm in self.alarms.standing():
            with suppress(AlarmError):
                self.alarms.acknowledge(alarm.id, "Nora")

    def raised(self) -> Counter[int]:
        """How often the journal has each room raised."""
        step, alarm = tables.transitions.c, tables.alarms.c
        query = (
            sa.select(alarm.key)
            .join(tables.transitions, alarm.id == step.alarm_id)
            .where(step.event == "raise")
        )
        with self.alarms.journal.reading() as connection:
            keys = [k for k in connection.execute(query).scalars() if "carbon_dioxide-short" in k]
        return Counter(int(key.split("/")[1][1:]) for key in keys)

    def view_follows(self) -> bool:
        """Whether the table of alarms is what the transitions alone make."""
        with self.alarms.journal.reading() as connection:
            query = sa.select(tables.alarms).order_by(tables.alarms.c.id)
            return rebuilt(connection) == [dict(row) for row in connection.execute(query).mappings()]


def run(seed: int, kills: int) -> str:
    """The drill; what came of it.

    Raises
    ------
    AssertionError
        An alarm was lost or doubled.
    """
    with tempfile.TemporaryDirectory() as name, Mosquitto(Path(name) / "broker") as broker, Webhook() as hook:
        path = Path(name) / "site.toml"
        head = HEAD.format(port=broker.port).replace('least_priority = "critical"', "")
        path.write_text(head + "".join(ROOM.format(n=n) for n in range(ROOMS)), "utf-8")
        with MonitorProcess(path, {"MATURING_ROUTE_MAIL": hook.address}) as monitor:
            wait_for(lambda: "broker: connected" in monitor.log.read_text("utf-8"), 60, "the monitor")
            drill = Drill(random.Random(seed), publisher(broker.port), open_alarms(load(path)))
            for room in range(ROOMS):
                drill.publish(room)
            time.sleep(2)
            for number in range(kills):
                drill.change()
                time.sleep(drill.chance.uniform(0, 0.7))
                monitor.kill()
                monitor.start()
                wait_for(drill.is_followed, 60, f"the alarms after kill {number + 1}")
                if number % 5 == 0:
                    drill.acknowledge_all()
            time.sleep(12)
        assert drill.raised() == +drill.trips, (drill.raised(), drill.trips)
        assert drill.view_follows()
        drill.alarms.close()
        drill.client.disconnect()
        drill.client.loop_stop()
    keys = Counter(key for _, key in hook.taken)
    again = sum(keys.values()) - len(keys)
    return (
        f"seed {seed}: {kills} kills, {drill.trips.total()} trips, each raised once; "
        f"{len(keys)} messages, {again} sent again with the same key"
    )


if __name__ == "__main__":
    print(run(int(sys.argv[1]), int(sys.argv[2])))
