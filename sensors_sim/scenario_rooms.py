"""The rooms of a scenario as its file states them: weather, walls, plant, what people do, and places."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field, field_validator, model_validator

from sensors_sim.scenario_parts import Duration, Identifier, Part

RoomKind = Literal["cave", "cold-room", "cellar"]


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
