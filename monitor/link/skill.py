"""How good chances are on makes they were not fitted to: sorting, calibration, and intervals for both.

Wheels of one make share their milk and much of their air, so intervals draw whole makes anew (cluster bootstrap).
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import statsmodels.api as sm
from scipy.stats import rankdata

Floats = npt.NDArray[np.float64]
DRAWS = 100
LEAST_CHANCE = 1e-4


@dataclass(frozen=True)
class Ranged:
    """A value with its 90 % interval."""

    value: float
    low: float
    high: float

    def document(self, digits: int = 3) -> dict[str, float]:
        return {
            "value": round(self.value, digits),
            "low": round(self.low, digits),
            "high": round(self.high, digits),
        }


@dataclass(frozen=True)
class Skill:
    """Skill out of sample: area under the ROC curve (0.5 sorts nothing, 1 everything), calibration (slope 1 and as
    many expected as found is right), and the Brier score with that of saying the mean to all."""

    auc: Ranged
    slope: Ranged
    expected: float
    found: int
    brier: float
    brier_of_mean: float


def logistic_fit(outcome: Floats, features: Floats) -> tuple[Floats, Floats]:
    """Coefficients (constant first) and their standard errors of a plain logistic regression (maximum likelihood).

    Raises
    ------
    statsmodels PerfectSeparationError : where the features part the outcomes without fail.
    """
    result = sm.Logit(outcome, sm.add_constant(features, has_constant="add")).fit(disp=0, maxiter=100)
    return np.asarray(result.params), np.asarray(result.bse)


def calibration_slope(found: Floats, chance: Floats) -> float:
    """Slope of a logistic regression of what was found on the log odds said (Cox 1958, Biometrika 45:562); NaN where it parts them.

    The log odds that part found from not found without fail have no slope.
    """
    p = np.clip(chance, LEAST_CHANCE, 1 - LEAST_CHANCE)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            return float(logistic_fit(found, np.log(p / (1 - p))[:, None])[0][1])
    except (Warning, np.linalg.LinAlgError, ValueError):
        return float("nan")


def area_under_roc(found: Floats, chance: Floats) -> float:
    """How often a wheel with the fault was given the higher chance than one without; ties count half.

    Mann and Whitney (1947), Ann Math Stat 18:50; the area under the ROC curve, Hanley and McNeil (1982), Radiology 143:29.
    """
    hits = float(found.sum())
    ranks = rankdata(chance)
    return float((ranks[found > 0].sum() - hits * (hits + 1) / 2) / (hits * (len(found) - hits)))


def skill_of(found: Floats, chance: Floats, makes: npt.NDArray[np.object_], seed: int = 0) -> Skill:
    """Skill of chances said of wheels; both outcomes must be among them."""
    auc = _ranged(area_under_roc, found, chance, makes, seed)
    slope = _ranged(calibration_slope, found, chance, makes, seed)
    brier, mean = float(np.mean((found - chance) ** 2)), float(np.var(found))
    return Skill(auc, slope, float(chance.sum()), int(found.sum()), brier, mean)


def _ranged(
    measure: Callable[[Floats, Floats], float],
    found: Floats,
    chance: Floats,
    makes: npt.NDArray[np.object_],
    seed: int,
) -> Ranged:
    rng = np.random.default_rng(seed)
    members = [np.flatnonzero(makes == make) for make in sorted(set(makes))]
    values = []
    for _ in range(DRAWS):
        drawn = np.concatenate([members[i] for i in rng.integers(len(members), size=len(members))])
        if 0 < found[drawn].sum() < len(drawn):
            values.append(measure(found[drawn], chance[drawn]))
    low, high = np.nanquantile(values, [0.05, 0.95]) if values else (np.nan, np.nan)
    return Ranged(measure(found, chance), float(low), float(high))
