"""Contacts at the doors and in the tanks of simulated rooms: hung there, in the site file, as readings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from monitor.records import Reading
from sensors_sim.contacts import States
from sensors_sim.scenario import Room, Scenario, Sensor


def contacts_of(rooms: Iterable[Room], interval_s: float) -> Iterator[Sensor]:
    """A contact at each door and a float switch in each humidifier."""
    for room in rooms:
        at = {"room": room.id, "place": room.places[0].id, "interval": interval_s}
        yield Sensor(id=f"{room.id}-door", measures="door_open", **at)
        if room.humidifier is not None:
            yield Sensor(id=f"{room.id}-tank", measures="water_low", **at)


def contacts_in(scenario: Scenario) -> tuple[Sensor, ...]:
    """The contacts among a scenario's sensors."""
    return tuple(s for s in scenario.sensors if s.measures != "air")


def in_site_file(contacts: Iterable[Sensor]) -> str:
    """Contacts as tables of the site file."""
    return "".join(
        f'\n[[sensor]]\nid = "{c.id}"\nroom = "{c.room}"\nplace = "{c.place}"\n'
        f'quantities = ["{c.measures}"]\ninterval_s = {c.interval:g}\n'
        for c in contacts
    )


def readings_of(states: States, start_ms: int) -> Iterator[tuple[float, Reading]]:
    """What a contact sent: when [s from the start], and the reading."""
    stamps = start_ms + np.round(states.stamp_s * 1000).astype(np.int64)
    for sent_s, stamp, is_on in zip(states.send_s.tolist(), stamps.tolist(), states.is_on, strict=True):
        yield sent_s, Reading(states.sensor, states.quantity, stamp, float(is_on))
