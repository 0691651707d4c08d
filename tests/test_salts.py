"""Salt fixed points and two-point calibration: ranges, unknown salts, points too near each other."""

from __future__ import annotations

import math

import numpy as np
import pytest

from monitor import salts
from monitor.errors import PhysicsError


def test_arrays_keep_their_shape_and_unknown_stays_unknown() -> None:
    """Several temperatures at once."""
    humidity = salts.fixed_point_rh("KCl", [5.0, None, 15.0])
    assert humidity[0] > humidity[2]
    assert math.isnan(humidity[1])


@pytest.mark.parametrize("salt", [*salts.GREENSPAN_POLYNOMIALS, *salts.GREENSPAN_TABLES])
def test_every_salt_has_a_humidity_and_a_doubt(salt: str) -> None:
    """Between 5 and 25 degC, where every one is tabulated."""
    t = np.linspace(5.0, 25.0, 9)
    assert np.all((salts.fixed_point_rh(salt, t) > 30.0) & (salts.fixed_point_rh(salt, t) < 100.0))
    assert np.all(salts.fixed_point_uncertainty(salt, t) > 0.0)


def test_a_calibration_may_correct_past_saturation() -> None:
    """A correction over 100 is left for the quality tests to judge, not cut in silence."""
    assert salts.two_point_calibration(75.0, 75.6, 95.0, 98.0).apply(99.0) > 100.0


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: salts.fixed_point_rh("sugar", 10.0), "salt 'sugar'"),
        (lambda: salts.crc_fixed_point_rh("sugar", 10.0), "salt 'sugar'"),
        (lambda: salts.crc_fixed_point_rh("KCl", -1.0), "temperature_c of KCl -1"),
        (lambda: salts.fixed_point_rh("NaCl", 60.0), "temperature_c of NaCl 60"),
        (lambda: salts.fixed_point_rh("NaBr", 2.0), "temperature_c of NaBr 2"),
        (lambda: salts.two_point_calibration(77.0, 75.6, 77.5, 97.9), "differ by 5 %"),
        (lambda: salts.two_point_calibration(77.0, 97.9, 94.0, 75.6), "in the same order"),
        (lambda: salts.two_point_calibration(177.0, 97.9, 94.0, 75.6), "reading 177"),
    ],
)
def test_impossible_calibration_raises(call, named: str) -> None:
    """The error names the value and what would be possible."""
    with pytest.raises(PhysicsError, match=named):
        call()
