"""Contacts: a switch at a room's door and a float switch in its humidifier's tank, and what they send.

A contact sends its state when it changes, at the true moment of the change and not at the end of a step, and again at
each interval.  Its radio is that of the other sensors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sensors_sim.activity import ActivityPlanner, planner_of
from sensors_sim.scenario import Fault, Scenario, Sensor
from sensors_sim.sensors import SensorModel

Array = NDArray[Any]
Stretch = tuple[float, float]
"""From when [s] until when [s] a contact is on."""
CAUSES = {"door_open": "door ajar", "water_low": "humidifier dry"}
"""The fault of a room that each contact shows.  A tank is taken to be low from the moment it is dry until it is filled."""


@dataclass(frozen=True)
class States:
    """What a contact sends: one row a message, in the order they are sent.

    ``stamp_s`` is the time the contact says, ``send_s`` when its message goes out [s from the start]; ``is_on`` its state.
    """

    sensor: str
    topic: str
    quantity: str
    stamp_s: Array
    send_s: Array
    is_on: NDArray[np.bool_]
    retained: bool

    def __len__(self) -> int:
        return len(self.stamp_s)


class ContactModel:
    """One contact; `respond` takes the ends of spans that follow one another."""

    def __init__(self, settings: Sensor, scenario: Scenario, faults: list[Fault]) -> None:
        self.settings = settings
        room = next(r for r in scenario.rooms if r.id == settings.room)
        self._planner: ActivityPlanner | None = (
            planner_of(scenario, room) if settings.measures == "door_open" else None
        )
        cause = CAUSES[settings.measures]
        self._wrong = [(f.start, f.end) for f in faults if f.kind == cause and f.target == settings.room]
        self._stuck = [f for f in faults if f.kind == "sensor stuck" and f.target == settings.id]
        self._radio = SensorModel(settings, scenario.seed, faults)
        self._next_s, self._until_s = 0.0, 0.0

    def respond(self, until_s: float) -> States:
        """What it sends of the time up to a moment [s from the start]."""
        times = self._moments(until_s)
        on = np.array([self._shows(t) for t in times.tolist()], dtype=bool)
        nothing = np.full(len(times), np.nan)
        sent = self._radio.transmit(times, on.astype(float), nothing)
        return States(
            self.settings.id,
            self.settings.full_topic,
            self.settings.measures,
            sent.stamp_s,
            sent.send_s,
            sent.temperature_c > 0.5,
            self.settings.retained,
        )

    def _moments(self, until_s: float) -> Array:
        """When it sends: at each interval, and at each change of what it shows."""
        interval = float(self.settings.interval)
        count = max(0, math.floor((until_s - self._next_s) / interval + 1e-9) + 1)
        due = self._next_s + interval * np.arange(count)
        edges = [t for stretch in self._stretches(self._until_s, until_s) for t in stretch]
        changes = [
            t for t in edges if self._until_s < t <= until_s and self._shows(t) != self._shows(t - 1e-3)
        ]
        self._next_s += interval * count
        self._until_s = until_s
        return np.union1d(due, np.array(changes))

    def _shows(self, at_s: float) -> bool:
        for fault in self._stuck:
            if fault.start <= at_s < fault.end:
                at_s = fault.start
        return any(begin <= at_s < end for begin, end in self._stretches(at_s, at_s))

    def _stretches(self, from_s: float, until_s: float) -> list[Stretch]:
        """When it is really on, in any part of a span [s]."""
        opened = self._planner.openings(from_s, until_s) if self._planner else []
        return [*opened, *(w for w in self._wrong if w[0] <= until_s and w[1] >= from_s)]
