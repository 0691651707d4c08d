"""One implicit step of moisture through the shells of many wheels at once.

dX/dt = div(D grad phi), phi = X + b (X - X0)^2 / (2 X0): a diffusivity D (1 + b (X - X0)/X0) that falls as the
cheese dries. Backward Euler with phi linearised about the start of the step: first order in time, second in
depth, no limit on the step, and every kilogram that leaves a shell enters its neighbour.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]

BLOCK = 1024
"""Wheels worked on at a time: the working arrays of one block stay in a core's own cache."""


class ShellSolver:
    """Works on arrays of shape (shells, wheels), outermost shell first; keeps only its working space.

    Parameters
    ----------
    capacity : dry matter of each shell [kg]
    reach : conduction area over distance times dry density [kg/m], as `shells.ShellGrid.reach`
    start : initial moisture X0 by wheel [kg/kg]; slope : b by wheel, 0 <= b < 1 [-]
    """

    def __init__(self, capacity: Array, reach: Array, start: Array, slope: Array) -> None:
        self.capacity = capacity
        self.reach = reach
        # phi = X (p + q X), up to a constant that no flux feels; its slope is p + 2 q X
        self.p = 1.0 - slope
        self.q = 0.5 * slope / start
        shells, wheels = capacity.shape
        width = min(wheels, BLOCK)
        self._work = [np.empty((shells, width)) for _ in range(6)]
        self._line = np.empty(width)

    def potential(self, moisture: Array, where: slice = slice(None)) -> Array:
        """phi of a moisture [kg/kg]."""
        return moisture * (self.p[where] + self.q[where] * moisture)

    def potential_slope(self, moisture: Array, where: slice = slice(None)) -> Array:
        """d phi/dX, the diffusivity over its reference value [-]."""
        return self.p[where] + 2.0 * self.q[where] * moisture

    def step(
        self, moisture: Array, transport: Array, surface_slope: Array, surface_out: Array, gain: Array
    ) -> Array:
        """Advance moisture in place by one step and return the water that left each wheel [kg].

        Parameters
        ----------
        moisture : (shells, wheels) [kg/kg]
        transport : seconds times diffusivity, by wheel [m2]
        surface_out : water that would leave in the step were the first shell's phi unchanged [kg]
        surface_slope : its change per change of that phi [kg], 0 or more
        gain : water put into the first shell by the rind's own breathing [kg]
        """
        left = np.empty_like(surface_out)
        for start in range(0, moisture.shape[1], BLOCK):
            block = slice(start, min(start + BLOCK, moisture.shape[1]))
            left[block] = self._step_block(
                moisture[:, block],
                transport[block],
                surface_slope[block],
                surface_out[block],
                gain[block],
                block,
            )
        return left

    def _step_block(
        self, x: Array, transport: Array, slope: Array, out: Array, gain: Array, block: slice
    ) -> Array:
        width = x.shape[1]
        phi, d, c, diagonal, rhs, inverse = (w[:, :width] for w in self._work)
        line = self._line[:width]
        np.multiply(x, self.q[block], out=d)
        np.add(d, self.p[block], out=phi)
        d += phi
        phi *= x
        np.multiply(self.reach[:, block], transport, out=c)
        np.divide(self.capacity[:, block], d, out=diagonal)
        flow = inverse  # not needed yet: lend it for the fluxes
        np.subtract(phi[1:], phi[:-1], out=flow[1:])
        flow[1:] *= c[1:]
        flow[0] = out - gain
        np.negative(flow, out=rhs)
        rhs[:-1] += flow[1:]
        c[0] = slope
        diagonal += c
        diagonal[:-1] += c[1:]
        z = self._solve(c, diagonal, rhs, inverse, line)
        left = slope * z[0]
        left += out
        z /= d
        x += z
        return left

    @staticmethod
    def _solve(c: Array, diagonal: Array, rhs: Array, inverse: Array, line: Array) -> Array:
        """Symmetric tridiagonal solve (Thomas 1949), from the core out and back in; the result is in ``rhs``."""
        last = c.shape[0] - 1
        for i in range(last, 0, -1):
            np.divide(1.0, diagonal[i], out=inverse[i])
            rhs[i] *= inverse[i]
            np.multiply(c[i], inverse[i], out=inverse[i])
            np.multiply(c[i], rhs[i], out=line)
            rhs[i - 1] += line
            np.multiply(c[i], inverse[i], out=line)
            diagonal[i - 1] -= line
        rhs[0] /= diagonal[0]
        for i in range(1, last + 1):
            np.multiply(inverse[i], rhs[i - 1], out=line)
            rhs[i] += line
        return rhs
