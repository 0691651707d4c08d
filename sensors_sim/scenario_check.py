"""Faults between the parts of a scenario: names that do not exist, spans that lie outside the run."""

from __future__ import annotations

from collections.abc import Iterable

from sensors_sim.errors import ScenarioError
from sensors_sim.scenario import CONTACT_FAULTS, ROOM_FAULTS, SENSOR_FAULTS, Fault, Room, Scenario


def check_references(scenario: Scenario, source: str) -> None:
    """Check what one part of a scenario says of another.

    Raises
    ------
    ScenarioError
        With one line for every fault, each naming its key.
    """
    faults = [
        *_doubled("rooms", (room.id for room in scenario.rooms)),
        *_doubled("styles", (style.id for style in scenario.styles)),
        *_doubled("sensors", (sensor.id for sensor in scenario.sensors)),
        *_sensors(scenario),
        *_batches(scenario),
        *_faults(scenario),
        *_spells(scenario),
    ]
    if faults:
        raise ScenarioError("\n".join(f"{source}: {fault}" for fault in faults))


def _doubled(key: str, ids: Iterable[str]) -> Iterable[str]:
    seen: set[str] = set()
    for index, one in enumerate(ids):
        if one in seen:
            yield f"{key}[{index}].id: {one!r} is used twice"
        seen.add(one)


def _place_fault(key: str, rooms: dict[str, Room], room: str, place: str) -> Iterable[str]:
    if room not in rooms:
        yield f"{key}: no room {room!r}; there are: {', '.join(rooms)}"
    elif place not in {p.id for p in rooms[room].places}:
        yield f"{key}: no place {place!r} in room {room}"


def _sensors(scenario: Scenario) -> Iterable[str]:
    rooms = {room.id: room for room in scenario.rooms}
    for index, sensor in enumerate(scenario.sensors):
        yield from _place_fault(f"sensors[{index}].place", rooms, sensor.room, sensor.place)
        room = rooms.get(sensor.room)
        if sensor.measures == "water_low" and room is not None and room.humidifier is None:
            yield f"sensors[{index}].measures: room {room.id} has no humidifier"


def _batches(scenario: Scenario) -> Iterable[str]:
    rooms = {room.id: room for room in scenario.rooms}
    styles = {style.id for style in scenario.styles}
    for index, batch in enumerate(scenario.batches):
        if batch.style not in styles:
            yield f"batches[{index}].style: no style {batch.style!r}"
        days = [leg[0] for leg in batch.route]
        if days[0] != 0 or days != sorted(set(days)):
            yield f"batches[{index}].route: days must begin at 0 and increase; they are {days}"
        for number, (_, room, place) in enumerate(batch.route):
            yield from _place_fault(f"batches[{index}].route[{number}]", rooms, room, place)


def _faults(scenario: Scenario) -> Iterable[str]:
    for index, fault in enumerate(scenario.faults):
        key = f"faults[{index}]"
        if fault.clock == "simulated" and fault.end > scenario.length_s:
            yield f"{key}.end: {fault.end:g} s lies outside the scenario's span of {scenario.length_s:g} s"
        yield from _target(key, fault, scenario)


def _target(key: str, fault: Fault, scenario: Scenario) -> Iterable[str]:
    rooms = {room.id: room for room in scenario.rooms}
    sensors = {sensor.id for sensor in scenario.sensors}
    if fault.kind in SENSOR_FAULTS and fault.target not in sensors:
        yield f"{key}.target: no sensor {fault.target!r}"
    if fault.kind == "sensors swapped" and (fault.other not in sensors or fault.other == fault.target):
        yield f"{key}.other: name the second sensor of the swap (it is {fault.other!r})"
    contacts = {sensor.id for sensor in scenario.sensors if sensor.measures != "air"}
    if (
        fault.kind in SENSOR_FAULTS
        and fault.kind not in CONTACT_FAULTS
        and contacts & {fault.target, fault.other}
    ):
        yield f"{key}.kind: a contact can be {', '.join(CONTACT_FAULTS)}, not {fault.kind!r}"
    if fault.kind not in ROOM_FAULTS:
        return
    room = rooms.get(fault.target)
    if room is None:
        yield f"{key}.target: no room {fault.target!r}; there are: {', '.join(rooms)}"
    elif fault.kind == "humidifier dry" and room.humidifier is None:
        yield f"{key}.target: room {room.id} has no humidifier"
    elif (
        fault.kind in ("coil iced", "compressor stopped", "thermostat moved", "fan stopped")
        and room.coil is None
    ):
        yield f"{key}.target: room {room.id} has no coil"


def _spells(scenario: Scenario) -> Iterable[str]:
    for index, spell in enumerate(scenario.weather.spells):
        if spell.start + spell.days * 86400 > scenario.length_s:
            yield f"weather.spells[{index}].start: the spell ends outside the scenario's span"
