"""How fast moulds grow on a rind, at the rind's own water activity and temperature rather than the room's.

Growth is the species' best rate times two factors between 0 and 1 (the gamma concept): one of temperature,
one of water activity, each a cardinal model (Rosso et al. 1993, J. Theor. Biol. 162:447; Rosso & Robinson
2001, Int. J. Food Microbiol. 63:265). The tool informs; whether a mould is safe is for food-safety rules.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from monitor.air.inputs import Values, as_floats, require_range, temperatures
from monitor.errors import PhysicsError
from monitor.rind.species import BLUE, DEFAULT_UNWANTED, Species, species_named

Array: TypeAlias = NDArray[np.float64]
SpeciesChoice: TypeAlias = "str | Species | Iterable[str | Species]"

VISIBLE_RADIUS_MM = 1.5
"""A colony of 3 mm across is taken as visible [mm]; the size timed for Geotrichum (Potravinarstvo, art. 109)."""

LEAST_REFERENCE = 0.01
"""Slight growth in the reference climate, below a hundredth of the best, counts as that [-]: a pace over nearly
nothing would be huge and mean nothing. Common practice, no source."""

GEOTRICHUM_HOURS_TO_3_MM = ((10.0, 14.0, 19.0, 23.0, 27.0), (52.2, 30.7, 18.4, 14.4, 13.9))
"""Temperature [degC] and time to a 3 mm colony [h] on skim-milk agar without salt; Potravinarstvo, art. 109."""

AIR_WAY_FACTORS: Mapping[str, float] = {"cracked": 2.0, "unsealed plug": 3.0, "lifted cloth": 2.0}
"""What each way in for air multiplies a wheel's blue index by: common practice, no source; overridable.

Blue moulds need oxygen, if little: under 1 % O2 slows their germination without stopping it (Front.
Microbiol. 2017, 8:2109), and P. roqueforti grew best at 5 % O2 (Fairclough et al. 2011, IJFST 46:1586)."""


def water_activities(values: Values, name: str = "water_activity") -> Array:
    """Checked water activities [-]; outside 0..1 raises PhysicsError (a percentage does, too)."""
    array = as_floats(values, name)
    require_range(array, 0.0, 1.0, name, "(a fraction, not percent)", tolerance=1e-9)
    return np.minimum(np.maximum(array, 0.0), 1.0)


def cardinal_factor(
    value: Values, minimum: float, optimum: float, maximum: float, order: float = 2.0
) -> Values:
    """Share of the best growth rate that one factor allows, 0..1 [-]: the cardinal parameter model CPM_n.

    (x - max)(x - min)^n / [(opt - min)^(n-1) ((opt - min)(x - opt) - (opt - max)((n-1) opt + min - n x))],
    0 at and beyond the limits. n = 2 is Rosso et al. 1993 (temperature) and Rosso & Robinson 2001 (water
    activity, maximum 1).

    Parameters
    ----------
    value : scalar or array, in the unit of the limits; NaN and None give NaN
    minimum, optimum, maximum : cardinal values, rising
    order : n, default 2 [-]

    Raises
    ------
    PhysicsError : limits that do not rise.
    """
    if not minimum < optimum < maximum:
        raise PhysicsError(f"cardinal values {minimum:g}, {optimum:g}, {maximum:g} must rise")
    x = as_floats(value, "value")
    above = (x - maximum) * (x - minimum) ** order
    below = (optimum - minimum) ** (order - 1.0) * (
        (optimum - minimum) * (x - optimum)
        - (optimum - maximum) * ((order - 1.0) * optimum + minimum - order * x)
    )
    inside = (x > minimum) & (x < maximum)
    safe = np.where(inside, below, 1.0)
    factor = np.where(inside, above / safe, np.where(np.isnan(x), np.nan, 0.0))
    return _plain(np.clip(factor, 0.0, 1.0))


def temperature_factor(temperature_c: Values, species: str | Species) -> Values:
    """Gamma of temperature for a species [-]; temperature -40..60 [degC]."""
    kind = _resolve(species)
    limits = kind.temperature_min_c, kind.temperature_opt_c, kind.temperature_max_c
    return cardinal_factor(temperatures(temperature_c), *limits)


def water_activity_factor(water_activity: Values, species: str | Species) -> Values:
    """Gamma of water activity for a species [-]; water activity 0..1 [-], largest 1.

    As published the factor falls again between the optimum and 1: free water is for yeasts and bacteria.
    """
    kind = _resolve(species)
    return cardinal_factor(
        water_activities(water_activity), kind.water_activity_min, kind.water_activity_opt, 1.0
    )


def growth_rate(temperature_c: Values, water_activity: Values, species: str | Species) -> Values:
    """Speed at which a colony's edge moves [mm/d].

    Parameters
    ----------
    temperature_c : of the rind, -40..60 [degC]
    water_activity : of the rind's surface, 0..1 [-]
    species : a name of `monitor.rind.species.SPECIES`, or a Species

    Raises
    ------
    PhysicsError : impossible input, or an unknown species.
    """
    kind = _resolve(species)
    factors = np.multiply(
        temperature_factor(temperature_c, kind), water_activity_factor(water_activity, kind)
    )
    return _plain(kind.rate_mm_per_day * factors)


def mould_pace(
    temperature_c: Values,
    water_activity: Values,
    reference_temperature_c: Values,
    reference_water_activity: Values,
    species: SpeciesChoice = DEFAULT_UNWANTED,
) -> Values:
    """Growth of unwanted mould now over that in the style's reference climate [-]; 1.0 is as intended.

    Each species' growth is taken as the product of its two factors (its share of its own best), and the
    shares are added up: a fast spreader does not drown the others, and no unsure rate enters.

    Parameters
    ----------
    temperature_c, water_activity : of the rind now; air in balance with the rind has RH/100 [degC], [-]
    reference_temperature_c, reference_water_activity : in the reference climate [degC], [-]
    species : one or more names or Species, the unwanted ones of the style

    Returns
    -------
    pace : None (NaN within an array) where an input is not known, and where the reference lets none of them
        grow: there is no pace over nothing, whatever grows now. Where the reference hardly lets them grow
        (`LEAST_REFERENCE`) the pace is over that least growth, and not below 1.

    Raises
    ------
    PhysicsError : impossible input, or no species.
    """
    kinds = _resolve_all(species)
    now = _shares(temperature_c, water_activity, kinds)
    reference = _shares(reference_temperature_c, reference_water_activity, kinds)
    slight = reference < LEAST_REFERENCE
    over_least = np.where(slight, np.maximum(now, LEAST_REFERENCE), now)
    pace = np.where(reference > 0.0, over_least / np.maximum(reference, LEAST_REFERENCE), np.nan)
    return None if pace.ndim == 0 and np.isnan(pace) else _plain(pace)


def air_way_factor(ways: Iterable[str], factors: Mapping[str, float] = AIR_WAY_FACTORS) -> float:
    """What the ways air has into a wheel multiply its blue index by [-]; common practice, no source.

    Parameters
    ----------
    ways : any of "cracked", "unsealed plug", "lifted cloth"; each counts once
    factors : to override the table

    Raises
    ------
    PhysicsError : an unknown way.
    """
    result = 1.0
    for way in sorted(set(ways)):
        if way not in factors:
            raise PhysicsError(f"way in for air {way!r} is not known: expected one of {', '.join(factors)}")
        result *= factors[way]
    return result


def blue_index(
    temperature_c: Values,
    water_activity: Values,
    reference_temperature_c: Values,
    reference_water_activity: Values,
    ways: Iterable[str] = (),
    *,
    species: SpeciesChoice = BLUE,
    factors: Mapping[str, float] = AIR_WAY_FACTORS,
) -> Values:
    """How much likelier blue is in this wheel than in a sound one in the reference climate [-].

    `mould_pace` of the blues times `air_way_factor`, None where there is no pace. An index for ranking wheels,
    not a probability.
    """
    pace = mould_pace(
        temperature_c, water_activity, reference_temperature_c, reference_water_activity, species
    )
    factor = air_way_factor(ways, factors)
    return None if pace is None else _plain(np.multiply(pace, factor))


def time_to_visible(
    temperature_c: Values,
    water_activity: Values,
    species: str | Species,
    radius_mm: float = VISIBLE_RADIUS_MM,
) -> Values:
    """Time for a spore to become a colony one can see, in steady air [d]; infinite where it does not grow.

    Germination lag (scaled with growth) plus radius over `growth_rate`. Where the species has no known
    lag none is counted, and the time is a lower bound; see `Species.lag_days`.
    """
    if not radius_mm > 0.0:
        raise PhysicsError(f"radius_mm {radius_mm:g} mm is impossible: expected above 0")
    kind = _resolve(species)
    rate = np.asarray(growth_rate(temperature_c, water_activity, kind))
    with np.errstate(divide="ignore"):
        return _plain((radius_mm + (kind.lag_days or 0.0) * kind.rate_mm_per_day) / rate)


def colony_radius(spread_mm: Values, species: str | Species) -> Values:
    """Radius of a colony from a spore, given the time integral of `growth_rate` since it landed [mm].

    A germination lag, where the species has one, scales with growth as time does, so it takes a fixed part of
    the integral: lag at the optimum times the best rate. `monitor.climate.doses` keeps the integral.

    Parameters
    ----------
    spread_mm : time integral of `growth_rate`, 0 or more [mm]

    Raises
    ------
    PhysicsError : a negative spread, or an unknown species.
    """
    kind = _resolve(species)
    spread = as_floats(spread_mm, "spread_mm")
    require_range(spread, 0.0, 1e9, "spread_mm", "mm")
    return _plain(np.maximum(spread - (kind.lag_days or 0.0) * kind.rate_mm_per_day, 0.0))


def geotrichum_hours_to_3_mm(temperature_c: Values) -> Values:
    """Time to a 3 mm colony of Geotrichum candidum without salt [h]; NaN outside the measured 10..27 degC.

    Between the five measured temperatures the logarithm of the time is taken as straight.
    """
    measured, hours = GEOTRICHUM_HOURS_TO_3_MM
    t = temperatures(temperature_c)
    return _plain(np.exp(np.interp(t, measured, np.log(hours), left=np.nan, right=np.nan)))


def _resolve(species: str | Species) -> Species:
    return species if isinstance(species, Species) else species_named(species)


def _resolve_all(species: SpeciesChoice) -> list[Species]:
    if isinstance(species, (str, Species)):
        species = (species,)
    kinds = [_resolve(one) for one in species]
    if not kinds:
        raise PhysicsError("no species named: name at least one unwanted mould")
    return kinds


def _shares(temperature_c: Values, water_activity: Values, kinds: Iterable[Species]) -> Array:
    parts = [
        np.multiply(temperature_factor(temperature_c, kind), water_activity_factor(water_activity, kind))
        for kind in kinds
    ]
    return np.asarray(sum(parts[1:], start=parts[0]), dtype=float)


def _plain(array: Any) -> Values:
    return float(array) if np.ndim(array) == 0 else array
