"""Saturation vapour pressure for the room's inner loop: a table of `monitor.air`, read by straight lines.

A call into numpy for one number costs more than the rest of a room's step; a table of 0.01 K spacing read
linearly agrees with the function it was made from to better than 1e-6 relative.
"""

from __future__ import annotations

import numpy as np

from monitor.air import saturation_vapour_pressure

LOWEST_C, HIGHEST_C, PER_K = -40.0, 60.0, 100.0

_GRID_C = np.linspace(LOWEST_C, HIGHEST_C, round((HIGHEST_C - LOWEST_C) * PER_K) + 1)
_TABLE: list[float] = np.asarray(saturation_vapour_pressure(_GRID_C), dtype=float).tolist()
_LAST = len(_TABLE) - 2


def saturation_and_slope(temperature_c: float) -> tuple[float, float]:
    """Saturation vapour pressure [Pa] and its slope [Pa/K] at one temperature [degC], -40 to 60 degC."""
    position = (temperature_c - LOWEST_C) * PER_K
    index = int(position)
    if index < 0:
        index = 0
    elif index > _LAST:
        index = _LAST
    low = _TABLE[index]
    rise = _TABLE[index + 1] - low
    return low + rise * (position - index), rise * PER_K


def saturation(temperature_c: float) -> float:
    """Saturation vapour pressure [Pa] at one temperature [degC]."""
    return saturation_and_slope(temperature_c)[0]
