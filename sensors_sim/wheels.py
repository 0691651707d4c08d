"""The wheels of a scenario: drawn from their styles, moved along their routes, drying in the air they meet."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sensors_sim.constants import (
    PASTE_CONDUCTIVITY_W_M_K,
    PASTE_HEAT_J_KG_K,
    heat_coefficient,
    vapour_transfer,
)
from sensors_sim.moisture import MoistureField, Paste
from sensors_sim.randomness import generator
from sensors_sim.room import Room, WheelLoad
from sensors_sim.saturation import saturation
from sensors_sim.scenario import Batch, Scenario, Style

Array = NDArray[Any]
DAY_S = 86400.0
MAKE_ROOM_C = 14.0
FACE_SHARE = 0.7
"""The top is free, the bottom lies on its board: share of full exchange over both faces; invented."""
CARBON_KG_M2_S = {"cloth-bound": 0.10e-3 / DAY_S, "natural": 0.25e-3 / DAY_S, "washed": 0.35e-3 / DAY_S}
"""Dry matter that rind flora breathe away [kg/m2/s]; order of magnitude from memory, invented."""
SALE_AFTER_READY_DAYS = (14, 60)
"""A wheel leaves between so many days after it is ready; grading comes before."""
AGED_DAYS, AGING_STEP_S = 40.0, 7200.0


@dataclass(frozen=True)
class Wheel:
    """One wheel as it was made, and its way through the rooms: (from [s], room, place), then ``leaves_s``."""

    id: str
    make: str
    style: Style
    made_s: float
    route: tuple[tuple[float, str, str], ...]
    leaves_s: float
    bare_until_s: float
    diameter_m: float
    height_m: float
    mass_kg: float
    dry_share: float
    salt_share: float
    diffusivity_m2_s: float
    cover_resistance_share: float

    def where(self, time_s: float) -> tuple[str, str] | None:
        """Room and place at a time [s from the start]; None before it is made and after it has left."""
        if not self.made_s <= time_s < self.leaves_s:
            return None
        here = [leg for leg in self.route if leg[0] <= time_s]
        return here[-1][1], here[-1][2]

    @property
    def surface_m2(self) -> float:
        return float(np.pi * self.diameter_m * (self.height_m + 0.5 * self.diameter_m))


def draw_wheels(scenario: Scenario) -> list[Wheel]:
    """Every wheel of a scenario, in the order of their makes."""
    styles = {style.id: style for style in scenario.styles}
    wheels: list[Wheel] = []
    for number, batch in enumerate(scenario.batches):
        for make in range(batch.makes):
            made_s = batch.first_make_s + make * batch.every
            wheels += _make(scenario, styles[batch.style], batch, number, made_s)
    return sorted(wheels, key=lambda wheel: (wheel.made_s, wheel.id))


def _make(scenario: Scenario, style: Style, batch: Batch, number: int, made_s: float) -> list[Wheel]:
    rng = generator(scenario.seed, "make", number, made_s)
    date = (scenario.start + timedelta(seconds=made_s)).strftime("%Y%m%d")
    make = f"{style.id}-{date}"
    vat = rng.normal(0.0, 1.0, 3)
    result = []
    for index in range(batch.wheels):
        own = rng.normal(0.0, 1.0, 6)
        days = rng.integers(0, 2, len(batch.route))
        route = tuple(
            (made_s + (leg[0] + (days[i] if i else 0)) * DAY_S + (10 * 3600.0 if i else 0.0), leg[1], leg[2])
            for i, leg in enumerate(batch.route)
        )
        leaves = made_s + (style.ready_day + rng.integers(*SALE_AFTER_READY_DAYS)) * DAY_S + 11 * 3600.0
        dry = float(np.clip(style.dry_share + 0.006 * vat[0] + 0.003 * own[0], 0.25, 0.9))
        result.append(
            Wheel(
                id=f"{make}-{index + 1:02d}",
                make=make,
                style=style,
                made_s=made_s,
                route=route,
                leaves_s=leaves,
                bare_until_s=made_s + batch.bare_days * DAY_S,
                diameter_m=style.diameter_m * (1 + 0.008 * own[1]),
                height_m=style.height_m * (1 + 0.02 * own[2]),
                mass_kg=style.mass_kg
                * (1 + 0.008 * own[1]) ** 2
                * (1 + 0.02 * own[2])
                * (1 + 0.006 * vat[2]),
                dry_share=dry,
                salt_share=style.salt_share * float(np.exp(0.08 * vat[1] + 0.05 * own[3])),
                diffusivity_m2_s=style.diffusivity_m2_s * float(np.exp(0.12 * own[4])),
                cover_resistance_share=style.cover_resistance_share * float(np.exp(-0.05 * abs(own[5]))),
            )
        )
    return result


class WheelStock:
    """The state of all wheels: where they are and how moist, advanced with what their rooms have met."""

    def __init__(self, scenario: Scenario, pressure_pa: float) -> None:
        self.wheels = draw_wheels(scenario)
        self.pressure_pa = pressure_pa
        self.air_speed = {(r.id, p.id): p.air_speed_m_s for r in scenario.rooms for p in r.places}
        w = self.wheels
        volume = np.array([np.pi * x.diameter_m**2 / 4 * x.height_m for x in w])
        dry = np.array([x.mass_kg * x.dry_share for x in w])
        self.field = (
            MoistureField(
                Paste(
                    radius_m=np.array([x.diameter_m / 2 for x in w]),
                    height_m=np.array([x.height_m for x in w]),
                    dry_kg_m3=dry / volume,
                    water_ratio=np.array([(1 - x.dry_share) / x.dry_share for x in w]),
                    salt_share=np.array([x.salt_share for x in w]),
                    diffusivity_m2_s=np.array([x.diffusivity_m2_s for x in w]),
                )
            )
            if w
            else None
        )
        self.made_kg = np.array([x.mass_kg for x in w])
        self.start_water_kg = self.field.water_kg() if self.field else np.zeros(0)
        self.carbon_kg = np.zeros(len(w))
        self.heat_w_m2_k = np.zeros(len(w))
        self.transfer = np.zeros(len(w))
        self.place_factor, self.place_offset_pa = np.ones(len(w)), np.zeros(len(w))
        self.members: dict[str, Array] = {}
        self.places: list[tuple[str, str] | None] = [None] * len(w)

    def age_before_start(self, climate: dict[str, tuple[float, float]]) -> None:
        """Dry wheels made before the start in a steady climate, so that they arrive with the rind of their age.

        ``climate``: for each room, temperature [degC] and relative humidity [%].  At most `AGED_DAYS` are gone
        through; what a rind would do in longer is little.
        """
        if self.field is None:
            return
        age_s = np.array([min(-wheel.made_s, AGED_DAYS * DAY_S) for wheel in self.wheels])
        where = [wheel.where(-1.0) for wheel in self.wheels]
        for left_s in np.arange(AGED_DAYS * DAY_S, 0.0, -AGING_STEP_S):
            which = np.array([i for i, here in enumerate(where) if here and age_s[i] >= left_s], dtype=int)
            if len(which):
                self._age(which, [where[i] for i in which], climate)

    def _age(
        self, which: Array, where: list[tuple[str, str] | None], climate: dict[str, tuple[float, float]]
    ) -> None:
        assert self.field is not None
        spots = [spot for spot in where if spot]
        temperature = np.array([climate[room][0] for room, _ in spots])
        saturated = np.array([saturation(t) for t in temperature])
        vapour = saturated * np.array([climate[room][1] for room, _ in spots]) / 100.0
        covers = np.array([1.0 - self.wheels[i].cover_resistance_share for i in which])
        speeds = [heat_coefficient(self.air_speed[spot]) for spot in spots]
        self.transfer[which] = covers * [vapour_transfer(h, self.pressure_pa) for h in speeds]
        side, face = self.field.surface_activity(which)
        side_g, face_g = self._conductances(which)
        lost_side = side_g * (side * saturated[:, None] - vapour[:, None]) * AGING_STEP_S
        lost_face = face_g * (face * saturated[:, None] - vapour[:, None]) * AGING_STEP_S
        self.field.advance(which, lost_side, lost_face, temperature, AGING_STEP_S)

    def mass_kg(self) -> Array:
        """Present mass of every wheel [kg]."""
        if self.field is None:
            return np.zeros(0)
        result: Array = self.made_kg - self.start_water_kg + self.field.water_kg() - self.carbon_kg
        return result

    def arrange(self, time_s: float, place_air: dict[tuple[str, str], tuple[float, float]]) -> set[str]:
        """Put every wheel where it is at a time; returns the rooms in which something changed.

        ``place_air``: for each place, its temperature [K] and vapour pressure [Pa] over the room's.
        """
        changed: set[str] = set()
        by_room: dict[str, list[int]] = {}
        for index, wheel in enumerate(self.wheels):
            here = wheel.where(time_s)
            if here != self.places[index]:
                changed |= {spot[0] for spot in (here, self.places[index]) if spot}
                self.places[index] = here
            if here is None:
                continue
            by_room.setdefault(here[0], []).append(index)
            h = heat_coefficient(self.air_speed[here])
            cover = 0.0 if time_s < wheel.bare_until_s else wheel.cover_resistance_share
            self.heat_w_m2_k[index] = h
            self.transfer[index] = vapour_transfer(h, self.pressure_pa) * (1.0 - cover)
            warmer_k, moister_pa = place_air.get(here, (0.0, 0.0))
            self.place_factor[index] = np.exp(0.0665 * warmer_k)
            self.place_offset_pa[index] = moister_pa
        self.members = {room: np.array(indices) for room, indices in by_room.items()}
        return changed

    def load(self, room: str) -> WheelLoad | None:
        """The wheels in a room as the one surface that its physics sees."""
        which = self.members.get(room)
        if which is None or self.field is None:
            return None
        side, face = self.field.surface_activity(which)
        side_g, face_g = self._conductances(which)
        factor = self.place_factor[which]
        wet = (side_g * side).sum(axis=1) + (face_g * face).sum(axis=1)
        per_wheel = side_g.sum(axis=1) + face_g.sum(axis=1)
        transfer = float(per_wheel.sum())
        area = np.array([self.wheels[i].surface_m2 for i in which])
        depth = np.array([min(self.wheels[i].diameter_m, self.wheels[i].height_m) / 6 for i in which])
        heat_j_k = PASTE_HEAT_J_KG_K * self.made_kg[which]
        return WheelLoad(
            heat_w_k=float((self.heat_w_m2_k[which] * area).sum()),
            transfer_kg_s_pa=transfer,
            skin_j_k=float(0.12 * heat_j_k.sum()),
            core_j_k=float(0.88 * heat_j_k.sum()),
            coupling_w_k=float((PASTE_CONDUCTIVITY_W_M_K * area / depth).sum()),
            activity=float((wet * factor).sum() / transfer),
            offset_pa=float((per_wheel * self.place_offset_pa[which]).sum() / transfer),
        )

    def _conductances(self, which: Array) -> tuple[Array, Array]:
        """Vapour conductance of each rind cell [kg/s/Pa]: side cells and face cells."""
        assert self.field is not None
        transfer = self.transfer[which, None]
        return transfer * self.field.side_m2[which], FACE_SHARE * transfer * self.field.face_m2[which]

    def advance(self, room: Room, dt: float) -> tuple[Array, Array, Array]:
        """Share out what a room's wheels evaporated since last asked, and let their water diffuse.

        Returns
        -------
        tuple
            Indices of the wheels, their drying [kg/m2/s] and the mean water activity of their rinds.
        """
        which = self.members.get(room.settings.id)
        if which is None or self.field is None or room.wheels is None:
            return np.zeros(0, dtype=int), np.zeros(0), np.zeros(0)
        saturation_s, vapour_s, exposed_s = room.take_exchange()
        side, face = self.field.surface_activity(which)
        side_g, face_g = self._conductances(which)
        factor, offset = self.place_factor[which, None], self.place_offset_pa[which, None]
        side_kg = side_g * (side * factor * saturation_s - vapour_s - offset * exposed_s)
        face_kg = face_g * (face * factor * saturation_s - vapour_s - offset * exposed_s)
        self.field.advance(which, side_kg, face_kg, np.full(len(which), room.wheels.temperature), dt)
        area = np.array([self.wheels[i].surface_m2 for i in which])
        carbon = np.array([CARBON_KG_M2_S[self.wheels[i].style.rind] for i in which])
        warm = np.exp(0.07 * (room.wheels.temperature - 12.0))
        self.carbon_kg[which] += carbon * area * warm * dt
        drying = (side_kg.sum(axis=1) + face_kg.sum(axis=1)) / area / dt
        weights = side_g.sum(axis=1) + face_g.sum(axis=1)
        activity = ((side_g * side).sum(axis=1) + (face_g * face).sum(axis=1)) / weights
        return which, drying, activity
