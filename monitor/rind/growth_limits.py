"""Humidity limits for mould on materials by growth speed (isopleths): two published forms beside the mould index.

Three forms put the limit of growth at 10 degC at 82.0 (`mould_index`), 81.6 (Zeng) and 84.8 % (linear): the
difference is their doubt.
"""

from __future__ import annotations

import numpy as np

from monitor.air.inputs import Array, Values, humidities, in_blocks, one_number, temperatures
from monitor.errors import PhysicsError

ZENG_LEVELS = {0.0: 0.7153, 0.1: 0.7300, 0.5: 0.7675, 1.0: 0.7950, 2.0: 0.8250, 3.0: 0.8502, 4.0: 0.8701}
"""Growth [mm/d] and the constant c of its limit [-]; Zeng 2023, as evaluated in published code."""


def growth_limit_rh(temperature_c: Values, growth_mm_per_day: float = 0.0, *, clip: bool = False) -> Values:
    """Relative humidity at which mould grows so fast [%]: 100 (0.02633 cosh(0.10083 (T - 30)) + c), Zeng 2023.

    Parameters
    ----------
    temperature_c : scalar or array, -40..60 [degC]; fitted for rooms, 0..30
    growth_mm_per_day : one of 0 (the limit of growth), 0.1, 0.5, 1, 2, 3, 4 [mm/d]
    clip : limit the result to 100 %; the lines pass it in the cold (4 mm/d below about 7 degC)

    Raises
    ------
    PhysicsError : impossible temperature, or a growth not in the table.
    """
    growth_mm_per_day = one_number(growth_mm_per_day, "growth_mm_per_day")
    if growth_mm_per_day not in ZENG_LEVELS:
        levels = ", ".join(f"{level:g}" for level in ZENG_LEVELS)
        raise PhysicsError(f"growth_mm_per_day {growth_mm_per_day:g}: expected one of {levels}")
    constant = ZENG_LEVELS[growth_mm_per_day]

    def block(t: Array) -> Array:
        limit = 100.0 * (0.02633 * np.cosh(0.10083 * (t - 30.0)) + constant)
        return np.minimum(limit, 100.0) if clip else limit

    return in_blocks(block, temperatures(temperature_c))


def linear_growth_rate(temperature_c: Values, rh_pct: Values) -> Values:
    """Speed of mycelium on building materials, 0 or more [mm/d]: 21 (RH/100 - 0.244 exp(-0.12 T) - 0.775).

    Passivhaus Institut, paper on cellar rooms, p. 7.

    Raises
    ------
    PhysicsError : impossible temperature or humidity.
    """
    return in_blocks(
        lambda t, rh: np.maximum(21.0 * (rh / 100.0 - 0.244 * np.exp(-0.12 * t) - 0.775), 0.0),
        temperatures(temperature_c),
        humidities(rh_pct),
    )


def linear_no_growth_rh(temperature_c: Values) -> Values:
    """Relative humidity at which `linear_growth_rate` becomes zero [%]: 100 (0.244 exp(-0.12 T) + 0.775)."""
    return in_blocks(lambda t: 100.0 * (0.244 * np.exp(-0.12 * t) + 0.775), temperatures(temperature_c))
