"""Condensation: a surface against the dew point of the air before it."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor import air
from monitor.errors import PhysicsError
from monitor.rind.condensation import condensation_margin, condenses, margin_with_doubt, surface_humidity


def test_a_wheel_brought_in_cold_gets_wet() -> None:
    """Air of 12 degC and 85 % has its dew point at 9.56 degC: a wheel at 9 is wet, one at 11 is not."""
    assert condensation_margin(12.0, 85.0, 9.0) == pytest.approx(-0.56, abs=0.01)
    assert condenses(12.0, 85.0, 9.0) is True
    assert condenses(12.0, 85.0, 11.0) is False
    assert condenses(12.0, None, 11.0) is None


def test_a_freezing_coil_is_measured_against_the_frost_point() -> None:
    """Air of 2 degC and 60 %: frost forms below its frost point, which lies above its dew point."""
    assert condensation_margin(2.0, 60.0, -4.0) == pytest.approx(-4.0 - air.frost_point(2.0, 60.0))


@given(st.floats(2.0, 25.0), st.floats(30.0, 99.0), st.floats(-5.0, 25.0))
def test_margin_and_surface_humidity_tell_the_same(t: float, rh: float, surface: float) -> None:
    """Below the dew or frost point the surface humidity is over 100 %, above it under."""
    margin = condensation_margin(t, rh, surface)
    if abs(margin) > 1e-3 and abs(surface - 0.01) > 0.02:
        assert (margin < 0.0) == (surface_humidity(t, rh, surface) > 100.0)


def test_doubt_of_air_and_surface_add_in_squares() -> None:
    """0.3 K of surface beside what the air sensors give."""
    _, of_air = margin_with_doubt(12.0, 85.0, 10.0, sigma_temperature_c=0.2, sigma_rh_pct=2.0)
    value, both = margin_with_doubt(
        12.0, 85.0, 10.0, sigma_temperature_c=0.2, sigma_rh_pct=2.0, sigma_surface_c=0.3
    )
    assert value == pytest.approx(0.44, abs=0.01)
    assert both == pytest.approx(math.hypot(of_air, 0.3))


def test_impossible_surface_raises() -> None:
    """A surface of 90 degC is named."""
    with pytest.raises(PhysicsError, match="surface_temperature_c 90"):
        condensation_margin(12.0, 85.0, 90.0)
