"""How far a wheel's own chance may lie from what a model says of it, from how far makes lie from it.

Makes have something of their own that no feature knows (milk, salt, hands).  Its size is seldom sure: a few dozen makes
often show none by luck.  So the interval of a chance goes over every size that the makes leave open, each as likely as the
finds make it (all equally likely beforehand, as Gelman 2006, Bayesian Analysis 1:515, does for such deviations).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.stats import norm

Floats = npt.NDArray[np.float64]
NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
SIZES = np.linspace(0.02, 3.0, 60)
"""Standard deviations of makes' own log odds that are thought possible [-]."""
WITHIN_MAKE = 1.0
"""Variance among wheels of one make over that among makes: as much (assumed; finds of single wheels cannot tell it) [-]."""


def reach_of(found: Floats, chance: Floats, makes: npt.NDArray[np.object_], level: float = 0.90) -> float:
    """How far the log odds of a wheel's own chance may lie from those said of it, either way, at a level of trust.

    Parameters
    ----------
    found : of each wheel, 1 where the fault was found, else 0
    chance : what was said of it by a model that knew none of its make, 0..1
    makes : of each wheel
    """
    weights = _likely(found, chance, makes)

    def beyond(reach: float) -> float:
        return float(weights @ norm.cdf(reach / SIZES)) - 0.5 * (1.0 + level)

    return float(brentq(beyond, 1e-3, 8.0 * SIZES[-1])) * float(np.sqrt(1.0 + WITHIN_MAKE))


def _likely(found: Floats, chance: Floats, makes: npt.NDArray[np.object_]) -> Floats:
    """How likely each of `SIZES` is: a normal intercept for each make on the log odds said, by Gauss and Hermite."""
    odds = np.log(chance / (1.0 - chance))
    number = np.unique(makes, return_inverse=True)[1]
    sign = np.where(found > 0, 1.0, -1.0)
    surprise = np.empty(len(SIZES))
    for index, size in enumerate(SIZES):
        each = -np.logaddexp(0.0, -sign[:, None] * (odds[:, None] + size * NODES))
        whole = np.zeros((number.max() + 1, len(NODES)))
        np.add.at(whole, number, each)
        surprise[index] = -np.log(np.exp(whole) @ (WEIGHTS / WEIGHTS.sum())).sum()
    likely = np.exp(surprise.min() - surprise)
    result: Floats = likely / likely.sum()
    return result
