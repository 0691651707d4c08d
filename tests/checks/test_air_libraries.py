"""Humid air against CoolProp 8.0.0, iapws 1.5.5 and psychrolib 2.5.0 over the climates of maturing rooms.

Grid: 0..30 degC, 10..100 %, 70..105 kPa (sea level to about 3000 m).
"""

from __future__ import annotations

import CoolProp.CoolProp as CoolProp
import iapws.iapws97
import numpy as np
import psychrolib
import pytest

from monitor import air

psychrolib.SetUnitSystem(psychrolib.SI)

TEMPERATURES_C = [0.0, 0.01, 0.5, 2.0, 5.0, 8.0, 10.0, 12.0, 15.0, 20.0, 25.0, 30.0]
HUMIDITIES_PCT = [10.0, 25.0, 40.0, 60.0, 75.0, 85.0, 92.0, 98.0, 100.0]
PRESSURES_PA = [70_000.0, 90_000.0, 101_325.0, 105_000.0]
CLIMATES = [(t, rh) for t in TEMPERATURES_C for rh in HUMIDITIES_PCT]


@pytest.mark.parametrize("pressure_pa", PRESSURES_PA)
def test_humidity_ratio_agrees_with_real_gas_code(pressure_pa: float) -> None:
    """Within 0.05 % of CoolProp HAPropsSI, the enhancement factor being Greenspan's (worst found 0.037 %)."""
    for t, rh in CLIMATES:
        reference = CoolProp.HAPropsSI("W", "T", t + 273.15, "P", pressure_pa, "R", rh / 100.0)
        assert air.humidity_ratio(t, rh, pressure_pa) == pytest.approx(reference, rel=5e-4), (t, rh)


@pytest.mark.parametrize("pressure_pa", PRESSURES_PA)
def test_humidity_ratio_without_enhancement_is_the_handbook_one(pressure_pa: float) -> None:
    """The named option leaves the ideal-gas equation of psychrolib, to rounding."""
    for t, rh in CLIMATES:
        reference = psychrolib.GetHumRatioFromRelHum(t, rh / 100.0, pressure_pa)
        computed = air.humidity_ratio(t, rh, pressure_pa, enhancement=False)
        assert computed == pytest.approx(reference, rel=1e-12), (t, rh)


def test_enhancement_factor_agrees_with_real_gas_code() -> None:
    """f itself within 0.0005 of CoolProp's, which is a tenth of what f adds."""
    for t in TEMPERATURES_C:
        for pressure_pa in PRESSURES_PA:
            ratio = CoolProp.HAPropsSI("W", "T", t + 273.15, "P", pressure_pa, "R", 1.0)
            vapour = pressure_pa * ratio / (0.621945 + ratio)
            reference = vapour / air.saturation_vapour_pressure(t)
            assert air.enhancement_factor(t, pressure_pa) == pytest.approx(reference, abs=5e-4)


def test_dew_point_agrees_with_the_steam_standard() -> None:
    """Within 0.005 K of IAPWS-IF97 (region 4, from 0 degC up), the same vapour by IF97 on both ways."""
    compared = 0
    for t, rh in CLIMATES:
        if t < 0.01:
            continue
        vapour_mpa = rh / 100.0 * iapws.iapws97._PSat_T(t + 273.15)
        if vapour_mpa < 611.213e-6:
            continue
        reference = iapws.iapws97._TSat_P(vapour_mpa) - 273.15
        assert air.dew_point(t, rh) == pytest.approx(reference, abs=0.005), (t, rh)
        compared += 1
    assert compared == 59


def test_frost_point_agrees_with_the_sublimation_standard() -> None:
    """Within 0.005 K of IAPWS R14-08: the vapour pressure over ice at our frost point is the one put in."""
    for t in (0.5, 2.0, 5.0, 8.0):
        for rh in (20.0, 40.0, 60.0):
            frost = air.frost_point(t, rh)
            if np.isnan(frost):
                continue
            vapour = rh / 100.0 * iapws.iapws97._PSat_T(t + 273.15) * 1e6
            low, high = (
                1e6 * iapws._iapws._Sublimation_Pressure(frost + 273.15 + d) for d in (-0.005, 0.005)
            )
            assert low < vapour < high, (t, rh, frost)


def test_dew_point_below_freezing_stays_over_water() -> None:
    """Supercooled water, up to 1.1 K below the frost point, and consistent with the WMO Magnus to 0.06 K."""
    for rh in (30.0, 50.0, 70.0):
        dew, frost = air.dew_point(2.0, rh), air.frost_point(2.0, rh)
        assert dew < frost < 0.01
        magnus = air.saturation_vapour_pressure_magnus(dew)
        assert magnus == pytest.approx(air.vapour_pressure(2.0, rh), rel=0.005)


@pytest.mark.parametrize("pressure_pa", PRESSURES_PA)
def test_wet_bulb_agrees_with_the_handbook_library(pressure_pa: float) -> None:
    """Within 0.02 K of psychrolib (whose halving stops at 0.001 K), also where the wick may be ice or water."""
    for t in np.arange(0.0, 30.1, 1.5):
        for rh in np.arange(10.0, 100.1, 5.0):
            reference = psychrolib.GetTWetBulbFromRelHum(float(t), float(rh) / 100.0, pressure_pa)
            assert air.wet_bulb(t, rh, pressure_pa) == pytest.approx(reference, abs=0.02), (t, rh)


def test_enthalpy_and_density_agree_with_the_handbook_library() -> None:
    """Enthalpy and density without enhancement are psychrolib's to 1e-4."""
    for t, rh in CLIMATES:
        ratio = psychrolib.GetHumRatioFromRelHum(t, rh / 100.0, 101_325.0)
        enthalpy = air.enthalpy(t, rh, enhancement=False)
        assert enthalpy == pytest.approx(psychrolib.GetMoistAirEnthalpy(t, ratio), rel=1e-9, abs=1e-6)
        density = air.moist_air_density(t, rh, enhancement=False)
        assert density == pytest.approx(psychrolib.GetMoistAirDensity(t, ratio, 101_325.0), rel=1e-4)


def test_density_agrees_with_real_gas_code() -> None:
    """Within 0.1 % of CoolProp, which counts compressibility."""
    for t, rh in CLIMATES:
        ratio = CoolProp.HAPropsSI("W", "T", t + 273.15, "P", 101_325.0, "R", rh / 100.0)
        volume = CoolProp.HAPropsSI("V", "T", t + 273.15, "P", 101_325.0, "R", rh / 100.0)
        assert air.moist_air_density(t, rh) == pytest.approx((1.0 + ratio) / volume, rel=1e-3)
