"""One step of the rind twin: surface temperature, then moisture, then free water, for all wheels at once.

A step of length zero (a wheel whose air is not known) leaves that wheel's state exactly as it was.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from monitor import air
from monitor.rind import drying, rind_face
from monitor.rind.presets import REFERENCE_TEMPERATURE_C
from monitor.rind.twin_state import TwinState
from monitor.rind.twin_wheels import WheelArrays

Array: TypeAlias = NDArray[np.float64]

WATER_PER_CO2 = 0.018015
"""Water made with each mol of CO2 when sugar or lactate is burnt, CH2O + O2 -> CO2 + H2O [kg/mol]."""
DRY_PER_CO2 = 0.030026
"""Dry matter used up with it [kg/mol]; the wheel gets lighter by the difference, the carbon's 0.012 kg."""
HEAT_PER_CO2 = 469_000.0
"""Set free with it [J/mol] (from memory)."""
LOSS_RATE_MEMORY_S = 7 * 86_400.0
"""Over which the loss rate is smoothed [s]."""
_TINY = 1e-300


@dataclass(frozen=True)
class StepAir:
    """Air of one step at each wheel: known everywhere, since ``seconds`` is zero where it was not.

    Attributes
    ----------
    seconds : length of the step, one value or one a wheel [s]
    celsius, vapour_pa : temperature [degC] and vapour pressure [Pa]
    transfer : heat transfer by the air [W/m2/K]; film : evaporation through it [kg/m2/s/Pa]
    present : where the air is known, None where it is known everywhere
    """

    seconds: Any
    celsius: Any
    vapour_pa: Any
    transfer: Any
    film: Any
    present: NDArray[np.bool_] | None


def step(wheels: WheelArrays, state: TwinState, now: StepAir) -> None:
    """Carry all wheels on by one implicit step, in place."""
    molality = wheels.salt_mol / shell_water(wheels, state)
    breath = _breath(wheels, state, now)
    balance = _Balance(wheels, state, now, breath)
    gain = np.zeros(wheels.count) if breath is None else breath * WATER_PER_CO2
    carried = transport(wheels, state.core_c, now.seconds)
    reached, stiffness = wheels.solver.sweep(state.moisture, carried, gain)
    resistance = 1.0 / (carried * wheels.reach[0] + _TINY) + 1.0 / stiffness
    exposed = now.seconds * wheels.exposed_m2
    face = rind_face.Face(
        wheels,
        reached,
        resistance,
        exposed * drying.through_wrap(now.film, wheels.wrap),
        balance.base_c,
        balance.chill,
        now.vapour_pa,
        molality,
    )
    lying = _known(now, state.film_kg, np.zeros(wheels.count))
    if np.any(lying):
        face = _with_free_water(face, lying, exposed * now.film)
    found = face.settle(state.face_moisture, state.surface_c)
    left = found.left_kg
    taken = left + lying  # all free water goes to the air or the rind, unless some stays
    # vapour pressure outside the wrap: free water stays, or dew falls, where it would pass saturation
    outside = face.beside + left / np.maximum(exposed * now.film, _TINY)
    wet = (outside > found.saturation_pa) & (wheels.wrap > 0.0) & (exposed > 0.0)
    if np.any(wet):
        dewy = _under_free_water(face, balance, now, wet, exposed)
        found = dewy.settle(state.face_moisture, state.surface_c)
        left = found.left_kg
        taken = np.where(
            wet,
            np.minimum(exposed * now.film * (found.saturation_pa - now.vapour_pa), lying + left),
            left + lying,
        )
    state.film_kg = state.film_kg + left - taken
    balance.keep(found.surface_c)
    wheels.solver.finish(state.moisture, left)
    state.face_moisture = _known(now, found.moisture, state.face_moisture)
    _account(wheels, state, now, taken, breath)


def shell_water(wheels: WheelArrays, state: TwinState) -> Array:
    """Water in the shells from the books [kg]: what was there, plus breathed, less gone and lying free."""
    return wheels.water_kg + state.breathed_kg - state.left_kg - state.film_kg


def transport(wheels: WheelArrays, core_c: Array, seconds: Any) -> Array:
    """Seconds times diffusivity at the wheel's own temperature [m2]."""
    inverse = 1.0 / (core_c + air.ZERO_CELSIUS_K) - 1.0 / (REFERENCE_TEMPERATURE_C + air.ZERO_CELSIUS_K)
    return wheels.diffusivity * np.exp(-wheels.activation_k * inverse) * seconds


def _breath(wheels: WheelArrays, state: TwinState, now: StepAir) -> Array | None:
    """CO2 given off in the step [mol], None where no wheel breathes."""
    if not wheels.breathes:
        return None
    warmth = np.exp(wheels.breath_rise_k * (state.surface_c - REFERENCE_TEMPERATURE_C))
    return wheels.breath_mol_s * warmth * now.seconds


class _Balance:
    """Heat of one step: how warm a surface would be that gave off no water, and how much each kilogram cools it.

    Water leaving takes up the heat of evaporation at the air's temperature, the same for every wheel in it, so that
    a wheel is never cooled by more than the water it has lost.
    """

    def __init__(self, wheels: WheelArrays, state: TwinState, now: StepAir, breath: Array | None) -> None:
        self._state, self._now = state, now
        self.start_c = state.surface_c
        seconds = np.maximum(now.seconds, 1e-9)
        self._lag = now.seconds * wheels.exposed_m2 * wheels.inner_transfer / wheels.heat_capacity
        self._inner = wheels.inner_transfer / (1.0 + self._lag)
        self._heat: Any = 0.0 if breath is None else breath * HEAT_PER_CO2 / (seconds * wheels.exposed_m2)
        conduct = now.transfer + self._inner
        self.base_c = (now.transfer * now.celsius + self._inner * state.core_c + self._heat) / conduct
        """Of the surface, were no water to leave [degC]."""
        self.chill = drying.latent_heat(now.celsius) / (seconds * wheels.exposed_m2 * conduct)
        """Below that for each kilogram that leaves in the step [K/kg]."""

    def keep(self, surface: Array) -> None:
        """Make this the surface's temperature where the air is known, and let the core follow."""
        state = self._state
        state.surface_c = _known(self._now, surface, state.surface_c)
        state.core_c = (state.core_c + self._lag * state.surface_c) / (1.0 + self._lag)


def _with_free_water(face: rind_face.Face, lying: Array, film: Array) -> rind_face.Face:
    """The same surfaces, their free water given off within the step: it cools them, and damps the air beside them."""
    return dataclasses.replace(
        face,
        base_c=face.base_c - face.chill * lying,
        beside=face.beside + lying / np.maximum(film, _TINY),
    )


def _under_free_water(
    face: rind_face.Face, balance: _Balance, now: StepAir, wet: NDArray[np.bool_], exposed: Array
) -> rind_face.Face:
    """The same surfaces, with free water on the wet ones at the end of the step.

    It lies outside the wrap and alone meets the air, so it settles how warm the surface is; the rind stands in
    saturated air behind the wrap and takes from the water what the wrap lets through.
    """
    celsius = rind_face.settled_c(
        balance.base_c, balance.chill * exposed * now.film, 1.0, now.vapour_pa, balance.start_c
    )
    saturation = np.asarray(air.saturation_vapour_pressure(celsius))
    through = exposed / np.maximum(face.wheels.wrap, _TINY)
    return dataclasses.replace(
        face,
        conductance=np.where(wet, through, face.conductance),
        base_c=np.where(wet, celsius, face.base_c),
        chill=np.where(wet, 0.0, face.chill),
        beside=np.where(wet, saturation, face.beside),
    )


def _known(now: StepAir, fresh: Array, before: Array) -> Array:
    """The fresh value where the air is known, the one before elsewhere."""
    return fresh if now.present is None else np.where(now.present, fresh, before)


def _account(wheels: WheelArrays, state: TwinState, now: StepAir, left: Array, breath: Array | None) -> None:
    state.left_kg += left
    burnt: Any = 0.0
    if breath is not None:
        state.breathed_kg += breath * WATER_PER_CO2
        state.burnt_kg += breath * DRY_PER_CO2
        burnt = breath * (DRY_PER_CO2 - WATER_PER_CO2)
    seconds = now.seconds
    flux = left / (np.maximum(seconds, 1e-9) * wheels.exposed_m2)
    rate = (left + burnt) / np.maximum(seconds, 1e-9)
    # a plain mean over the first week, then an exponential one
    memory = np.minimum(LOSS_RATE_MEMORY_S, state.elapsed_s - state.gap_s + seconds)
    weight = seconds / np.maximum(memory, 1e-9)
    state.loss_rate += np.minimum(weight, 1.0) * (rate - state.loss_rate)
    state.flux = _known(now, flux, state.flux)
