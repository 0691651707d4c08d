"""The quality tests over simulated rooms: work, doors, washing and defrosts are air; a sensor's own faults are told.

The simulator shares nothing with the tests but humid air; its rooms are invented.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import pandas as pd
import pytest

from monitor.intake.quality import assessed
from sensors_sim.network import SensorNetwork
from sensors_sim.scenario import Fault
from sensors_sim.world import World
from tests.system.simulated_rooms import ordinary_year

HOUR_S = 3600.0
Judged = dict[tuple[str, str], pd.DataFrame]


def judged(hours: int, *faults: Fault) -> Judged:
    """Every sensor's readings at a minute, judged, by (sensor, quantity)."""
    scenario = ordinary_year(41, hours / 24, 60.0, faults)
    world = World(scenario)
    network = SensorNetwork(scenario, world.faults)
    sent: defaultdict[tuple[str, str], list[pd.Series]] = defaultdict(list)
    for _ in range(hours // 2):
        for samples in network.messages(world.advance(round(2 * HOUR_S / scenario.step))):
            for quantity in ("temperature", "humidity"):
                values = getattr(samples, f"{quantity}_{'c' if quantity == 'temperature' else 'pct'}")
                sent[samples.sensor, quantity].append(pd.Series(values, index=samples.stamp_s))
    return {key: assessed(key[1], _frame(pd.concat(parts))) for key, parts in sent.items()}


def _frame(values: pd.Series) -> pd.DataFrame:
    values = values[~values.index.duplicated()].dropna().sort_index()
    index = pd.to_datetime(values.index, unit="s", utc=True, origin="2026-01-01")
    return pd.DataFrame({"value": values.to_numpy(), "flag": np.uint8(2)}, index=index)


def suspect(frames: Judged) -> dict[str, set[str]]:
    """The reasons why readings are suspect, by sensor."""
    found: defaultdict[str, set[str]] = defaultdict(set)
    for (sensor, _), frame in frames.items():
        found[sensor] |= set(frame.loc[frame["flag"] >= 3, "reason"])
    return {sensor: reasons for sensor, reasons in found.items() if reasons}


@pytest.fixture(scope="module")
def two_days() -> Judged:
    """A winter's two days in three rooms, a door ajar for three hours in each, and two sensors that fail."""
    doors = [
        Fault(kind="door ajar", target=room, start=30 * HOUR_S, end=33 * HOUR_S)
        for room in ("cave", "cold-room", "cellar")
    ]
    return judged(
        48,
        *doors,
        Fault(kind="sensor stuck", target="cave-low-rack", start=20 * HOUR_S, end=36 * HOUR_S),
        Fault(kind="sensor spiking", target="cellar-north-wall", start=10 * HOUR_S, end=40 * HOUR_S),
    )


def test_air_is_not_taken_for_a_fault(two_days: Judged) -> None:
    """Some 60,000 readings beside opened doors, a defrosting coil and a wet floor: only the two faulty sensors are
    suspect."""
    assert sum(map(len, two_days.values())) > 50_000
    assert sorted(suspect(two_days)) == ["cave-low-rack", "cellar-north-wall"]


def test_a_stuck_sensor_is_found_from_five_and_a_half_hours_on(two_days: Judged) -> None:
    """It repeats one value from the 20th hour to the 36th: suspect from half past the 25th to the end."""
    frame = two_days["cave-low-rack", "humidity"]
    hours = frame.index[frame["flag"] == 3].hour + 24 * (frame.index[frame["flag"] == 3].day - 1)
    assert (hours.min(), hours.max()) == (25, 35)


def test_spikes_are_found_and_their_neighbours_are_not(two_days: Judged) -> None:
    """Of readings more than 10 % off the running median at least seven in ten are suspect, of the others less than one in
    five hundred.  Two spikes in a row, both upwards, could be air and stay."""
    frame = two_days["cellar-north-wall", "humidity"]
    off = (frame["value"] - frame["value"].rolling(15, center=True, min_periods=5).median()).abs() > 10.0
    assert off.sum() > 50
    assert (frame.loc[off, "flag"] == 3).mean() > 0.7
    assert (frame.loc[~off, "flag"] == 3).mean() < 0.002
