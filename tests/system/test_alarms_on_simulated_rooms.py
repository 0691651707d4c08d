"""Faults in simulated rooms are found in time by the rules as they come (`alarms_on_simulated_rooms` has the whole table)."""

from __future__ import annotations

import pytest

from sensors_sim.scenario import Fault
from tests.system.alarms_on_simulated_rooms import INTERVAL_S, found
from tests.system.simulated_rooms import DAY_S, HOUR_S, judged, ordinary_year, sensed

SEED = 77
STUCK = Fault(kind="sensor stuck", target="cave-mid-rack", start=1.2 * DAY_S, end=1.9 * DAY_S)
SILENT = Fault(kind="sensor silent", target="cellar-middle", start=1.3 * DAY_S, end=1.6 * DAY_S)


@pytest.mark.system
def test_a_stuck_and_a_silent_sensor_are_found_in_time() -> None:
    """Stuck within little over six hours; silent within three of its intervals and the hour that a lone one is given."""
    scenario = ordinary_year(SEED, 2.0, INTERVAL_S, (STUCK, SILENT))
    ticks = list(sensed(scenario))
    by_kind = {one.kind: one for one in found(scenario, judged(scenario, ticks), ticks)}
    stuck, silent = by_kind["sensor stuck"], by_kind["sensor silent"]
    assert stuck.hours is not None
    assert stuck.hours <= 6.5
    assert silent.hours is not None
    assert silent.hours <= 3 * INTERVAL_S / HOUR_S + 1.1
