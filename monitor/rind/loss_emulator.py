"""Weight loss as a quick function of what is not known of a rind, learnt from one run of many twins.

Wrap, diffusivity and humidity bias are laid out on a grid of Chebyshev points; every point is a wheel of one
twin, so a wheel's whole history under all of them is one replay. Between the points the loss is the
interpolating polynomial: within 0.5 % of the twin itself, 3 % over the widest prior (tests/rind/test_fitting.py).
"""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from monitor.errors import PhysicsError
from monitor.rind.presets import RindParameters
from monitor.rind.replay import AirSeries, replay
from monitor.rind.twin import Twin

Array: TypeAlias = NDArray[np.float64]

DIMENSIONS = 5
"""Unknowns of a style in a place: wrap, diffusivity, humidity bias, how much wheels differ, and how rinds age."""
POINTS = (9, 7, 4)
"""Grid points for wrap, diffusivity and humidity bias; the loss is nearly straight in the last."""
AGED_FROM_S = 60 * 86_400.0
"""Age at which a rind is as the style's values have it [s]."""
REACH = 3.0
"""How far the grid goes, in standard deviations of the prior; beyond it the prior is taken as zero."""


@dataclass(frozen=True)
class Prior:
    """What is held of a style and a place before any wheel is weighed.

    Wrap and diffusivity are log-normal about the style's values, the humidity sensor's bias is normal about 0.

    Attributes
    ----------
    log_wrap, log_diffusivity : standard deviation of the natural logarithm [-]; Van Slyke's table leaves 0.37 and
        0.78 for the cloth-bound rind, and makers differ more than his cheeses did; see `of` for other rinds
    rh_bias_pct : standard deviation [% RH]; data sheets give 1.5-3 for sensors of this kind
    wheel_scatter : how much wheels of one style differ in loss, as a fraction, with its own doubt ``log_scatter``, a
        standard deviation of the natural logarithm (assumed, no source; the weighings of several wheels settle it) [-]
    wander : how far a wheel's pace strays for two months at a time, as a fraction (assumed, no source) [-]
    rh_wander_pct : how far the humidity at a shelf strays so from what its sensor says (assumed, no source) [% RH]
    ageing : standard deviation of the power of age by which loss departs from the twin's, since a wrap is not the
        same all its life (assumed, no source) [-]
    first_mass_kg : doubt about the mass at the start [kg]
    """

    log_wrap: float = 0.5
    log_diffusivity: float = 0.7
    rh_bias_pct: float = 2.0
    wheel_scatter: float = 0.05
    log_scatter: float = 0.7
    wander: float = 0.06
    rh_wander_pct: float = 1.0
    ageing: float = 0.06
    first_mass_kg: float = 0.0

    def __post_init__(self) -> None:
        for field in dataclasses.fields(self):
            name, value = field.name, getattr(self, field.name)
            if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0.0 <= value < 10.0:
                raise PhysicsError(f"prior {name} {value!r}: 0 to 10 is expected")

    @classmethod
    def of(cls, rind: str) -> Prior:
        """What is held of a kind of rind.

        Without cloth, published losses ask for wraps from 1.5e8 (Camembert) to 1e9 Pa m2 s/kg (blue; both Thom &
        Fisk 1918), ln 1.9 apart, and none is published for the other rinds: ln sd 1.
        """
        return cls() if rind == "cloth-bound" else cls(log_wrap=1.0)

    def scatter(self, z: Array) -> Array:
        """How much wheels differ in loss, as a fraction, by draw; z in standard deviations, (draws, 5) [-]."""
        return np.asarray(self.wheel_scatter * np.exp(self.log_scatter * np.clip(z[:, 3], -REACH, REACH)))

    def apply(self, base: RindParameters, z: Array) -> RindParameters:
        """The parameters at a point of the grid, z in standard deviations."""
        return base.with_values(
            {
                "wrap_resistance": base.wrap_resistance * float(np.exp(self.log_wrap * z[0])),
                "diffusivity_m2_s": base.diffusivity_m2_s * float(np.exp(self.log_diffusivity * z[1])),
            }
        )


class LossEmulator:
    """Loss of one wheel at some times, for any (wrap, diffusivity, humidity bias).

    Parameters
    ----------
    base : the wheel as the style has it
    series : the air it has lived in, from its start, one place
    at_s : times after the start [s]; the air must reach to the last

    Attributes
    ----------
    unseen_kg : loss that gaps in the air may hide, expected, by time [kg]

    Raises
    ------
    PhysicsError : a time before the start or after the air's end, or impossible air.
    """

    def __init__(
        self, base: RindParameters, series: AirSeries, at_s: Array, prior: Prior, *, shells: int = 24
    ) -> None:
        self.prior = prior
        self.at_s = np.atleast_1d(np.asarray(at_s, dtype=np.float64))
        ends = np.concatenate([[0.0], series.ends_s])
        if self.at_s.size and not (self.at_s.min() >= 0.0 and self.at_s.max() <= ends[-1] * (1.0 + 1e-9)):
            raise PhysicsError(
                f"the air reaches from 0 to {ends[-1] / 86_400:.2f} days after the start, but loss is asked at "
                f"{self.at_s.min() / 86_400:.2f} to {self.at_s.max() / 86_400:.2f}"
            )
        axes = [REACH * chebyshev.chebpts1(n) for n in POINTS]
        grid = np.stack([a.ravel() for a in np.meshgrid(*axes, indexing="ij")], axis=1)
        loss, self.unseen_kg = self._run(base, series, ends, prior, grid, shells)
        tensor = loss.reshape(*POINTS, self.at_s.size)
        for axis, points in enumerate(POINTS):
            inverse = np.linalg.inv(chebyshev.chebvander(chebyshev.chebpts1(points), points - 1))
            tensor = np.moveaxis(np.tensordot(inverse, tensor, axes=(1, axis)), 0, axis)
        self._coefficients = tensor.reshape(POINTS[0], -1)

    def _run(
        self, base: RindParameters, series: AirSeries, ends: Array, prior: Prior, grid: Array, shells: int
    ) -> tuple[Array, Array]:
        """Loss (points, times) and hidden loss (times) [kg], straight between the ends of records."""
        start = series.temperature_c[np.isfinite(series.temperature_c)]
        twin = Twin(
            [prior.apply(base, z) for z in grid],
            shells=shells,
            start_temperature_c=float(start[0]) if start.size else 12.0,
            longest_step_s=86_400.0,
        )
        after = np.clip(np.searchsorted(ends, self.at_s, side="left"), 1, len(ends) - 1)
        keep = np.unique(np.concatenate([after - 1, after - 2]))
        keep = keep[keep >= 0]
        bias = prior.rh_bias_pct * grid[:, 2]
        biased = np.clip(np.asarray(series.rh_pct)[:, None] - bias, 0.0, 100.0)
        temperature = np.repeat(np.asarray(series.temperature_c)[:, None], len(grid), axis=1)
        seen = replay(
            twin, AirSeries(series.seconds, temperature, biased, series.air_speed_m_s), None, keep=keep
        )
        at = np.concatenate([[0.0], seen.at_s])
        zero = np.zeros((1, len(grid)))
        loss, unseen = np.vstack([zero, seen.loss_kg]), np.vstack([zero, seen.unseen_kg])
        high = np.searchsorted(at, ends[after])
        low = np.searchsorted(at, ends[after - 1])
        share = ((self.at_s - at[low]) / (at[high] - at[low]))[:, None]
        return (
            (loss[low] + share * (loss[high] - loss[low])).T,
            (unseen[low] + share * (unseen[high] - unseen[low])).mean(axis=1),
        )

    def at(self, times: Sequence[int]) -> LossEmulator:
        """The same for some of its times, by number."""
        chosen, which = copy.copy(self), list(times)
        chosen.at_s, chosen.unseen_kg = self.at_s[which], self.unseen_kg[which]
        by_time = self._coefficients.reshape(-1, self.at_s.size)[:, which]
        chosen._coefficients = by_time.reshape(POINTS[0], -1)
        return chosen

    def loss_kg(self, z: Array) -> Array:
        """Loss at points z (points, 3 or more) in standard deviations of the prior, by time: (points, times) [kg]."""
        return self.loss_and_slope(z)[0]

    def loss_and_slope(self, z: Array) -> tuple[Array, Array]:
        """Loss as `loss_kg`, and how much more it were in air drier by 1 % RH: [kg], [kg/%]."""
        scaled = np.clip(z[:, :3] / REACH, -1.0, 1.0)
        basis = [chebyshev.chebvander(scaled[:, k], POINTS[k] - 1) for k in range(3)]
        times = self.at_s.size
        first = (basis[0] @ self._coefficients).reshape(-1, POINTS[1], POINTS[2] * times)
        second = np.einsum("sj,sjk->sk", basis[1], first).reshape(-1, POINTS[2], times)
        rise = self._slopes(scaled[:, 2])
        loss, by_rh = (np.einsum("sj,sjk->sk", part, second) for part in (basis[2], rise))
        aged = self.aged(z)
        return loss * aged, by_rh * aged

    def aged(self, z: Array) -> Array:
        """Loss over the twin's own, as rinds close or open with age: (points, times) [-]; 1 where z has no age."""
        if z.shape[1] < DIMENSIONS:
            return np.ones((1, 1))
        log_age = np.log(np.maximum(self.at_s, 86_400.0) / AGED_FROM_S)
        return np.asarray(np.exp(self.prior.ageing * np.clip(z[:, 4:5], -REACH, REACH) * log_age))

    def _slopes(self, scaled: Array) -> Array:
        """Of each Chebyshev polynomial of the humidity bias, by 1 % RH."""
        count = POINTS[2]
        rise = chebyshev.chebder(np.eye(count), axis=0)
        width = REACH * self.prior.rh_bias_pct
        return (
            chebyshev.chebvander(scaled, count - 2) @ rise / width
            if width
            else np.zeros((scaled.size, count))
        )
