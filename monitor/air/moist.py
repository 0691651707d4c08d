"""What a temperature, a relative humidity and a pressure say about the air of a room.

Scalars or arrays in, the same shape out. None and NaN mean "not known" and come out as NaN. Below the
triple point relative humidity is over ice, as in the ASHRAE Handbook.
"""

from __future__ import annotations

import numpy as np

from monitor.air.inputs import (
    Array,
    Values,
    as_floats,
    humidities,
    in_blocks,
    pressures,
    require_range,
    temperatures,
)
from monitor.air.saturation import (
    TRIPLE_POINT_C,
    ZERO_CELSIUS_K,
    invert_ice,
    invert_water,
    log_saturation,
    saturation_into,
)

STANDARD_PRESSURE_PA = 101_325.0
MASS_RATIO = 0.621945
"""Molar mass of water over that of dry air [-]; ASHRAE Handbook of Fundamentals 2017, ch. 1."""
GAS_CONSTANT_DRY_AIR = 287.042
"""[J/kg/K]; ASHRAE Handbook of Fundamentals 2017, ch. 1, eq. 1."""
GAS_CONSTANT_VAPOUR = 461.524
"""[J/kg/K]; ASHRAE Handbook of Fundamentals 2017, ch. 1, eq. 2."""


def _vapour(celsius: Array, rh: Array) -> Array:
    return np.exp(log_saturation(celsius)) * (rh * 0.01)


def vapour_pressure(temperature_c: Values, rh_pct: Values) -> Values:
    """Pressure of the water vapour in the air [Pa]: relative humidity times saturation.

    Parameters
    ----------
    temperature_c : scalar or array, -40..60 [degC]
    rh_pct : scalar or array, 0..100 [%]; all values at or below 1 warn

    Raises
    ------
    PhysicsError : temperature or humidity out of range.
    """
    return in_blocks(_vapour, temperatures(temperature_c), humidities(rh_pct))


def vapour_pressure_deficit(temperature_c: Values, rh_pct: Values) -> Values:
    """How far the air is from saturation at its own temperature [Pa]. Inputs as `vapour_pressure`."""
    return in_blocks(
        lambda t, rh: np.exp(log_saturation(t)) * (1.0 - rh * 0.01),
        temperatures(temperature_c),
        humidities(rh_pct),
    )


def _log_vapour(celsius: Array, rh: Array) -> Array:
    with np.errstate(divide="ignore"):
        log_rh = np.log(rh * 0.01)
    log_rh[np.isneginf(log_rh)] = np.nan
    return log_saturation(celsius) + log_rh


def dew_point(temperature_c: Values, rh_pct: Values) -> Values:
    """Temperature at which this air would be saturated over **water**, also below 0 [degC].

    Hyland-Wexler (ASHRAE 2017 ch. 1 eq. 6) solved by Newton's method to 1e-9 K. Air at 0 % has no dew
    point: NaN. See `dew_or_frost_point` for what a chilled mirror shows below 0.

    Parameters
    ----------
    temperature_c : scalar or array, -40..60 [degC]
    rh_pct : scalar or array, 0..100 [%]

    Raises
    ------
    PhysicsError : temperature or humidity out of range.
    """
    return in_blocks(
        lambda t, rh: invert_water(_log_vapour(t, rh)), temperatures(temperature_c), humidities(rh_pct)
    )


def frost_point(temperature_c: Values, rh_pct: Values) -> Values:
    """Temperature at which this air would be saturated over **ice** [degC].

    Air holding more vapour than ice at the triple point (0.01 degC, 611.7 Pa) has no frost point: NaN.
    Inputs and errors as `dew_point`; ASHRAE 2017 ch. 1 eq. 5.
    """
    return in_blocks(_frost, temperatures(temperature_c), humidities(rh_pct))


def _frost(celsius: Array, rh: Array) -> Array:
    result = invert_ice(_log_vapour(celsius, rh))
    result[result > TRIPLE_POINT_C + 1e-9] = np.nan
    return result


def dew_or_frost_point(temperature_c: Values, rh_pct: Values) -> Values:
    """The frost point where there is one, else the dew point [degC]: what first forms on a cold surface."""

    def block(t: Array, rh: Array) -> Array:
        frost = _frost(t, rh)
        return np.where(np.isnan(frost), invert_water(_log_vapour(t, rh)), frost)

    return in_blocks(block, temperatures(temperature_c), humidities(rh_pct))


def rh_at_temperature(temperature_c: Values, rh_pct: Values, new_temperature_c: Values) -> Values:
    """Relative humidity of the same air (same vapour) brought to another temperature [%].

    Above 100 means that water would condense there: the value is what a cold surface sees, not clipped.

    Parameters
    ----------
    temperature_c, new_temperature_c : scalar or array, -40..60 [degC]
    rh_pct : scalar or array, 0..100 [%]

    Raises
    ------
    PhysicsError : a temperature or the humidity out of range.
    """
    return in_blocks(
        lambda t, rh, new: rh * np.exp(log_saturation(t) - log_saturation(new)),
        temperatures(temperature_c),
        humidities(rh_pct),
        temperatures(new_temperature_c, "new_temperature_c"),
    )


def _ratio(vapour_pa: Array, pressure_pa: Array) -> Array:
    return MASS_RATIO * vapour_pa / (pressure_pa - vapour_pa)


def _humidity_ratio(
    celsius: Array,
    rh: Array,
    pressure_pa: Array,
    enhancement: bool,
    work: tuple[Array, Array, Array, Array] | None = None,
) -> Array:
    """W in working arrays throughout: this is the function that whole archives are put through."""
    shape = np.broadcast_shapes(celsius.shape, rh.shape, pressure_pa.shape)
    celsius = np.broadcast_to(celsius, shape)
    saturation, one, two, three = work or tuple(np.empty(shape) for _ in range(4))
    saturation_into(celsius, pressure_pa, enhancement, saturation, (one, two, three))
    saturation *= rh
    saturation /= np.subtract(100.0 * pressure_pa, saturation, out=one)
    saturation *= MASS_RATIO
    return saturation


def humidity_ratio(
    temperature_c: Values,
    rh_pct: Values,
    pressure_pa: Values = STANDARD_PRESSURE_PA,
    *,
    enhancement: bool = True,
) -> Values:
    """Mass of water vapour per mass of dry air [kg/kg].

    W = 0.621945 e / (p - e), e = (RH/100) f es: ASHRAE 2017 ch. 1 eq. 20, with the real-air factor f of
    `enhancement_factor` (about +0.4 %). Printed tables and psychrolib leave f out: ``enhancement=False``.

    Parameters
    ----------
    temperature_c : scalar or array, -40..60 [degC]
    rh_pct : scalar or array, 0..100 [%]
    pressure_pa : total pressure, 20,000..200,000 [Pa]
    enhancement : count the enhancement factor, default yes

    Raises
    ------
    PhysicsError : an input out of range.
    """
    return in_blocks(
        lambda t, rh, p, *work: _humidity_ratio(t, rh, p, enhancement, work),
        temperatures(temperature_c),
        humidities(rh_pct),
        pressures(pressure_pa),
        working_arrays=4,
    )


def humidity_ratio_from_vapour_pressure(
    vapour_pressure_pa: Values, pressure_pa: Values = 101_325.0
) -> Values:
    """Mass of water vapour per mass of dry air [kg/kg]: 0.621945 e / (p - e), ASHRAE 2017 ch. 1 eq. 20.

    Raises
    ------
    PhysicsError : vapour pressure negative or not below 20,000 [Pa] (60 degC), pressure out of range.
    """
    vapour = as_floats(vapour_pressure_pa, "vapour_pressure_pa")
    require_range(vapour, 0.0, 19_950.0, "vapour_pressure_pa", "Pa")
    return in_blocks(_ratio, vapour, pressures(pressure_pa))


def absolute_humidity(temperature_c: Values, rh_pct: Values) -> Values:
    """Mass of water vapour in a cubic metre of air [g/m3]: e / (Rv T), Rv = 461.524 J/kg/K.

    Inputs and errors as `vapour_pressure`. Without enhancement, as humidity meters and tables give it.
    """
    return in_blocks(
        lambda t, rh: _vapour(t, rh) * (1000.0 / GAS_CONSTANT_VAPOUR) / (t + ZERO_CELSIUS_K),
        temperatures(temperature_c),
        humidities(rh_pct),
    )


def moist_air_density(
    temperature_c: Values,
    rh_pct: Values,
    pressure_pa: Values = STANDARD_PRESSURE_PA,
    *,
    enhancement: bool = True,
) -> Values:
    """Mass of moist air in a cubic metre [kg/m3]: (p - e)/(Rda T) + e/(Rv T).

    ASHRAE 2017 ch. 1 eq. 26 with 28, ideal gases. Inputs and errors as `humidity_ratio`.
    """

    def block(t: Array, rh: Array, p: Array) -> Array:
        ratio = _humidity_ratio(t, rh, p, enhancement)
        vapour = p * ratio / (MASS_RATIO + ratio)
        return ((p - vapour) / GAS_CONSTANT_DRY_AIR + vapour / GAS_CONSTANT_VAPOUR) / (t + ZERO_CELSIUS_K)

    return in_blocks(block, temperatures(temperature_c), humidities(rh_pct), pressures(pressure_pa))


def enthalpy(
    temperature_c: Values,
    rh_pct: Values,
    pressure_pa: Values = STANDARD_PRESSURE_PA,
    *,
    enhancement: bool = True,
) -> Values:
    """Heat content of moist air per kilogram of dry air, zero for dry air at 0 degC [J/kg].

    h = 1006 t + W (2501000 + 1860 t): ASHRAE 2017 ch. 1 eq. 30. Inputs and errors as `humidity_ratio`.
    """

    def block(t: Array, rh: Array, p: Array) -> Array:
        return 1006.0 * t + _humidity_ratio(t, rh, p, enhancement) * (2_501_000.0 + 1860.0 * t)

    return in_blocks(block, temperatures(temperature_c), humidities(rh_pct), pressures(pressure_pa))
