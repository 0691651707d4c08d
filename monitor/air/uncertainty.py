"""Carries the stated uncertainty of a temperature and a humidity sensor into any quantity of the air."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from monitor.air.inputs import (
    HIGHEST_TEMPERATURE_C,
    LOWEST_TEMPERATURE_C,
    HumidityLooksLikeFraction,
    Values,
    as_floats,
    humidities,
    require_range,
    temperatures,
)

STEP_TEMPERATURE_C = 1e-3
STEP_RH_PCT = 1e-3


class Estimate(NamedTuple):
    """A value and its standard uncertainty, both in the quantity's own unit."""

    value: Values
    sigma: Values


def propagate(
    quantity: Callable[..., Values],
    temperature_c: Values,
    rh_pct: Values,
    *others: Values,
    sigma_temperature_c: Values,
    sigma_rh_pct: Values,
    correlation: float = 0.0,
    **options: Values,
) -> Estimate:
    """A quantity of the air with its standard uncertainty from the two sensors, to first order.

    sigma^2 = (dq/dT sT)^2 + (dq/dRH sRH)^2 + 2 r (dq/dT sT)(dq/dRH sRH): JCGM 100:2008 (GUM), eq. 10 and 13.
    Slopes by small differences, one-sided at the limits of the range. To first order only: near 100 % the
    true spread is lopsided, since humidity cannot pass 100.

    >>> from monitor import air
    >>> value, sigma = air.propagate(air.dew_point, 12.0, 85.0, sigma_temperature_c=0.2, sigma_rh_pct=2.0)

    Parameters
    ----------
    quantity : a function called as quantity(temperature_c, rh_pct, *others, **options)
    temperature_c, rh_pct : scalar or array [degC], [%]
    others, options : handed on unchanged, as the pressure or a surface temperature
    sigma_temperature_c, sigma_rh_pct : standard uncertainties, 0 or more [K], [% RH]
    correlation : of the two errors, -1..1 [-]

    Returns
    -------
    Estimate : value and sigma in the quantity's unit; NaN where an input is not known.

    Raises
    ------
    PhysicsError : impossible input, a negative uncertainty, or a correlation outside -1..1.
    """
    t, rh = temperatures(temperature_c), humidities(rh_pct)
    sigma_t, sigma_rh = (
        as_floats(sigma_temperature_c, "sigma_temperature_c"),
        as_floats(sigma_rh_pct, "sigma_rh_pct"),
    )
    require_range(sigma_t, 0.0, 100.0, "sigma_temperature_c", "K")
    require_range(sigma_rh, 0.0, 100.0, "sigma_rh_pct", "%")
    require_range(np.asarray(float(correlation)), -1.0, 1.0, "correlation", "")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", HumidityLooksLikeFraction)
        value = quantity(temperature_c, rh_pct, *others, **options)
        t0 = np.maximum(t - STEP_TEMPERATURE_C, LOWEST_TEMPERATURE_C)
        t1 = np.minimum(t + STEP_TEMPERATURE_C, HIGHEST_TEMPERATURE_C)
        slope_t = _difference(
            quantity(t1, rh, *others, **options), quantity(t0, rh, *others, **options), t1 - t0
        )
        rh0, rh1 = np.maximum(rh - STEP_RH_PCT, 0.0), np.minimum(rh + STEP_RH_PCT, 100.0)
        slope_rh = _difference(
            quantity(t, rh1, *others, **options), quantity(t, rh0, *others, **options), rh1 - rh0
        )
    part_t, part_rh = slope_t * sigma_t, slope_rh * sigma_rh
    sigma = np.sqrt(np.maximum(part_t**2 + part_rh**2 + 2.0 * correlation * part_t * part_rh, 0.0))
    return Estimate(value, float(sigma) if np.ndim(sigma) == 0 else sigma)


def _difference(high: Values, low: Values, span: Values) -> Values:
    return (np.asarray(high) - np.asarray(low)) / span
