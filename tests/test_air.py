"""Humid air: shapes, unknown values, impossible input, directions, round trips and uncertainty."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor import air
from monitor.errors import PhysicsError

temperatures = st.floats(-20.0, 45.0)
humidities = st.floats(5.0, 100.0)
pressures = st.floats(70_000.0, 105_000.0)
CLIMATE_FUNCTIONS = [
    air.vapour_pressure,
    air.vapour_pressure_deficit,
    air.dew_point,
    air.frost_point,
    air.dew_or_frost_point,
    air.wet_bulb,
    air.humidity_ratio,
    air.absolute_humidity,
    air.moist_air_density,
    air.enthalpy,
]
every_climate_function = pytest.mark.parametrize("function", CLIMATE_FUNCTIONS, ids=lambda f: f.__name__)


@every_climate_function
def test_scalar_in_gives_float_out(function) -> None:
    """A single climate gives a plain float."""
    assert type(function(4.0, 60.0)) is float


@every_climate_function
def test_array_in_gives_the_same_shape_out(function) -> None:
    """Arrays keep their shape, and scalars stretch to it."""
    t = np.linspace(1.0, 20.0, 6).reshape(2, 3)
    assert function(t, 50.0).shape == (2, 3)
    assert function(t, np.full((2, 3), 50.0))[0, 0] == pytest.approx(function(1.0, 50.0), rel=1e-12)
    assert function([], []).shape == (0,)


@every_climate_function
def test_a_long_array_agrees_with_its_points(function) -> None:
    """Arrays longer than one working block give what each point gives alone, over ice and water mixed."""
    t, rh = np.linspace(-15.0, 30.0, 40_001), np.linspace(20.0, 95.0, 40_001)
    whole = function(t, rh)
    for i in (0, 13_000, 16_383, 16_384, 40_000):
        assert whole[i] == pytest.approx(function(t[i], rh[i]), rel=1e-10, abs=1e-10, nan_ok=True)


@pytest.mark.parametrize("enhancement", [True, False])
@pytest.mark.parametrize("pressure_pa", [70_000.0, 101_325.0])
def test_an_archive_of_warm_air_agrees_with_its_points(pressure_pa: float, enhancement: bool) -> None:
    """Above freezing at one pressure long arrays take a shorter way: the same to 1e-10 over 0.02..60 degC."""
    t = np.linspace(0.02, 60.0, 5_000)
    whole = air.humidity_ratio(t, 80.0, pressure_pa, enhancement=enhancement)
    for i in range(0, 5_000, 250):
        alone = air.humidity_ratio(t[i], 80.0, pressure_pa, enhancement=enhancement)
        assert whole[i] == pytest.approx(alone, rel=1e-10)
    with_gap = np.append(t, math.nan)
    assert math.isnan(air.humidity_ratio(with_gap, 80.0, pressure_pa)[-1])


@every_climate_function
def test_unknown_stays_unknown(function) -> None:
    """None and NaN come out as NaN, and leave their neighbours alone."""
    assert math.isnan(function(None, 85.0))
    result = function([5.0, None, 5.0], [60.0, 60.0, math.nan])
    assert np.isnan(result).tolist() == [False, True, True]


@every_climate_function
@pytest.mark.parametrize(
    ("temperature_c", "rh_pct", "named"),
    [
        (61.0, 50.0, "temperature_c 61 degC .* -40 to 60"),
        (-40.1, 50.0, "temperature_c -40.1 degC"),
        (math.inf, 50.0, "temperature_c inf"),
        (12.0, 100.5, "rh_pct 100.5 % .* 0 to 100"),
        (12.0, -0.1, "rh_pct -0.1 %"),
        (12.0, -math.inf, "rh_pct -inf"),
        ("12", 50.0, "temperature_c: numbers are expected"),
        (True, 50.0, "temperature_c: numbers are expected"),
        ([1.0, 2.0], [50.0, 60.0, 70.0], "shapes do not fit"),
        ([12.0, 80.0], [50.0, 50.0], "temperature_c 80"),
    ],
)
def test_impossible_input_raises_and_names_it(function, temperature_c, rh_pct, named) -> None:
    """The error says which value, and what would have been possible."""
    with pytest.raises(PhysicsError, match=named):
        function(temperature_c, rh_pct)


@pytest.mark.parametrize("pressure_pa", [0.0, -5.0, 1013.25, 101.325, math.inf])
@pytest.mark.parametrize("function", [air.humidity_ratio, air.wet_bulb, air.moist_air_density, air.enthalpy])
def test_pressure_in_another_unit_raises(function, pressure_pa: float) -> None:
    """A pressure in hPa or kPa, none or less, is refused."""
    with pytest.raises(PhysicsError, match="pressure_pa"):
        function(12.0, 85.0, pressure_pa)


def test_altitude_outside_the_standard_atmosphere_raises() -> None:
    """The formula holds from -500 to 11,000 m."""
    with pytest.raises(PhysicsError, match="altitude_m"):
        air.pressure_at_altitude(12_000.0)


def test_a_humidity_that_looks_like_a_fraction_warns() -> None:
    """0.85 where percent is meant is the likeliest slip; 85 and 0 are silent."""
    with pytest.warns(air.HumidityLooksLikeFraction, match="fraction"):
        air.dew_point(12.0, 0.85)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        air.vapour_pressure(12.0, [0.9, 85.0])
        air.vapour_pressure(12.0, 0.0)


def test_rounding_beyond_the_limits_is_brought_back() -> None:
    """100.0000001 % is 100 %, not an error and not more."""
    assert air.vapour_pressure_deficit(12.0, 100.0 + 1e-7) == 0.0


def test_air_without_vapour_has_no_dew_point() -> None:
    """At 0 % the dew point is unknown, the vapour pressure and the ratio are zero."""
    assert math.isnan(air.dew_point(12.0, 0.0))
    assert air.humidity_ratio(12.0, 0.0) == 0.0


def test_moist_warm_air_has_no_frost_point() -> None:
    """Above the triple point water condenses, not ice."""
    assert math.isnan(air.frost_point(12.0, 85.0))
    assert air.dew_or_frost_point(12.0, 85.0) == pytest.approx(air.dew_point(12.0, 85.0))


def test_water_and_ice_meet_at_the_triple_point() -> None:
    """The two branches are within 0.01 % of each other there."""
    water = air.saturation_vapour_pressure(0.01, over="water")
    assert air.saturation_vapour_pressure(0.01, over="ice") == pytest.approx(water, rel=1e-4)
    with pytest.raises(PhysicsError, match="over ice"):
        air.saturation_vapour_pressure(5.0, over="ice")
    with pytest.raises(PhysicsError, match="'auto', 'water' or 'ice'"):
        air.saturation_vapour_pressure(5.0, over="steam")


@given(st.floats(0.02, 60.0), st.floats(1.5, 100.0))
def test_dew_point_comes_back(temperature_c: float, rh_pct: float) -> None:
    """Saturation over water at the dew point is the vapour pressure that went in, to 1e-9."""
    dew = air.dew_point(temperature_c, rh_pct)
    if dew >= -40.0:
        vapour = air.vapour_pressure(temperature_c, rh_pct)
        assert air.saturation_vapour_pressure(dew, over="water") == pytest.approx(vapour, rel=1e-9)


@given(st.floats(-39.0, 0.0), st.floats(60.0, 100.0))
def test_frost_point_comes_back(temperature_c: float, rh_pct: float) -> None:
    """Saturation over ice at the frost point is the vapour pressure that went in, to 1e-9."""
    frost = air.frost_point(temperature_c, rh_pct)
    if frost >= -40.0:
        vapour = air.vapour_pressure(temperature_c, rh_pct)
        assert air.saturation_vapour_pressure(frost, over="ice") == pytest.approx(vapour, rel=1e-9)


@given(temperatures, st.floats(5.0, 60.0), temperatures)
def test_warming_and_cooling_back_changes_nothing(start: float, rh_pct: float, other: float) -> None:
    """Relative humidity brought to another temperature and back is the same, to 1e-9."""
    there = air.rh_at_temperature(start, rh_pct, other)
    if there <= 100.0 and there > 1.0:
        assert air.rh_at_temperature(other, there, start) == pytest.approx(rh_pct, rel=1e-9)


@given(st.floats(3.0, 40.0), humidities, pressures, st.booleans())
def test_wet_bulb_comes_back(
    temperature_c: float, rh_pct: float, pressure_pa: float, enhancement: bool
) -> None:
    """Humidity from the wet bulb is the humidity that went in, to 1e-9."""
    wet = air.wet_bulb(temperature_c, rh_pct, pressure_pa, enhancement=enhancement)
    back = air.rh_from_wet_bulb(temperature_c, wet, pressure_pa, enhancement=enhancement)
    assert back == pytest.approx(rh_pct, rel=1e-9, abs=1e-9)


@given(temperatures, humidities, pressures)
def test_humidity_ratio_comes_back(temperature_c: float, rh_pct: float, pressure_pa: float) -> None:
    """Vapour pressure, ratio and vapour pressure again agree to 1e-9."""
    ratio = air.humidity_ratio(temperature_c, rh_pct, pressure_pa, enhancement=False)
    vapour = pressure_pa * ratio / (0.621945 + ratio)
    assert vapour == pytest.approx(air.vapour_pressure(temperature_c, rh_pct), rel=1e-9)
    assert air.humidity_ratio_from_vapour_pressure(vapour, pressure_pa) == pytest.approx(ratio, rel=1e-9)


@given(temperatures, humidities)
def test_dew_wet_and_dry_stand_in_order(temperature_c: float, rh_pct: float) -> None:
    """Dew or frost point, wet bulb, dry bulb: never out of order."""
    point, wet = air.dew_or_frost_point(temperature_c, rh_pct), air.wet_bulb(temperature_c, rh_pct)
    assert point - 1e-3 <= wet <= temperature_c


@given(temperatures, st.floats(5.0, 95.0), st.floats(0.1, 5.0))
def test_moister_air_is_moister_in_every_measure(temperature_c: float, rh_pct: float, more: float) -> None:
    """More relative humidity: higher dew point, ratio and enthalpy, lower deficit and density."""
    drier, moister = (temperature_c, rh_pct), (temperature_c, rh_pct + more)
    for rising in (air.dew_point, air.humidity_ratio, air.absolute_humidity, air.enthalpy):
        assert rising(*moister) > rising(*drier)
    assert air.vapour_pressure_deficit(*moister) < air.vapour_pressure_deficit(*drier)
    assert air.moist_air_density(*moister) < air.moist_air_density(*drier)


def test_wet_bulb_warmer_than_the_air_raises() -> None:
    """Swapped thermometers are named as the likely cause."""
    with pytest.raises(PhysicsError, match="swapped"):
        air.rh_from_wet_bulb(10.0, 12.0)


def test_a_wet_bulb_no_air_could_show_is_unknown() -> None:
    """A wet bulb of 0 in air of 30 degC would need less than no vapour."""
    assert math.isnan(air.rh_from_wet_bulb(30.0, 0.0))


def test_uncertainty_of_the_deficit_is_the_hand_calculation() -> None:
    """VPD = (1 - RH) es: slopes (1 - RH) des/dT and -es/100, added in squares."""
    value, sigma = air.propagate(
        air.vapour_pressure_deficit, 12.0, 85.0, sigma_temperature_c=0.2, sigma_rh_pct=2.0
    )
    saturation = air.saturation_vapour_pressure(12.0)
    slope = (air.saturation_vapour_pressure(12.001) - air.saturation_vapour_pressure(11.999)) / 0.002
    assert value == air.vapour_pressure_deficit(12.0, 85.0)
    assert sigma == pytest.approx(math.hypot(0.15 * slope * 0.2, saturation * 0.02), rel=1e-5)


@every_climate_function
def test_uncertainty_agrees_with_a_thousand_sensors(function) -> None:
    """First-order sigma within 10 % of the spread of 20,000 drawn readings, away from the limits."""
    rng = np.random.default_rng(7)
    t, rh = 4.0 + 0.1 * rng.standard_normal(20_000), 60.0 + 1.0 * rng.standard_normal(20_000)
    _, sigma = air.propagate(function, 4.0, 60.0, sigma_temperature_c=0.1, sigma_rh_pct=1.0)
    assert sigma == pytest.approx(float(np.std(function(t, rh))), rel=0.1)


def test_uncertainty_at_saturation_is_one_sided_and_known() -> None:
    """At exactly 100 % the slope is taken from below; no error, no NaN."""
    _, sigma = air.propagate(air.dew_point, 12.0, 100.0, sigma_temperature_c=0.0, sigma_rh_pct=2.0)
    assert sigma == pytest.approx(0.30, abs=0.02)


def test_uncertainty_takes_arrays_further_arguments_and_refuses_nonsense() -> None:
    """A surface temperature is handed on, unknown stays unknown, negative uncertainty raises."""
    value, sigma = air.propagate(
        air.rh_at_temperature, [12.0, None], [85.0, 85.0], 10.0, sigma_temperature_c=0.2, sigma_rh_pct=2.0
    )
    assert value.shape == sigma.shape == (2,)
    assert np.isnan(sigma).tolist() == [False, True]
    with pytest.raises(PhysicsError, match="sigma_rh_pct"):
        air.propagate(air.dew_point, 12.0, 85.0, sigma_temperature_c=0.2, sigma_rh_pct=-1.0)
    with pytest.raises(PhysicsError, match="correlation"):
        air.propagate(air.dew_point, 12.0, 85.0, sigma_temperature_c=0.2, sigma_rh_pct=1.0, correlation=1.5)
