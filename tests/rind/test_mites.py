"""Mites: rates inside published points only, none below the limits, the dose since brushing."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import PhysicsError
from monitor.rind import mites


def test_between_two_published_temperatures_the_rate_is_straight() -> None:
    """At 12.5 degC half way between 0.051 and 0.085 a day."""
    assert mites.growth_rate(12.5, 85.0) == pytest.approx((0.051 + 0.085) / 2)


def test_outside_published_temperatures_the_rate_is_unknown() -> None:
    """Below 10 and above 25 degC nothing is published for it: NaN, or the nearest point if asked."""
    assert np.isnan(mites.growth_rate([9.0, 26.0, None], 85.0)).all()
    assert mites.growth_rate(8.0, 85.0, outside="nearest") == 0.051


def test_above_published_humidity_the_rate_is_unknown() -> None:
    """A washed-rind room at 95 % is outside the published 70..90 %."""
    assert math.isnan(mites.growth_rate(15.0, 95.0))
    assert mites.growth_rate(15.0, 95.0, outside="nearest") == pytest.approx(0.085 * 4 / 3)


def test_below_a_published_limit_there_is_no_growth() -> None:
    """10.2 degC for the mites of stored grain, 70 % for all; even where the other of the two is unpublished."""
    assert mites.growth_rate(8.0, 85.0, "Acarus siro") == 0.0
    assert mites.growth_rate(40.0, 85.0, "Acarus siro") == 0.0
    assert mites.growth_rate(5.0, 60.0) == 0.0
    assert mites.growth_rate(15.0, [50.0, 70.0]).tolist() == [0.0, 0.0]


@given(st.floats(10.0, 24.0), st.floats(0.0, 1.0), st.floats(71.0, 89.0), st.floats(0.0, 1.0))
def test_warmer_and_moister_never_multiply_slower(t: float, dt: float, rh: float, drh: float) -> None:
    """Within the published points."""
    assert mites.growth_rate(t + dt, rh + drh) >= mites.growth_rate(t, rh) - 1e-12


def test_dose_adds_up_and_brushing_resets_it() -> None:
    """Ten days at 15 degC and 85 %: 0.85, more than one doubling; brushed, it starts at 0."""
    dose = mites.MiteDose()
    dose.update(15.0, 85.0, 120.0)
    dose.update(15.0, 85.0, 120.0)
    assert dose.dose == pytest.approx(0.85)
    assert dose.doublings == pytest.approx(0.85 / math.log(2))
    dose.reset()
    assert (dose.dose, dose.known_hours, dose.unknown_hours) == (0.0, 0.0, 0.0)


def test_unknown_air_and_unpublished_climates_are_counted_not_zero() -> None:
    """A gap and a day at 8 degC are 48 unknown hours."""
    dose = mites.MiteDose()
    dose.update(None, 85.0, 24.0)
    dose.update(8.0, 85.0, 24.0)
    dose.update(12.0, 65.0, 24.0)
    assert (dose.dose, dose.known_hours, dose.unknown_hours) == (0.0, 24.0, 48.0)


def test_doubling_time_of_a_still_or_falling_population() -> None:
    """Infinite at 0, unknown below."""
    assert mites.doubling_time(0.0) == math.inf
    assert math.isnan(mites.doubling_time(-0.01))


def test_impossible_input_raises_and_names_it() -> None:
    """Unknown mite, humidity, hours, life table."""
    with pytest.raises(PhysicsError, match="mite 'Acarus nobody'"):
        mites.growth_rate(15.0, 85.0, "Acarus nobody")
    with pytest.raises(PhysicsError, match="rh_pct 130"):
        mites.growth_rate(15.0, 130.0)
    with pytest.raises(PhysicsError, match="'unknown' or 'nearest'"):
        mites.growth_rate(15.0, 85.0, outside="guess")
    with pytest.raises(PhysicsError, match="hours -1"):
        mites.MiteDose().update(15.0, 85.0, -1.0)
    with pytest.raises(PhysicsError, match="generation_days 0"):
        mites.rate_from_life_table(10.0, 0.0)
    with pytest.raises(PhysicsError, match="rising temperatures"):
        mites.q10(0.1, 0.2, 20.0, 10.0)
    with pytest.raises(PhysicsError, match="hours: one known number"):
        mites.MiteDose().update(15.0, 85.0, math.nan)
