"""A scenario: rooms, weather, wheels, sensors and faults, and a seed; read from a small TOML file.

Same file, same seed: same bytes.  Durations are seconds or text such as ``"30 s"``, ``"10 min"``, ``"2 h"``
or ``"12 d 6 h"``, counted from the scenario's start.
"""

from __future__ import annotations

import re
import tomllib
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from sensors_sim.errors import ScenarioError

Identifier = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
RoomKind = Literal["cave", "cold-room", "cellar"]
RindKind = Literal["cloth-bound", "natural", "washed"]

_UNIT_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0}
_DURATION = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(s|min|h|d)\s*")


def duration_s(value: object) -> object:
    """A duration such as ``"12 d 6 h"`` or a plain number, in seconds.

    Raises
    ------
    ValueError
        The text is no duration.
    """
    if not isinstance(value, str):
        return value
    total, position = 0.0, 0
    for part in _DURATION.finditer(value):
        if part.start() != position:
            break
        total += float(part[1]) * _UNIT_SECONDS[part[2]]
        position = part.end()
    if position == 0 or position != len(value):
        raise ValueError(f'{value!r} is no duration; write seconds or for example "12 d 6 h"')
    return total


Duration = Annotated[float, BeforeValidator(duration_s), Field(ge=0)]


class Part(BaseModel):
    """Base of every part of a scenario: an unknown key is an error."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Spell(Part):
    """A spell of unusual weather laid over the synthetic year."""

    start: Duration
    days: float = Field(gt=0, le=366)
    temperature_offset_k: float = Field(0.0, ge=-30, le=30)
    dew_point_offset_k: float = Field(0.0, ge=-30, le=30)


class Weather(Part):
    """A synthetic outdoor climate: season, day and night, passing fronts."""

    mean_c: float = Field(9.5, ge=-20, le=35)
    season_amplitude_k: float = Field(7.0, ge=0, le=30)
    warmest_day: float = Field(205.0, ge=0, le=366)
    day_amplitude_k: float = Field(4.0, ge=0, le=20)
    front_amplitude_k: float = Field(3.0, ge=0, le=15)
    dew_point_depression_k: float = Field(3.5, ge=0, le=25)
    spells: tuple[Spell, ...] = ()


class Envelope(Part):
    """Walls, floor and ceiling as one slab of layers, counted from the room outwards.

    ``outdoor_share`` says how much of the boundary follows the outdoor air; the rest is at ``ground_c``.
    ``moisture``: "damp" rock or earth that is fed from behind and never dries, "film" a skin that holds
    only condensed water, "sorbing" plaster or wood that buffers.
    """

    layers_m: tuple[float, ...] = Field(min_length=1, max_length=12)
    conductivity_w_m_k: float = Field(gt=0, le=500)
    heat_capacity_j_m3_k: float = Field(gt=0, le=1e7)
    surface_coefficient_w_m2_k: float = Field(3.0, gt=0, le=50)
    outdoor_share: float = Field(0.0, ge=0, le=1)
    ground_c: float = Field(11.0, ge=-10, le=30)
    moisture: Literal["damp", "film", "sorbing"] = "film"
    water_activity: float = Field(0.97, ge=0, le=1)
    wetted_share: float = Field(0.2, gt=0, le=1)
    buffer_kg_m2: float = Field(0.3, gt=0, le=50)
    air_changes_per_h: float = Field(0.1, ge=0, le=50)

    @field_validator("layers_m")
    @classmethod
    def _thick_enough(cls, value: tuple[float, ...]) -> tuple[float, ...]:
        if any(not 1e-4 <= layer <= 10 for layer in value):
            raise ValueError("each layer lies between 0.0001 and 10 m")
        return value


class Coil(Part):
    """A cooling coil with on/off control: cools, dries, frosts over and defrosts."""

    setpoint_c: float = Field(11.0, ge=-5, le=25)
    hysteresis_k: float = Field(0.8, gt=0, le=6)
    capacity_w: float = Field(2500.0, gt=0, le=200_000)
    evaporating_below_setpoint_k: float = Field(9.0, gt=0, le=40)
    air_side_w_k: float = Field(320.0, gt=0, le=20_000)
    fan_w: float = Field(60.0, ge=0, le=5000)
    fan_always_on: bool = True
    least_off: Duration = 180.0
    defrost_every: Duration = 6 * 3600.0
    defrost_longest: Duration = 20 * 60.0
    defrost_w: float = Field(900.0, ge=0, le=50_000)
    ice_at_kg: float = Field(6.0, gt=0, le=500)


class Humidifier(Part):
    """A mist maker with on/off control; its water evaporates in the air of the room."""

    setpoint_rh_pct: float = Field(85.0, ge=20, le=100)
    hysteresis_pct: float = Field(3.0, gt=0, le=30)
    output_kg_h: float = Field(1.0, gt=0, le=100)


class Activity(Part):
    """What people do: doors, work, washing the floor."""

    door_openings_per_day: float = Field(8.0, ge=0, le=500)
    door_open: Duration = 90.0
    door_exchange_m3_h: float = Field(600.0, ge=0, le=50_000)
    work_hours_per_day: float = Field(1.5, ge=0, le=24)
    people: int = Field(1, ge=0, le=50)
    washes_per_week: float = Field(1.0, ge=0, le=50)
    wash_kg_m2: float = Field(0.15, ge=0, le=5)


class Bath(Part):
    """An open pan: plain water, or a saturated salt with its water activity."""

    area_m2: float = Field(gt=0, le=1000)
    water_activity: float = Field(1.0, gt=0, le=1)


class Place(Part):
    """A place in a room, and how its air differs from the middle of the room."""

    id: Identifier
    height_m: float = Field(1.2, ge=0, le=20)
    near: Literal["middle", "coil", "door", "wall"] = "middle"
    air_speed_m_s: float = Field(0.1, ge=0, le=5)


_ENVELOPES: dict[str, dict[str, Any]] = {
    "cave": {
        "layers_m": (0.03, 0.08, 0.2, 0.5, 1.2),
        "conductivity_w_m_k": 2.0,
        "heat_capacity_j_m3_k": 2.1e6,
        "surface_coefficient_w_m2_k": 3.0,
        "outdoor_share": 0.06,
        "ground_c": 11.5,
        "moisture": "damp",
        "water_activity": 0.97,
        "wetted_share": 0.07,
        "air_changes_per_h": 0.12,
    },
    "cold-room": {
        "layers_m": (0.002, 0.05, 0.05),
        "conductivity_w_m_k": 0.026,
        "heat_capacity_j_m3_k": 6.0e4,
        "surface_coefficient_w_m2_k": 6.0,
        "outdoor_share": 0.35,
        "ground_c": 15.0,
        "moisture": "film",
        "air_changes_per_h": 0.15,
    },
    "cellar": {
        "layers_m": (0.02, 0.06, 0.12, 0.2),
        "conductivity_w_m_k": 0.8,
        "heat_capacity_j_m3_k": 1.5e6,
        "surface_coefficient_w_m2_k": 4.0,
        "outdoor_share": 0.12,
        "ground_c": 12.0,
        "moisture": "sorbing",
        "buffer_kg_m2": 1.2,
        "air_changes_per_h": 0.25,
    },
}


class Room(Part):
    """A maturing room.  ``kind`` sets the envelope; any key of it may be overridden under ``envelope``."""

    id: Identifier
    kind: RoomKind
    length_m: float = Field(6.0, gt=0.5, le=200)
    width_m: float = Field(4.0, gt=0.5, le=200)
    height_m: float = Field(2.6, gt=0.5, le=30)
    envelope: Envelope
    coil: Coil | None = None
    humidifier: Humidifier | None = None
    activity: Activity = Activity()
    bath: Bath | None = None
    places: tuple[Place, ...] = Field(min_length=1)
    initial_temperature_c: float | None = Field(None, ge=-20, le=40)
    initial_rh_pct: float = Field(84.0, ge=1, le=100)
    settle: Duration = 2 * 86400.0

    @model_validator(mode="before")
    @classmethod
    def _envelope_of_kind(cls, data: Any) -> Any:
        if isinstance(data, dict) and data.get("kind") in _ENVELOPES:
            given = data.get("envelope") or {}
            if isinstance(given, dict):
                data = {**data, "envelope": {**_ENVELOPES[data["kind"]], **given}}
        return data

    @model_validator(mode="after")
    def _possible(self) -> Room:
        if self.kind == "cold-room" and self.coil is None:
            raise ValueError("coil: a cold room needs one; add [rooms.coil]")
        if self.kind == "cave" and (self.coil or self.humidifier):
            raise ValueError("coil, humidifier: a cave has no plant; call the kind cellar or cold-room")
        for place in self.places:
            if place.height_m > self.height_m:
                raise ValueError(f"places {place.id}: height_m {place.height_m:g} is above the ceiling")
            if place.near == "coil" and self.coil is None:
                raise ValueError(f'places {place.id}: near = "coil", but the room has none')
        return self

    @property
    def volume_m3(self) -> float:
        return self.length_m * self.width_m * self.height_m

    @property
    def floor_m2(self) -> float:
        return self.length_m * self.width_m

    @property
    def shell_m2(self) -> float:
        """Walls and ceiling (the floor is counted apart, for the water on it) [m2]."""
        return self.floor_m2 + 2 * (self.length_m + self.width_m) * self.height_m


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


def signed_duration_s(text: str) -> float:
    """A duration with an optional minus sign, in seconds."""
    bare = text.strip()
    sign = -1.0 if bare.startswith("-") else 1.0
    seconds = duration_s(bare.removeprefix("-").removeprefix("+").strip())
    assert isinstance(seconds, float)
    return sign * seconds


class Sensor(Part):
    """A sensor at a place, and every way in which it is not perfect."""

    id: Identifier
    room: Identifier
    place: Identifier
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


def read_scenario(path: str | Path) -> Scenario:
    """Read a scenario file.

    Raises
    ------
    ScenarioError
        The file cannot be read or something in it is impossible; the message names the key.
    """
    try:
        data = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise ScenarioError(f"{path}: cannot be read: {error.strerror}") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ScenarioError(f"{path}: not TOML: {error}") from error
    return build_scenario(data, str(path))


def build_scenario(data: dict[str, Any], source: str = "scenario") -> Scenario:
    """A scenario from plain data, checked as `read_scenario` does."""
    from sensors_sim.scenario_check import check_references

    try:
        scenario = Scenario.model_validate(data)
    except ValidationError as error:
        lines = [f"{source}: {_key(e['loc'])}: {_what(e)}" for e in error.errors(include_url=False)]
        raise ScenarioError("\n".join(lines)) from error
    check_references(scenario, source)
    return scenario


def _key(location: tuple[str | int, ...]) -> str:
    text = ""
    for part in location:
        text += f"[{part}]" if isinstance(part, int) else (f".{part}" if text else str(part))
    return text or "(whole file)"


def _what(error: Any) -> str:
    if error["type"] == "extra_forbidden":
        return "unknown key"
    if error["type"] == "missing":
        return "is missing"
    return str(error["msg"]).removeprefix("Value error, ")
