"""A style's rind learnt from weighings: a Bayesian update, and a forecast of mass with its doubt.

>>> from monitor.rind.fitting import Case, Weighing, fit_weighings
>>> case = Case(parameters, air, (Weighing(30 * 86_400, 24.71), Weighing(61 * 86_400, 24.46)))  # doctest: +SKIP
>>> fit_weighings([case]).forecast(case, [180 * 86_400]).mass_kg  # doctest: +SKIP

Of a style in a place its wrap, its diffusivity, the humidity sensor's error, how much its wheels differ and how its
rind ages are not known; the dairy's earlier wheels teach all five. Each wheel is a little particular besides: more or
less loss throughout, a pace that strays for months, doubt about its first mass, loss hidden by gaps in the air.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from monitor.errors import PhysicsError
from monitor.rind.loss_emulator import DIMENSIONS, REACH, LossEmulator, Prior
from monitor.rind.presets import RindParameters
from monitor.rind.replay import AirSeries
from monitor.rind.sampling import draw_posterior

Array: TypeAlias = NDArray[np.float64]

DRAWS = 2000
GAP_SPREAD = 2.0 / np.sqrt(12.0)
"""Loss hidden in a gap lies evenly between none and twice the expected (assumed): its spread over the expected."""
WANDER_S = 60 * 86_400.0
"""How long a wheel's pace stays off before it is off by something else (assumed)."""
HARDLY = 1e-3
"""Weighings as far from what is held beforehand as less than this share of true wheels would be are called out."""


@dataclass(frozen=True)
class Weighing:
    """A wheel on the scale: seconds after its twin's start [s], mass and its standard uncertainty [kg]."""

    at_s: float
    mass_kg: float
    sigma_kg: float = 0.005

    def __post_init__(self) -> None:
        if not (_number(self.at_s) and self.at_s >= 0.0):
            raise PhysicsError(f"a weighing at {self.at_s!r} s: a time from the twin's start on is expected")
        known = _number(self.mass_kg) and _number(self.sigma_kg)
        if not known or not 0.0 < self.mass_kg <= 500.0 or not 0.0 < self.sigma_kg <= self.mass_kg:
            raise PhysicsError(f"a weighing of {self.mass_kg!r} kg +- {self.sigma_kg!r} is impossible")


@dataclass(frozen=True)
class Case:
    """One wheel: as the style has it, the air it lived in from its twin's start, and its weighings."""

    parameters: RindParameters
    air: AirSeries
    weighings: tuple[Weighing, ...] = ()


@dataclass(frozen=True)
class Forecast:
    """Mass and loss of a wheel with a central interval, by time.

    Attributes
    ----------
    at_s : after the twin's start [s]
    mass_kg, mass_low_kg, mass_high_kg : median and interval [kg]; loss_kg and its interval alike
    level : share of the interval, as 0.9 [-]
    weighings : how many stand behind it, of this wheel and others of its style
    note : what to say with it
    """

    at_s: Array
    mass_kg: Array
    mass_low_kg: Array
    mass_high_kg: Array
    loss_kg: Array
    loss_low_kg: Array
    loss_high_kg: Array
    level: float
    weighings: int
    note: str


@dataclass(frozen=True)
class RindFit:
    """What weighings have taught of a style in a place.

    Attributes
    ----------
    z : equally likely draws of (wrap, diffusivity, humidity bias, wheels' scatter, ageing) in standard deviations
        of the prior, (draws, 5)
    prior : what was held before; weighings : how many there were; cases : the wheels weighed
    chance : share of wheels as the prior has them whose weighings would lie as far from it as these, or farther [-]
    """

    z: Array
    prior: Prior
    weighings: int
    cases: tuple[Case, ...]
    seed: int
    chance: float = 1.0

    @property
    def wrap_factor(self) -> tuple[float, float, float]:
        """Wrap over the style's: 5 %, median, 95 % [-]."""
        return _three(np.exp(self.prior.log_wrap * self.z[:, 0]))

    @property
    def diffusivity_factor(self) -> tuple[float, float, float]:
        """Diffusivity over the style's: 5 %, median, 95 % [-]."""
        return _three(np.exp(self.prior.log_diffusivity * self.z[:, 1]))

    @property
    def rh_bias_pct(self) -> tuple[float, float, float]:
        """How much too high the humidity sensor reads: 5 %, median, 95 % [% RH]."""
        return _three(self.prior.rh_bias_pct * self.z[:, 2])

    def parameters(self, base: RindParameters) -> RindParameters:
        """A wheel of the style with wrap and diffusivity as learnt (medians)."""
        return self.prior.apply(base, np.median(self.z, axis=0))

    def forecast(self, case: Case, at_s: Sequence[float] | Array, level: float = 0.9) -> Forecast:
        """Mass of a wheel at some times, in the air of its case (measured, then expected: `AirSeries.then`).

        A wheel's own weighings count for what is particular to it, also when it is not among ``cases``.

        Raises
        ------
        PhysicsError : a time that the air does not reach, or a level outside 0.01..0.999.
        """
        if not 0.01 <= level <= 0.999:
            raise PhysicsError(f"level {level!r}: expected 0.01 to 0.999")
        wanted = np.atleast_1d(np.asarray(at_s, dtype=np.float64))
        own = np.array([w.at_s for w in case.weighings])
        emulator = LossEmulator(case.parameters, case.air, np.concatenate([own, wanted]), self.prior)
        return self.forecast_from(_Wheel(case, emulator), wanted, level)

    def forecast_from(self, wheel: _Wheel, wanted: Array, level: float) -> Forecast:
        """As `forecast`, for a wheel whose emulator already covers its weighings and then the wanted times."""
        generator = np.random.default_rng(self.seed + 1)
        nuisance = wheel.draw_nuisance(self.z, self.prior, generator)
        mass = wheel.mass(self.z, self.prior, nuisance)[:, len(wheel.case.weighings) :]
        tails = [0.5 - 0.5 * level, 0.5, 0.5 + 0.5 * level]
        low, middle, high = np.quantile(mass, tails, axis=0)
        first = wheel.case.parameters.mass_kg
        loss = first - middle, first - high, first - low
        return Forecast(wanted, middle, low, high, *loss, level, self.weighings, self._note(wheel))

    def _note(self, wheel: _Wheel) -> str:
        parts = []
        if self.weighings == 0:
            parts.append("no weighing yet: the interval is what is held of the style beforehand, and wide")
        if self.chance < HARDLY:
            parts.append(
                "the weighings hardly fit this rind in this air: check the scale, the first mass and the wheel's "
                "moves before trusting this"
            )
        hidden = float(wheel.emulator.unseen_kg.max(initial=0.0))
        if hidden > 0.0:
            parts.append(f"gaps in the air widen it: they may hide about {1000.0 * hidden:.0f} g of loss")
        return "; ".join(parts) or f"from {self.weighings} weighing{'s' if self.weighings != 1 else ''}"


class _Wheel:
    """One wheel's mass by parameters, and what is particular to it: scatter, first mass, loss hidden in gaps."""

    def __init__(self, case: Case, emulator: LossEmulator) -> None:
        self.case = case
        self.emulator = emulator
        self.count = len(case.weighings)
        self.sigma = np.array([w.sigma_kg for w in case.weighings])
        self.seen = np.array([w.mass_kg for w in case.weighings])

    def columns(self, z: Array, loss: Array, by_rh: Array, prior: Prior) -> Array:
        """Change of mass by one standard deviation of each particular: (draws, times, particulars) [kg].

        The particulars are the wheel's scatter, its first mass, loss hidden in gaps, and how far its pace has
        wandered in each interval between the times (weighings and forecasts).
        """
        hidden = np.broadcast_to(-GAP_SPREAD * self.emulator.unseen_kg, loss.shape)
        first = np.full(loss.shape, prior.first_mass_kg)
        scatter = prior.scatter(z)[:, None] * loss
        own = np.stack([-scatter, first, hidden], axis=2)
        off = (prior.wander * loss, prior.rh_wander_pct * by_rh)
        return np.concatenate([own, -wandered(off, self.emulator.at_s)], axis=2)

    def _plain(self, loss: Array) -> Array:
        return self.case.parameters.mass_kg - loss - self.emulator.unseen_kg

    def _seen(self, z: Array, prior: Prior) -> tuple[Array, Array]:
        """Misfit of the weighings and what each particular does to them, both over the scale's doubt."""
        loss, by_rh = self.emulator.loss_and_slope(z)
        misfit = (self.seen - self._plain(loss)[:, : self.count]) / self.sigma
        return misfit, self.columns(z, loss, by_rh, prior)[:, : self.count] / self.sigma[:, None]

    def misfit(self, z: Array, prior: Prior) -> tuple[Array, Array]:
        """Squared misfit of this wheel's weighings where what is particular to it takes up most, its own squared
        size included; and the log of how far that was narrowed down."""
        misfit, columns = self._seen(z, prior)
        spread = np.eye(self.count) + columns @ columns.transpose(0, 2, 1)
        explained = np.linalg.solve(spread, misfit[..., None])[..., 0]
        return np.einsum("st,st->s", misfit, explained), np.linalg.slogdet(spread)[1]

    def log_likelihood(self, z: Array, prior: Prior) -> Array:
        """Of this wheel's weighings, with what is particular to it integrated out."""
        square, narrowed = self.misfit(z, prior)
        return -0.5 * (square + narrowed)

    def draw_nuisance(self, z: Array, prior: Prior, generator: np.random.Generator) -> Array:
        """Draws of what is particular to this wheel, given each draw of the style, (draws, particulars)."""
        misfit, columns = self._seen(z, prior)
        turned = columns.transpose(0, 2, 1)
        precision = np.eye(columns.shape[2]) + turned @ columns
        mean = np.linalg.solve(precision, turned @ misfit[..., None])[..., 0]
        root = np.linalg.cholesky(np.linalg.inv(precision))
        return np.asarray(mean + np.einsum("sij,sj->si", root, generator.standard_normal(mean.shape)))

    def mass(self, z: Array, prior: Prior, nuisance: Array) -> Array:
        """Mass by draw and time [kg]."""
        loss, by_rh = self.emulator.loss_and_slope(z)
        return self._plain(loss) + np.einsum("sti,si->st", self.columns(z, loss, by_rh, prior), nuisance)


def fit_weighings(
    cases: Sequence[Case], prior: Prior | None = None, *, draws: int = DRAWS, seed: int = 20
) -> RindFit:
    """Learn a style's rind in a place from any number of weighings of any number of its wheels.

    Without a weighing the result is the prior itself, and says so.

    Parameters
    ----------
    cases : wheels of one style in one place; prior : that of the first one's rind unless given; draws : size of the sample kept; seed : of its random numbers

    Raises
    ------
    PhysicsError : a weighing that the air does not reach, or impossible air.
    """
    prior = prior or (Prior.of(cases[0].parameters.rind) if cases else Prior())
    wheels = []
    for case in cases:
        if case.weighings:
            at = np.array([w.at_s for w in case.weighings])
            wheels.append(_Wheel(case, LossEmulator(case.parameters, case.air, at, prior)))
    return fit_wheels(wheels, prior, draws=draws, seed=seed)


def fit_wheels(wheels: Sequence[_Wheel], prior: Prior, *, draws: int = DRAWS, seed: int = 20) -> RindFit:
    """As `fit_weighings`, for wheels whose emulators exist already."""
    generator = np.random.default_rng(seed)

    def log_likelihood(z: Array) -> Array:
        total = np.zeros(len(z))
        for wheel in wheels:
            total += wheel.log_likelihood(z, prior)
        return total

    z = draw_posterior(log_likelihood, DIMENSIONS, REACH, draws, generator)
    count = sum(w.count for w in wheels)
    return RindFit(z, prior, count, tuple(w.case for w in wheels), seed, _chance(wheels, prior, z))


def _chance(wheels: Sequence[_Wheel], prior: Prior, z: Array) -> float:
    """How rare such weighings would be were the prior true: chi square at the best draw, one degree a weighing."""
    count = sum(w.count for w in wheels)
    if count == 0:
        return 1.0
    square = np.sum(z**2, axis=1)
    for wheel in wheels:
        square = square + wheel.misfit(z, prior)[0]
    return float(chi2.sf(np.min(square), count))


def wandered(off: Sequence[Array], at_s: Array) -> Array:
    """Extra loss by the end of each interval, one standard deviation: (draws, times, intervals) [kg].

    What is off stays so for `WANDER_S` and is then off otherwise: over a longer interval the parts average out.

    Parameters
    ----------
    off : extra loss were each cause off by one deviation all the time, (draws, times) [kg]
    at_s : the times, in any order [s]
    """
    order = np.argsort(at_s, kind="stable")
    length = np.diff(at_s[order], prepend=0.0)
    square = sum(np.diff(part[:, order], axis=1, prepend=0.0) ** 2 for part in off)
    size = np.sqrt(square * np.minimum(1.0, WANDER_S / np.maximum(length, 1.0)))
    later = at_s[:, None] >= at_s[order][None, :]
    return np.asarray(later * size[:, None, :])


def _number(value: object) -> bool:
    return isinstance(value, (int, float, np.number)) and not isinstance(value, bool) and math.isfinite(value)


def _three(values: Array) -> tuple[float, float, float]:
    low, middle, high = np.quantile(values, [0.05, 0.5, 0.95])
    return float(low), float(middle), float(high)
