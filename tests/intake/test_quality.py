"""Quality tests find faults and leave healthy, slow rooms alone."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from monitor.intake.quality import Limits, apart, assessed, creep_along


def frame(values: list[float], minutes: float = 1.0) -> pd.DataFrame:
    index = pd.date_range("2026-03-01T00:00Z", periods=len(values), freq=pd.Timedelta(minutes=minutes))
    return pd.DataFrame({"value": values, "flag": np.full(len(values), 2, np.uint8)}, index=index)


def flags(quantity: str, values: list[float], minutes: float = 1.0) -> list[int]:
    return [int(flag) for flag in assessed(quantity, frame(values, minutes))["flag"]]


def test_a_spike_does_not_condemn_its_neighbours() -> None:
    """One reading of 19 degC among twelves is suspect; those beside it pass."""
    assert flags("temperature", [12.0, 12.1, 19.0, 12.1, 12.0]) == [1, 1, 3, 1, 1]


def test_a_door_opening_is_no_spike() -> None:
    """A rise that stays is air, not a fault."""
    assert flags("temperature", [12.0, 12.0, 12.4, 12.9, 13.2, 13.3]) == [1] * 6


def test_a_steady_cave_is_not_flat() -> None:
    """Temperature held unchanged for 37 minutes, as published indoor data do, passes (Candanedo and Feldheim 2016,
    Energy and Buildings 112:28-39)."""
    assert set(flags("temperature", [12.3] * 38)) == {1}


def test_a_stuck_sensor_is_flat_after_hours() -> None:
    """Seven hours without any change are suspect from five and a half on."""
    found = flags("humidity", [86.5] * 43, minutes=10)
    assert found[:33] == [1] * 33
    assert set(found[33:]) == {3}


def test_humidity_at_exactly_100_is_clipped() -> None:
    """A run of 100.0 is the end of the sensor's scale: it is not judged and says why, and stays in the air, since a
    saturated room must not go unseen."""
    judged = assessed("humidity", frame([99.0, 100.0, 100.0, 99.5]))
    assert list(judged["flag"]) == [1, 2, 2, 1]
    assert "clipped" in judged["reason"].iloc[1]


def test_hourly_weather_is_neither_spike_nor_flat() -> None:
    """Air may be 4 K warmer for one hour, and six equal hourly values are no stuck sensor."""
    assert flags("temperature", [8.0, 12.0, 8.0], minutes=60) == [1, 1, 1]
    assert flags("temperature", [8.0] * 8, minutes=60) == [1] * 8


def test_impossible_and_unlikely_values() -> None:
    """Impossible fails; unlike the room is suspect where the room's own range is stated; missing stays missing."""
    assert flags("temperature", [130.0]) == [4]
    assert flags("humidity", [12.0]) == [1]
    assert list(assessed("humidity", frame([12.0]), Limits(climate=(60.0, 100.0)))["flag"]) == [3]
    missing = frame([float("nan")]).assign(flag=np.array([9], np.uint8))
    assert list(assessed("temperature", missing)["flag"]) == [9]


def test_rate_of_change_counts_the_time_really_elapsed() -> None:
    """Four kelvin in a minute is too fast; the same over a three-hour gap is not."""
    assert flags("temperature", [12.0, 16.0])[1] == 3
    assert flags("temperature", [12.0, 16.0], minutes=180) == [1, 1]


def test_what_was_suspect_stays_suspect() -> None:
    """A flag from intake is not washed away."""
    before = frame([12.0, 12.0]).assign(flag=np.array([3, 2], np.uint8))
    assert list(assessed("temperature", before)["flag"]) == [3, 1]


def test_a_sensor_away_from_its_neighbours() -> None:
    """One of three at a place reads 10 % above the others: it is told, they are not; of two nobody can tell."""
    nan = float("nan")
    values = np.array([[96.5, 86.0, 96.5], [86.0, 86.0, 86.0], [87.0, 86.5, nan]])
    assert apart(values, 8.0).tolist() == [[True, False, False], [False] * 3, [False] * 3]


def test_creep_is_one_sided_and_grows_to_3_percent() -> None:
    """After 60 h above 80 % a capacitive sensor may read 3 % high (data sheet of the SHT20); a dry spell brings it back
    as slowly."""
    hours = np.ones(72)
    along = creep_along(np.full(72, 88.0), hours)
    assert along[29] == pytest.approx(1.5)
    assert along[59] == pytest.approx(3.0)
    assert along[71] == 3.0
    assert creep_along(np.full(20, 60.0), np.ones(20), 3.0)[-1] == pytest.approx(2.0)
    assert creep_along(np.array([float("nan")]), np.ones(1), 1.2)[0] == 1.2


def test_flat_lines_and_fast_changes_are_found_among_many() -> None:
    """A week of minutes is judged in a blink, and finds the one stuck night and the one jump."""
    chance = np.random.default_rng(4)
    values = 86.0 + np.round(np.cumsum(chance.normal(0, 0.02, 10_080)), 2)
    values[4000:4500] = values[4000]
    values[8000:8003] -= 70.0
    judged = assessed("humidity", frame(values.tolist(), 1.0), Limits(rate_per_h=3600.0, flat_after_h=6.0))
    suspect = np.flatnonzero(judged["flag"] == 3)
    assert set(suspect) >= set(range(4361, 4500)) | {8000}
    assert len(suspect) < 160
