"""What share of wheels had shown a fault by what age, from looks that say only "between then and now".

The nonparametric estimate for interval-censored times by self-consistency (Turnbull 1976, J R Stat Soc B 38:290).
Where every time is exact or censored on the right it is the Kaplan-Meier estimate.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
CLOSE_ENOUGH, MOST_ROUNDS = 1e-5, 2_000


def shares_by_age(low: Sequence[float], high: Sequence[float]) -> tuple[Floats, Floats]:
    """Ages and the share of wheels that had the fault by each.

    Parameters
    ----------
    low, high : for each wheel the age at the last clear look and at the look that found the fault, infinite where it
        was not found: the fault came in (low, high]; equal ages mean an exactly known one [d]

    Returns
    -------
    ages [d] at which the estimate steps, rising, and the share at and after each, 0..1
    """
    left, right = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    ends = np.unique(right[np.isfinite(right)])
    if not len(ends):
        return np.zeros(0), np.zeros(0)
    steps = np.append(ends, np.inf)
    may = (steps <= right[:, None]) & ((steps > left[:, None]) | (steps == right[:, None]))
    mass = np.full(len(steps), 1.0 / len(steps))
    for _ in range(MOST_ROUNDS):
        shared = may * mass
        after = (shared / shared.sum(axis=1, keepdims=True)).mean(axis=0)
        if np.abs(after - mass).max() < CLOSE_ENOUGH:
            mass = after
            break
        mass = after
    return ends, np.cumsum(mass[:-1])
