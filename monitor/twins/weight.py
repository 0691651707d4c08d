"""A wheel's weight: what its twin lost, scaled by what its own weighings say of it, with a 90 % interval.

mass(t) = first mass + error of it - factor x loss of the twin(t). The factor is 1 with a spread that the style's
weighings in the room leave (`monitor.twins.learning`); the wheel's own weighings narrow factor and first mass down by
one linear Gaussian update (Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, section 2.1.1).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

NINETY_PCT = 1.645
"""Half-width of a 90 % interval of a normal distribution, in standard deviations."""
OWN_FIRST_SIGMA_KG = 0.01
MEAN_FIRST_SHARE, STYLE_FIRST_SHARE = 0.02, 0.04
"""Standard deviation of a wheel's first mass where only its make's mean is known, or its style's size (assumed)."""
SCALE_SIGMA_KG = 0.01
"""Of a weighing that states none (assumed)."""


@dataclass(frozen=True)
class WeightLaw:
    """A wheel's mass for any loss of its twin: mean and covariance of (error of the first mass, factor).

    Attributes
    ----------
    first_kg : first mass [kg]; weighings : how many of its own stand behind it
    """

    first_kg: float
    mean: Floats
    covariance: Floats
    weighings: int = 0

    @property
    def factor(self) -> float:
        """Loss over the twin's [-]."""
        return float(self.mean[1])

    def mass(self, loss_kg: Floats | float, unseen_kg: Floats | float = 0.0) -> tuple[Floats, Floats, Floats]:
        """Mass and its 90 % interval where the twin has lost so much, gaps hiding so much more [kg]."""
        loss, unseen = np.asarray(loss_kg, dtype=float), np.asarray(unseen_kg, dtype=float)
        loss = loss + unseen
        mass = self.first_kg + self.mean[0] - self.mean[1] * loss
        c = self.covariance
        variance = c[0, 0] - 2.0 * loss * c[0, 1] + loss**2 * c[1, 1] + unseen**2 / 3.0
        half = NINETY_PCT * np.sqrt(np.maximum(variance, 0.0))
        return mass, mass - half, mass + half

    def lost_between(self, loss_kg: Floats) -> tuple[Floats, Floats, Floats]:
        """A further loss and its 90 % interval, where the twin loses so much more [kg]."""
        middle = self.mean[1] * loss_kg
        half = NINETY_PCT * np.sqrt(self.covariance[1, 1]) * np.abs(loss_kg)
        return middle, np.maximum(middle - half, 0.0), middle + half


def weight_law(
    first_kg: float,
    first_sigma_kg: float,
    spread: float,
    weighed: Sequence[tuple[float, float, float]] = (),
) -> WeightLaw:
    """What a wheel's own weighings leave of the doubt about it.

    Parameters
    ----------
    first_kg, first_sigma_kg : first mass and its standard uncertainty [kg]
    spread : standard deviation of the factor before [-]
    weighed : of each weighing the twin's loss then [kg], the mass [kg] and its standard uncertainty [kg]
    """
    mean = np.array([0.0, 1.0])
    covariance = np.diag([first_sigma_kg**2, spread**2])
    if weighed:
        loss, mass, sigma = (np.array(values, dtype=float) for values in zip(*weighed, strict=True))
        design = np.stack([np.ones_like(loss), -loss], axis=1)
        seen = design @ covariance @ design.T + np.diag(sigma**2)
        gain = np.linalg.solve(seen, design @ covariance).T
        mean = mean + gain @ (mass - first_kg - design @ mean)
        covariance = covariance - gain @ design @ covariance
    return WeightLaw(first_kg, mean, covariance, len(weighed))
