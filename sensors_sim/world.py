"""All rooms of a scenario together with their weather, people, faults and wheels, moved on in time."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.air import saturation_vapour_pressure
from sensors_sim.activity import planner_of
from sensors_sim.faults import active_steps, all_faults
from sensors_sim.places import place_air, relative_humidity
from sensors_sim.room import Outside, Room
from sensors_sim.scenario import Fault, Scenario
from sensors_sim.scenario import Room as RoomSettings
from sensors_sim.weather import WeatherYear, make_weather
from sensors_sim.wheels import MAKE_ROOM_C, WheelStock

Array = NDArray[Any]
PlaceKey = tuple[str, str]
WheelListener = Callable[[float, float, Room, Array, Array, Array], None]
"""Called after each coupling span with (time [s], span [s], room, wheel indices, drying, water activity)."""


@dataclass(frozen=True)
class Span:
    """What the rooms did in a span: times [s], each room's trace, and the air at every place."""

    times_s: Array
    traces: dict[str, Array]
    temperature_c: dict[PlaceKey, Array]
    rh_pct: dict[PlaceKey, Array]


class World:
    """Rooms and wheels of a scenario; `advance` moves them on, never back."""

    def __init__(
        self,
        scenario: Scenario,
        speed: float = 1.0,
        faults: list[Fault] | None = None,
        on_wheels: WheelListener | None = None,
    ) -> None:
        self.scenario = scenario
        self.faults = all_faults(scenario, speed) if faults is None else faults
        self.weather: WeatherYear = make_weather(scenario)
        self.rooms = {r.id: Room(r, scenario.altitude_m) for r in scenario.rooms}
        self._planners = {r.id: planner_of(scenario, r) for r in scenario.rooms}
        self.stock = WheelStock(scenario, next(iter(self.rooms.values())).pressure_pa)
        self.stock.age_before_start(
            {name: _usual_climate(room.settings) for name, room in self.rooms.items()}
        )
        self._on_wheels = on_wheels
        self._place_air: dict[PlaceKey, tuple[float, float]] = {}
        self._since_coupling_s = 0.0
        longest = max(r.settle for r in scenario.rooms)
        self.time_s = -longest
        self._settle(longest)

    def _settle(self, length_s: float) -> None:
        """Let rooms come to rest before the start, in the weather before it; wheels present dry a little."""
        listener, self._on_wheels = self._on_wheels, None
        self._arrange()
        dt = min(300.0, self.scenario.coupling)
        while self.time_s < -1e-6:
            steps = int(min(self.scenario.coupling, -self.time_s) // dt) or 1
            self.advance(steps, min(dt, -self.time_s))
        self._on_wheels = listener

    def advance(self, steps: int, dt: float | None = None) -> Span:
        """Move all rooms on by ``steps`` steps of ``dt`` (else the scenario's step) seconds."""
        dt = self.scenario.step if dt is None else dt
        parts: list[Span] = []
        done = 0
        while done < steps:
            until_coupling = max(1, round((self.scenario.coupling - self._since_coupling_s) / dt))
            count = min(steps - done, until_coupling)
            parts.append(self._advance_rooms(count, dt))
            done += count
            self._since_coupling_s += count * dt
            if self._since_coupling_s >= self.scenario.coupling - 0.5 * dt:
                self._couple()
        return parts[0] if len(parts) == 1 else joined(parts)

    def _advance_rooms(self, steps: int, dt: float) -> Span:
        times = self.time_s + dt * np.arange(1, steps + 1)
        out_c, out_dew = self.weather.at(times)
        traces: dict[str, Array] = {}
        temperature: dict[PlaceKey, Array] = {}
        humidity: dict[PlaceKey, Array] = {}
        for name, room in self.rooms.items():
            near_c, near_pa = _surroundings(room.settings, out_c, out_dew, self.scenario.weather.mean_c)
            outside = Outside(near_c.tolist(), near_pa.tolist(), near_c.tolist())
            plan = self._planners[name].plan(self.time_s, steps, dt)
            faults = active_steps(self.faults, name, self.time_s, steps, dt)
            trace = traces[name] = room.run(dt, outside, plan, faults)
            for place in room.settings.places:
                place_c, place_pa = place_air(place, room.settings, trace, near_c, near_pa)
                key = (name, place.id)
                temperature[key], humidity[key] = place_c, relative_humidity(place_c, place_pa)
                self._place_air[key] = (
                    float((place_c - trace[:, 0]).mean()),
                    float((place_pa - trace[:, 1]).mean()),
                )
        self.time_s += steps * dt
        return Span(times, traces, temperature, humidity)

    def _couple(self) -> None:
        """Give wheels the water they lost, move them, and give rooms their wheels anew."""
        span_s, self._since_coupling_s = self._since_coupling_s, 0.0
        for room in self.rooms.values():
            which, drying, activity = self.stock.advance(room, span_s)
            if self._on_wheels and len(which):
                self._on_wheels(self.time_s, span_s, room, which, drying, activity)
        self._arrange()

    def _arrange(self) -> None:
        before = {name: len(self.stock.members.get(name, ())) for name in self.rooms}
        changed = self.stock.arrange(self.time_s, self._place_air)
        for name, room in self.rooms.items():
            now = len(self.stock.members.get(name, ()))
            grew = now - before[name] if name in changed else 0
            share = grew / now if grew > 0 and before[name] else 0.0
            room.put_wheels(self.stock.load(name), MAKE_ROOM_C if share else None, share)

    def without(self, fault: Fault, until_s: float) -> Array:
        """The trace that a fault's room would have had from now until ``until_s`` [s] without that fault.

        The room's wheels stay as they are now; everything else (weather, people, other faults) is the same.
        """
        room, dt = copy.deepcopy(self.rooms[fault.target]), self.scenario.step
        steps = max(1, round((until_s - self.time_s) / dt))
        times = self.time_s + dt * np.arange(1, steps + 1)
        near_c, near_pa = _surroundings(room.settings, *self.weather.at(times), self.scenario.weather.mean_c)
        others = [f for f in self.faults if f is not fault]
        plan = self._planners[fault.target].plan(self.time_s, steps, dt)
        faults = active_steps(others, fault.target, self.time_s, steps, dt)
        return room.run(dt, Outside(near_c.tolist(), near_pa.tolist(), near_c.tolist()), plan, faults)


def _surroundings(room: RoomSettings, out_c: Array, out_dew: Array, mean_c: float) -> tuple[Array, Array]:
    """What lies beyond a room's walls and door: ground or corridor, leaning to the outdoor air by its share."""
    share = room.envelope.outdoor_share
    near_c = np.clip(room.envelope.ground_c + share * (out_c - mean_c), -39.0, 59.0)
    vapour = saturation_vapour_pressure(np.clip(out_dew, -39.0, 59.0))
    return near_c, np.minimum(vapour, 0.97 * saturation_vapour_pressure(near_c))


def _usual_climate(room: RoomSettings) -> tuple[float, float]:
    """The temperature [degC] and humidity [%] that a room is meant to have."""
    temperature = room.coil.setpoint_c if room.coil else room.envelope.ground_c
    return temperature, room.humidifier.setpoint_rh_pct if room.humidifier else room.initial_rh_pct


def joined(parts: list[Span]) -> Span:
    """Spans that follow one another as one."""

    def together(name: str) -> dict:
        return {
            key: np.concatenate([getattr(p, name)[key] for p in parts]) for key in getattr(parts[0], name)
        }

    return Span(
        np.concatenate([p.times_s for p in parts]),
        together("traces"),
        together("temperature_c"),
        together("rh_pct"),
    )
