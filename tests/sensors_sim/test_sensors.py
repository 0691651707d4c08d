"""A sensor between the air and its message: lag, steps, saturation, and what the radio does."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from sensors_sim.scenario import Sensor
from sensors_sim.sensors import SensorModel

MINUTE = 60.0


def model(**keys: Any) -> SensorModel:
    quiet = {
        "temperature_noise_k": 0,
        "humidity_noise_pct": 0,
        "hysteresis_pct": 0,
        "creep_pct": 0,
        "lost_share": 0,
        "duplicate_share": 0,
        "late_share": 0,
        "dropouts_per_week": 0,
    }
    return SensorModel(Sensor.model_validate({"id": "s", "room": "r", "place": "p", **quiet, **keys}), 3, [])


def air(
    minutes: int, temperature_c: float = 12.0, rh_pct: float = 85.0
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return MINUTE * np.arange(1, minutes + 1), np.full(minutes, temperature_c), np.full(minutes, rh_pct)


def test_a_perfect_sensor_tells_the_truth_in_its_own_steps() -> None:
    """Steps of 0.01 K and 0.1 %."""
    _, t, rh = model().respond(*air(60, 12.344, 85.26))
    assert set(t) == {12.34}
    assert set(np.round(rh, 6)) == {85.3}


def test_a_lag_passes_63_percent_of_a_step_in_its_time() -> None:
    """First order, 5 minutes: 63.2 % after 5 minutes."""
    sensor = model(lag="5 min", temperature_step_k=0.0001)
    sensor.respond(*air(30, 10.0))
    times, t, rh = air(30, 12.0)
    _, seen, _ = sensor.respond(times + 1800, t, rh)
    assert seen[4] == pytest.approx(10.0 + 2.0 * (1 - np.exp(-1)), abs=0.02)


def test_one_long_span_and_many_short_ones_give_the_same_values() -> None:
    """State carries over: a live run second by second equals a year in one go."""
    rng = np.random.default_rng(1)
    times, _, rh = air(600)
    t = 12 + np.cumsum(rng.normal(0, 0.02, 600))
    whole = model(temperature_noise_k=0.0).respond(times, t, rh)
    split = model(temperature_noise_k=0.0)
    parts = [split.respond(times[i : i + 50], t[i : i + 50], rh[i : i + 50]) for i in range(0, 600, 50)]
    np.testing.assert_allclose(np.concatenate([p[1] for p in parts]), whole[1], atol=0.011)
    assert sum(len(p[0]) for p in parts) == len(whole[0])


def test_saturated_air_reads_one_hundred_and_no_more() -> None:
    """A sensor with a bias clips at 100 %."""
    _, _, rh = model(humidity_bias_pct=3.0).respond(*air(60, 12.0, 99.0))
    assert rh.max() == 100.0


def test_creep_builds_up_in_days_of_wet_air_only() -> None:
    """After ten days at 96 % it reads high by most of its creep; at 85 % by none."""
    minutes = 10 * 1440
    wet = model(creep_pct=2.0).respond(*air(minutes, 12.0, 96.0))[2]
    dry = model(creep_pct=2.0).respond(*air(minutes, 12.0, 85.0))[2]
    assert wet[-1] - wet[200] == pytest.approx(1.4, abs=0.3)
    assert dry[-1] == dry[200]


def test_hysteresis_reads_high_on_the_way_down() -> None:
    """Coming from wet air a sensor lags behind on the high side, and the other way round."""
    sensor = model(hysteresis_pct=1.0)
    sensor.respond(*air(1440, 12.0, 95.0))
    times, t, rh = air(60, 12.0, 85.0)
    falling = sensor.respond(times + 86400, t, rh)[2][-1]
    assert falling == pytest.approx(86.0, abs=0.2)


def test_a_dropout_holds_messages_and_sends_them_in_a_burst() -> None:
    """Stamped when measured, sent when the radio is back; none is lost."""
    sensor = model(dropouts_per_week=200, dropout_longest="1 h")
    samples = sensor.respond(*air(1440))
    sent = sensor.transmit(*samples)
    assert len(sent) == len(samples[0])
    waited = sent.send_s - sent.stamp_s
    assert waited.max() > 600
    assert (np.diff(sent.send_s) >= 0).all()
    assert (waited >= -1e-9).all()


def test_duplicates_losses_and_late_ones_come_at_their_stated_shares() -> None:
    """Within the scatter of a week of minutes."""
    sensor = model(duplicate_share=0.02, lost_share=0.05, late_share=0.03)
    samples = sensor.respond(*air(7 * 1440))
    sent = sensor.transmit(*samples)
    stamps, counts = np.unique(sent.stamp_s, return_counts=True)
    assert 1 - len(stamps) / len(samples[0]) == pytest.approx(0.05, abs=0.01)
    assert (counts == 2).mean() == pytest.approx(0.02, abs=0.006)
    assert (sent.send_s - sent.stamp_s > 30).mean() == pytest.approx(0.03, abs=0.01)


def test_the_battery_falls_slowly_and_then_fast() -> None:
    """Told every six hours; lower with time."""
    sensor = model(battery_days=30.0, interval=600)
    times = 600.0 * np.arange(1, 30 * 144)
    sent = sensor.transmit(*sensor.respond(times, np.full(len(times), 12.0), np.full(len(times), 85.0)))
    told = sent.battery_v[~np.isnan(sent.battery_v)]
    assert len(told) == pytest.approx(120, abs=3)
    assert told[0] - told[60] < told[60] - told[-1]
    assert (np.diff(told) <= 0).all()
