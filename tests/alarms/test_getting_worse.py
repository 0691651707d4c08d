"""What gets worse is told whatever was said before; what wavers is told once; nobody is late who was not yet told."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.alarms.lifecycle import State
from monitor.alarms.record import Alarm
from monitor.rules.finding import Priority
from monitor.site import QuietHours, Route, Site
from monitor.site.alarm_settings import ByPriority
from tests.alarms.people import Opened, Person, with_settings
from tests.alarms.samples import MINUTE, START, dry

HOUR = 60 * MINUTE
NIGHT = QuietHours(begin="22:00", end="06:30", below="high")  # type: ignore[arg-type]


@pytest.fixture
def quiet(site: Site) -> Route:
    """Nora's route, quiet from 22:00 to 06:30 for what is less than high."""
    return site.routes[0].model_copy(update={"quiet_hours": NIGHT})


def test_an_end_unsaid_does_not_swallow_that_it_is_critical_now(opened: Opened, quiet: Route) -> None:
    """Told at 21:04, over at 22:04 (to be said at 06:30), critical at 00:04: that leaves at once."""
    _, nora = opened(routes=(quiet,))
    nora.now = START - 6 * HOUR
    nora.live(60, [dry()], 5)
    nora.live(120, [], 5)
    assert nora.heard == ["Needs you: North vault"]
    nora.live(10, [dry(Priority.CRITICAL)])
    assert nora.heard == ["Needs you: North vault", "Worse: North vault"]


def test_a_cause_that_clears_and_comes_back_while_its_message_waits_is_one_message(
    opened: Opened, quiet: Route
) -> None:
    """Dry at 03:04, over, dry again, all before 06:30: one message in the morning; over by then, none."""
    _, nora = opened(routes=(quiet,))
    for findings in ([dry()], [], [dry()]):
        nora.live(60, findings, 5)
    assert nora.heard == []
    nora.live(60, [dry()], 5)
    assert nora.heard == ["Needs you: North vault"]


def test_a_cause_that_came_and_went_twice_by_night_is_no_message(opened: Opened, quiet: Route) -> None:
    """Dry at 03:04 and again at 05:04, over each time within the hour: nobody hears of it in the morning."""
    _, nora = opened(routes=(quiet,))
    for findings in ([dry()], [], [dry()], [], []):
        nora.live(60, findings, 5)
    assert nora.heard == []


def test_what_wavers_about_a_limit_is_worse_once(opened: Opened) -> None:
    """Wheels at 3.0 times their pace, medium and high by turns for an hour: one message says worse, seen or not."""
    for is_seen in (False, True):
        alarms, nora = opened()
        nora.live(5, [dry()])
        number = alarms.standing()[0].id
        if is_seen:
            alarms.acknowledge(number, "Nora", now_ms=nora.now)
        for turn in range(6):
            nora.live(10, [dry(Priority.HIGH if turn % 2 else Priority.MEDIUM)])
        assert nora.heard == ["Needs you: North vault", "Worse: North vault"]
        assert _alarm(alarms.standing()).priority is Priority.HIGH
        alarms.acknowledge(number, "Nora", now_ms=nora.now)
        nora.live(5, [])


def test_what_becomes_critical_leaves_its_shelf(opened_on_both: Opened) -> None:
    """Shelved as medium for four hours, critical after one: it stands again, and its history says why."""
    alarms, nora = opened_on_both()
    nora.live(5, [dry()])
    alarms.shelve(1, "Nora", nora.now + 4 * HOUR, now_ms=nora.now)
    nora.live(30, [dry(Priority.HIGH)])
    assert nora.heard == ["Needs you: North vault"]
    nora.live(10, [])
    nora.live(10, [dry(Priority.CRITICAL)])
    assert nora.heard == ["Needs you: North vault", "Now: North vault"]
    assert _alarm(alarms.standing()).state is State.UNACKNOWLEDGED
    assert any(step["note"] == "it became critical" for step in alarms.history(1))
    alarms.shelve(1, "Nora", nora.now + 4 * HOUR, now_ms=nora.now)
    nora.live(30, [dry(Priority.CRITICAL)])
    assert len(nora.heard) == 2


def test_nobody_is_woken_for_one_whose_message_waits_for_the_morning(
    opened: Opened, site: Site, quiet: Route
) -> None:
    """Nora's message waits for 06:30; Piet, who is told after 20 minutes without an answer, is told at 06:50."""
    routes = (quiet, Route(name="second", address_env="MATURING_ROUTE_SECOND", after_min=20))
    alarms, nora = opened(routes=routes)
    piet = Person(with_settings(site, routes=routes), alarms, "second")
    told_at = {}
    for minute in range(4 * 60):
        for person in (nora, piet):
            person.now = START + minute * MINUTE
            person.live(1, [dry()])
            if person.heard:
                told_at.setdefault(person.name, minute)
    assert told_at == {"phone": 206, "second": 226}


def test_a_message_that_waited_for_the_morning_is_not_followed_by_its_reminder(
    opened: Opened, quiet: Route
) -> None:
    """Half an hour to the reminder is counted from 06:30, when the message left, and not from 03:04."""
    _, nora = opened(routes=(quiet,), remind_min=ByPriority(medium=30))
    nora.live(220, [dry()])
    assert nora.heard == ["Needs you: North vault"]
    nora.live(20, [replace(dry(), seen_ms=nora.now)])
    assert nora.heard == ["Needs you: North vault", "Still: North vault"]


def _alarm(alarms: list[Alarm]) -> Alarm:
    (alarm,) = alarms
    return alarm
