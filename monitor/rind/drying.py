"""How fast water leaves a rind: film of air, wrap and rind in series, and the surface's own temperature.

Evaporation per area is K (a_w p_sat(T_surface) - e_air), K being the film's coefficient in series with the
wrap. Evaporating cools the surface, which lowers p_sat there, so temperature and flux are solved together.
"""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from monitor import air
from monitor.air.inputs import as_floats
from monitor.errors import PhysicsError

Values: TypeAlias = Any
"""A float for scalars, an array for arrays; None and NaN mean "not known" and come out as NaN."""
Array: TypeAlias = NDArray[np.float64]

GAS_CONSTANT_VAPOUR = 461.52
"""Of water vapour [J/kg/K]."""
LEWIS_NUMBER = 0.865
"""Thermal over vapour diffusivity of air (from memory)."""
LEWIS_EXPONENT = 2.0 / 3.0
"""Chilton & Colburn 1934, Ind. Eng. Chem. 26:1183 (from memory)."""
AIR_HEAT_CAPACITY = 1006.0
"""Of dry air at constant pressure [J/kg/K]."""
VAPOUR_TO_AIR_MASS = 0.621945
"""Molar mass of water over that of dry air, ASHRAE Handbook of Fundamentals 2017, ch. 1."""

AIR_CONDUCTIVITY = 0.0249
"""Near 10 degC [W/m/K] (from memory)."""
AIR_VISCOSITY = 1.42e-5
"""Kinematic, near 10 degC [m2/s] (from memory)."""
AIR_PRANDTL = 0.71
"""From memory."""
STILL_AIR_TRANSFER = 1.5
"""Heat transfer by natural convection at the small differences of a store [W/m2/K] (assumed, no source)."""
TYPICAL_AIR_SPEED = 0.2
"""In a maturing room [m/s]; 0.1-0.3 is common practice, no source."""
TYPICAL_LENGTH = 0.3
"""Along the air stream, about a wheel's diameter [m]."""


def latent_heat(temperature_c: Values) -> Values:
    """Heat that evaporating takes up [J/kg]: 2,501,000 - 2,361 t, within 0.01 % of CoolProp 8.0.0, 5..15 degC."""
    return 2.501e6 - 2361.0 * _known(temperature_c)


def heat_transfer_coefficient(air_speed_m_s: Values, length_m: Values = TYPICAL_LENGTH) -> Values:
    """Heat passing between air and surface per area and degree [W/m2/K].

    Forced flow along a plate, Nu = 0.664 Re^1/2 Pr^1/3 (laminar, Re below 5e5; from memory, in any heat
    transfer handbook), blended with still air by cubes (Churchill 1977, AIChE J. 23:10, from memory).

    Parameters
    ----------
    air_speed_m_s : 0..10 [m/s]; length_m : along the flow, above 0 [m]

    Raises
    ------
    PhysicsError : a speed outside 0..10 or a length of zero or less.
    """
    speed, length = _known(air_speed_m_s, "air_speed_m_s"), _known(length_m, "length_m")
    require(speed, 0.0, 10.0, "air_speed_m_s", "m/s")
    require(length, 1e-3, 10.0, "length_m", "m")
    forced = forced_transfer(speed, length)
    return np.cbrt(forced**3 + STILL_AIR_TRANSFER**3)


def forced_transfer(speed: Values, length: Values) -> Values:
    """Heat transfer along a plate for checked inputs [W/m2/K]; see `heat_transfer_coefficient`."""
    return 0.664 * AIR_PRANDTL ** (1 / 3) * AIR_CONDUCTIVITY * np.sqrt(speed / (AIR_VISCOSITY * length))


def film_coefficient(heat_transfer: Values, pressure_pa: Values = air.STANDARD_PRESSURE_PA) -> Values:
    """Evaporation per area and vapour pressure difference through the film of air [kg/m2/s/Pa].

    Lewis relation after Chilton & Colburn: k = 0.621945 h / (c_p p Le^(2/3)).

    Parameters
    ----------
    heat_transfer : of the same film [W/m2/K]; pressure_pa : of the air [Pa]

    Raises
    ------
    PhysicsError : what is no number.
    """
    transfer, pressure = _known(heat_transfer, "heat_transfer"), _known(pressure_pa, "pressure_pa")
    return VAPOUR_TO_AIR_MASS * transfer / (AIR_HEAT_CAPACITY * pressure * LEWIS_NUMBER**LEWIS_EXPONENT)


def through_wrap(film: Values, wrap_resistance: Values) -> Values:
    """Film and wrap (cloth and fat, a natural rind) in series [kg/m2/s/Pa].

    Parameters
    ----------
    film : from `film_coefficient` [kg/m2/s/Pa]; wrap_resistance : 0 is bare [Pa m2 s/kg]
    """
    return film / (1.0 + film * wrap_resistance)


def surface_balance(
    temperature_c: Values, air_vapour_pa: Values, water_activity: Values, transfer: Values, vapour: Values
) -> tuple[Values, Values]:
    """Temperature [degC] and saturation pressure [Pa] of an evaporating surface, for checked inputs.

    h (T_air - T) = L K (a_w p_sat(T) - e), by Newton from the air's own temperature.

    Parameters
    ----------
    transfer : h [W/m2/K]; vapour : K [kg/m2/s/Pa]
    """
    surface = temperature_c
    for _ in range(9):
        saturation = air.saturation_vapour_pressure(surface)
        latent = 2.501e6 - 2361.0 * surface
        kelvin = surface + air.ZERO_CELSIUS_K
        excess = transfer * (temperature_c - surface)
        excess -= latent * vapour * (water_activity * saturation - air_vapour_pa)
        # Clausius-Clapeyron is close enough for the direction of Newton's step
        slope = transfer + latent * vapour * water_activity * saturation * latent / (
            GAS_CONSTANT_VAPOUR * kelvin * kelvin
        )
        surface = np.clip(surface + excess / slope, -39.9, 59.9)
    return surface, air.saturation_vapour_pressure(surface)


def surface_temperature(
    temperature_c: Values,
    rh_pct: Values,
    water_activity: Values,
    *,
    heat_transfer: Values = None,
    air_speed_m_s: Values = TYPICAL_AIR_SPEED,
    wrap_resistance: Values = 0.0,
    pressure_pa: Values = air.STANDARD_PRESSURE_PA,
) -> Values:
    """Temperature at which a rind settles in this air, with its inside at the same temperature [degC].

    Parameters
    ----------
    temperature_c, rh_pct : of the air [degC], [%]
    water_activity : at the rind, 0..1 [-]
    heat_transfer : [W/m2/K]; when None it follows from ``air_speed_m_s`` [m/s]
    wrap_resistance : 0 is bare [Pa m2 s/kg]; pressure_pa : of the air [Pa]

    Raises
    ------
    PhysicsError : impossible input.
    """
    return _steady(
        temperature_c, rh_pct, water_activity, heat_transfer, air_speed_m_s, wrap_resistance, pressure_pa
    )[0]


def evaporation(
    temperature_c: Values,
    rh_pct: Values,
    water_activity: Values,
    *,
    heat_transfer: Values = None,
    air_speed_m_s: Values = TYPICAL_AIR_SPEED,
    wrap_resistance: Values = 0.0,
    pressure_pa: Values = air.STANDARD_PRESSURE_PA,
) -> Values:
    """Water leaving a rind per area at its settled temperature [kg/m2/s]; negative when it takes up water.

    Inputs and errors as `surface_temperature`.
    """
    return _steady(
        temperature_c, rh_pct, water_activity, heat_transfer, air_speed_m_s, wrap_resistance, pressure_pa
    )[1]


def drying_pace(
    temperature_c: Values,
    rh_pct: Values,
    reference_temperature_c: Values,
    reference_rh_pct: Values,
    rind_water_activity: Values = 0.96,
    *,
    reference_water_activity: Values = None,
    air_speed_m_s: Values = TYPICAL_AIR_SPEED,
    reference_air_speed_m_s: Values = None,
    wrap_resistance: Values = 0.0,
    pressure_pa: Values = air.STANDARD_PRESSURE_PA,
) -> Values:
    """Drying now over drying in the style's own reference climate; 1.0 is as intended [-].

    Stateless: it needs no twin, only a water activity for the rind. Negative while the rind takes up water.
    NaN where the rind would not dry in the reference climate either, and where an input is not known.
    Its doubt: ``air.propagate(drying_pace, temperature_c, rh_pct, t_ref, rh_ref, sigma_temperature_c=...,
    sigma_rh_pct=...)``.

    Parameters
    ----------
    temperature_c, rh_pct : of the air at the wheel [degC], [%]
    reference_temperature_c, reference_rh_pct : the style's reference climate [degC], [%]
    rind_water_activity : 0..1 [-]; reference_water_activity : the same unless given
    air_speed_m_s : at the wheel, 0..10 [m/s]; reference_air_speed_m_s : the same unless given
    wrap_resistance : 0 is bare [Pa m2 s/kg]; pressure_pa : of the air [Pa]

    Raises
    ------
    PhysicsError : impossible input.
    """
    if reference_water_activity is None:
        reference_water_activity = rind_water_activity
    if reference_air_speed_m_s is None:
        reference_air_speed_m_s = air_speed_m_s
    now = evaporation(
        temperature_c,
        rh_pct,
        rind_water_activity,
        air_speed_m_s=air_speed_m_s,
        wrap_resistance=wrap_resistance,
        pressure_pa=pressure_pa,
    )
    intended = evaporation(
        reference_temperature_c,
        reference_rh_pct,
        reference_water_activity,
        air_speed_m_s=reference_air_speed_m_s,
        wrap_resistance=wrap_resistance,
        pressure_pa=pressure_pa,
    )
    dries = np.asarray(intended) > 0.0
    pace = np.where(dries, now / np.where(dries, intended, 1.0), np.nan)
    return float(pace) if pace.ndim == 0 else pace


def require(values: Array, low: float, high: float, name: str, unit: str) -> None:
    """Raise PhysicsError naming the first value outside low..high [unit]; NaN passes."""
    outside = (values < low) | (values > high)
    if np.any(outside):
        value = np.atleast_1d(values)[np.atleast_1d(outside)][0]
        raise PhysicsError(
            f"{name} {value:.6g} {unit} is impossible here: expected {low:g} to {high:g} {unit}"
        )


def _known(values: Values, name: str = "value") -> Array:
    return as_floats(values, name)[()]


def _steady(
    temperature_c: Values,
    rh_pct: Values,
    water_activity: Values,
    heat_transfer: Values,
    air_speed_m_s: Values,
    wrap_resistance: Values,
    pressure_pa: Values,
) -> tuple[Values, Values]:
    activity, wrap, celsius = _known(water_activity), _known(wrap_resistance), _known(temperature_c)
    require(activity, 0.0, 1.0, "water_activity", "")
    require(wrap, 0.0, np.inf, "wrap_resistance", "Pa m2 s/kg")
    require(_known(pressure_pa), 2e4, 2e5, "pressure_pa", "Pa")
    vapour_pa = air.vapour_pressure(celsius, _known(rh_pct))
    transfer = heat_transfer_coefficient(air_speed_m_s) if heat_transfer is None else _known(heat_transfer)
    require(transfer, 0.01, 500.0, "heat_transfer", "W/m2/K")
    vapour = through_wrap(film_coefficient(transfer, _known(pressure_pa)), wrap)
    surface, saturation = surface_balance(celsius, vapour_pa, activity, transfer, vapour)
    return surface, vapour * (activity * saturation - vapour_pa)
