"""Humidity over saturated salt solutions, and the two-point calibration of a sensor against them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from monitor.air.inputs import Values, as_floats, in_blocks, require_range
from monitor.air.saturation import ZERO_CELSIUS_K
from monitor.errors import PhysicsError

GREENSPAN_POLYNOMIALS: dict[str, tuple[float, ...]] = {
    "MgCl2": (33.6686, -0.00797397, -1.08988e-3),
    "NaCl": (75.5164, 0.0398321, -2.65459e-3, 2.848e-5),
    "KCl": (88.6190, -0.193340, 8.99706e-4),
    "KNO3": (96.3361, 0.0112371, -4.84514e-3),
    "K2SO4": (98.7792, -0.0590502),
}
"""Relative humidity [%] by powers of temperature [degC]; Greenspan 1977, J. Res. NBS 81A:89-96, as OIML R 121."""

GREENSPAN_TABLES: dict[str, tuple[tuple[float, ...], tuple[float, ...]]] = {
    "NaBr": ((5.0, 10.0, 15.0, 20.0, 25.0), (63.51, 62.15, 60.68, 59.14, 57.57)),
    "Mg(NO3)2": ((0.0, 5.0, 10.0, 15.0, 20.0, 25.0), (60.35, 58.86, 57.36, 55.87, 54.38, 52.89)),
}
"""Temperatures [degC] and humidities [%] of Greenspan's table, FROM MEMORY; straight lines between."""

CRC_CONSTANTS: dict[str, tuple[float, float]] = {
    "MgCl2": (29.26, 34.0),
    "Mg(NO3)2": (25.28, 220.0),
    "NaBr": (20.49, 308.0),
    "NaCl": (69.20, 25.0),
    "KCl": (49.38, 159.0),
    "KNO3": (43.22, 225.0),
    "K2SO4": (86.75, 34.0),
}
"""A [%] and B [K] of RH = A exp(B/T); CRC Handbook of Chemistry and Physics, after Wexler, FROM MEMORY (those of
KCl, NaBr and Mg(NO3)2 give the published evaluations to the last digit)."""

UNCERTAINTY_PCT: dict[str, tuple[tuple[float, ...], tuple[float, ...]]] = {
    "MgCl2": ((0.0, 5.0, 10.0, 15.0, 20.0), (0.33, 0.28, 0.24, 0.21, 0.18)),
    "NaCl": ((0.0, 5.0, 10.0, 20.0), (0.34, 0.27, 0.22, 0.14)),
    "KCl": ((0.0, 10.0, 15.0, 20.0, 25.0), (0.53, 0.39, 0.33, 0.29, 0.26)),
    "KNO3": ((0.0, 5.0, 10.0, 15.0, 20.0), (2.9, 2.1, 1.4, 0.96, 0.66)),
    "K2SO4": ((0.0, 5.0, 10.0, 15.0, 20.0), (1.1, 0.91, 0.76, 0.63, 0.53)),
    "NaBr": ((5.0, 10.0, 20.0), (0.72, 0.60, 0.44)),
    "Mg(NO3)2": ((0.0, 5.0, 10.0, 15.0, 20.0, 25.0), (0.55, 0.43, 0.33, 0.27, 0.23, 0.22)),
}
"""Temperatures [degC] and Greenspan's stated uncertainty [% RH], FROM MEMORY. KNO3 is too unsure in the cold to
calibrate with; near the humidity of maturing rooms KCl is nearest and tightest, K2SO4 above 95 %."""

LOWEST_C, HIGHEST_C = 0.0, 50.0


class Calibration(NamedTuple):
    """true = gain x reading + offset [-], [% RH]."""

    gain: float
    offset: float

    def apply(self, reading_pct: Values) -> Values:
        """Corrected humidity [%], not cut at 100: that is for the quality tests to judge."""
        reading = as_floats(reading_pct, "reading_pct")
        corrected = self.gain * reading + self.offset
        return float(corrected) if np.ndim(corrected) == 0 else corrected


def fixed_point_rh(salt: str, temperature_c: Values) -> Values:
    """Relative humidity over a saturated solution of a salt [%].

    Parameters
    ----------
    salt : "MgCl2", "NaCl", "KCl", "KNO3", "K2SO4" (polynomials), "NaBr" or "Mg(NO3)2" (tables from memory)
    temperature_c : 0..50 [degC]; the two tables hold only to 25 degC, NaBr from 5

    Raises
    ------
    PhysicsError : an unknown salt or a temperature outside its range.
    """
    t = as_floats(temperature_c, "temperature_c")
    if salt in GREENSPAN_POLYNOMIALS:
        coefficients = GREENSPAN_POLYNOMIALS[salt]
        require_range(t, LOWEST_C, HIGHEST_C, f"temperature_c of {salt}", "degC")
        return in_blocks(lambda x: np.asarray(np.polynomial.polynomial.polyval(x, coefficients)), t)
    if salt in GREENSPAN_TABLES:
        at, humidity = GREENSPAN_TABLES[salt]
        require_range(t, at[0], at[-1], f"temperature_c of {salt}", "degC")
        return in_blocks(lambda x: np.asarray(np.interp(x, at, humidity)), t)
    known = ", ".join([*GREENSPAN_POLYNOMIALS, *GREENSPAN_TABLES])
    raise PhysicsError(f"salt {salt!r} is not known: expected one of {known}")


def crc_fixed_point_rh(salt: str, temperature_c: Values) -> Values:
    """Relative humidity over a saturated solution by the older two-constant form, to compare with [%].

    A exp(B/T), T in kelvin, claimed to hold within 2 % RH. In the cold it does not: at 10 degC it is 2.4 % RH below
    Greenspan's table for Mg(NO3)2. Calibrate with `fixed_point_rh`.

    Parameters
    ----------
    salt : "MgCl2", "Mg(NO3)2", "NaBr", "NaCl", "KCl", "KNO3" or "K2SO4"
    temperature_c : 0..50 [degC]

    Raises
    ------
    PhysicsError : an unknown salt or a temperature outside its range.
    """
    if salt not in CRC_CONSTANTS:
        raise PhysicsError(f"salt {salt!r} is not known: expected one of {', '.join(CRC_CONSTANTS)}")
    a, b = CRC_CONSTANTS[salt]
    t = as_floats(temperature_c, "temperature_c")
    require_range(t, LOWEST_C, HIGHEST_C, f"temperature_c of {salt}", "degC")
    return in_blocks(lambda x: a * np.exp(b / (x + ZERO_CELSIUS_K)), t)


def fixed_point_uncertainty(salt: str, temperature_c: Values) -> Values:
    """Stated uncertainty of `fixed_point_rh`, FROM MEMORY, held outside its table [% RH]; same errors."""
    fixed_point_rh(salt, temperature_c)
    at, uncertainty = UNCERTAINTY_PCT[salt]
    return in_blocks(
        lambda x: np.asarray(np.interp(x, at, uncertainty)), as_floats(temperature_c, "temperature_c")
    )


def two_point_calibration(
    first_reading_pct: float, first_true_pct: float, second_reading_pct: float, second_true_pct: float
) -> Calibration:
    """The straight line through two fixed points.

    Parameters
    ----------
    first_reading_pct, second_reading_pct : what the sensor showed, 0..110 [%]
    first_true_pct, second_true_pct : the fixed points, 0..100 [%]

    Raises
    ------
    PhysicsError : readings or truths under 5 % RH apart or in opposite order, or out of range.
    """
    readings = np.array([first_reading_pct, second_reading_pct], dtype=float)
    truths = np.array([first_true_pct, second_true_pct], dtype=float)
    require_range(readings, 0.0, 110.0, "reading", "%")
    require_range(truths, 0.0, 100.0, "fixed point", "%")
    read, true = float(np.diff(readings)[0]), float(np.diff(truths)[0])
    if not (abs(read) >= 5.0 and abs(true) >= 5.0 and read * true > 0.0):
        raise PhysicsError(
            f"calibration points {first_reading_pct:g}->{first_true_pct:g} and {second_reading_pct:g}->"
            f"{second_true_pct:g} %: expected to differ by 5 % or more, in the same order"
        )
    gain = true / read
    return Calibration(gain, first_true_pct - gain * first_reading_pct)
