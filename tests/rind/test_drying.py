"""Drying without a twin: film, wrap, surface temperature and the drying pace that the first rules use."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor import air
from monitor.errors import PhysicsError
from monitor.rind import drying

CELSIUS = st.floats(2.0, 25.0)
HUMIDITY = st.floats(40.0, 99.0)
WRAP = st.floats(0.0, 1e10)


def test_in_the_reference_climate_the_pace_is_one() -> None:
    """As intended is 1.0, whatever the wrap."""
    for wrap in (0.0, 1e8, 1e9):
        assert drying.drying_pace(12.0, 85.0, 12.0, 85.0, wrap_resistance=wrap) == pytest.approx(1.0)


def test_five_points_drier_at_a_wrapped_rind_dries_half_as_fast_again() -> None:
    """80 % where 85 % is meant, at a_w 0.96: (0.96 - 0.80)/(0.96 - 0.85) = 1.45, cooling hardly showing."""
    assert drying.drying_pace(12.0, 80.0, 12.0, 85.0, 0.96, wrap_resistance=1e9) == pytest.approx(
        1.45, abs=0.01
    )


def test_damper_than_the_rind_is_a_negative_pace() -> None:
    """At 98 % a rind of a_w 0.96 takes up water; that is told, not hidden."""
    assert drying.drying_pace(12.0, 98.0, 12.0, 85.0, 0.96) < 0.0


def test_unknown_air_gives_no_pace() -> None:
    """None and NaN come out as NaN, never as zero."""
    assert math.isnan(drying.drying_pace(None, 85.0, 12.0, 85.0))
    assert math.isnan(drying.drying_pace(12.0, math.nan, 12.0, 85.0))


def test_a_reference_in_which_nothing_dries_gives_no_pace() -> None:
    """At 99 % a rind of 0.96 does not dry: there is nothing to compare with."""
    assert math.isnan(drying.drying_pace(12.0, 85.0, 12.0, 99.0, 0.96))


def test_arrays_keep_their_shape() -> None:
    """A day of ten-minute records in, a day of paces out, each what it is alone."""
    rh = np.linspace(75.0, 95.0, 144)
    paces = drying.drying_pace(12.0, rh, 12.0, 85.0)
    assert paces.shape == rh.shape
    assert paces[7] == pytest.approx(drying.drying_pace(12.0, float(rh[7]), 12.0, 85.0))


def test_sensor_doubt_is_carried_into_the_pace() -> None:
    """2 % RH of doubt at a wrapped rind is 0.02/0.11 = 0.18 of the pace."""
    value, sigma = air.propagate(
        drying.drying_pace,
        12.0,
        85.0,
        12.0,
        85.0,
        0.96,
        sigma_temperature_c=0.0,
        sigma_rh_pct=2.0,
        wrap_resistance=1e9,
    )
    assert value == pytest.approx(1.0)
    assert sigma == pytest.approx(0.18, abs=0.01)


@given(CELSIUS, HUMIDITY, st.floats(0.1, 20.0), st.floats(0.0, 1.0), WRAP)
def test_drier_air_never_dries_slower(t: float, rh: float, less: float, speed: float, wrap: float) -> None:
    """The law of direction for humidity."""
    options = {"air_speed_m_s": speed, "wrap_resistance": wrap}
    assert drying.evaporation(t, rh - less, 0.96, **options) > drying.evaporation(t, rh, 0.96, **options)


@given(CELSIUS, st.floats(40.0, 94.0), WRAP, st.floats(1e6, 1e10))
def test_thicker_wrap_never_dries_faster(t: float, rh: float, wrap: float, more: float) -> None:
    """The law of direction for cloth and fat."""
    thin = drying.evaporation(t, rh, 0.96, wrap_resistance=wrap)
    assert drying.evaporation(t, rh, 0.96, wrap_resistance=wrap + more) < thin


@given(CELSIUS, st.floats(40.0, 94.0), st.floats(0.1, 10.0), WRAP)
def test_warmer_at_equal_humidity_dries_faster(t: float, rh: float, more: float, wrap: float) -> None:
    """The law of direction for temperature."""
    cool = drying.evaporation(t, rh, 0.96, wrap_resistance=wrap)
    assert drying.evaporation(t + more, rh, 0.96, wrap_resistance=wrap) > cool


@given(CELSIUS, HUMIDITY, st.floats(0.8, 1.0), WRAP, st.floats(0.0, 2.0))
def test_surface_energy_balances(t: float, rh: float, activity: float, wrap: float, speed: float) -> None:
    """What the air brings as heat, evaporating takes: to 1e-6 W/m2 of at most some tens."""
    options = {"wrap_resistance": wrap, "air_speed_m_s": speed}
    surface = drying.surface_temperature(t, rh, activity, **options)
    flux = drying.evaporation(t, rh, activity, **options)
    brought = drying.heat_transfer_coefficient(speed) * (t - surface)
    assert brought == pytest.approx(float(drying.latent_heat(surface)) * flux, abs=1e-6)


@given(CELSIUS, HUMIDITY)
def test_bare_free_water_lies_between_wet_bulb_and_air(t: float, rh: float) -> None:
    """A wet bare face settles near the wet bulb, the psychrometer's own physics, and never above the air."""
    surface = drying.surface_temperature(t, rh, 1.0, air_speed_m_s=1.0)
    assert surface <= t
    assert surface == pytest.approx(air.wet_bulb(t, rh, 101_325.0), abs=0.1 + 0.08 * (t - surface))


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"rh_pct": 101.0}, "rh_pct"),
        ({"rh_pct": -1.0}, "rh_pct"),
        ({"temperature_c": 61.0}, "temperature_c"),
        ({"temperature_c": -41.0}, "temperature_c"),
        ({"water_activity": 1.2}, "water_activity"),
        ({"wrap_resistance": -1.0}, "wrap_resistance"),
        ({"air_speed_m_s": 11.0}, "air_speed_m_s"),
        ({"pressure_pa": 1013.0}, "pressure_pa"),
        ({"heat_transfer": 0.0}, "heat_transfer"),
        ({"temperature_c": "warm"}, "numbers are expected"),
    ],
)
def test_impossible_input_names_what_is_wrong(change: dict[str, object], word: str) -> None:
    """The message names the value and its range."""
    sound = {"temperature_c": 12.0, "rh_pct": 85.0, "water_activity": 0.96}
    with pytest.raises(PhysicsError, match=word):
        drying.evaporation(**{**sound, **change})
