"""Ripening: equivalent age, mean kinetic temperature, when crystals may be spoken of."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import PhysicsError
from monitor.rind import ripening


def test_at_the_reference_temperature_age_is_age() -> None:
    """90 days at 11 degC are 90 days."""
    age = ripening.EquivalentAge(11.0)
    age.update(11.0, 90 * 24.0)
    assert age.days == pytest.approx(90.0)


def test_ten_kelvin_warmer_ripens_as_the_q10_says() -> None:
    """The default energy means 2.5 times faster at 15 than at 5 degC."""
    assert ripening.rate_factor(15.0, 5.0) == pytest.approx(2.5, abs=0.01)


def test_unknown_temperature_is_counted_and_in_no_age() -> None:
    """A day without readings."""
    age = ripening.EquivalentAge(11.0)
    age.update(None, 24.0)
    age.update(11.0, 24.0)
    assert (age.days, age.known_hours, age.unknown_hours) == (1.0, 24.0, 24.0)
    age.reset()
    assert age.days == 0.0


@given(st.lists(st.floats(-5.0, 25.0), min_size=1, max_size=20), st.floats(20_000.0, 120_000.0))
def test_kinetic_mean_lies_between_mean_and_warmest(temperatures: list[float], energy: float) -> None:
    """Warm spells count for more, never for more than the warmest."""
    kinetic = ripening.mean_kinetic_temperature(temperatures, activation_energy=energy)
    assert np.mean(temperatures) - 1e-9 <= kinetic <= max(temperatures) + 1e-9


def test_kinetic_mean_weighs_time_and_leaves_out_the_unknown() -> None:
    """Three hours at 8 and one at 16 are 8, 8, 8, 16; NaN takes its weight with it; nothing known is NaN."""
    weighted = ripening.mean_kinetic_temperature([8.0, 16.0, None], [3.0, 1.0, 10.0])
    assert weighted == pytest.approx(ripening.mean_kinetic_temperature([8.0, 8.0, 8.0, 16.0]))
    assert math.isnan(ripening.mean_kinetic_temperature([None]))
    assert math.isnan(ripening.mean_kinetic_temperature([]))


def test_crystals_are_spoken_of_from_a_year_on() -> None:
    """Not before, and not where the age is not known."""
    assert ripening.crystals_note(None) is None
    assert ripening.crystals_note(300.0) is None
    assert "may be expected" in (ripening.crystals_note(400.0) or "")
    assert "no source" in (ripening.crystals_note(600.0) or "")


def test_impossible_input_raises_and_names_it() -> None:
    """An energy in kJ/mol, weights that do not fit, a falling pair."""
    with pytest.raises(PhysicsError, match="activation_energy 61 J/mol"):
        ripening.rate_factor(12.0, 10.0, 61.0)
    with pytest.raises(PhysicsError, match="weights: 1 for 2"):
        ripening.mean_kinetic_temperature([8.0, 9.0], [1.0])
    with pytest.raises(PhysicsError, match="rates above 0"):
        ripening.activation_energy_from_q10(0.0)
    with pytest.raises(PhysicsError, match="reference_temperature_c 80"):
        ripening.EquivalentAge(80.0)
    with pytest.raises(PhysicsError, match="hours -1"):
        ripening.EquivalentAge(10.0).update(10.0, -1.0)
    with pytest.raises(PhysicsError, match="hours: one known number"):
        ripening.EquivalentAge(10.0).update(10.0, math.nan)
