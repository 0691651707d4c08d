"""Whether water condenses on a surface: its temperature against the dew or frost point of the air."""

from __future__ import annotations

import numpy as np

from monitor import air
from monitor.air.inputs import Values, as_floats, require_range, temperatures
from monitor.air.uncertainty import Estimate
from monitor.errors import PhysicsError


def condensation_margin(temperature_c: Values, rh_pct: Values, surface_temperature_c: Values) -> Values:
    """How much warmer a surface is than the dew or frost point of the air [K]; below 0 it gets wet.

    Parameters
    ----------
    temperature_c, rh_pct : of the air, scalar or array [degC], [%]
    surface_temperature_c : of a rind, wall, door or coil, -40..60 [degC]

    Returns
    -------
    margin : NaN where an input is not known, or for air without vapour.

    Raises
    ------
    PhysicsError : impossible input.
    """
    surface = temperatures(surface_temperature_c, "surface_temperature_c")
    return _plain(surface - np.asarray(air.dew_or_frost_point(temperature_c, rh_pct)))


def condenses(temperature_c: Values, rh_pct: Values, surface_temperature_c: Values) -> bool | None:
    """Whether water condenses on a surface; None where it cannot be told. Scalars only, inputs as above.

    Raises
    ------
    PhysicsError : impossible input, or more than one value.
    """
    margin = np.asarray(condensation_margin(temperature_c, rh_pct, surface_temperature_c))
    if margin.ndim:
        raise PhysicsError(f"one surface at one time is expected, got values of shape {margin.shape}")
    return None if np.isnan(margin) else bool(margin < 0.0)


def surface_humidity(temperature_c: Values, rh_pct: Values, surface_temperature_c: Values) -> Values:
    """Relative humidity of the air at a surface's temperature [%]; above 100 water condenses."""
    return air.rh_at_temperature(temperature_c, rh_pct, surface_temperature_c)


def margin_with_doubt(
    temperature_c: Values,
    rh_pct: Values,
    surface_temperature_c: Values,
    *,
    sigma_temperature_c: Values,
    sigma_rh_pct: Values,
    sigma_surface_c: Values = 0.0,
) -> Estimate:
    """`condensation_margin` with its standard uncertainty from the air sensors and the surface's [K].

    Raises
    ------
    PhysicsError : impossible input or a negative uncertainty.
    """
    value, sigma = air.propagate(
        condensation_margin,
        temperature_c,
        rh_pct,
        surface_temperature_c,
        sigma_temperature_c=sigma_temperature_c,
        sigma_rh_pct=sigma_rh_pct,
    )
    surface = as_floats(sigma_surface_c, "sigma_surface_c")
    require_range(surface, 0.0, 100.0, "sigma_surface_c", "K")
    return Estimate(value, _plain(np.hypot(sigma, surface)))


def _plain(array: Values) -> Values:
    return float(array) if np.ndim(array) == 0 else array
