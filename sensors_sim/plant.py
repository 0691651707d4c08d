"""The plant of a room: a coil under a thermostat with defrosts, and a humidifier under a humidistat."""

from __future__ import annotations

import math

from sensors_sim.constants import FUSION_HEAT_J_KG, LATENT_HEAT_J_KG, vapour_transfer
from sensors_sim.scenario import Coil, Humidifier
from sensors_sim.surfaces import Surface

THERMOSTAT_LAG_S = 150.0
ICED_SHARE, FAN_STOPPED_SHARE = 0.06, 0.12
"""Share of the coil's air-side exchange left when iced over, or with its fan stopped; invented."""
MELT_W_K = 400.0
"""Heat [W/K] that melting or freezing takes from or gives to the coil; fast against its other fluxes."""
RETAINED_KG_PER_W_K = 1.5e-3
"""Liquid that fins hold before it drips, per W/K of air side; invented."""


class CoolingPlant:
    """A coil: on/off with hysteresis, a least time off, frost, and defrosts on a clock that end when dry."""

    def __init__(self, settings: Coil, pressure_pa: float) -> None:
        self.settings = settings
        self.surface = Surface(
            "coil",
            settings.air_side_w_k,
            settings.air_side_w_k * vapour_transfer(1.0, pressure_pa),
            capacity_j_k=60.0 * settings.air_side_w_k,
            temperature_c=settings.setpoint_c,
        )
        self._transfer = self.surface.transfer
        self.refrigerant_w_k = settings.capacity_w / (0.5 * settings.evaporating_below_setpoint_k)
        self.sensed_c = settings.setpoint_c
        self.is_cooling = self.is_defrosting = False
        self.frost_kg = 0.0
        self._off_for_s = 1e9
        self._since_defrost_s = 0.0

    def control(self, air_c: float, dt: float, faults: dict[str, float]) -> float:
        """Decide what the coil does in this step; returns the fan's heat into the room [W]."""
        coil = self.settings
        self.sensed_c += (air_c - self.sensed_c) * (1.0 - math.exp(-dt / THERMOSTAT_LAG_S))
        setpoint = coil.setpoint_c + faults.get("thermostat moved", 0.0)
        self._defrost_clock(dt)
        self._off_for_s = 0.0 if self.is_cooling else self._off_for_s + dt
        if self.sensed_c < setpoint - 0.5 * coil.hysteresis_k:
            self.is_cooling = False
        elif self.sensed_c > setpoint + 0.5 * coil.hysteresis_k and self._off_for_s >= coil.least_off:
            self.is_cooling = True
        runs = self.is_cooling and not self.is_defrosting and "compressor stopped" not in faults
        self._expose(dt, runs, setpoint, faults)
        fan_runs = (coil.fan_always_on or runs) and "fan stopped" not in faults
        return coil.fan_w if fan_runs else 0.0

    def _defrost_clock(self, dt: float) -> None:
        coil = self.settings
        self._since_defrost_s += dt
        if self.is_defrosting:
            done = self.frost_kg <= 0.0 and self.surface.temperature > 4.0
            self.is_defrosting = not done and self._since_defrost_s < coil.defrost_longest
        elif self._since_defrost_s >= coil.defrost_every:
            self._since_defrost_s = 0.0
            self.is_defrosting = self.frost_kg > 0.02 * coil.ice_at_kg

    def _expose(self, dt: float, runs: bool, setpoint: float, faults: dict[str, float]) -> None:
        """Set the coil surface's conductances and the heat that refrigerant, heater and melting give it."""
        coil, surface = self.settings, self.surface
        share = max(ICED_SHARE, 1.0 - self.frost_kg / coil.ice_at_kg) if self.frost_kg > 0 else 1.0
        if "coil iced" in faults:
            share = ICED_SHARE
        if "fan stopped" in faults or not (coil.fan_always_on or runs):
            share *= FAN_STOPPED_SHARE
        surface.heat_w_k, surface.transfer = coil.air_side_w_k * share, self._transfer * share
        surface.extra_w_k = self.refrigerant_w_k if runs else 0.0
        surface.extra_c = max(setpoint - coil.evaporating_below_setpoint_k, -25.0)
        self._phase_w = self._melting_w(dt)
        surface.extra_w = (coil.defrost_w if self.is_defrosting else 0.0) + self._phase_w
        self._frozen = surface.temperature < 0.0
        surface.latent = LATENT_HEAT_J_KG + (FUSION_HEAT_J_KG if self._frozen else 0.0)
        surface.film_limit_kg = max(self.frost_kg, 0.0) + RETAINED_KG_PER_W_K * coil.air_side_w_k

    def _melting_w(self, dt: float) -> float:
        temperature, liquid = self.surface.temperature, self.surface.water_kg - self.frost_kg
        wish = -MELT_W_K * temperature
        if temperature > 0.0:
            return max(wish, -max(self.frost_kg, 0.0) * FUSION_HEAT_J_KG / dt)
        return min(wish, max(liquid, 0.0) * FUSION_HEAT_J_KG / dt)

    def settle(self, dt: float) -> None:
        """Book frost after the room's step has settled the coil's surface."""
        self.frost_kg += self._phase_w * dt / FUSION_HEAT_J_KG
        if self._frozen:
            self.frost_kg -= self.surface.rate_kg_s * dt

    def phase_heat_j(self, dt: float) -> float:
        """Heat that melting (negative) or freezing gave the coil in this step [J]."""
        return self._phase_w * dt


class MistMaker:
    """A humidifier under a humidistat with hysteresis."""

    def __init__(self, settings: Humidifier) -> None:
        self.settings = settings
        self.is_on = False
        self.made_kg = 0.0

    def control(self, rh_pct: float, dt: float, faults: dict[str, float]) -> float:
        """Water given to the air in this step [kg/s]."""
        half = 0.5 * self.settings.hysteresis_pct
        if rh_pct > self.settings.setpoint_rh_pct + half:
            self.is_on = False
        elif rh_pct < self.settings.setpoint_rh_pct - half:
            self.is_on = True
        if not self.is_on or "humidifier dry" in faults:
            return 0.0
        rate = self.settings.output_kg_h / 3600.0
        self.made_kg += rate * dt
        return rate
