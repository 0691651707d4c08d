"""A spell of damp or warm weather is told once; what gets worse in it by a step is told, and what is new is never hidden."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.alarms import Alarms
from monitor.rules.finding import Finding, Priority
from monitor.site.alarm_settings import ByPriority
from tests.alarms.people import Opened, Person
from tests.alarms.samples import dry

pytestmark = pytest.mark.usefixtures("phones")
HOUR = 60


def damp(rh_pct: float, rule: str = "band", aspect: str = "humidity-high", **more: object) -> Finding:
    """Air of the vault over the 88 % that its wheels want."""
    what, numbers = f"Humidity {rh_pct:.1f} %", {"rh_pct": rh_pct, "places": ["low-rack"]}
    return dry(rule=rule, aspect=aspect, what=what, numbers=numbers, cause="air:vault", **more)


def warm(temperature_c: float) -> Finding:
    """Air of the vault over the 12 degC that its wheels want."""
    numbers = {"temperature_c": temperature_c, "places": []}
    return dry(aspect="temperature-high", what=f"{temperature_c:.1f} °C", numbers=numbers, cause="air:vault")


def answered(alarms: Alarms, nora: Person, finding: Finding) -> None:
    nora.live(10, [finding])
    alarms.acknowledge(alarms.standing()[0].id, "Nora", now_ms=nora.now)


def test_damp_air_answered_is_told_again_five_points_on(opened: Opened) -> None:
    """Told at 89 % and answered: 93.5 % is the same story, 94.5 % is worse, and 96 % is no more than that."""
    alarms, nora = opened()
    answered(alarms, nora, damp(89.0))
    nora.live(2 * HOUR, [damp(93.5)], step=30)
    assert nora.heard == ["Needs you: North vault"]
    nora.live(10, [damp(94.5)])
    assert nora.heard == ["Needs you: North vault", "Worse: North vault"]
    assert "Humidity 94.5 %" in nora.words[1].text
    alarms.acknowledge(alarms.standing()[0].id, "Nora", now_ms=nora.now)
    for rh_pct in (89.0, 96.0, 90.0, 95.0):
        nora.live(HOUR, [damp(rh_pct)], step=30)
    assert len(nora.heard) == 2


def test_warm_air_answered_is_told_again_a_kelvin_on(opened_on_both: Opened) -> None:
    """Told at 12.1 degC and answered: 12.9 is the same hot spell, 13.2 is a kelvin worse, as when the compressor stops in it."""
    alarms, nora = opened_on_both()
    answered(alarms, nora, warm(12.1))
    nora.live(5 * HOUR, [warm(12.9)], step=60)
    assert nora.heard == ["Needs you: North vault"]
    nora.live(10, [warm(13.2)])
    assert nora.heard == ["Needs you: North vault", "Worse: North vault"]


def test_another_condition_of_the_same_air_is_news_where_it_is_a_step_further(opened: Opened) -> None:
    """Told as too damp at 89 %: saturated air at 91 % says the same, at 98.5 % it does not."""
    for rh_pct, told in ((91.0, 1), (98.5, 2)):
        alarms, nora = opened()
        answered(alarms, nora, damp(89.0))
        nora.live(2 * HOUR, [damp(89.0)], step=10)
        nora.live(HOUR, [damp(89.0), damp(rh_pct, "free_water", "saturated")], step=10)
        assert len(nora.heard) == told
        nora.live(HOUR, [], step=10)
        for alarm in alarms.standing():
            alarms.acknowledge(alarm.id, "Nora", now_ms=nora.now)


def test_that_mould_may_grow_is_part_of_damp_air(opened: Opened) -> None:
    """Air at saturation for days lets mould grow too: on the page, and no further message; without it, it is one."""
    alarms, nora = opened()
    mould = damp(96.0, "mould_pace", "fast")
    answered(alarms, nora, damp(98.6, "free_water", "saturated"))
    nora.live(48 * HOUR, [damp(98.6, "free_water", "saturated"), mould], step=6 * HOUR)
    assert len(nora.heard) == 1
    _, piet = opened()
    piet.now = nora.now
    piet.live(10, [])
    piet.live(10, [mould])
    assert piet.heard[-1] == "Needs you: North vault"


def test_a_sensor_at_100_percent_in_air_told_as_saturated_is_no_news(opened: Opened) -> None:
    """Where its own place was told as saturated; one at another place, or alone, is told as wet."""
    wet = replace(
        dry(Priority.LOW, rule="sensor_health", aspect="wet", wheels=0, numbers={"share": 0.9}),
        sensor="nv-1",
        place="low-rack",
        style="",
        cause="sensor:nv-1",
        what="Sensor nv-1 stands at 100 %",
    )
    saturated = damp(99.0, "free_water", "saturated")
    for sensor, told in ((wet, 1), (replace(wet, place="high-rack"), 2)):
        alarms, nora = opened()
        answered(alarms, nora, saturated)
        nora.live(24 * HOUR, [saturated], step=6 * HOUR)
        nora.live(2 * HOUR, [saturated, sensor], step=10)
        assert len(nora.heard) == told
        nora.live(HOUR, [], step=10)
        for alarm in alarms.standing():
            alarms.acknowledge(alarm.id, "Nora", now_ms=nora.now)
    _, piet = opened()
    piet.now = nora.now
    piet.live(2 * HOUR, [wet], step=10)
    assert len(piet.heard) == 1


def test_one_story_that_stands_for_weeks_alarms_again_as_one(opened: Opened) -> None:
    """Saturated air, answered, after three days the band beside it: told, and again seven days after the answer."""
    alarms, nora = opened(realarm_min=ByPriority(medium=7 * 24 * HOUR))
    saturated, band = damp(99.0, "free_water", "saturated"), damp(99.0)
    told_on = []
    for half_day in range(2 * 15):
        before = len(nora.heard)
        nora.live(12 * HOUR, [saturated, band] if half_day >= 6 else [saturated], step=6 * HOUR)
        told_on += [half_day / 2] * (len(nora.heard) - before)
        for alarm in alarms.standing():
            if alarm.state == "unacknowledged":
                alarms.acknowledge(alarm.id, "Nora", now_ms=nora.now)
    assert told_on == [0.0, 7.5]
