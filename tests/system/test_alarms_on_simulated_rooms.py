"""Faults in simulated rooms are found in time by the rules as they come (`alarms_on_simulated_rooms` has the whole table)."""

from __future__ import annotations

from functools import cache

import pytest

from sensors_sim.scenario import Fault
from tests.system.alarms_on_simulated_rooms import INTERVAL_S, Found, found
from tests.system.simulated_rooms import DAY_S, HOUR_S, judged, ordinary_year, sensed

SEED = 77
FAULTS = (
    Fault(kind="sensor stuck", target="cave-mid-rack", start=1.2 * DAY_S, end=1.6 * DAY_S),
    Fault(kind="sensor silent", target="cellar-middle", start=1.3 * DAY_S, end=1.6 * DAY_S),
    Fault(kind="door ajar", target="cold-room", start=8.1 * DAY_S, end=8.3 * DAY_S),
    Fault(kind="humidifier dry", target="cellar", start=8.1 * DAY_S, end=8.4 * DAY_S),
)


@cache
def january() -> dict[str, Found]:
    """Eight and a half days with a fault of each kind."""
    scenario = ordinary_year(SEED, 8.5, INTERVAL_S, FAULTS)
    ticks = list(sensed(scenario))
    return {one.kind: one for one in found(scenario, judged(scenario, ticks), ticks)}


@pytest.mark.system
@pytest.mark.parametrize(
    ("kind", "hours"),
    [("sensor stuck", 6.0), ("sensor silent", 3 * INTERVAL_S / HOUR_S), ("door ajar", 1.0)],
)
def test_it_is_found_in_time(kind: str, hours: float) -> None:
    """A stuck sensor within six hours, a silent one within three of its intervals, a door ajar at night within the hour."""
    one = january()[kind]
    assert one.hours is not None
    assert one.hours <= hours


@pytest.mark.system
def test_a_dry_humidifier_is_found_two_hours_after_the_air_showed_it() -> None:
    """In January the cellar's air shows it soon."""
    one = january()["humidifier dry"]
    assert one.hours is not None
    assert one.shown_h is not None
    assert one.hours - one.shown_h <= 2.0
