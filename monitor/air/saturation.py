"""Saturation over water and ice, the way back to a dew or frost point, and real-air factors.

Formulas differ by up to 0.2 % (0.01 K in dew point) among themselves, so each is named here. The
project's own is Hyland & Wexler 1983 as printed in the ASHRAE Handbook of Fundamentals 2017, ch. 1,
equations 5 (ice) and 6 (water).
"""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.polynomial.chebyshev import cheb2poly, chebfit, chebpts1

from monitor.air.inputs import Array, Values, as_floats, in_blocks, pressures, require_range, temperatures
from monitor.errors import PhysicsError

ZERO_CELSIUS_K = 273.15
TRIPLE_POINT_C = 0.01
"""Where the water and ice branches meet [degC]. Branching at 0 would leave a jump and spoil the inversion."""

WARM_CENTRE_C = 30.005
WARM_HALF_C = 29.995
WARM_DEGREE = 9
WORTH_A_CURVE = 1024
"""Points from which on the polynomial of `warm_curve` is worth the making."""

Phase = Literal["auto", "water", "ice"]

WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 6.5459673)
"""ASHRAE 2017 ch. 1 eq. 6, T in K, p in Pa; 0..200 degC. Below 0 it is carried on for supercooled water."""
ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
"""ASHRAE 2017 ch. 1 eq. 5, T in K, p in Pa; -100..0.01 degC."""

GREENSPAN_WATER = (
    (3.53624e-4, 2.93228e-5, 2.61474e-7, 8.57538e-9),
    (-1.07588e1, 6.32529e-2, -2.53591e-4, 6.33784e-7),
)
"""Enhancement over water, 0..100 degC. Greenspan 1976, J. Res. NBS 80A:41-44. Coefficients FROM MEMORY;
against CoolProp 8.0.0 the humidity ratio they give is 0.03-0.04 % low throughout 0..30 degC, 70..105 kPa."""
GREENSPAN_ICE = (
    (3.64449e-4, 2.93631e-5, 4.88635e-7, 4.36543e-9),
    (-1.07271e1, 7.61989e-2, -1.74771e-4, 2.46721e-6),
)
"""Enhancement over ice, -100..0 degC. Same source, FROM MEMORY; within 0.03 % of CoolProp 8.0.0."""

MAGNUS_WATER = (611.2, 17.62, 243.12)
"""WMO-No. 8, Annex 4.B, -45..60 degC (range from memory)."""
MAGNUS_ICE = (611.2, 22.46, 272.62)
"""WMO-No. 8, Annex 4.B, -65..0 degC (from memory)."""


def log_water(kelvin: Array, out: Array | None = None, spare: Array | None = None) -> Array:
    """ln of the saturation pressure over water [ln Pa]; ``out`` and ``spare`` are working arrays to reuse."""
    c0, c1, c2, c3, c4, c5 = WATER
    result = horner(kelvin, (c1, c2, c3, c4), out)
    term = np.log(kelvin, out=spare)
    term *= c5
    result += term
    result += np.divide(c0, kelvin, out=term)
    return result


def _slope_water(kelvin: Array) -> Array:
    """d ln p / dT over water [1/K]."""
    c0, _, c2, c3, c4, c5 = WATER
    inverse = 1.0 / kelvin
    return (c5 - c0 * inverse) * inverse + c2 + kelvin * (2.0 * c3 + 3.0 * c4 * kelvin)


def log_ice(kelvin: Array) -> Array:
    """ln of the saturation pressure over ice [ln Pa]."""
    c0, c1, c2, c3, c4, c5, c6 = ICE
    return (
        c0 / kelvin + c1 + kelvin * (c2 + kelvin * (c3 + kelvin * (c4 + kelvin * c5))) + c6 * np.log(kelvin)
    )


def _slope_ice(kelvin: Array) -> Array:
    """d ln p / dT over ice [1/K]."""
    c0, _, c2, c3, c4, c5, c6 = ICE
    polynomial = c2 + kelvin * (2.0 * c3 + kelvin * (3.0 * c4 + kelvin * 4.0 * c5))
    return (c6 - c0 / kelvin) / kelvin + polynomial


def log_saturation(celsius: Array, over: Phase = "auto") -> Array:
    """ln of the saturation pressure [ln Pa], choosing the phase point by point unless told."""
    kelvin = celsius + ZERO_CELSIUS_K
    if over == "ice":
        return log_ice(kelvin)
    result = log_water(kelvin)
    if over == "auto":
        _freeze(celsius, result)
    return result


def _freeze(celsius: Array, log_pressure: Array) -> None:
    """Put the ice branch where it is colder than the triple point."""
    if np.fmin.reduce(celsius) <= TRIPLE_POINT_C:
        cold = celsius <= TRIPLE_POINT_C
        log_pressure[cold] = log_ice(celsius[cold] + ZERO_CELSIUS_K)


@lru_cache(maxsize=64)
def warm_curve(pressure_pa: float, enhancement: bool) -> tuple[float, ...]:
    """Polynomial of ln (f es) [ln Pa] at one pressure over 0.01..60 degC, in x = (t - 30.005)/29.995.

    The two published formulas interpolated at ten Chebyshev points, 3e-12 from them everywhere: one
    polynomial and one exp instead of two exp, a log, and four divisions a point.
    """
    celsius = WARM_CENTRE_C + WARM_HALF_C * chebpts1(WARM_DEGREE + 1)
    log_pressure = log_water(celsius + ZERO_CELSIUS_K)
    if enhancement:
        factor = _greenspan(celsius, np.exp(log_pressure), np.array([pressure_pa]), GREENSPAN_WATER)
        log_pressure += np.log(factor)
    coefficients = chebfit(chebpts1(WARM_DEGREE + 1), log_pressure, WARM_DEGREE)
    return tuple(float(c) for c in cheb2poly(coefficients))


def saturation_into(
    celsius: Array, pressure_pa: Array, enhancement: bool, out: Array, spare: tuple[Array, Array, Array]
) -> Array:
    """Saturation pressure [Pa], enhanced if wanted, into a working array: for what must be quick."""
    if pressure_pa.size == 1 and celsius.size >= WORTH_A_CURVE and np.fmin.reduce(celsius) > TRIPLE_POINT_C:
        x = np.subtract(celsius, WARM_CENTRE_C, out=spare[0])
        x *= 1.0 / WARM_HALF_C
        horner(x, warm_curve(float(pressure_pa.flat[0]), enhancement), out)
        return np.exp(out, out=out)
    log_water(np.add(celsius, ZERO_CELSIUS_K, out=spare[0]), out, spare[1])
    _freeze(celsius, out)
    np.exp(out, out=out)
    if enhancement:
        out *= enhancement_block(celsius, out, pressure_pa, spare[0], (spare[1], spare[2]))
    return out


def saturation_vapour_pressure(temperature_c: Values, over: Phase = "auto") -> Values:
    """Pressure of water vapour in balance with water or ice [Pa].

    Hyland & Wexler 1983 as in ASHRAE Handbook of Fundamentals 2017, ch. 1, eq. 5 (ice) and 6 (water).

    Parameters
    ----------
    temperature_c : scalar or array, -40..60 [degC]. None or NaN gives NaN.
    over : "auto" is ice below the triple point (0.01 degC) and water above; "water" below it is
        supercooled water, the equation carried on below its printed range; "ice" only below it.

    Raises
    ------
    PhysicsError : temperature outside its range, or over="ice" above the triple point.
    """
    celsius = temperatures(temperature_c)
    if over not in ("auto", "water", "ice"):
        raise PhysicsError(f"over {over!r}: expected 'auto', 'water' or 'ice'")
    if over == "ice":
        require_range(celsius, -100.0, TRIPLE_POINT_C, "temperature_c over ice", "degC")
    return in_blocks(lambda t: np.exp(log_saturation(t, over)), celsius)


def invert_water(log_pressure: Array) -> Array:
    """Temperature [degC] at which water has the given ln saturation pressure: Magnus guess, then Newton."""
    scaled, b, c = log_pressure - np.log(MAGNUS_WATER[0]), MAGNUS_WATER[1], MAGNUS_WATER[2]
    kelvin = c * scaled / (b - scaled) + ZERO_CELSIUS_K
    for _ in range(2 if kelvin.size and np.fmin.reduce(kelvin) > 223.15 else 5):
        kelvin -= (log_water(kelvin) - log_pressure) / _slope_water(kelvin)
    return kelvin - ZERO_CELSIUS_K


def invert_ice(log_pressure: Array) -> Array:
    """Temperature [degC] at which ice has the given ln saturation pressure: Magnus guess, then Newton."""
    scaled, b, c = log_pressure - np.log(MAGNUS_ICE[0]), MAGNUS_ICE[1], MAGNUS_ICE[2]
    kelvin = c * scaled / (b - scaled) + ZERO_CELSIUS_K
    for _ in range(4):
        kelvin -= (log_ice(kelvin) - log_pressure) / _slope_ice(kelvin)
    return kelvin - ZERO_CELSIUS_K


def enhancement_block(
    celsius: Array,
    saturation_pa: Array,
    pressure_pa: Array,
    out: Array | None = None,
    spare: tuple[Array, Array] | None = None,
) -> Array:
    """Greenspan's factor for checked inputs, ``out`` and ``spare`` to reuse; see `enhancement_factor`."""
    result = _greenspan(celsius, saturation_pa, pressure_pa, GREENSPAN_WATER, out, spare)
    if np.fmin.reduce(celsius) <= TRIPLE_POINT_C:
        cold = celsius <= TRIPLE_POINT_C
        t, es, p = (np.broadcast_to(a, cold.shape)[cold] for a in (celsius, saturation_pa, pressure_pa))
        result[cold] = _greenspan(t, es, p, GREENSPAN_ICE)
    return result


def _greenspan(
    celsius: Array,
    saturation_pa: Array,
    pressure_pa: Array,
    coefficients: tuple[tuple[float, float, float, float], tuple[float, float, float, float]],
    out: Array | None = None,
    spare: tuple[Array, Array] | None = None,
) -> Array:
    """exp of alpha (1 - r) + beta (1/r - 1), r = es/p, which is (1 - r) (alpha + beta/r)."""
    ratio = np.multiply(saturation_pa, 1.0 / pressure_pa, out=spare[0] if spare else None)
    small = horner(celsius, coefficients[1], spare[1] if spare else None)
    np.exp(small, out=small)
    small /= ratio
    result = horner(celsius, coefficients[0], out)
    small += result
    np.subtract(1.0, ratio, out=ratio)
    small *= ratio
    # exp of a number below 0.01 by its series: good to 2e-7, and far quicker than exp
    result = np.multiply(small, 0.5, out=out)
    result += 1.0
    result *= small
    result += 1.0
    return result


def horner(x: Array, coefficients: tuple[float, ...], out: Array | None = None) -> Array:
    """A polynomial, lowest power first, in one working array."""
    result = np.multiply(x, coefficients[-1], out=out)
    for coefficient in coefficients[-2:0:-1]:
        result += coefficient
        result *= x
    result += coefficients[0]
    return result


def enhancement_factor(temperature_c: Values, pressure_pa: Values = 101_325.0) -> Values:
    """How much more vapour saturated real air holds than the pure vapour pressure says [-], about 1.004.

    ln f = alpha (1 - es/p) + beta (p/es - 1), Greenspan 1976, J. Res. NBS 80A:41-44 (coefficients from
    memory, compared with CoolProp 8.0.0), -40..60 degC here.

    Parameters
    ----------
    temperature_c : scalar or array, -40..60 [degC]
    pressure_pa : total pressure, 20,000..200,000 [Pa]

    Raises
    ------
    PhysicsError : impossible temperature or pressure.
    """

    def block(t: Array, p: Array) -> Array:
        return enhancement_block(t, np.exp(log_saturation(t)), p)

    return in_blocks(block, temperatures(temperature_c), pressures(pressure_pa))


def wmo_enhancement_factor(pressure_pa: Values) -> Values:
    """The WMO's enhancement factor, of pressure alone [-]: 1.0016 + 3.15e-6 p - 0.074/p, p in hPa.

    WMO-No. 8, Annex 4.B. Kept for comparing with weather services; `humidity_ratio` does not use it.

    Raises
    ------
    PhysicsError : pressure outside 20,000..200,000 [Pa].
    """

    def block(p: Array) -> Array:
        return 1.0016 + 3.15e-8 * p - 7.4 / p

    return in_blocks(block, pressures(pressure_pa))


def saturation_vapour_pressure_magnus(
    temperature_c: Values, over: Literal["water", "ice"] = "water"
) -> Values:
    """Saturation vapour pressure by the WMO's Magnus formula, without enhancement [Pa].

    611.2 exp(17.62 t / (243.12 + t)) over water, WMO-No. 8, Annex 4.B (ice coefficients from memory). About
    0.2 % below Hyland-Wexler at 12 degC. Kept for comparing with instruments that use it.

    Raises
    ------
    PhysicsError : temperature outside -40..60, or an unknown phase.
    """
    if over not in ("water", "ice"):
        raise PhysicsError(f"over {over!r}: expected 'water' or 'ice'")
    a, b, c = MAGNUS_WATER if over == "water" else MAGNUS_ICE
    return in_blocks(lambda t: a * np.exp(b * t / (c + t)), temperatures(temperature_c))


def pressure_at_altitude(altitude_m: Values) -> Values:
    """Pressure of the standard atmosphere [Pa]: 101325 (1 - 2.25577e-5 z)^5.2559.

    ASHRAE Handbook of Fundamentals 2017, ch. 1, eq. 3; valid -500..11,000 [m] above sea level.

    Raises
    ------
    PhysicsError : altitude outside that range.
    """
    altitude = as_floats(altitude_m, "altitude_m")
    require_range(altitude, -500.0, 11_000.0, "altitude_m", "m")
    return in_blocks(lambda z: 101_325.0 * (1.0 - 2.25577e-5 * z) ** 5.2559, altitude)
