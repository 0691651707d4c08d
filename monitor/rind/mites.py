"""How fast cheese mites multiply, from published life tables, and the dose a rind has gathered since brushing.

Published points are few, so a rate is interpolated inside them only and unknown (NaN) outside. Cooling and
drying slow mites; a dry blast of 48 h at 50 % had no effect on infested cheese though it kills in dishes.
Mites and their dust can irritate skin and airways: brush with extraction or a mask, by local rules.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from monitor.air.inputs import (
    Values,
    as_floats,
    humidities,
    one_number,
    require_range,
    span_hours,
    temperatures,
)
from monitor.errors import PhysicsError

TYROPHAGUS_2000 = "Appl. Entomol. Zool. 35(2):237 (2000)"
ASPALY_2007 = "Aspaly et al. 2007 (85 % RH)"
SANCHEZ_2007 = "Sanchez-Ramos et al. 2007, Exp. Appl. Acarol., doi 10.1007/s10493-007-9052-7"


@dataclass(frozen=True)
class Mite:
    """Published rates of one mite.

    Attributes
    ----------
    temperatures_c, rates_per_day : measured points, at 85 % or as published without it [degC], [1/d]
    lower_limit_c, upper_limit_c : no development below and above; None where not published [degC]
    lower_limit_rh_pct : no population lives on at or below it; None where not published [%]
    """

    name: str
    temperatures_c: tuple[float, ...]
    rates_per_day: tuple[float, ...]
    lower_limit_c: float | None = None
    upper_limit_c: float | None = None
    lower_limit_rh_pct: float | None = None
    sources: Mapping[str, str] = field(default_factory=dict)


MITES: dict[str, Mite] = {
    mite.name: mite
    for mite in (
        Mite(
            "Tyrophagus similis",
            (10.0, 15.0, 20.0, 25.0),
            (0.051, 0.085, 0.127, 0.160),
            sources={"rates": TYROPHAGUS_2000, "humidity": "poor survival at 53 and 66 %: the same"},
        ),
        Mite(
            "Tyrophagus putrescentiae",
            (25.0,),
            (0.190,),
            lower_limit_c=10.2,
            upper_limit_c=49.0,
            lower_limit_rh_pct=70.0,
            sources={
                "rates": ASPALY_2007,
                "limits": ASPALY_2007,
                "humidity": f"no eggs at 70 %: {SANCHEZ_2007}",
            },
        ),
        Mite(
            "Acarus siro",
            (25.0,),
            (0.179,),
            lower_limit_c=10.2,
            upper_limit_c=38.0,
            lower_limit_rh_pct=62.0,
            sources={
                "rates": ASPALY_2007,
                "limits": ASPALY_2007,
                "humidity": "dies below 62-65 %: FROM MEMORY, weak",
            },
        ),
        Mite(
            "Acarus ovatus",
            (25.0,),
            (0.177,),
            lower_limit_c=10.2,
            upper_limit_c=38.0,
            sources={"rates": ASPALY_2007, "limits": ASPALY_2007},
        ),
    )
}
"""Mites by name. On cheese Acarus siro completes its life at 11-13 degC and 85-88 %, at any age of the cheese
(J. Stored Prod. Res. 1983, doi 10.1016/0022-474X(83)90040-1), near the published limit of 10.2 degC."""

CHEESE_MITE = "Tyrophagus similis"
"""The default: the one mite with rates measured at the temperatures of maturing rooms."""

HUMIDITY_POINTS = ((70.0, 80.0, 85.0, 90.0), (0.0, 2.0 / 3.0, 1.0, 4.0 / 3.0))
"""Humidity [%] and factor on the rate at 85 % [-]. At 70 % no population of two of three species lived on, and
from 80 to 90 % the rate of Tyrophagus about doubles (Sanchez-Ramos et al. 2007); between, straight lines."""

A_FARRIS_LARVAL_MORTALITY_PCT = {7.0: 81.7, 29.7: 95.2}
"""Acarus farris of a cheese cave at 90 % RH, by temperature [degC]; J. Stored Prod. Res., doi
10.1016/j.jspr.2005.10.002. It develops within these two; its optimum is 27-28 degC."""

LETHAL_HEAT_HOURS = {35.0: 10.0, 40.0: 35.0 / 60.0}
"""No egg of Acarus siro survives so long at so many degC [h]; Cunnington 1984, Agric. Ecosyst. Environ. 11:319."""

MITES_PER_CM2_AT_15_C = (174.0, 33.0)
"""Counted on cheese at 15 degC, mean and error; far fewer at 6, 4 and 2 degC (J. Stored Prod. Res. 2009, 45:61)."""


def mite(name: str) -> Mite:
    """The mite of that name, capitals not minded; PhysicsError lists the known ones otherwise."""
    for known, found in MITES.items():
        if known.casefold() == " ".join(str(name).split()).casefold():
            return found
    raise PhysicsError(f"mite {name!r} is not known: expected one of {', '.join(MITES)}")


def humidity_factor(rh_pct: Values, lower_limit_rh_pct: float | None = None) -> Values:
    """Share of the rate at 85 % [-]; 0 at 70 % and below (or the species' own limit), NaN above 90 %.

    Raises
    ------
    PhysicsError : humidity outside 0..100.
    """
    points, factors = HUMIDITY_POINTS
    rh = humidities(rh_pct)
    lowest = max(points[0], lower_limit_rh_pct or 0.0)
    inside = np.interp(rh, points, factors, left=0.0, right=np.nan)
    return _plain(np.where(rh <= lowest, 0.0, inside))


def growth_rate(
    temperature_c: Values,
    rh_pct: Values = 85.0,
    species: str | Mite = CHEESE_MITE,
    *,
    outside: Literal["unknown", "nearest"] = "unknown",
) -> Values:
    """Intrinsic rate of increase r_m of a mite population [1/d].

    Straight between published points; from a published lower limit (rate 0) straight up to the first point.
    0 below and above the published limits of temperature and humidity.

    Parameters
    ----------
    temperature_c, rh_pct : at the rind, scalar or array [degC], [%]
    species : a name of `MITES`, or a Mite
    outside : where nothing is published: "unknown" gives NaN; "nearest" holds the nearest published point,
        for a caller that says so

    Raises
    ------
    PhysicsError : impossible input or an unknown mite.
    """
    kind = species if isinstance(species, Mite) else mite(species)
    if outside not in ("unknown", "nearest"):
        raise PhysicsError(f"outside {outside!r}: expected 'unknown' or 'nearest'")
    t, rh = temperatures(temperature_c), humidities(rh_pct)
    x, y = list(kind.temperatures_c), list(kind.rates_per_day)
    if kind.lower_limit_c is not None:
        x, y = [kind.lower_limit_c, *x], [0.0, *y]
    if outside == "nearest":
        rate = np.interp(t, x, y)
        rh = np.minimum(rh, HUMIDITY_POINTS[0][-1])
    else:
        left = 0.0 if kind.lower_limit_c is not None else np.nan
        rate = np.interp(t, x, y, left=left, right=np.nan)
    if kind.upper_limit_c is not None:
        rate = np.where(t >= kind.upper_limit_c, 0.0, rate)
    factor = np.asarray(humidity_factor(rh, kind.lower_limit_rh_pct))
    none = (factor == 0.0) & ~np.isnan(t) | (rate == 0.0) & ~np.isnan(rh)
    return _plain(np.where(none, 0.0, rate * factor))


def doubling_time(rate_per_day: Values) -> Values:
    """Time in which a population doubles [d]: ln 2 / r; infinite at 0, NaN for a falling population."""
    rate = as_floats(rate_per_day, "rate_per_day")
    with np.errstate(divide="ignore", invalid="ignore"):
        return _plain(np.where(rate < 0.0, np.nan, math.log(2.0) / np.abs(rate)))


def rate_from_life_table(net_reproduction: Values, generation_days: Values) -> Values:
    """Intrinsic rate from net reproduction R0 [-] and generation time [d]: ln(R0)/T [1/d].

    Raises
    ------
    PhysicsError : a number that is not above 0.
    """
    r0, generation = (
        as_floats(net_reproduction, "net_reproduction"),
        as_floats(generation_days, "generation_days"),
    )
    require_range(r0, 1e-12, 1e12, "net_reproduction", "")
    require_range(generation, 1e-6, 1e6, "generation_days", "d")
    return _plain(np.log(r0) / generation)


def q10(lower_rate: float, higher_rate: float, lower_c: float, higher_c: float) -> float:
    """Factor on a rate per 10 K, from two rates at two temperatures [-]: (r2/r1)^(10/(T2 - T1)).

    Raises
    ------
    PhysicsError : rates not above 0, or temperatures that do not rise.
    """
    given = {"lower_rate": lower_rate, "higher_rate": higher_rate, "lower_c": lower_c, "higher_c": higher_c}
    lower_rate, higher_rate, lower_c, higher_c = (one_number(value, name) for name, value in given.items())
    if not (lower_rate > 0.0 and higher_rate > 0.0 and higher_c > lower_c):
        raise PhysicsError(
            f"Q10 of {lower_rate:g}, {higher_rate:g} at {lower_c:g}, {higher_c:g} degC: expected "
            "rates above 0 and rising temperatures"
        )
    return float((higher_rate / lower_rate) ** (10.0 / (higher_c - lower_c)))


class MiteDose:
    """How often a mite population could have multiplied by e since the last brushing; `update`, then read.

    ``dose`` is the time integral of the rate [-]: 0.693 is one doubling. ``unknown_hours`` counts time for
    which there was no air or no published rate; it is in no dose.
    """

    def __init__(self, species: str | Mite = CHEESE_MITE) -> None:
        self.species = species if isinstance(species, Mite) else mite(species)
        self.reset()

    def reset(self) -> None:
        """Start again, as after brushing."""
        self.dose = 0.0
        self.known_hours = 0.0
        self.unknown_hours = 0.0

    def update(self, temperature_c: float | None, rh_pct: float | None, hours: float) -> float:
        """Add a span of steady air [degC], [%], [h] and return the dose [-]; PhysicsError for impossible input."""
        hours = span_hours(hours)
        rate = growth_rate(temperature_c, rh_pct, self.species)
        if math.isnan(rate):
            self.unknown_hours += hours
        else:
            self.known_hours += hours
            self.dose += rate * hours / 24.0
        return self.dose

    @property
    def doublings(self) -> float:
        """The dose in doublings [-]."""
        return self.dose / math.log(2.0)


def _plain(array: Values) -> Values:
    return float(array) if np.ndim(array) == 0 else array
