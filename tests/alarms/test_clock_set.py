"""A clock that is set while an alarm stands: who is reminded and called when goes by the time that truly passed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.alarms import Alarms, open_alarms
from monitor.alarms.sender import Sender
from monitor.rules.finding import Priority
from monitor.site import Route, Site
from monitor.site.alarm_settings import ByPriority
from tests.alarms.people import with_settings
from tests.alarms.samples import MINUTE, START, dry
from tests.alarms.test_sender import Channel

pytestmark = pytest.mark.usefixtures("phones")
NORA, PIET = "json://phone.invalid", "json://second.invalid"
BY_TRUE_TIME = [(0, NORA, "Now"), (15, NORA, "Still"), (20, PIET, "Not answered"), (30, NORA, "Still")]
"""What nobody answers for 34 minutes: critical, reminded every 15 minutes, Piet called after 20."""


@pytest.fixture
def two(site: Site) -> Site:
    second = Route(name="second", address_env="MATURING_ROUTE_SECOND", after_min=20)
    return with_settings(site, routes=(site.routes[0], second), remind_min=ByPriority(critical=15))


def lived(
    site: Site,
    clock: Callable[[int], int],
    minutes: int = 35,
    restart_at: int = -1,
    steady: bool = True,
    down: frozenset[str] = frozenset(),
) -> list[tuple[int, str, str]]:
    """What was heard: (true minute, address, first word), where ``clock`` tells how far [min] the clock is off."""
    true, channel, heard = [0], Channel(), list[tuple[int, str, str]]()
    channel.down = set(down)

    def now() -> int:
        return START + (true[0] + clock(true[0])) * MINUTE

    def opened() -> tuple[Alarms, Sender]:
        alarms = open_alarms(site, (lambda: true[0] * MINUTE) if steady else None)
        return alarms, Sender(site, alarms, channel, now)

    alarms, sender = opened()
    for minute in range(minutes):
        true[0] = minute
        if minute == restart_at:
            alarms.close()
            alarms, sender = opened()
        alarms.update([dry(Priority.CRITICAL, rule="gases", since_ms=START)], now())
        before = len(channel.taken)
        sender.send_waiting()
        heard += [(minute, to, line.split(":")[0]) for to, line in channel.taken[before:]]
    alarms.close()
    return heard


@pytest.mark.parametrize("at", [1, 14, 16, 25])
def test_set_back_an_hour_nobody_is_told_late_or_twice(two: Site, at: int) -> None:
    """Whenever within the half hour the clock is set back."""
    assert lived(two, lambda minute: -60 if minute >= at else 0) == BY_TRUE_TIME


def test_without_a_steady_clock_what_follows_is_late_by_one_look(two: Site) -> None:
    """Two looks a minute apart show a step back of 59 minutes only."""
    heard = lived(two, lambda minute: -60 if minute >= 16 else 0, steady=False)
    assert heard == [(0, NORA, "Now"), (15, NORA, "Still"), (21, PIET, "Not answered"), (31, NORA, "Still")]


def test_set_back_and_put_right_again_nobody_is_called_early(two: Site) -> None:
    """Back an hour after five minutes, forward again after twelve: the calls come as if nothing had been."""
    assert lived(two, lambda minute: -60 if 5 <= minute < 12 else 0) == BY_TRUE_TIME


def test_set_forward_an_hour_nobody_is_called_early(two: Site) -> None:
    """A machine that woke with a wrong clock and is put right by the time service."""
    assert lived(two, lambda minute: 60 if minute >= 5 else 0) == BY_TRUE_TIME


def test_set_back_twice_the_second_step_counts_from_the_first(two: Site) -> None:
    """An hour and another hour."""
    assert lived(two, lambda minute: -60 * ((minute >= 5) + (minute >= 17))) == BY_TRUE_TIME


def test_set_back_while_the_monitor_was_down_the_journal_tells_by_how_much_at_least(two: Site) -> None:
    """Down for a moment 16 minutes on, set back meanwhile: the newest entry is a minute old, and so late is what follows."""
    told = [(0, NORA, "Now"), (15, NORA, "Still"), (21, PIET, "Not answered"), (31, NORA, "Still")]
    assert lived(two, lambda minute: -60 if minute >= 16 else 0, restart_at=16) == told


def test_a_restart_after_the_clock_was_set_knows_of_it(two: Site) -> None:
    """Set back after five minutes, started anew after ten."""
    assert lived(two, lambda minute: -60 if minute >= 5 else 0, restart_at=10) == BY_TRUE_TIME


def test_a_route_that_fails_is_told_by_the_other_in_time(two: Site) -> None:
    """Nora's phone refuses from the start, and the clock is set back a minute on: Piet hears of the route at minute 2 or 3."""
    routes = (two.routes[0], two.routes[1].model_copy(update={"after_min": 0}))
    both = with_settings(two, routes=routes)
    heard = lived(both, lambda minute: -60 if minute >= 1 else 0, minutes=6, down=frozenset({NORA}))
    assert [minute for minute, to, _ in heard if to == PIET] in ([0, 2], [0, 3])


def test_an_untouched_clock_leaves_no_trace(two: Site, tmp_path: Path) -> None:
    """The plain case that all others are held against, and a journal without a step."""
    assert lived(two, lambda minute: 0) == BY_TRUE_TIME
    alarms = open_alarms(two)
    with alarms.journal.reading() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM clock_steps").scalar() == 0
    alarms.close()
