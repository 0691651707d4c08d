"""How far a cheese has ripened: age at a steady reference temperature that would have done the same.

Rates follow Arrhenius; the activation energy is a style's own setting, since no readable source gives one.
"""

from __future__ import annotations

import math

import numpy as np

from monitor.air.inputs import Array, Values, as_floats, one_number, require_range, span_hours, temperatures
from monitor.air.saturation import ZERO_CELSIUS_K
from monitor.errors import PhysicsError

GAS_CONSTANT = 8.314462618
"""[J/mol/K]; CODATA 2018."""

RIPENING_ACTIVATION_ENERGY = 61_000.0
"""Of proteolysis, as a rate 2.5 times higher per 10 K at 5..15 degC [J/mol]. FROM MEMORY, within 50..80 kJ/mol:
alpha-s1 casein of cheddar does follow Arrhenius, but no value was readable. Set a style's own where known."""

KINETIC_ACTIVATION_ENERGY = 10_000.0 * GAS_CONSTANT
"""The customary 83.144 kJ/mol of mean kinetic temperature, dH/R = 10,000 K [J/mol]; USP <1150>, FROM MEMORY."""

CRYSTALS_FROM_DAYS = 365.0
CRYSTALS_LIKELY_DAYS = 548.0
"""Crunchy crystals may be expected from 12-18 months in hard cheese: common practice, no source. (That they are
tyrosine in long-aged hard cheese, and calcium lactate on cheddar, is published; ages by month are not.)"""


def rate_factor(
    temperature_c: Values,
    reference_temperature_c: Values,
    activation_energy: Values = RIPENING_ACTIVATION_ENERGY,
) -> Values:
    """Ripening speed over that at the reference temperature [-]: exp(Ea/R (1/Tref - 1/T)).

    Parameters
    ----------
    temperature_c, reference_temperature_c : of the cheese, scalar or array, -40..60 [degC]
    activation_energy : 1,000..300,000 [J/mol]

    Raises
    ------
    PhysicsError : impossible input (an energy in kJ/mol is refused).
    """
    t = temperatures(temperature_c) + ZERO_CELSIUS_K
    reference = temperatures(reference_temperature_c, "reference_temperature_c") + ZERO_CELSIUS_K
    return _plain(np.exp(_energy(activation_energy) / GAS_CONSTANT * (1.0 / reference - 1.0 / t)))


def _energy(activation_energy: Values) -> Array:
    energy = as_floats(activation_energy, "activation_energy")
    require_range(energy, 1_000.0, 300_000.0, "activation_energy", "J/mol")
    return energy


def mean_kinetic_temperature(
    temperatures_c: Values,
    weights: Values = None,
    activation_energy: float = KINETIC_ACTIVATION_ENERGY,
) -> float:
    """The steady temperature that would have had the same effect [degC].

    TK = (Ea/R) / -ln(mean of exp(-Ea/(R T))), time-weighted: Haynes 1971, J. Pharm. Sci. 60:927 (citation from
    memory). Unknown temperatures are left out with their weight; none known gives NaN.

    Parameters
    ----------
    temperatures_c : one or more, -40..60 [degC]
    weights : time spent at each, 0 or more, any unit; equal if not given
    activation_energy : 1,000..300,000 [J/mol]

    Raises
    ------
    PhysicsError : impossible input, or weights that do not fit.
    """
    t = np.atleast_1d(temperatures(temperatures_c, "temperatures_c"))
    w = np.ones(t.shape) if weights is None else np.atleast_1d(as_floats(weights, "weights"))
    if w.shape != t.shape:
        raise PhysicsError(f"weights: {w.size} for {t.size} temperatures; expected one for each")
    require_range(w, 0.0, 1e15, "weights", "")
    known = ~(np.isnan(t) | np.isnan(w))
    if not known.any() or not w[known].sum() > 0.0:
        return math.nan
    slope = float(_energy(activation_energy)) / GAS_CONSTANT
    coldest = float(t[known].min()) + ZERO_CELSIUS_K
    relative = np.exp(slope * (1.0 / coldest - 1.0 / (t[known] + ZERO_CELSIUS_K)))
    return (
        float(slope / (slope / coldest - math.log(np.average(relative, weights=w[known])))) - ZERO_CELSIUS_K
    )


def activation_energy_from_q10(q10: float, lower_c: float = 5.0, higher_c: float = 15.0) -> float:
    """Activation energy that makes a rate ``q10`` times faster per 10 K between two temperatures [J/mol].

    R ln(q10^((T2-T1)/10)) / (1/T1 - 1/T2).

    Raises
    ------
    PhysicsError : a q10 not above 0, or temperatures that do not rise.
    """
    q10, lower_c, higher_c = (
        one_number(value, name)
        for name, value in (("q10", q10), ("lower_c", lower_c), ("higher_c", higher_c))
    )
    return activation_energy_from_rates(
        1.0, q10 ** ((higher_c - lower_c) / 10.0) if q10 > 0 else 0.0, lower_c, higher_c
    )


def activation_energy_from_rates(
    lower_rate: float, higher_rate: float, lower_c: float, higher_c: float
) -> float:
    """Activation energy from two rates (or diffusivities) at two temperatures [J/mol].

    Raises
    ------
    PhysicsError : rates not above 0, or temperatures that do not rise.
    """
    given = {"lower_rate": lower_rate, "higher_rate": higher_rate, "lower_c": lower_c, "higher_c": higher_c}
    lower_rate, higher_rate, lower_c, higher_c = (one_number(value, name) for name, value in given.items())
    if not (lower_rate > 0.0 and higher_rate > 0.0 and higher_c > lower_c):
        raise PhysicsError(
            f"activation energy of rates {lower_rate:g}, {higher_rate:g} at {lower_c:g}, {higher_c:g} degC: "
            "expected rates above 0 and rising temperatures"
        )
    low = float(temperatures(lower_c)) + ZERO_CELSIUS_K
    high = float(temperatures(higher_c)) + ZERO_CELSIUS_K
    return GAS_CONSTANT * math.log(higher_rate / lower_rate) / (1.0 / low - 1.0 / high)


def crystals_note(age_days: float | None) -> str | None:
    """What to say of crystals at an age (or equivalent age) of a hard cheese [d]; common practice, no source.

    None where the age is not known or too young for them.
    """
    age = one_number(age_days, "age_days")
    if math.isnan(age) or age < CRYSTALS_FROM_DAYS:
        return None
    if age < CRYSTALS_LIKELY_DAYS:
        return "crystals may be expected (from 12-18 months; common practice, no source)"
    return "crystals are likely (past 18 months; common practice, no source)"


class EquivalentAge:
    """Age at a reference temperature that would have ripened as far; `update`, then read ``days``.

    ``unknown_hours`` counts time of unknown temperature, which is in no age.
    """

    def __init__(
        self, reference_temperature_c: float, activation_energy: float = RIPENING_ACTIVATION_ENERGY
    ) -> None:
        temperatures(reference_temperature_c, "reference_temperature_c")
        _energy(activation_energy)
        self.reference_temperature_c, self.activation_energy = reference_temperature_c, activation_energy
        self.reset()

    def reset(self) -> None:
        """Start from the day of making."""
        self.days = 0.0
        self.known_hours = 0.0
        self.unknown_hours = 0.0

    def update(self, temperature_c: float | None, hours: float) -> float:
        """Add a span at one temperature [degC], [h]; returns the equivalent age [d]."""
        hours = span_hours(hours)
        factor = rate_factor(temperature_c, self.reference_temperature_c, self.activation_energy)
        if math.isnan(factor):
            self.unknown_hours += hours
        else:
            self.known_hours += hours
            self.days += factor * hours / 24.0
        return self.days


def _plain(array: Values) -> Values:
    return float(array) if np.ndim(array) == 0 else array
