"""The rind's very surface: moisture and temperature at which what comes up from inside equals what the air takes.

Two equations a wheel, of its moisture X and temperature T:

    phi(X) + R K (a(X) p_sat(T) - e) = phi_reached        water: from inside, through the wrap, to the air
    T + c K (a(X) p_sat(T) - e) = T_base                  heat: evaporating cools the surface

Both are solved at once, at the end of the step: a surface cooled by more, or less, than the water that truly left
would let drier air end in a heavier wheel. T follows X, and the first equation rises with X throughout, so there is
one root. A rind may dry within one record from cheese to crust, over which a(X) bends sharply: the root is found,
not guessed from the slope before. That keeps moisture above zero.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from monitor import air
from monitor.rind.drying import GAS_CONSTANT_VAPOUR
from monitor.rind.twin_wheels import WheelArrays

Array: TypeAlias = NDArray[np.float64]
Which: TypeAlias = NDArray[np.intp] | slice

DRIEST = 1e-6
"""Moisture below which the surface is not followed [kg/kg]."""
CLOSE = 3e-3
"""A last step of Newton by less than this share of the moisture errs by its square."""
CLOSE_K = 0.03
"""The same of the temperature [K]."""
ROUNDS = 80
"""Bisections that narrow any bracket to nothing."""
HEAT_OF_EVAPORATION = 2.475e6
"""For the direction of Newton's step only [J/kg]."""


class Settled(NamedTuple):
    """What a surface came to: moisture [kg/kg], water gone in the step [kg], temperature [degC], p_sat there [Pa]."""

    moisture: Array
    left_kg: Array
    surface_c: Array
    saturation_pa: Array


@dataclass
class Face:
    """The surfaces of all wheels in one step.

    Attributes
    ----------
    reached : phi of the first shell at the step's end, were nothing to leave [kg/kg]
    resistance : phi below it at the surface for each kilogram that leaves in the step [1/kg]
    conductance : water leaving in the step for each pascal [kg/Pa]
    base_c : temperature of the surface, were nothing to leave [degC]
    chill : below that for each kilogram that leaves in the step [K/kg]
    beside : vapour pressure of the air [Pa]
    molality : salt in the cheese's water [mol/kg]
    """

    wheels: WheelArrays
    reached: Array
    resistance: Array
    conductance: Array
    base_c: Array
    chill: Array
    beside: Any
    molality: Array

    def settle(self, start: Array, start_c: Array) -> Settled:
        """Moisture and temperature of the surfaces, and what leaves, from those at the step's start."""
        every = slice(None)
        moved, moved_c, _, _ = self._newton(start, start_c, every)
        face = np.clip(moved, np.maximum(start / 3.0, DRIEST), np.maximum(3.0 * start, DRIEST))
        celsius = _possible(moved_c)
        moved, moved_c, pressure, saturation = self._newton(face, celsius, every)
        far = np.flatnonzero((np.abs(moved - face) > CLOSE * face) | (np.abs(moved_c - celsius) > CLOSE_K))
        if far.size:
            face[far], celsius[far] = self._bracketed(face[far], far)
            moved[far], moved_c[far], pressure[far], saturation[far] = self._newton(
                face[far], celsius[far], far
            )
        # no more than there is, for relations that let a dry rind evaporate
        left = np.minimum(
            self.conductance * (pressure - self.beside), np.maximum(self.reached, 0.0) / self.resistance
        )
        return Settled(
            np.maximum(moved, DRIEST), left, _possible(self.base_c - self.chill * left), saturation
        )

    def _newton(self, face: Array, celsius: Array, where: Which) -> tuple[Array, Array, Array, Array]:
        """Where one step of Newton in both leads [kg/kg], [degC], and vapour pressure of the surface and saturated
        there [Pa]."""
        activity, slope = self.wheels.water_activity(face, self.molality[where], where)
        solver, conductance = self.wheels.solver, self.conductance[where]
        saturation, steep = _saturation(celsius)
        lack = activity * saturation - self._beside(where)
        chill = conductance * self.chill[where]
        weight = self.resistance[where] * conductance
        # heat: (1 + chill a p') dT = -heat - chill a' p dX
        warm = activity * steep
        heat = celsius - self.base_c[where] + chill * lack
        held = 1.0 / (1.0 + chill * warm)
        wetter = slope * saturation
        excess = solver.potential(face, where) - self.reached[where] + weight * (lack - warm * heat * held)
        rise = solver.potential_slope(face, where) + weight * wetter * held
        change = -excess / rise
        change_c = -(heat + chill * wetter * change) * held
        pressure = activity * saturation + wetter * change + warm * change_c
        return face + change, celsius + change_c, pressure, saturation + steep * change_c

    def _bracketed(self, face: Array, far: NDArray[np.intp]) -> tuple[Array, Array]:
        """Newton kept within a bracket that halves (on a log scale) where it would leave it."""
        low, high = np.full(face.shape, DRIEST), np.full(face.shape, 100.0)
        celsius = self._temperature(face, self.base_c[far], far)
        for _ in range(ROUNDS):
            moved = self._newton(face, celsius, far)[0]
            up = moved > face
            low, high = np.where(up, face, low), np.where(up, high, face)
            inside = (moved > low) & (moved < high)
            after = np.where(inside, moved, np.sqrt(low * high))
            done = np.abs(after - face) <= 1e-6 * face
            face = after
            celsius = self._temperature(face, celsius, far)
            if np.all(done):
                break
        return face, celsius

    def _temperature(self, face: Array, celsius: Array, where: NDArray[np.intp]) -> Array:
        """Of surfaces as moist as this [degC]."""
        activity, _ = self.wheels.water_activity(face, self.molality[where], where)
        chill = self.conductance[where] * self.chill[where]
        return settled_c(self.base_c[where], chill, activity, self._beside(where), celsius)

    def _beside(self, where: Which) -> Any:
        return self.beside[where] if np.ndim(self.beside) and np.size(self.beside) > 1 else self.beside


def settled_c(base_c: Array, chill: Array, activity: Any, beside: Any, start_c: Array) -> Array:
    """Temperature of surfaces of this water activity [degC]: T + chill (a p_sat(T) - e) = base_c, by Newton.

    Parameters
    ----------
    base_c, start_c : [degC]; chill : [K/Pa]; activity : [-]; beside : e [Pa]
    """
    celsius = _possible(start_c)
    for _ in range(6):
        saturation, steep = _saturation(celsius)
        heat = celsius - base_c + chill * (activity * saturation - beside)
        celsius = _possible(celsius - heat / (1.0 + chill * activity * steep))
    return celsius


def _possible(celsius: Array) -> Array:
    return np.clip(celsius, -39.9, 59.9)


def _saturation(celsius: Array) -> tuple[Array, Array]:
    """Saturation pressure [Pa] and its slope by Clausius and Clapeyron, near enough for a direction [Pa/K]."""
    saturation = np.asarray(air.saturation_vapour_pressure(celsius))
    kelvin = celsius + air.ZERO_CELSIUS_K
    return saturation, saturation * (HEAT_OF_EVAPORATION / GAS_CONSTANT_VAPOUR) / (kelvin * kelvin)
