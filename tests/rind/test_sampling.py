"""Draws from a posterior, where the posterior is known."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.rind.sampling import draw_posterior


@pytest.mark.parametrize("sigma", [0.5, 0.02, 1e-4])
def test_normal_posterior_has_its_exact_mean_and_spread(sigma: float) -> None:
    """One measurement of the sum of two unknowns, from vague to sharp: the textbook's mean and covariance."""
    gradient, seen = np.array([1.0, 0.5]), 1.2

    def log_likelihood(z: np.ndarray) -> np.ndarray:
        return -0.5 * ((seen - z @ gradient) / sigma) ** 2

    z = draw_posterior(log_likelihood, 2, 6.0, 4000, np.random.default_rng(1))
    covariance = np.linalg.inv(np.eye(2) + np.outer(gradient, gradient) / sigma**2)
    mean = covariance @ gradient * seen / sigma**2
    assert z.mean(axis=0) == pytest.approx(mean, abs=0.06)
    assert np.cov(z.T) == pytest.approx(covariance, abs=0.06)
    assert np.std(z @ gradient) == pytest.approx(np.sqrt(gradient @ covariance @ gradient), rel=0.1)


def test_without_data_the_prior_comes_back() -> None:
    """A standard normal, cut where it was said to be."""
    z = draw_posterior(lambda z: np.zeros(len(z)), 3, 3.0, 4000, np.random.default_rng(2))
    assert z.mean(axis=0) == pytest.approx(np.zeros(3), abs=0.06)
    assert z.std(axis=0) == pytest.approx(np.ones(3), abs=0.05)
    assert np.max(np.abs(z)) <= 3.0
