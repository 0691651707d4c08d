"""What only adds to what a person was told and has answered is answered with it; what has consequences of its own is told."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.alarms import Alarms
from monitor.alarms.journal import rebuilt
from monitor.alarms.lifecycle import State
from monitor.errors import AlarmError
from monitor.rules.finding import Finding, Priority
from monitor.site import Route, Site
from monitor.site.alarm_settings import ByPriority
from tests.alarms.people import Opened, Person, with_settings
from tests.alarms.samples import MINUTE, dry
from tests.alarms.test_one_story import damp, warm

pytestmark = pytest.mark.usefixtures("phones")
HOUR = 60
REMINDED = {"remind_min": ByPriority(critical=15, high=30, medium=60), "reminders": 3}


def answer(alarms: Alarms, nora: Person) -> None:
    for alarm in alarms.standing():
        if alarm.state == State.UNACKNOWLEDGED:
            alarms.acknowledge(alarm.id, "Nora", now_ms=nora.now)


def test_nobody_is_reminded_or_called_for_what_only_adds_to_what_was_answered(
    opened_on_both: Opened, site: Site
) -> None:
    """Too damp, answered; that mould may grow follows: answered with it by Nora, ends by itself, and Piet sleeps."""
    routes = (site.routes[0], Route(name="second", address_env="MATURING_ROUTE_SECOND", after_min=20))
    alarms, nora = opened_on_both(routes=routes, **REMINDED)
    piet = Person(with_settings(site, routes=routes, **REMINDED), alarms, "second")
    saturated, mould = damp(98.6, "free_water", "saturated"), damp(96.0, "mould_pace", "fast")
    nora.live(10, [saturated])
    answer(alarms, nora)
    nora.live(24 * HOUR, [saturated, mould], step=10)
    piet.now = nora.now
    piet.live(10, [saturated, mould])
    assert (len(nora.heard), piet.heard) == (1, [])
    added = alarms.alarm(2)
    assert (added.state, added.acknowledged_by, added.acknowledged_ms) == ("acknowledged", "Nora", None)
    assert added.note == "goes with alarm 1, which was answered"
    assert [step["event"] for step in alarms.history(2)] == ["raise", "answered with another"]
    nora.live(10, [])
    assert alarms.standing() == []
    with alarms.journal.reading() as connection:
        assert [row["ended_ms"] is None for row in rebuilt(connection)] == [False, False]


def test_it_alarms_again_counted_from_what_the_person_answered(opened: Opened) -> None:
    """Answered at once and never again: further conditions of the same air, day after day, put nothing off."""
    alarms, nora = opened(realarm_min=ByPriority(medium=7 * 24 * HOUR))
    story = [damp(96.0), damp(96.0, "mould_pace", "fast"), damp(96.0, "drying_pace", "slow")]
    nora.live(10, story[:1])
    answer(alarms, nora)
    for days, count in ((3, 1), (2, 2), (1, 3)):
        nora.live(days * 24 * HOUR, story[:count], step=60)
    assert len(nora.heard) == 1
    nora.live(24 * HOUR + 60, story, step=60)
    assert len(nora.heard) == 2
    assert {alarm.state for alarm in alarms.standing()} == {"unacknowledged"}


def test_air_a_step_worse_than_was_answered_is_told_whatever_was_added_meanwhile(opened: Opened) -> None:
    """Answered at 12.1 degC as rising; out of band at 12.9, which adds nothing; 13.2 is a kelvin on from what was answered."""
    alarms, nora = opened()
    rising = replace(warm(12.1), rule="trend")
    nora.live(10, [rising])
    answer(alarms, nora)
    nora.live(5 * HOUR, [rising, warm(12.9)], step=10)
    assert len(nora.heard) == 1
    nora.live(10, [rising, warm(13.2)])
    assert nora.heard == ["Needs you: North vault", "Worse: North vault"]


@pytest.mark.parametrize(
    ("priority", "told"), [(Priority.MEDIUM, 1), (Priority.HIGH, 2), (Priority.CRITICAL, 2)]
)
def test_another_condition_of_an_answered_cause_is_told_where_it_cannot_wait(
    opened: Opened, priority: Priority, told: int
) -> None:
    """Carbon dioxide, answered; ten minutes later ammonia by the same cause: high or critical, it is told by itself."""
    alarms, nora = opened()
    gas = dry(priority, rule="gases", style="", aspect="carbon-dioxide", cause="gas:vault")
    nora.live(10, [gas])
    answer(alarms, nora)
    nora.live(10, [gas, replace(gas, aspect="ammonia", what="Ammonia 40 ppm")])
    assert len(nora.heard) == told


def test_what_joins_a_message_that_nobody_answered_waits_for_the_same_answer(opened: Opened) -> None:
    """Dry, told and not answered; warm by its cause follows: both stand unacknowledged, and the reminder names both."""
    alarms, nora = opened(**REMINDED)
    both = [dry(cause="air:vault"), dry(aspect="temperature-high", what="Too warm", cause="air:vault")]
    nora.live(10, both[:1])
    nora.live(60, both)
    assert nora.heard == ["Needs you: North vault", "Still: North vault"]
    assert "Too warm" in nora.words[1].text
    assert {alarm.state for alarm in alarms.standing()} == {"unacknowledged"}


def test_a_route_that_had_not_been_told_is_told(opened: Opened, site: Site) -> None:
    """A second route came with a new site file: what adds to Nora's answered alarm is news to Piet, and awaits an answer."""
    alarms, nora = opened()
    saturated, mould = damp(98.6, "free_water", "saturated"), damp(96.0, "mould_pace", "fast")
    nora.live(10, [saturated])
    answer(alarms, nora)
    routes = (site.routes[0], Route(name="second", address_env="MATURING_ROUTE_SECOND"))
    changed = with_settings(site, routes=routes)
    piet = Person(changed, Alarms(alarms.journal, changed), "second")
    piet.now = nora.now
    piet.live(10, [saturated, mould])
    assert piet.heard == ["Needs you: North vault"]
    assert alarms.alarm(2).state == "unacknowledged"


def test_a_sensor_more_of_an_answered_power_cut_is_answered_with_it(opened: Opened) -> None:
    """Four silent at once, answered; the fifth is the same power cut."""
    alarms, nora = opened(**REMINDED)
    silent = [
        replace(dry(), rule="silence", aspect="", sensor=f"s-{n}", cause="broker away", wheels=())
        for n in range(5)
    ]
    nora.live(10, silent[:4])
    answer(alarms, nora)
    nora.live(5 * HOUR, silent, step=10)
    assert len(nora.heard) == 1
    assert {alarm.acknowledged_by for alarm in alarms.standing()} == {"Nora"}


def test_what_latches_is_looked_at_by_a_person_all_the_same(site: Site, opened: Opened) -> None:
    """Answered with another and over: it stays, and ends only once a person has acknowledged and reset it itself."""
    style = site.styles[0].model_copy(update={"latching_rules": ("mould_pace",)})
    changed = with_settings(site.model_copy(update={"styles": (style,)}).at(site.path))
    changed.__dict__.pop("style_by_id", None)
    alarms, _ = opened()
    nora = Person(changed, Alarms(alarms.journal, changed))
    story: list[Finding] = [damp(98.6, "free_water", "saturated"), damp(96.0, "mould_pace", "fast")]
    nora.live(10, story[:1])
    answer(nora.alarms, nora)
    nora.live(10, story)
    nora.live(10, [])
    assert nora.alarms.alarm(2).state == "latched"
    with pytest.raises(AlarmError, match="acknowledge it first"):
        nora.alarms.reset(2, "Nora", now_ms=nora.now)
    nora.alarms.acknowledge(2, "Nora", now_ms=nora.now)
    assert nora.alarms.reset(2, "Nora", now_ms=nora.now + MINUTE).ended_ms is not None
