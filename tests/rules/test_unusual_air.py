"""Unusual air: what a room does not do at this time of day is told within the hour, and what it does every day is not."""

from __future__ import annotations

import json
import math
import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache

from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment
from monitor.rules.unusual_air import UnusualAirRule
from tests.rules.samples import START, make_site, moment, record

SITE = make_site()
PLACES = {"low-rack": -0.2, "high-rack": 0.25, "door": 0.05}
DAY, SIX = 1440, 360
"""Minutes of a day, and of the time of day at which the samples' course begins."""
EVENING = 8 * DAY - SIX - 60
NIGHT = EVENING + 180
"""Eleven in the evening of the eighth day, and two in the morning after it, in minutes from the start."""
Change = Callable[[int], tuple[float, float]]


def unchanged(minute: int) -> tuple[float, float]:
    return 0.0, 0.0


def changed(start: int, end: int, warmer_k: float, damper_pct: float) -> Change:
    return lambda minute: (warmer_k, damper_pct) if start <= minute < end else (0.0, 0.0)


def air(begin: int, end: int, change: Change = unchanged, silent: str = "") -> Iterator[Moment]:
    """A cave at 12 degC and 88 %: a little noise, and two hours of work from nine on that warm it by half a kelvin."""
    chance = random.Random(begin)
    for minute in range(begin, end, 10):
        works = 9 * 60 <= (minute + SIX) % DAY < 11 * 60
        warmer, damper = change(minute)
        t = 12.0 + 0.1 * math.sin(minute / 229.0) + (0.5 if works else 0.0) + warmer
        rh = 88.0 - (0.5 if works else 0.0) + damper
        slots = [
            record(minute, t + off + chance.gauss(0, 0.03), rh - off + chance.gauss(0, 0.2), place)
            for place, off in PLACES.items()
            if place != silent
        ]
        yield moment(SITE, minute + 10, *slots)


def told(rule: UnusualAirRule, moments: Iterator[Moment]) -> list[tuple[float, Finding]]:
    """Every finding of every moment, with the minute of it."""
    found = []
    for each in moments:
        rule.update(each)
        found += [((each.now_ms - START) / 60_000, finding) for finding in rule.findings()]
    return found


@cache
def a_week_known() -> str:
    """The state of a rule that knows the room for eight days, until eleven in the evening."""
    rule = UnusualAirRule(SITE, SITE.rooms[0])
    assert told(rule, air(0, EVENING)) == []
    return json.dumps(rule.state())


def at_night(
    change: Change = unchanged, hours: float = 10.0, silent: str = ""
) -> list[tuple[float, Finding]]:
    """What is found from that evening on."""
    rule = UnusualAirRule(SITE, SITE.rooms[0])
    rule.restore(json.loads(a_week_known()))
    return told(rule, air(EVENING, EVENING + round(hours * 60), change, silent))


def test_what_happens_every_day_is_not_told() -> None:
    """Another day of work, door and noise says nothing."""
    assert at_night(hours=24) == []


def test_a_door_left_ajar_at_night_is_told_within_the_hour() -> None:
    """0.4 K cooler and 2 points drier from two in the morning on: the door is named first; over once it is shut again."""
    found = at_night(changed(NIGHT, NIGHT + 180, -0.4, -2.0))
    first, finding = found[0]
    assert 20 <= first - NIGHT <= 40
    assert found[-1][0] - NIGHT <= 180 + 60
    assert finding.check_first.startswith("Is the door shut")
    assert "88 % and " in finding.what
    assert "86 % and " in finding.what
    assert len(finding.wheels) == 41


def test_a_humidifier_gone_dry_is_named_first_where_only_humidity_falls() -> None:
    """3 points drier at the same temperature: the humidifier first, then the door."""
    _, finding = at_night(changed(NIGHT, NIGHT + 600, 0.0, -3.0))[0]
    assert finding.check_first.startswith("Has the humidifier water")


def test_a_door_open_for_ten_minutes_is_no_news() -> None:
    """One slot of cold, dry air is a door that somebody shut again."""
    assert at_night(changed(NIGHT, NIGHT + 10, -1.0, -6.0)) == []


def test_what_is_usual_at_work_is_unusual_at_night() -> None:
    """The same half kelvin that work brings every day at nine is news at two in the morning."""
    _, finding = at_night(changed(NIGHT, NIGHT + 120, 0.5, -0.5))[0]
    assert "cooling" in finding.check_first


def test_a_room_that_warms_fast_is_told_after_two_slots() -> None:
    """1.5 K warmer at once: cooling that stopped is told ten minutes sooner than what is less or less urgent."""
    first, _ = at_night(changed(NIGHT, NIGHT + 120, 1.5, -1.0))[0]
    assert first - NIGHT == 20
    first, _ = at_night(changed(NIGHT, NIGHT + 120, -1.5, -1.0))[0]
    assert first - NIGHT == 30


def test_what_was_told_does_not_hide_the_next() -> None:
    """A humidifier dry on the ninth night, and again on the fourteenth at the same hour: told both times."""
    rule = UnusualAirRule(SITE, SITE.rooms[0])
    rule.restore(json.loads(a_week_known()))
    assert told(rule, air(EVENING, NIGHT + 600, changed(NIGHT, NIGHT + 480, 0.0, -3.0)))
    again = NIGHT + 5 * DAY
    assert rule.findings() == []
    found = told(rule, air(NIGHT + 600, again + 300, changed(again, again + 300, 0.0, -3.0)))
    assert [minute for minute, _ in found if minute < again] == []
    assert found[0][0] - again <= 60


def test_in_the_first_week_nothing_is_called_unusual() -> None:
    """Five days are too few to know what a room does."""
    rule = UnusualAirRule(SITE, SITE.rooms[0])
    assert told(rule, air(0, 5 * DAY, changed(5 * DAY - 400, 5 * DAY, -0.6, -5.0))) == []


def test_a_place_that_falls_silent_moves_nothing() -> None:
    """The warm rack's sensor says no more: the room is told by the others, and is no cooler for it."""
    assert at_night(silent="high-rack") == []


def test_in_an_empty_room_it_is_of_low_priority() -> None:
    """Without wheels a door or a plant can wait, but somebody should know before the next wheels come."""
    rule = UnusualAirRule(SITE, SITE.rooms[0])
    rule.restore(json.loads(a_week_known()))
    moments = air(EVENING, NIGHT + 240, changed(NIGHT, NIGHT + 180, -0.6, -3.0))
    _, finding = told(rule, (replace(each, contents=()) for each in moments))[0]
    assert (finding.priority, finding.effect) == (Priority.LOW, "")
