"""How sensors themselves are doing: stuck, spiking, at their end, drifting from the others."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from monitor.climate.sensor_watch import SensorWatch
from monitor.clock import DAY_MS
from monitor.intake.quality import assessed
from monitor.site import Site, check_text
from tests.test_site import GOOD

START = 20_500 * DAY_MS
THREE = "".join(
    f'[[sensor]]\nid = "rack-{n}"\nroom = "vault"\nplace = "low-rack"\ninterval_s = 600\n' for n in (1, 2, 3)
)


@pytest.fixture
def site() -> Site:
    site, faults = check_text(GOOD + THREE, Path("site.toml"))
    assert site is not None, faults
    return site


def humidity(values: np.ndarray, start_ms: int = START, minutes: float = 10.0) -> pd.DataFrame:
    index = pd.DatetimeIndex(
        (start_ms + np.arange(len(values)) * round(minutes * 60_000)).astype("datetime64[ms]")
    ).tz_localize("UTC")
    frame = pd.DataFrame(
        {"value": values, "flag": np.full(len(values), 2, np.uint8), "reason": ""}, index=index
    )
    return assessed("humidity", frame)


def test_a_stuck_sensor_is_known_since_when(site: Site) -> None:
    """86.5 % for nine hours: stuck from five and a half on; and well again once it moves."""
    watch, sensor = SensorWatch(site), site.sensor_by_id["rack-1"]
    values = np.full(54, 86.5)
    watch.judged(sensor, "humidity", humidity(values))
    state = watch.states(START + 9 * 3_600_000)["rack-1"]
    assert state.stuck_since_ms == START + 330 * 60_000
    watch.judged(sensor, "humidity", humidity(np.append(values, 87.0)))
    assert watch.states(START + 550 * 60_000)["rack-1"].stuck_since_ms is None


def test_spikes_are_a_share_of_the_readings(site: Site) -> None:
    """Every tenth reading of six hours off by 15 %: a tenth of them are spikes."""
    watch = SensorWatch(site)
    values = 86.0 + np.arange(360) % 3 / 10
    values[5::10] += 12.0
    watch.judged(site.sensor_by_id["rack-1"], "humidity", humidity(values, minutes=1.0))
    assert watch.states(START + 6 * 3_600_000)["rack-1"].spiking_share == pytest.approx(0.1, abs=0.01)


def test_a_sensor_at_its_end_is_told(site: Site) -> None:
    """Clipped at 100 % for all of the last hours: wet, or the room is saturated."""
    watch = SensorWatch(site)
    watch.judged(site.sensor_by_id["rack-1"], "humidity", humidity(np.full(30, 100.0)))
    assert watch.states(START + 5 * 3_600_000)["rack-1"].at_end_share == 1.0


def lived(watch: SensorWatch, site: Site, days: int, drift_pct_a_day: float) -> None:
    """Three sensors in one room, the third drifting, each at a place of its own dampness."""
    chance = np.random.default_rng(8)
    for day in range(days):
        room = 86.0 + np.sin(np.arange(144) / 23.0) + chance.normal(0, 0.3)
        for number, offset in ((1, 0.0), (2, 1.5), (3, -2.0 + drift_pct_a_day * day)):
            values = room + offset + chance.normal(0, 0.2, 144)
            watch.judged(
                site.sensor_by_id[f"rack-{number}"], "humidity", humidity(values, START + day * DAY_MS)
            )
        watch.states(START + (day + 1) * DAY_MS)


def test_a_drift_of_three_per_cent_is_seen_within_a_fortnight(site: Site) -> None:
    """One of three moves by 0.25 % a day: after 14 days it is told to be about 2.5 % off, the others are not."""
    watch = SensorWatch(site)
    lived(watch, site, 14, 0.25)
    states = watch.states(START + 14 * DAY_MS)
    assert states["rack-3"].drift["humidity"] == pytest.approx(2.5, abs=0.4)
    assert abs(states["rack-1"].drift["humidity"]) < 1.5


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_fortnight_shows_three_per_cent(site: Site, seed: int) -> None:
    """Steady for ten days, then up by 3 % over 14: told before the fortnight is over, and no other sensor is."""
    watch, limit = SensorWatch(site), site.rules.sensor_health.drift_pct
    chance = np.random.default_rng(seed)
    found = None
    for day in range(24):
        room = 86.0 + 2.0 * np.sin(day / 4.0) + np.sin(np.arange(144) / 23.0)
        for number, offset in ((1, 0.0), (2, 1.5), (3, -2.0 + 3.0 * max(0, day - 10) / 14)):
            values = room + offset + chance.normal(0, 0.4, 144)
            sensor = site.sensor_by_id[f"rack-{number}"]
            watch.judged(sensor, "humidity", humidity(values, START + day * DAY_MS))
        states = watch.states(START + (day + 1) * DAY_MS)
        off = {name for name, s in states.items() if abs(s.drift.get("humidity", 0.0)) > limit}
        found = day - 10 if found is None and "rack-3" in off else found
        assert off <= {"rack-3"}
    assert found is not None
    assert found <= 14


def test_places_of_different_dampness_are_no_drift(site: Site) -> None:
    """A rack that is always 2 % drier than the others has not drifted."""
    watch = SensorWatch(site)
    lived(watch, site, 14, 0.0)
    assert all(abs(s.drift["humidity"]) < 0.3 for s in watch.states(START + 14 * DAY_MS).values())


def test_a_restart_keeps_the_days(site: Site) -> None:
    """What a fortnight has shown outlives a restart, as JSON; nonsense in its place is as nothing."""
    first, second = SensorWatch(site), SensorWatch(site)
    lived(first, site, 14, 0.25)
    second.restore(json.loads(json.dumps(first.state())))
    assert second._drift("rack-3") == first._drift("rack-3")
    second.restore({"version": 1, "days": [3]})
    assert second._drift("rack-3") == {}
