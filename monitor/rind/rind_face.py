"""Moisture at the rind's very surface: where what comes up from inside equals what the air takes.

One equation a wheel, phi(X) + R K (a(X) p_sat - e) = phi_reached, rising with X throughout, so it has one root.
A rind may dry within one record from cheese to crust, over which a(X) bends sharply: the root is found, not
guessed from the slope before. That keeps moisture above zero and drier air from ever leaving more of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from monitor.rind.twin_wheels import WheelArrays

Array: TypeAlias = NDArray[np.float64]

DRIEST = 1e-6
"""Moisture below which the surface is not followed [kg/kg]."""
CLOSE = 3e-3
"""A last step of Newton by less than this share of the moisture errs by its square."""
ROUNDS = 80
"""Bisections that narrow any bracket to nothing."""


@dataclass
class Face:
    """The surfaces of all wheels in one step.

    Attributes
    ----------
    reached : phi of the first shell at the step's end, were nothing to leave [kg/kg]
    resistance : phi below it at the surface for each kilogram that leaves in the step [1/kg]
    conductance : water leaving in the step for each pascal [kg/Pa]
    saturation, beside : vapour pressure saturated at the surface, and of the air beside it [Pa]
    molality : salt in the cheese's water [mol/kg]
    """

    wheels: WheelArrays
    reached: Array
    resistance: Array
    conductance: Array
    saturation: Array
    beside: Any
    molality: Array

    def settle(self, start: Array) -> tuple[Array, Array]:
        """Moisture at the surface [kg/kg], and the water that leaves each wheel in the step [kg]."""
        moved, _, _ = self._newton(start, slice(None))
        face = np.clip(moved, np.maximum(start / 3.0, DRIEST), np.maximum(3.0 * start, DRIEST))
        moved, activity, slope = self._newton(face, slice(None))
        far = np.flatnonzero(np.abs(moved - face) > CLOSE * face)
        if far.size:
            face[far] = self._bracketed(face[far], far)
            moved[far], activity[far], slope[far] = self._newton(face[far], far)
        activity += slope * (moved - face)
        left = self.conductance * (activity * self.saturation - self.beside)
        # no more than there is, for relations that let a dry rind evaporate
        return np.maximum(moved, DRIEST), np.minimum(left, np.maximum(self.reached, 0.0) / self.resistance)

    def _newton(self, face: Array, where: NDArray[np.intp] | slice) -> tuple[Array, Array, Array]:
        """Where one step of Newton leads, and water activity and its slope at ``face``."""
        activity, slope = self.wheels.water_activity(face, self.molality[where], where)
        solver, saturation = self.wheels.solver, self.saturation[where]
        weight = self.resistance[where] * self.conductance[where]
        beside = self.beside[where] if np.ndim(self.beside) and np.size(self.beside) > 1 else self.beside
        excess = solver.potential(face, where) - self.reached[where]
        excess += weight * (activity * saturation - beside)
        rise = solver.potential_slope(face, where) + weight * saturation * slope
        return face - excess / rise, activity, slope

    def _bracketed(self, face: Array, far: NDArray[np.intp]) -> Array:
        """Newton kept within a bracket that halves (on a log scale) where it would leave it."""
        low, high = np.full(face.shape, DRIEST), np.full(face.shape, 100.0)
        for _ in range(ROUNDS):
            moved, _, _ = self._newton(face, far)
            up = moved > face
            low, high = np.where(up, face, low), np.where(up, high, face)
            inside = (moved > low) & (moved < high)
            after = np.where(inside, moved, np.sqrt(low * high))
            done = np.abs(after - face) <= 1e-6 * face
            face = after
            if np.all(done):
                break
        return face
