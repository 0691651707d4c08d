"""One step of the rind twin: surface temperature, then moisture, then free water, for all wheels at once.

A step of length zero (a wheel whose air is not known) leaves that wheel's state exactly as it was.
"""

from __future__ import annotations

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
    activity, _ = wheels.water_activity(state.face_moisture, molality)
    vapour = drying.through_wrap(now.film, wheels.wrap)
    breath = _breath(wheels, state, now)
    balance = _Balance(wheels, state, now, breath)
    surface, saturation = balance.settle(vapour, activity)
    wet = (state.film_kg > 0.0) | (now.vapour_pa > saturation)
    conductance = now.seconds * wheels.exposed_m2 * vapour
    gain = np.zeros(wheels.count) if breath is None else breath * WATER_PER_CO2
    met = np.zeros(wheels.count)
    beside: Any = now.vapour_pa  # the vapour pressure that the rind itself meets
    if np.any(wet):
        # free water lies outside the wrap: the air trades with it, and the rind stands in saturated air
        shared = 1.0 - vapour / now.film * (1.0 - activity)
        surface, saturation = balance.settle(np.where(wet, now.film, vapour), np.where(wet, shared, activity))
        drunk, met, dry_share = _free_water(wheels, state, now, saturation, wet)
        beside = saturation + dry_share * (now.vapour_pa - saturation)
        gain = gain + drunk
    balance.keep(surface)
    left = _moisture(wheels, state, now, conductance, saturation, beside, molality, gain)
    _account(wheels, state, now, left + met, breath)


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
    """Temperatures of one step: settle the surface as often as needed, then keep it and let the core follow."""

    def __init__(self, wheels: WheelArrays, state: TwinState, now: StepAir, breath: Array | None) -> None:
        self._state, self._now = state, now
        self._lag = now.seconds * wheels.exposed_m2 * wheels.inner_transfer / wheels.heat_capacity
        self._inner = wheels.inner_transfer / (1.0 + self._lag)
        self._heat: Any = 0.0
        if breath is not None:
            self._heat = breath * HEAT_PER_CO2 / (np.maximum(now.seconds, 1e-9) * wheels.exposed_m2)

    def settle(self, vapour: Any, activity: Any) -> tuple[Array, Array]:
        """Temperature [degC] and saturation pressure [Pa] of the surface."""
        return drying.surface_balance(
            self._now.celsius,
            self._now.vapour_pa,
            activity,
            self._now.transfer,
            vapour,
            heat_gain=self._heat,
            inner_transfer=self._inner,
            inner_temperature_c=self._state.core_c,
            start_c=self._state.surface_c,
            rounds=2,
        )

    def keep(self, surface: Array) -> None:
        """Make this the surface's temperature where the air is known."""
        state, present = self._state, self._now.present
        state.surface_c = surface if present is None else np.where(present, surface, state.surface_c)
        state.core_c = (state.core_c + self._lag * state.surface_c) / (1.0 + self._lag)


def _free_water(
    wheels: WheelArrays, state: TwinState, now: StepAir, saturation: Array, wet: NDArray[np.bool_]
) -> tuple[Array, Array, Array]:
    """Free water on wet wheels: what the rind drinks [kg], what the air takes (negative: gives) [kg], and the
    share of the step in which the rind itself meets the air, its water having gone before the end [-].

    The rind drinks until its surface is as moist as the fresh cheese was (assumed, no source).
    """
    could = now.seconds * wheels.exposed_m2 * now.film * (saturation - now.vapour_pa)
    met = np.where(wet, np.minimum(could, state.film_kg), 0.0)
    early = wet & (could > state.film_kg)
    dry_share = np.where(early, 1.0 - state.film_kg / np.where(early, could, 1.0), np.where(wet, 0.0, 1.0))
    film = state.film_kg - met
    first, full = state.moisture[0], np.maximum(wheels.start_moisture, state.face_moisture)
    pull = transport(wheels, state.core_c, now.seconds) * wheels.reach[0]
    wanted = pull * (wheels.solver.potential(full) - wheels.solver.potential(first))
    room = wheels.capacity[0] * (full - first)
    drunk = np.where(wet, np.clip(np.minimum(wanted, room), 0.0, film), 0.0)
    state.film_kg = film - drunk
    return drunk, met, dry_share


def _moisture(
    wheels: WheelArrays,
    state: TwinState,
    now: StepAir,
    conductance: Array,
    saturation: Array,
    beside: Any,
    molality: Array,
    gain: Array,
) -> Array:
    """Move moisture through the shells and return the water that left the rind for the air [kg]."""
    carried = transport(wheels, state.core_c, now.seconds)
    reached, stiffness = wheels.solver.sweep(state.moisture, carried, gain)
    resistance = 1.0 / (carried * wheels.reach[0] + _TINY) + 1.0 / stiffness
    face = rind_face.Face(wheels, reached, resistance, conductance, saturation, beside, molality)
    moisture, left = face.settle(state.face_moisture)
    wheels.solver.finish(state.moisture, left)
    state.face_moisture = (
        moisture if now.present is None else np.where(now.present, moisture, state.face_moisture)
    )
    return left


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
    state.flux = flux if now.present is None else np.where(now.present, flux, state.flux)
