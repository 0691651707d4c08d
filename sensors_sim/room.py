"""One room's physics: the heat and water of its air, shell, floor, wheels, coil and pans, step by step.

The step is fully implicit in air and surfaces (see `sensors_sim.surfaces`), so it is stable at any length;
what leaves one store is what enters another, and `Room.balance` shows that it closes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.air import pressure_at_altitude
from sensors_sim.activity import DayPlan
from sensors_sim.constants import (
    DRY_AIR_GAS_J_KG_K,
    DRY_AIR_HEAT_J_KG_K,
    FUSION_HEAT_J_KG,
    LATENT_HEAT_J_KG,
    LIGHTS_W_M2,
    PERSON_SENSIBLE_W,
    PERSON_VAPOUR_KG_S,
    VAPOUR_RATIO,
    vapour_transfer,
)
from sensors_sim.plant import CoolingPlant, MistMaker
from sensors_sim.saturation import saturation, saturation_and_slope
from sensors_sim.scenario import Envelope
from sensors_sim.scenario import Room as RoomSettings
from sensors_sim.surfaces import Chain, Surface

Array = NDArray[Any]
FLOOR_FILM_LIMIT_KG_M2 = 0.5
FAN_STOPPED_WHEEL_SHARE = 0.5
BATH_COEFFICIENT_W_M2_K = 3.0
TRACE = ("air_c", "vapour_pa", "coil_c", "cooling", "mist", "door", "shell_c", "fan")
"""Columns of what `Room.run` returns."""


@dataclass(frozen=True)
class Outside:
    """What a room meets beyond its walls in each step: temperature [degC] and vapour pressure [Pa]."""

    temperature_c: list[float]
    vapour_pa: list[float]
    boundary_c: list[float]


@dataclass
class WheelLoad:
    """The wheels of a room as one surface: sums over wheels of area x coefficient and of heat capacity.

    ``activity`` is the transfer-weighted water activity of their rinds, ``offset_pa`` the transfer-weighted
    vapour pressure at their places over the room's.
    """

    heat_w_k: float
    transfer_kg_s_pa: float
    skin_j_k: float
    core_j_k: float
    coupling_w_k: float
    activity: float = 0.95
    offset_pa: float = 0.0


class Room:
    """The state of one room."""

    def __init__(self, settings: RoomSettings, altitude_m: float = 0.0) -> None:
        self.settings = settings
        self.pressure_pa = float(pressure_at_altitude(altitude_m))
        start = settings.initial_temperature_c
        if start is None:
            start = settings.coil.setpoint_c if settings.coil else settings.envelope.ground_c
        self.air_c = start
        self.vapour_pa = settings.initial_rh_pct / 100.0 * saturation(start)
        dry_air_kg = settings.volume_m3 * self.pressure_pa / (DRY_AIR_GAS_J_KG_K * (start + 273.15))
        self.air_j_k = dry_air_kg * DRY_AIR_HEAT_J_KG_K
        self.vapour_kg_pa = dry_air_kg * VAPOUR_RATIO / self.pressure_pa
        self._dry_air_kg_m3 = dry_air_kg / settings.volume_m3
        self.plant = CoolingPlant(settings.coil, self.pressure_pa) if settings.coil else None
        self.mist = MistMaker(settings.humidifier) if settings.humidifier else None
        self.shell = _shell(settings, self.pressure_pa, start, self.vapour_pa)
        self.floor = Surface(
            "floor",
            0.0,
            settings.floor_m2 * vapour_transfer(2.5, self.pressure_pa),
            1e4 * settings.floor_m2,
            start,
            film_limit_kg=FLOOR_FILM_LIMIT_KG_M2 * settings.floor_m2,
        )
        self.floor.heat_w_k = 2.5 * settings.floor_m2
        self.wheels: Surface | None = None
        self.surfaces = [self.shell, self.floor]
        if settings.bath:
            self.surfaces.append(_bath(settings, self.pressure_pa, start))
        if self.plant:
            self.surfaces.append(self.plant.surface)
        self.books = dict.fromkeys(
            ("ventilation_j", "ventilation_kg", "inside_j", "people_kg", "wash_kg", "goods_j", "phase_j"), 0.0
        )
        self._load: WheelLoad | None = None
        self._exchange = [0.0, 0.0, 0.0]

    @property
    def rh_pct(self) -> float:
        """Relative humidity of the room's air [%]."""
        return 100.0 * self.vapour_pa / saturation(self.air_c)

    def put_wheels(
        self, load: WheelLoad | None, arriving_c: float | None = None, arriving_share: float = 0.0
    ) -> None:
        """Take in the room's present wheels; newcomers at ``arriving_c`` [degC] make up ``arriving_share``."""
        before = self.wheels.heat() if self.wheels else 0.0
        self._load = load
        if load is None:
            if self.wheels:
                self.surfaces.remove(self.wheels)
            self.wheels = None
        elif self.wheels is None:
            self.wheels = _wheel_surface(load, self.air_c if arriving_c is None else arriving_c)
            self.surfaces.append(self.wheels)
        else:
            _change_load(self.wheels, load, arriving_c, arriving_share)
        if self.wheels and load:
            self.wheels.activity, self.wheels.offset_pa = load.activity, load.offset_pa
        self.books["goods_j"] += (self.wheels.heat() if self.wheels else 0.0) - before

    def take_exchange(self) -> tuple[float, float, float]:
        """What the wheels' surfaces have met since last asked, for sharing out their evaporation exactly.

        Returns
        -------
        tuple
            Time integrals of the saturation pressure at the wheels' surface [Pa s], of the room's vapour
            pressure [Pa s], and of the exposure (1 with moving air, less with the fan stopped) [s].
        """
        saturation_s, vapour_s, exposed_s = self._exchange
        self._exchange = [0.0, 0.0, 0.0]
        return saturation_s, vapour_s, exposed_s

    def run(self, dt: float, outside: Outside, plan: DayPlan, faults: list[dict[str, float]]) -> Array:
        """Run as many steps of ``dt`` seconds as ``outside`` has.

        Returns
        -------
        array (steps, 8)
            At the end of each step the columns of `TRACE`: air temperature [degC], vapour pressure [Pa], coil
            surface [degC] (NaN without one), cooling on, mist on, door open (share), shell surface [degC],
            fan running (share).
        """
        trace = []
        for index in range(len(outside.temperature_c)):
            door = max(plan.door_share[index], faults[index].get("door ajar", 0.0))
            self._step(dt, outside, index, plan, door, faults[index])
            trace.append(
                (
                    self.air_c,
                    self.vapour_pa,
                    self.plant.surface.temperature if self.plant else np.nan,
                    float(self.plant is not None and self.plant.surface.extra_w_k > 0),
                    float(
                        self.mist is not None and self.mist.is_on and "humidifier dry" not in faults[index]
                    ),
                    door,
                    self.shell.temperature,
                    float(self.plant is not None and "fan stopped" not in faults[index]),
                )
            )
        return np.array(trace, dtype=float).reshape(-1, len(TRACE))

    def _step(
        self, dt: float, outside: Outside, index: int, plan: DayPlan, door: float, faults: dict[str, float]
    ) -> None:
        settings = self.settings
        inside_w, people = 0.0, plan.people[index]
        if people:
            inside_w += people * PERSON_SENSIBLE_W + LIGHTS_W_M2 * settings.floor_m2
        if plan.wash_kg[index]:
            self.floor.water_kg += plan.wash_kg[index]
            self.books["wash_kg"] += plan.wash_kg[index]
        if self.plant:
            inside_w += self.plant.control(self.air_c, dt, faults)
        mist = self.mist.control(self.rh_pct, dt, faults) if self.mist else 0.0
        self.shell.chain.boundary_c = outside.boundary_c[index]
        self._still_wheels("fan stopped" in faults)
        exchange = (
            (
                settings.envelope.air_changes_per_h * settings.volume_m3
                + door * settings.activity.door_exchange_m3_h
            )
            / 3600.0
            * self._dry_air_kg_m3
        )
        vapour_in = people * PERSON_VAPOUR_KG_S + mist
        self._solve(
            dt,
            outside.temperature_c[index],
            outside.vapour_pa[index],
            exchange,
            inside_w - LATENT_HEAT_J_KG * mist,
            vapour_in,
        )
        self.books["inside_j"] += (inside_w + people * PERSON_VAPOUR_KG_S * LATENT_HEAT_J_KG) * dt
        self.books["people_kg"] += people * PERSON_VAPOUR_KG_S * dt
        if self.plant:
            self.plant.settle(dt)
            self.books["phase_j"] += self.plant.phase_heat_j(dt)

    def _still_wheels(self, is_still: bool) -> None:
        """Set the wheels' coefficients for moving or still air."""
        if self.wheels and self._load:
            self._exposure = FAN_STOPPED_WHEEL_SHARE if is_still else 1.0
            self.wheels.heat_w_k = self._exposure * self._load.heat_w_k
            self.wheels.transfer = self._exposure * self._load.transfer_kg_s_pa

    def _count_exchange(self, dt: float) -> None:
        """Add this step to the integrals of `take_exchange`, before fog changes the vapour pressure."""
        wheels = self.wheels
        if wheels is None or wheels.transfer == 0.0:
            return
        surface_pa = (
            wheels.rate_kg_s / wheels.transfer + self.vapour_pa + wheels.offset_pa
        ) / wheels.activity
        exposed_s = self._exposure * dt
        self._exchange[0] += surface_pa * exposed_s
        self._exchange[1] += self.vapour_pa * exposed_s
        self._exchange[2] += exposed_s

    def _solve(
        self,
        dt: float,
        outside_c: float,
        outside_pa: float,
        exchange_kg_s: float,
        heat_w: float,
        vapour_kg_s: float,
    ) -> None:
        """Solve the two equations of the air and settle every surface."""
        vent_w_k = exchange_kg_s * DRY_AIR_HEAT_J_KG_K
        vent_kg_pa = exchange_kg_s * VAPOUR_RATIO / self.pressure_pa
        a11 = self.air_j_k / dt + vent_w_k
        b1 = self.air_j_k / dt * self.air_c + vent_w_k * outside_c + heat_w
        a22 = self.vapour_kg_pa / dt + vent_kg_pa
        b2 = self.vapour_kg_pa / dt * self.vapour_pa + vent_kg_pa * outside_pa + vapour_kg_s
        a12 = a21 = 0.0
        for surface in self.surfaces:
            source, heat_share, vapour_share, fixed, slope, transfer = surface.prepare(dt, self.vapour_pa)
            heat = surface.heat_w_k
            a11 += heat * (1.0 - heat_share)
            a12 -= heat * vapour_share
            b1 += heat * source
            a22 += transfer - slope * vapour_share
            a21 -= slope * heat_share
            b2 += fixed + slope * source
        determinant = a11 * a22 - a12 * a21
        air_c = (b1 * a22 - a12 * b2) / determinant
        vapour_pa = (a11 * b2 - a21 * b1) / determinant
        for surface in self.surfaces:
            surface.settle(air_c, vapour_pa, dt)
        moved_kg = vent_kg_pa * (outside_pa - vapour_pa) * dt
        self.books["ventilation_kg"] += moved_kg
        self.books["ventilation_j"] += vent_w_k * (outside_c - air_c) * dt + LATENT_HEAT_J_KG * moved_kg
        self.air_c, self.vapour_pa = air_c, vapour_pa
        self._count_exchange(dt)
        if self.vapour_pa > saturation(self.air_c):
            self._fog_falls()

    def _fog_falls(self) -> None:
        """Water that the air cannot hold falls on the floor; its heat stays in the air."""
        for _ in range(3):
            limit, slope = saturation_and_slope(self.air_c)
            excess = (self.vapour_pa - limit) / (
                1.0 / self.vapour_kg_pa + slope * LATENT_HEAT_J_KG / self.air_j_k
            )
            self.vapour_pa -= excess / self.vapour_kg_pa
            self.air_c += LATENT_HEAT_J_KG * excess / self.air_j_k
            self.floor.water_kg += excess

    def stored_heat_j(self) -> float:
        """Heat in air, surfaces and vapour, less what frost has given off [J above liquid at 0 degC]."""
        frost = self.plant.frost_kg if self.plant else 0.0
        return (
            self.air_j_k * self.air_c
            + LATENT_HEAT_J_KG * self.vapour_kg_pa * self.vapour_pa
            + sum(surface.heat() for surface in self.surfaces)
            - FUSION_HEAT_J_KG * frost
        )

    def stored_water_kg(self) -> float:
        """Water in the air, in films and in sorbing walls [kg]."""
        return self.vapour_kg_pa * self.vapour_pa + sum(
            s.water_kg for s in self.surfaces if s.supply != "fed"
        )

    def heat_in_j(self) -> float:
        """All heat that has entered so far [J]: from outside, people, fans, plant, goods."""
        passed = sum(s.boundary_j + s.extra_j for s in self.surfaces) - self.books["phase_j"]
        return passed + sum(self.books[k] for k in ("ventilation_j", "inside_j", "goods_j"))

    def water_in_kg(self) -> float:
        """All water that has entered so far, less what ran off [kg]."""
        fed = sum(s.evaporated_kg for s in self.surfaces if s.supply == "fed")
        mist = self.mist.made_kg if self.mist else 0.0
        brought = sum(self.books[k] for k in ("ventilation_kg", "people_kg", "wash_kg"))
        return fed + mist + brought - sum(s.drained_kg for s in self.surfaces)


def _shell(settings: RoomSettings, pressure_pa: float, start_c: float, vapour_pa: float) -> Surface:
    """Walls and ceiling: the first layer is the surface, the others lie behind it."""
    envelope, area = settings.envelope, settings.shell_m2
    capacities = [envelope.heat_capacity_j_m3_k * layer * area for layer in envelope.layers_m]
    inner = [
        2.0 * envelope.conductivity_w_m_k * area / (a + b)
        for a, b in zip(envelope.layers_m, envelope.layers_m[1:], strict=False)
    ]
    boundary = 2.0 * envelope.conductivity_w_m_k * area / envelope.layers_m[-1]
    if len(capacities) == 1:
        capacities, inner = (
            [capacities[0] / 2, capacities[0] / 2],
            [4.0 * envelope.conductivity_w_m_k * area / envelope.layers_m[0]],
        )
    chain = Chain(capacities[1:], inner, boundary, _profile(start_c, envelope, inner, boundary))
    supply = {"damp": "fed", "film": "film", "sorbing": "sorbing"}[envelope.moisture]
    buffer_kg = envelope.buffer_kg_m2 * area
    transfer = vapour_transfer(envelope.surface_coefficient_w_m2_k, pressure_pa) * area
    if envelope.moisture != "film":
        transfer *= envelope.wetted_share
    return Surface(
        "shell",
        envelope.surface_coefficient_w_m2_k * area,
        transfer,
        capacities[0],
        start_c,
        supply=supply,
        activity=envelope.water_activity,
        buffer_kg=buffer_kg,
        film_limit_kg=0.1 * area,
        chain=chain,
        water_kg=buffer_kg * min(vapour_pa / saturation(start_c), 1.0) if supply == "sorbing" else 0.0,
    )


def _profile(start_c: float, envelope: Envelope, inner: list[float], boundary: float) -> list[float]:
    """Layer temperatures of a steady state between the room and the ground."""
    resistance = [1.0 / k for k in inner] + [1.0 / boundary]
    total, passed, profile = sum(resistance), 0.0, []
    for part in resistance[:-1]:
        passed += part
        profile.append(start_c + (envelope.ground_c - start_c) * passed / total)
    return profile


def _bath(settings: RoomSettings, pressure_pa: float, start_c: float) -> Surface:
    assert settings.bath is not None
    area = settings.bath.area_m2
    return Surface(
        "bath",
        BATH_COEFFICIENT_W_M2_K * area,
        vapour_transfer(BATH_COEFFICIENT_W_M2_K, pressure_pa) * area,
        4.2e4 * area,
        start_c,
        supply="fed",
        activity=settings.bath.water_activity,
    )


def _wheel_surface(load: WheelLoad, start_c: float) -> Surface:
    chain = Chain([load.core_j_k], [load.coupling_w_k], 0.0, [start_c])
    return Surface("wheels", 0.0, 0.0, load.skin_j_k, start_c, supply="fed", chain=chain)


def _change_load(surface: Surface, load: WheelLoad, arriving_c: float | None, share: float) -> None:
    mix = surface.temperature if arriving_c is None else arriving_c
    core = surface.chain.temperatures[0]
    core = core if arriving_c is None else core + share * (arriving_c - core)
    surface.temperature += share * (mix - surface.temperature)
    surface.capacity = load.skin_j_k
    surface.chain = Chain([load.core_j_k], [load.coupling_w_k], 0.0, [core])
