"""Draws from a posterior of a few dimensions, by importance sampling that lets the data in little by little."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import gammaln

Array: TypeAlias = NDArray[np.float64]

FREEDOM = 5.0
"""Degrees of freedom of the Student proposal: tails heavy enough for a posterior that is not quite normal."""
KEEP_EFFECTIVE = 0.3
"""Share of draws that must stay effective in each round of letting data in."""
WIDEN = 1.2
"""The proposal's spread over that of the draws so far."""


def draw_posterior(
    log_likelihood: Callable[[Array], Array],
    dimensions: int,
    reach: float,
    draws: int,
    generator: np.random.Generator,
) -> Array:
    """Equally weighted draws (draws, dimensions) from a standard normal prior, cut at +-reach, times a likelihood.

    Adaptive importance sampling with tempering: the likelihood's power rises from 0 to 1 in rounds, each
    chosen so that enough draws stay effective (as in Del Moral, Doucet & Jasra 2006, J. R. Stat. Soc. B 68:411).
    """
    z = np.clip(generator.standard_normal((draws, dimensions)), -reach, reach)
    log_base = np.zeros(draws)  # log of prior over proposal
    likelihood = log_likelihood(z)
    power = 0.0
    for _ in range(60):
        power = _next_power(log_base, likelihood, power)
        weight = _weights(log_base + power * likelihood)
        mean = weight @ z
        centred = z - mean
        spread = (centred * weight[:, None]).T @ centred + 1e-12 * np.eye(dimensions)
        if power >= 1.0 and 1.0 / np.sum(weight**2) >= KEEP_EFFECTIVE * draws:
            break
        root = WIDEN * np.linalg.cholesky(spread)
        z, log_proposal = _student(mean, root, draws, generator)
        log_base = -0.5 * np.sum(z**2, axis=1) - log_proposal
        log_base[np.any(np.abs(z) > reach, axis=1)] = -np.inf
        likelihood = log_likelihood(z)
    return z[_systematic(weight, draws, generator)]


def _weights(log_weight: Array) -> Array:
    weight = np.exp(log_weight - np.max(log_weight))
    return weight / weight.sum()


def _next_power(log_base: Array, likelihood: Array, power: float) -> float:
    """The highest power up to 1 that keeps enough draws effective; always a little above the last."""

    def spare(candidate: float) -> float:
        weight = _weights(log_base + candidate * likelihood)
        return float(1.0 / np.sum(weight**2) - KEEP_EFFECTIVE * weight.size)

    if spare(1.0) >= 0.0:
        return 1.0
    if spare(power) <= 0.0:
        return min(1.0, power)
    return float(brentq(spare, power, 1.0, xtol=1e-9, rtol=1e-6))


def _student(
    mean: Array, root: NDArray[Any], draws: int, generator: np.random.Generator
) -> tuple[Array, Array]:
    dimensions = mean.size
    normal = generator.standard_normal((draws, dimensions))
    stretch = np.sqrt(FREEDOM / generator.chisquare(FREEDOM, draws))
    standard = normal * stretch[:, None]
    log_density = (
        gammaln(0.5 * (FREEDOM + dimensions))
        - gammaln(0.5 * FREEDOM)
        - 0.5 * (FREEDOM + dimensions) * np.log1p(np.sum(standard**2, axis=1) / FREEDOM)
        - np.sum(np.log(np.diag(root)))
    )
    return mean + standard @ root.T, log_density


def _systematic(weight: Array, draws: int, generator: np.random.Generator) -> NDArray[np.intp]:
    """Indices drawn with the given weights, with the least extra noise."""
    points = (np.arange(draws) + generator.random()) / draws
    return np.minimum(np.searchsorted(np.cumsum(weight), points), draws - 1)
