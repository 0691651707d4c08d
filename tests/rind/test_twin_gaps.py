"""Air that is not known: the rind is held, the gap counted, the interval widened, a weighing asked for."""

from __future__ import annotations

import functools

import numpy as np
import pytest

from monitor.rind.presets import PRESETS
from monitor.rind.twin import Twin

HOUR, DAY = 3600.0, 86_400.0


@functools.cache
def month_kept() -> bytes:
    twin = Twin([PRESETS["cloth-bound"]] * 2)
    for _ in range(120):
        twin.advance(6 * HOUR, 12.0, 82.0)
    return twin.to_bytes()


def after_a_month() -> Twin:
    return Twin.from_bytes(month_kept())


@pytest.mark.parametrize("unknown", [(None, 85.0), (12.0, None), (np.nan, 85.0), (12.0, np.nan)])
def test_a_wheel_without_air_is_held_exactly(unknown: tuple) -> None:
    """Moisture, temperatures and mass stay to the last bit, and time is counted as a gap."""
    twin = after_a_month()
    before = {name: a.copy() for name, a in twin.state.arrays().items()}
    twin.advance(DAY, *unknown)
    counted = {"elapsed_s", "gap_s", "gap_run_s", "longest_gap_s", "unseen_kg"}
    for name, array in twin.state.arrays().items():
        assert np.array_equal(array, before[name]) == (name not in counted), name
    assert np.all(twin.gap_s == DAY)


def test_only_the_wheel_whose_sensor_is_silent_is_held() -> None:
    """Its neighbour goes on just as if it were alone."""
    twin, other = after_a_month(), after_a_month()
    mass = twin.mass_kg
    twin.advance(DAY, 12.0, [np.nan, 82.0])
    other.advance(DAY, 12.0, 82.0)
    assert twin.mass_kg[0] == mass[0]
    assert twin.mass_kg[1] == pytest.approx(other.mass_kg[1], rel=1e-14)


def test_a_gap_widens_the_mass_by_what_it_may_hide() -> None:
    """Three silent days after a steady month: between nothing and twice three days' loss at the last week's rate."""
    twin = after_a_month()
    rate = twin.loss_kg[0]
    twin.advance(DAY, 12.0, 82.0)
    daily = twin.loss_kg[0] - rate
    twin.advance(3 * DAY, None, None)
    low, high = twin.mass_range_kg
    assert high[0] == twin.mass_kg[0]
    assert high[0] - low[0] == pytest.approx(6.0 * daily, rel=0.1)


def test_more_than_seven_days_ask_for_a_weighing() -> None:
    """Seven days do not, an hour more does, air coming back does not clear it, a weighing does."""
    twin = after_a_month()
    twin.advance(7 * DAY, None, None)
    assert not twin.needs_weighing.any()
    twin.advance(HOUR, [12.0, np.nan], 82.0)
    assert list(twin.needs_weighing) == [False, True]
    twin.advance(DAY, 12.0, 82.0)
    assert list(twin.needs_weighing) == [False, True]
    twin.weighed([1])
    assert not twin.needs_weighing.any()
    low, high = twin.mass_range_kg
    assert low[1] == high[1]
    assert low[0] < high[0]


def test_short_gaps_add_up_but_do_not_ask() -> None:
    """Ten gaps of a day with air between them are ten days counted, and no weighing asked."""
    twin = after_a_month()
    for _ in range(10):
        twin.advance(DAY, None, None)
        twin.advance(DAY, 12.0, 82.0)
    assert np.all(twin.gap_s == 10 * DAY)
    assert not twin.needs_weighing.any()
