"""One implicit step of moisture through the shells of many wheels at once.

dX/dt = div(D grad phi), phi = X + b (X - X0)^2 / (2 X0): a diffusivity D (1 + b (X - X0)/X0) that falls as the
cheese dries. Backward Euler with phi linearised about the start of the step: first order in time, second in
depth, and every kilogram that leaves a shell enters its neighbour. The sweep runs from the core to the surface,
so that the surface, far from linear, is left as one equation a wheel: `twin_step` solves it as it stands.
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
        self._work = [np.empty((shells, width)) for _ in range(2)]
        self._line = np.empty(width)
        # kept from `sweep` to `finish`: changes of phi, how they follow the shell outside, and the slope of phi
        self._change, self._follow, self._slope = (np.empty((shells, wheels)) for _ in range(3))
        self._stiffness = np.empty(wheels)

    def potential(self, moisture: Array, where: NDArray[np.intp] | slice = slice(None)) -> Array:
        """phi of a moisture [kg/kg]."""
        return moisture * (self.p[where] + self.q[where] * moisture)

    def potential_slope(self, moisture: Array, where: NDArray[np.intp] | slice = slice(None)) -> Array:
        """d phi/dX, the diffusivity over its reference value [-]."""
        return self.p[where] + 2.0 * self.q[where] * moisture

    def sweep(self, moisture: Array, transport: Array, gain: Array) -> tuple[Array, Array]:
        """Begin a step: gather all shells into the first one, whatever is to leave it.

        At the end of the step phi of the first shell is ``reached - left/stiffness``.

        Parameters
        ----------
        moisture : (shells, wheels) [kg/kg]
        transport : seconds times diffusivity, by wheel [m2]
        gain : water put into the first shell [kg]

        Returns
        -------
        (reached [kg/kg], stiffness [kg])
        """
        for start in range(0, moisture.shape[1], BLOCK):
            block = slice(start, min(start + BLOCK, moisture.shape[1]))
            self._sweep_block(moisture[:, block], transport[block], gain[block], block)
        return self.potential(moisture[0]) + self._change[0], self._stiffness

    def finish(self, moisture: Array, left: Array) -> None:
        """End the step that `sweep` began, in place: ``left`` [kg] leaves the first shell of each wheel."""
        for start in range(0, moisture.shape[1], BLOCK):
            block = slice(start, min(start + BLOCK, moisture.shape[1]))
            z, follow = self._change[:, block], self._follow[:, block]
            line = self._line[: z.shape[1]]
            z[0] -= left[block] / self._stiffness[block]
            for i in range(1, z.shape[0]):
                np.multiply(follow[i], z[i - 1], out=line)
                z[i] += line
            z /= self._slope[:, block]
            moisture[:, block] += z

    def _sweep_block(self, x: Array, transport: Array, gain: Array, block: slice) -> None:
        width = x.shape[1]
        c, diagonal = (w[:, :width] for w in self._work)
        line = self._line[:width]
        rhs, follow, d = (kept[:, block] for kept in (self._change, self._follow, self._slope))
        phi, flow = diagonal, follow  # not needed yet: lent for the potential and the fluxes
        np.multiply(x, self.q[block], out=d)
        np.add(d, self.p[block], out=phi)
        d += phi
        phi *= x
        np.multiply(self.reach[:, block], transport, out=c)
        np.subtract(phi[1:], phi[:-1], out=flow[1:])
        flow[1:] *= c[1:]
        np.negative(flow, out=rhs)
        rhs[0] = gain
        rhs[:-1] += flow[1:]
        np.divide(self.capacity[:, block], d, out=diagonal)
        diagonal[1:] += c[1:]
        diagonal[:-1] += c[1:]
        self._eliminate(c, diagonal, rhs, follow, line)
        self._stiffness[block] = diagonal[0]

    @staticmethod
    def _eliminate(c: Array, diagonal: Array, rhs: Array, follow: Array, line: Array) -> None:
        """Symmetric tridiagonal elimination (Thomas 1949) from the core out; the way back is in `finish`."""
        for i in range(c.shape[0] - 1, 0, -1):
            np.divide(1.0, diagonal[i], out=line)
            rhs[i] *= line
            np.multiply(c[i], line, out=follow[i])
            np.multiply(c[i], rhs[i], out=line)
            rhs[i - 1] += line
            np.multiply(c[i], follow[i], out=line)
            diagonal[i - 1] -= line
        rhs[0] /= diagonal[0]
