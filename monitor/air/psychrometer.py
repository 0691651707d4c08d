"""Wet-bulb temperature and the way back from it, by the ASHRAE adiabatic-saturation equations."""

from __future__ import annotations

import numpy as np

from monitor.air.inputs import Array, Mask, Values, humidities, in_blocks, pressures, temperatures
from monitor.air.moist import MASS_RATIO, STANDARD_PRESSURE_PA
from monitor.air.saturation import enhancement_block, invert_ice, log_saturation
from monitor.errors import PhysicsError

LIQUID = (2501.0, 2.326, 4.186)
"""Latent heat at 0 degC, its fall per K, heat of liquid water; ASHRAE 2017 ch. 1 eq. 33 [kJ/kg, kJ/kg/K]."""
FROZEN = (2830.0, 0.24, 2.1)
"""The same for an iced wick; ASHRAE 2017 ch. 1 eq. 35."""
STEPS = 8
"""Newton steps; from the dry-bulb side they close in one way, and six reach rounding for a room's air."""


def _saturated(celsius: Array, pressure_pa: Array, enhancement: bool) -> Array:
    saturation = np.exp(log_saturation(celsius))
    if enhancement:
        saturation = saturation * enhancement_block(celsius, saturation, pressure_pa)
    return np.minimum(saturation, 0.9 * pressure_pa)


def _ratio_at(
    dry: Array, wet: Array, pressure_pa: Array, wick: tuple[float, float, float], enhancement: bool
) -> Array:
    """Humidity ratio of air whose wet bulb, liquid or frozen, stands at ``wet``."""
    latent, fall, heat = wick
    saturation = _saturated(wet, pressure_pa, enhancement)
    saturated = MASS_RATIO * saturation / (pressure_pa - saturation)
    return ((latent - fall * wet) * saturated - 1.006 * (dry - wet)) / (latent + 1.86 * dry - heat * wet)


def _solve(
    dry: Array,
    ratio: Array,
    pressure_pa: Array,
    wick: tuple[float, float, float],
    enhancement: bool,
) -> Array:
    wet = dry.copy() if wick is LIQUID else np.minimum(dry, 0.0)
    for _ in range(STEPS):
        step = 1e-4
        here = _ratio_at(dry, wet, pressure_pa, wick, enhancement)
        slope = (here - _ratio_at(dry, wet - step, pressure_pa, wick, enhancement)) / step
        wet = np.maximum(wet - (here - ratio) / slope, -80.0)
    return wet


def _takes_ice(dry: Array, ratio: Array, pressure_pa: Array, enhancement: bool) -> Mask:
    """Whether the wick is taken as frozen.

    Just around 0 degC both a liquid and a frozen wick satisfy the equations, up to 0.9 K apart. Which is
    right depends on the wick, not on the air. There the halving of the span from frost point to dry bulb
    that the reference implementation does (psychrolib 2.5.0) decides, so that figures agree with it.
    """
    zero = np.zeros_like(dry)
    liquid_ends = _ratio_at(dry, zero, pressure_pa, LIQUID, enhancement)
    ice_begins = _ratio_at(dry, zero, pressure_pa, FROZEN, enhancement)
    frozen = (dry < 0.0) | (ratio < liquid_ends)
    both = ~frozen & (ratio < ice_begins)
    if both.any():
        args = dry[both], ratio[both], np.broadcast_to(pressure_pa, dry.shape)[both]
        frozen[both] = _halving_ends_below_zero(*args, enhancement)
    return frozen


def _halving_ends_below_zero(dry: Array, ratio: Array, pressure_pa: Array, enhancement: bool) -> Mask:
    low = invert_ice(np.log(pressure_pa * ratio / (MASS_RATIO + ratio)))
    high = dry.copy()
    for _ in range(16):
        middle = 0.5 * (low + high)
        liquid = _ratio_at(dry, middle, pressure_pa, LIQUID, enhancement)
        frozen = _ratio_at(dry, middle, pressure_pa, FROZEN, enhancement)
        above = np.where(middle >= 0.0, liquid, frozen) > ratio
        high, low = np.where(above, middle, high), np.where(above, low, middle)
    return 0.5 * (low + high) < 0.0


def _wet_bulb(dry: Array, rh: Array, pressure_pa: Array, enhancement: bool) -> Array:
    dry, rh, pressure_pa = np.broadcast_arrays(dry, rh, pressure_pa)
    vapour = _saturated(dry, pressure_pa, enhancement) * rh * 0.01
    ratio = MASS_RATIO * vapour / (pressure_pa - vapour)
    frozen = _takes_ice(dry, ratio, pressure_pa, enhancement)
    result = np.empty(dry.shape)
    for wick, where in ((LIQUID, ~frozen), (FROZEN, frozen)):
        if where.any():
            result[where] = _solve(dry[where], ratio[where], pressure_pa[where], wick, enhancement)
    return np.minimum(result, dry)


def wet_bulb(
    temperature_c: Values,
    rh_pct: Values,
    pressure_pa: Values = STANDARD_PRESSURE_PA,
    *,
    enhancement: bool = False,
) -> Values:
    """Temperature of a ventilated wet bulb (thermodynamic wet bulb) [degC].

    ASHRAE Handbook of Fundamentals 2017, ch. 1, eq. 33 (liquid) and 35 (frozen) solved by Newton's method.
    The enhancement factor is left out unless asked for, as in the tables wet bulbs are compared with; it
    moves the result by under 0.02 K in a maturing room.

    Parameters
    ----------
    temperature_c : scalar or array, -40..60 [degC]
    rh_pct : scalar or array, 0..100 [%]
    pressure_pa : total pressure, 20,000..200,000 [Pa]
    enhancement : count the enhancement factor, default no

    Raises
    ------
    PhysicsError : an input out of range.
    """
    return in_blocks(
        lambda t, rh, p: _wet_bulb(t, rh, p, enhancement),
        temperatures(temperature_c),
        humidities(rh_pct),
        pressures(pressure_pa),
    )


def rh_from_wet_bulb(
    temperature_c: Values,
    wet_bulb_c: Values,
    pressure_pa: Values = STANDARD_PRESSURE_PA,
    *,
    enhancement: bool = False,
) -> Values:
    """Relative humidity from a dry and a wet thermometer [%]; the inverse of `wet_bulb`.

    A wet bulb at or above 0 degC is taken as liquid, below as frozen. A wet bulb lower than dry air would
    show gives a negative ratio of vapour: NaN is returned, since no air can do that.

    Raises
    ------
    PhysicsError : an input out of range, or a wet bulb warmer than the dry one.
    """
    dry, wet = temperatures(temperature_c), temperatures(wet_bulb_c, "wet_bulb_c")
    if np.any(np.asarray(wet > dry + 1e-9)):
        raise PhysicsError("wet_bulb_c is above temperature_c: expected at or below (swapped thermometers?)")

    def block(t: Array, tw: Array, p: Array) -> Array:
        liquid = _ratio_at(t, tw, p, LIQUID, enhancement)
        ratio = np.where(tw >= 0.0, liquid, _ratio_at(t, tw, p, FROZEN, enhancement))
        rh = 100.0 * p * ratio / (MASS_RATIO + ratio) / _saturated(t, p, enhancement)
        return np.where(rh < -1e-9, np.nan, rh)

    return in_blocks(block, dry, wet, pressures(pressure_pa))
