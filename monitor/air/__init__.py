"""Humid-air physics: pure functions of temperature [degC], relative humidity [%] and pressure [Pa].

Scalars or arrays in, the same shape out. ``None`` and NaN mean "not known" and come out as NaN; a scalar
gives a float. Impossible input raises `monitor.errors.PhysicsError` naming the value and the range; a
humidity that looks like a fraction warns (`HumidityLooksLikeFraction`). Every formula names its source.

>>> from monitor import air
>>> round(air.dew_point(12.0, 85.0), 2)
9.56
"""

from __future__ import annotations

from monitor.air.inputs import HumidityLooksLikeFraction
from monitor.air.moist import (
    STANDARD_PRESSURE_PA,
    absolute_humidity,
    dew_or_frost_point,
    dew_point,
    enthalpy,
    frost_point,
    humidity_ratio,
    humidity_ratio_from_vapour_pressure,
    moist_air_density,
    rh_at_temperature,
    vapour_pressure,
    vapour_pressure_deficit,
)
from monitor.air.psychrometer import rh_from_wet_bulb, wet_bulb
from monitor.air.saturation import (
    TRIPLE_POINT_C,
    ZERO_CELSIUS_K,
    enhancement_factor,
    pressure_at_altitude,
    saturation_vapour_pressure,
    saturation_vapour_pressure_magnus,
    wmo_enhancement_factor,
)
from monitor.air.uncertainty import Estimate, propagate

__all__ = [
    "STANDARD_PRESSURE_PA",
    "TRIPLE_POINT_C",
    "ZERO_CELSIUS_K",
    "Estimate",
    "HumidityLooksLikeFraction",
    "absolute_humidity",
    "dew_or_frost_point",
    "dew_point",
    "enhancement_factor",
    "enthalpy",
    "frost_point",
    "humidity_ratio",
    "humidity_ratio_from_vapour_pressure",
    "moist_air_density",
    "pressure_at_altitude",
    "propagate",
    "rh_at_temperature",
    "rh_from_wet_bulb",
    "saturation_vapour_pressure",
    "saturation_vapour_pressure_magnus",
    "vapour_pressure",
    "vapour_pressure_deficit",
    "wet_bulb",
    "wmo_enhancement_factor",
]
