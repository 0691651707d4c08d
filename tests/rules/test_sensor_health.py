"""A sensor that cannot be trusted is told once, with what to do about it."""

from __future__ import annotations

import pytest

from monitor.climate.sensor_watch import SensorState
from monitor.records import Reading
from monitor.rules.finding import Finding
from monitor.rules.sensor_health import SensorHealthRule
from tests.rules.samples import MINUTE, START, make_site, moment, reading

SITE = make_site()


def told(
    state: SensorState | None = None, readings: tuple[Reading, ...] = (), minutes: int = 60
) -> list[Finding]:
    rule = SensorHealthRule(SITE, SITE.rooms[0])
    for minute in range(600, 601 + minutes, 10):
        late = tuple(Reading(r.sensor, r.quantity, r.time_ms + minute * MINUTE, r.value) for r in readings)
        sensors = {"nv-1": state} if state else {}
        rule.update(moment(SITE, minute, sensors=sensors, readings=late))
    return rule.findings()


@pytest.mark.parametrize(
    ("state", "aspect", "words"),
    [
        (SensorState("nv-1", stuck_since_ms=START), "stuck", "repeats one value, for 11 h now"),
        (SensorState("nv-1", spiking_share=0.08), "spiking", "8 % of its last readings"),
        (SensorState("nv-1", at_end_share=0.9), "wet", "stands at 100 %"),
        (SensorState("nv-1", drift={"humidity": -3.1}), "drift-humidity", "-3.1 points of humidity"),
        (SensorState("nv-1", drift={"temperature": 1.0}), "drift-temperature", "1.0 K"),
        (SensorState("nv-1", battery_pct=9.0), "battery", "9 %"),
    ],
)
def test_each_trouble_is_told_by_its_name(state: SensorState, aspect: str, words: str) -> None:
    """What the quality tests know of a sensor, an hour on."""
    (finding,) = told(state)
    assert finding.aspect == aspect
    assert words in finding.what
    assert finding.cause == "sensor:nv-1"
    assert len(finding.wheels) == 41


def test_a_healthy_sensor_is_silent() -> None:
    """A spike in a thousand, half a point of drift and 80 % of charge are ordinary."""
    assert told(SensorState("nv-1", spiking_share=0.001, drift={"humidity": 0.5}, battery_pct=80.0)) == []


def test_a_clock_an_hour_ahead_or_behind_is_told() -> None:
    """Readings that always come an hour ahead, or behind, by their own time."""
    for minutes in (60.0, -60.0):
        (finding,) = told(readings=(reading(minutes, "temperature", 10.5),))
        assert finding.aspect == "clock"
        assert "1 h off" in finding.what


def test_what_a_sensor_kept_while_it_had_no_network_is_no_wrong_clock() -> None:
    """A burst of readings from two hours ago until now is a sensor that kept its readings."""
    burst = tuple(reading(-m, "temperature", 10.5) for m in range(0, 120, 5))
    assert told(readings=burst) == []


def test_a_flat_cell_is_told_by_its_voltage() -> None:
    """2.3 V of a 3 V lithium cell."""
    (finding,) = told(readings=(reading(0, "battery_voltage", 2.3),))
    assert finding.numbers == {"battery_v": 2.3}
