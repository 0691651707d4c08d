"""A scenario: rooms, weather, wheels, sensors and faults, and a seed; read from a small TOML file.

Same file, same seed: same bytes.  Durations are seconds or text such as ``"30 s"``, ``"10 min"``, ``"2 h"``
or ``"12 d 6 h"``, counted from the scenario's start.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Literal

from pydantic import (
    Field,
    field_validator,
    model_validator,
)

from sensors_sim.scenario_parts import Duration, Identifier, Part, duration_s, signed_duration_s
from sensors_sim.scenario_rooms import Activity, Bath, Coil, Envelope, Humidifier, Place, Room, Spell, Weather

__all__ = [
    "CONTACT_FAULTS",
    "ROOM_FAULTS",
    "SENSOR_FAULTS",
    "Activity",
    "Batch",
    "Bath",
    "Coil",
    "Envelope",
    "Fault",
    "Humidifier",
    "Observer",
    "Place",
    "RandomFaults",
    "Room",
    "Scenario",
    "Sensor",
    "Spell",
    "Style",
    "Weather",
    "duration_s",
    "signed_duration_s",
]

RindKind = Literal["cloth-bound", "natural", "washed"]


class Style(Part):
    """An invented style: its size when made and what its paste and rind are like.

    Water contents are kg of water per kg of dry matter; ``salt_share`` is kg of salt per kg of dry matter.
    """

    id: Identifier
    rind: RindKind
    diameter_m: float = Field(gt=0.03, le=1.5)
    height_m: float = Field(gt=0.02, le=0.8)
    mass_kg: float = Field(gt=0.05, le=200)
    dry_share: float = Field(0.6, gt=0.2, lt=0.95)
    salt_share: float = Field(0.03, ge=0, le=0.15)
    diffusivity_m2_s: float = Field(6e-11, gt=1e-13, le=1e-8)
    cover_resistance_share: float = Field(0.0, ge=0, lt=0.98)
    ready_day: int = Field(180, ge=1, le=3000)


class Batch(Part):
    """Makes of one style: how many wheels, how often, and where they go as they age."""

    style: Identifier
    first_make: str = "-0 d"
    makes: int = Field(1, ge=1, le=1000)
    every: Duration = 7 * 86400.0
    wheels: int = Field(6, ge=1, le=1000)
    route: tuple[tuple[int, Identifier, Identifier], ...] = Field(min_length=1)
    bare_days: int = Field(0, ge=0, le=60)

    @field_validator("first_make")
    @classmethod
    def _signed_duration(cls, value: str) -> str:
        signed_duration_s(value)
        return value

    @property
    def first_make_s(self) -> float:
        """The first make, in seconds from the start; negative for wheels that are there already."""
        return signed_duration_s(self.first_make)


class Sensor(Part):
    """A sensor at a place, and every way in which it is not perfect.

    ``measures`` is "air" (temperature and humidity), or what a contact tells: "door_open" at the room's door, "water_low"
    in the tank of its humidifier.  A contact sends at each change and at each interval.
    """

    id: Identifier
    room: Identifier
    place: Identifier
    measures: Literal["air", "door_open", "water_low"] = "air"
    interval: Duration = Field(60.0, ge=1, le=86400)
    lag: Duration = 300.0
    temperature_noise_k: float = Field(0.05, ge=0, le=5)
    humidity_noise_pct: float = Field(0.25, ge=0, le=10)
    temperature_step_k: float = Field(0.01, gt=0, le=5)
    humidity_step_pct: float = Field(0.1, gt=0, le=10)
    temperature_bias_k: float = Field(0.0, ge=-10, le=10)
    humidity_bias_pct: float = Field(0.0, ge=-40, le=40)
    humidity_drift_pct_per_year: float = Field(0.0, ge=-60, le=60)
    drift_from: Duration = 0.0
    hysteresis_pct: float = Field(0.6, ge=0, le=10)
    creep_pct: float = Field(1.0, ge=0, le=15)
    clock_offset_s: float = Field(0.0, ge=-86400, le=86400)
    clock_jitter_s: float = Field(0.0, ge=0, le=3600)
    duplicate_share: float = Field(0.002, ge=0, le=1)
    late_share: float = Field(0.002, ge=0, le=1)
    lost_share: float = Field(0.001, ge=0, le=1)
    dropouts_per_week: float = Field(0.1, ge=0, le=200)
    dropout_longest: Duration = 1800.0
    retained: bool = False
    battery_days: float = Field(700.0, gt=0, le=10_000)
    topic: str = ""

    @property
    def full_topic(self) -> str:
        return self.topic or f"maturing/{self.id}/senml"


ROOM_FAULTS = (
    "humidifier dry",
    "coil iced",
    "compressor stopped",
    "door ajar",
    "thermostat moved",
    "fan stopped",
)
SENSOR_FAULTS = (
    "sensor stuck",
    "sensor spiking",
    "sensor silent",
    "sensor wet",
    "sensors swapped",
    "clock jump",
    "sensor drifting",
)
CONTACT_FAULTS = ("sensor stuck", "sensor silent", "clock jump")
"""Of these, what can go wrong with a contact."""
FaultKind = Literal[
    "humidifier dry",
    "coil iced",
    "compressor stopped",
    "door ajar",
    "thermostat moved",
    "fan stopped",
    "sensor stuck",
    "sensor spiking",
    "sensor silent",
    "sensor wet",
    "sensors swapped",
    "clock jump",
    "sensor drifting",
    "broker down",
]


class Fault(Part):
    """Something that goes wrong, with start and end.

    ``target`` is a room or a sensor (empty for "broker down"); ``other`` the second sensor of a swap;
    ``size`` is the fault's own measure: K for "thermostat moved", share of full open for "door ajar",
    seconds for "clock jump", %RH per day for "sensor drifting".  ``clock = "wall"`` counts start and end in
    real seconds after launch, whatever the speed of a live run.
    """

    kind: FaultKind
    target: str = ""
    other: str = ""
    start: Duration
    end: Duration
    size: float | None = Field(None, ge=-1e6, le=1e6)
    clock: Literal["simulated", "wall"] = "simulated"

    @model_validator(mode="after")
    def _right_way_round(self) -> Fault:
        if self.end <= self.start:
            raise ValueError(f"end: must come after start ({self.start:g} s)")
        return self


class RandomFaults(Part):
    """Faults drawn by the seed on top of the scripted ones."""

    per_month: float = Field(0.0, ge=0, le=100)
    kinds: tuple[FaultKind, ...] = ()
    longest: Duration = 12 * 3600.0


class Observer(Part):
    """The person who looks at wheels: what they miss and what they see that is not there."""

    miss_share: float = Field(0.2, ge=0, le=1)
    false_share: float = Field(0.03, ge=0, le=1)
    inspect_every: Duration = 14 * 86400.0
    weigh_every: Duration = 28 * 86400.0
    scale_step_kg: float = Field(0.02, gt=0, le=5)
    weighed_share: float = Field(0.6, ge=0, le=1)


class Scenario(Part):
    """The whole scenario."""

    name: str = Field(min_length=1, max_length=200)
    seed: int = Field(ge=0, lt=2**63)
    start: datetime = datetime(2026, 1, 1, tzinfo=UTC)
    days: float = Field(365.0, gt=0, le=3660)
    step: Duration = Field(60.0, ge=1, le=600)
    coupling: Duration = Field(3600.0, ge=60, le=7200)
    altitude_m: float = Field(0.0, ge=-500, le=5000)
    weather: Weather = Weather()
    rooms: tuple[Room, ...] = Field(min_length=1)
    styles: tuple[Style, ...] = ()
    batches: tuple[Batch, ...] = ()
    sensors: tuple[Sensor, ...] = ()
    faults: tuple[Fault, ...] = ()
    random_faults: RandomFaults = RandomFaults()
    observer: Observer = Observer()

    @field_validator("start")
    @classmethod
    def _aware(cls, value: datetime) -> datetime:
        if value.tzinfo is None:
            raise ValueError("has no time zone; write for example 2026-01-01T00:00:00Z")
        return value.astimezone(UTC)

    @property
    def length_s(self) -> float:
        return self.days * 86400.0
