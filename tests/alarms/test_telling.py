"""Who is told what and when: grouping, reminders, escalation, quiet hours, the daily message."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from monitor.alarms import Alarms
from monitor.alarms.lifecycle import State
from monitor.clock import parse_rfc3339, to_ms
from monitor.errors import AlarmError
from monitor.rules.finding import Priority
from monitor.site import QuietHours, Route, Site
from monitor.site.alarm_settings import ByPriority
from tests.alarms.people import Opened, Person, with_settings
from tests.alarms.samples import MINUTE, START, dry

HOUR = 60 * MINUTE
pytestmark = pytest.mark.usefixtures("phones")


def test_two_findings_of_one_room_and_moment_are_one_message(opened_on_both: Opened) -> None:
    """An open door makes it dry and warm at once: one message names both, and one says when both are over."""
    _, nora = opened_on_both()
    both = [dry(), dry(Priority.HIGH, aspect="temperature-high", what="Too warm")]
    nora.live(5, both)
    nora.live(5, both[:1])
    assert nora.heard == ["Now: North vault"]
    assert "Too warm" in nora.words[0].text
    assert "Humidity 74.2 %" in nora.words[0].text
    nora.live(5, [])
    assert nora.heard == ["Now: North vault", "Over: North vault"]
    assert "It was:\n- Too warm" in nora.words[1].text


def test_later_findings_of_a_cause_that_was_told_make_no_further_message(opened_on_both: Opened) -> None:
    """The broker is away: sensors that fall silent long after are part of what was told, and of its end."""
    _, nora = opened_on_both()
    silent = [
        replace(dry(), rule="silence", aspect="", sensor=f"s-{n}", cause="broker away", wheels=())
        for n in range(12)
    ]
    nora.live(10, silent[:4])
    nora.live(60, silent, step=5)
    nora.live(10, [])
    assert nora.heard == ["Needs you: North vault", "Over: North vault"]
    assert "12 sensors" in nora.words[1].line


def test_a_door_left_open_and_what_it_does_to_the_air_are_one_message(opened: Opened) -> None:
    """The door's contact tells after a quarter of an hour; that the air follows within the hour is part of it, and of its end."""
    _, nora = opened()
    what = "Door of North vault has stood open for 15 min"
    door = dry(rule="contacts", aspect="door-open", style="", cause="air:vault", what=what)
    air = dry(
        rule="unusual_air", aspect="door", style="", cause="air:vault", what="The air in North vault is odd"
    )
    nora.live(20, [door])
    nora.live(20, [door, air])
    assert nora.heard == ["Needs you: North vault"]
    nora.live(10, [])
    assert nora.heard == ["Needs you: North vault", "Over: North vault"]
    assert "The air in North vault is odd" in nora.words[1].text


def test_what_says_the_same_of_the_air_as_what_stands_is_no_news(opened: Opened) -> None:
    """Too dry since yesterday and answered: that wheels dry fast is on the page and no message; too warm is one."""
    alarms, nora = opened()
    air = dry(cause="air:vault")
    nora.live(10, [air])
    alarms.acknowledge(alarms.standing()[0].id, "Nora", now_ms=nora.now)
    fast = replace(air, rule="drying_pace", aspect="fast", what="Wheels dry at 2.3 times their pace")
    nora.live(600, [air], step=60)
    nora.live(120, [air, fast], step=60)
    assert len(nora.heard) == 1
    warm = replace(air, aspect="temperature-high", what="Too warm")
    nora.live(120, [air, fast, warm], step=60)
    assert len(nora.heard) == 2
    nora.live(10, [air, fast, warm, replace(air, rule="trend", aspect="humidity-low", what="Falling")])
    assert len(nora.heard) == 2


def test_what_comes_back_after_its_end_was_told_is_told_again(opened: Opened) -> None:
    """A cause that was told to be over an hour ago is news when it comes back, each time."""
    _, nora = opened()
    gas = dry(Priority.CRITICAL, rule="gases", cause="gas:vault")
    for _ in range(2):
        nora.live(10, [gas])
        nora.live(10, [])
    assert nora.heard == ["Now: North vault", "Over: North vault"] * 2


def test_what_is_over_before_it_leaves_is_not_told(opened: Opened) -> None:
    """Silence waits two minutes for company; a sensor back by then is nobody's message."""
    _, nora = opened()
    silent = replace(dry(), rule="silence", aspect="", sensor="nv-1")
    nora.live(1, [silent])
    nora.live(10, [])
    assert nora.heard == []


def test_a_lone_silent_sensor_is_told_after_twenty_minutes(opened: Opened) -> None:
    """Most are a radio that comes back by itself: a quarter of an hour is nobody's message, half an hour is."""
    _, nora = opened()
    silent = replace(dry(), rule="silence", aspect="", sensor="nv-1", priority=Priority.LOW)
    nora.live(15, [silent])
    nora.live(10, [])
    assert nora.heard == []
    nora.live(30, [silent])
    assert len(nora.heard) == 1


def test_a_filled_in_past_that_is_over_at_once_is_not_told(opened: Opened) -> None:
    """At a start old records raise what the newest end within moments: no pair of messages."""
    alarms, nora = opened()
    alarms.settle_until(START + 5_000)
    alarms.update([dry()], START)
    nora.live(1, [])
    nora.live(10, [])
    assert nora.heard == []


def test_over_for_a_moment_is_no_news(opened: Opened) -> None:
    """What comes back before its end was told still stands for the person; neither end nor return is told."""
    _, nora = opened()
    for findings in ([dry()], [], [dry()], [], [dry()]):
        nora.live(1, findings)
    assert nora.heard == ["Needs you: North vault"]


def test_one_who_does_not_answer_is_reminded_a_few_times(opened: Opened) -> None:
    """Every 30 minutes, twice, while nobody has acknowledged; after that the daily message must do."""
    alarms, nora = opened(remind_min=ByPriority(medium=30), reminders=2)
    nora.live(180, [dry()], step=5)
    assert nora.heard == ["Needs you: North vault", "Still: North vault", "Still: North vault"]
    alarms.acknowledge(1, "Nora", now_ms=nora.now)
    nora.live(120, [dry()], step=5)
    assert len(nora.heard) == 3


def test_the_next_person_is_told_where_the_first_does_not_answer(opened: Opened, site: Site) -> None:
    """After 20 minutes without acknowledgement the second route is told, once; it also hears the end."""
    routes = (site.routes[0], Route(name="second", address_env="MATURING_ROUTE_SECOND", after_min=20))
    alarms, nora = opened(routes=routes)
    piet = Person(with_settings(site, routes=routes), alarms, "second")
    for _ in range(19):
        for person in (nora, piet):
            person.live(1, [dry()])
    assert (nora.heard, piet.heard) == (["Needs you: North vault"], [])
    piet.live(30, [dry()])
    piet.live(10, [])
    assert piet.heard == ["Not answered: North vault", "Over: North vault"]
    assert "Nobody has acknowledged it yet" in piet.words[0].text


def test_an_answer_in_time_keeps_the_next_person_asleep(opened: Opened, site: Site) -> None:
    """Acknowledged within the 20 minutes, nobody else is told, not even of the end."""
    routes = (site.routes[0], Route(name="second", address_env="MATURING_ROUTE_SECOND", after_min=20))
    alarms, _ = opened(routes=routes)
    piet = Person(with_settings(site, routes=routes), alarms, "second")
    piet.live(5, [dry()])
    alarms.acknowledge(1, "Nora", now_ms=piet.now)
    piet.live(60, [dry()], step=5)
    piet.live(10, [])
    assert piet.heard == []


def test_quiet_hours_hold_what_can_wait_until_morning(opened: Opened, site: Site) -> None:
    """At 03:04 a medium alarm waits for 06:30; a high one does not; what is over by morning is never told."""
    quiet = QuietHours(begin="22:00", end="06:30", below="high")  # type: ignore[arg-type]
    route = site.routes[0].model_copy(update={"quiet_hours": quiet})
    _, nora = opened(routes=(route,))
    nora.live(60, [dry()], step=5)
    assert nora.heard == []
    high = dry(Priority.HIGH, aspect="temperature-high", what="Too warm")
    nora.live(60, [dry(), high], step=5)
    assert nora.heard == ["Now: North vault"]
    nora.live(120, [dry()], step=5)
    assert nora.heard == ["Now: North vault", "Over: North vault", "Needs you: North vault"]


def test_what_gets_worse_is_told_again_even_if_acknowledged(opened_on_both: Opened) -> None:
    """A medium alarm that a person has seen and that becomes critical must be seen again."""
    alarms, nora = opened_on_both()
    nora.live(5, [dry()])
    alarms.acknowledge(1, "Nora", now_ms=nora.now)
    nora.live(5, [dry(Priority.CRITICAL)])
    assert nora.heard == ["Needs you: North vault", "Worse: North vault"]
    assert alarms.standing()[0].state is State.UNACKNOWLEDGED


def test_acknowledged_and_forgotten_it_alarms_again(opened: Opened) -> None:
    """A condition that stands hours after its acknowledgement goes back to unacknowledged (re-alarm)."""
    alarms, nora = opened(realarm_min=ByPriority(medium=120))
    nora.live(5, [dry()])
    alarms.acknowledge(1, "Nora", now_ms=nora.now)
    nora.live(130, [dry()], step=5)
    assert nora.heard == ["Needs you: North vault", "Still: North vault"]


def test_the_daily_message_comes_once_a_day_in_local_time(opened: Opened) -> None:
    """At 07:30 by the wall, in winter and in summer time, whether or not anything stands."""
    alarms, nora = opened(daily_at="07:30")
    nora.now = to_ms(parse_rfc3339("2026-03-28T07:00:00Z"))
    heard_at = []
    for _ in range(2 * 48 + 2):
        before = len(nora.heard)
        nora.live(30, [], step=30)
        if len(nora.heard) > before:
            heard_at.append(nora.now - 30 * MINUTE)
    days = ("2026-03-28T07:30:00Z", "2026-03-29T06:30:00Z", "2026-03-30T06:30:00Z")
    assert heard_at == [to_ms(parse_rfc3339(day)) for day in days]
    assert nora.heard[0] == "Not all is well: Hollow Farm"
    assert "1 room without fresh readings" in nora.words[0].line
    assert alarms.standing() == []


def test_a_clock_set_back_an_hour_neither_doubles_nor_holds_up(opened: Opened) -> None:
    """Set back an hour while an alarm stands: nothing is told twice, and what is new leaves at once."""
    _, nora = opened(remind_min=ByPriority(medium=240))
    nora.live(30, [dry()])
    nora.now -= HOUR
    nora.live(30, [dry()])
    assert nora.heard == ["Needs you: North vault"]
    nora.live(5, [dry(), dry(Priority.HIGH, aspect="temperature-high", what="Too warm")])
    assert nora.heard == ["Needs you: North vault", "Now: North vault"]


def test_a_site_file_changed_while_alarms_stand_sends_nothing_twice(
    alarms_of_both: Alarms, site: Site
) -> None:
    """With other settings and a second route the alarm stands on; who was told is not told again, the end is told."""
    nora = Person(site, alarms_of_both)
    nora.live(5, [dry()])
    routes = (Route(name="second", address_env="MATURING_ROUTE_SECOND"), *site.routes)
    changed = with_settings(site, routes=routes, hold_s=0)
    after = Person(changed, Alarms(alarms_of_both.journal, changed))
    after.now = nora.now
    after.live(10, [dry()])
    assert after.heard == []
    assert [a.id for a in after.alarms.standing()] == [1]
    after.live(5, [])
    assert after.heard == ["Over: North vault"]


def test_a_room_taken_from_the_site_file_says_so(alarms_of_both: Alarms, site: Site) -> None:
    """The alarm of a room that is no longer in the file ends, and its history says why."""
    alarms_of_both.update([dry()], START)
    room = site.rooms[0].model_copy(update={"id": "attic"})
    changed = site.model_copy(update={"rooms": (room,)}).at(site.path)
    changed.__dict__.pop("room_by_id", None)
    after = Alarms(alarms_of_both.journal, changed)
    after.update([], START + MINUTE)
    assert after.history(1)[-1]["note"] == "its room is no longer in the site file"


def test_where_the_style_asks_an_alarm_latches(alarms_of_both: Alarms, site: Site) -> None:
    """A latched alarm stays after its condition has gone, until a person has acknowledged and reset it."""
    style = site.styles[0].model_copy(update={"latching_rules": ("band",)})
    changed = site.model_copy(update={"styles": (style,)}).at(site.path)
    changed.__dict__.pop("style_by_id", None)
    alarms = Alarms(alarms_of_both.journal, changed)
    alarms.update([dry()], START)
    alarms.update([], START + MINUTE)
    assert [a.state for a in alarms.standing()] == [State.LATCHED]
    with pytest.raises(AlarmError, match="acknowledge it first"):
        alarms.reset(1, "Nora", now_ms=START)
    alarms.acknowledge(1, "Nora", now_ms=START)
    alarms.reset(1, "Nora", "looked at the rinds", now_ms=START)
    assert alarms.standing() == []


def test_a_rule_has_the_priority_that_the_site_gives_it(opened: Opened) -> None:
    """The site file may say that dry air is low here, whatever the rule thinks."""
    alarms, _ = opened(priorities={"band": "low"})
    alarms.update([dry()], START)
    assert alarms.standing()[0].priority is Priority.LOW


def test_notes_are_kept_and_change_nothing(opened_on_both: Opened) -> None:
    """A note stands in the history, of an alarm that is over too; an empty one is refused."""
    alarms, _ = opened_on_both()
    alarms.update([dry()], START)
    alarms.acknowledge(1, "Nora", now_ms=START + MINUTE)
    alarms.update([], START + 2 * MINUTE)
    ended = alarms.alarm(1)
    noted = alarms.add_note(1, "Piet", "the float valve stuck", START + HOUR)
    assert replace(noted, note=ended.note) == ended
    assert alarms.history(1)[-1]["person"] == "Piet"
    with pytest.raises(AlarmError, match="empty"):
        alarms.add_note(1, "Piet", " ")


def test_out_of_service_is_quiet_until_put_back(opened: Opened) -> None:
    """While the humidifier is being replaced its alarm is out of service; put back, it stands again."""
    alarms, nora = opened()
    nora.live(5, [dry()])
    alarms.take_out(1, "Nora", "new humidifier on its way", nora.now)
    nora.live(600, [dry()], step=60)
    assert len(nora.heard) == 1
    alarms.put_back(1, "Nora", now_ms=nora.now)
    nora.live(5, [dry()])
    assert len(nora.heard) == 2


def test_a_journal_of_version_one_is_brought_up_to_date(tmp_path: Path, site: Site) -> None:
    """What waited in an older journal still leaves."""
    from monitor.alarms import journal as tables
    from monitor.alarms import open_alarms

    alarms = open_alarms(site)
    alarms.update([dry()], START)
    with alarms.journal.transaction() as connection:
        connection.execute(tables.waiting.delete())
        newest = tables.documents.update().where(tables.documents.c.name == "schema")
        connection.execute(newest.values(document={"version": 1}))
    alarms.close()
    nora = Person(site, open_alarms(site))
    nora.live(1, [dry()])
    assert nora.heard == ["Needs you: North vault"]


def test_what_is_put_aside_holds_up_nobodys_end(opened_on_both: Opened) -> None:
    """Dry and warm told together, dry shelved for the fitter: once it is cool again that is told, of the warmth alone."""
    alarms, nora = opened_on_both()
    warm = dry(aspect="temperature-high", what="Too warm")
    nora.live(5, [dry(), warm])
    alarms.shelve(1, "Nora", nora.now + 8 * HOUR, now_ms=nora.now)
    nora.live(10, [dry()])
    assert nora.heard == ["Needs you: North vault", "Over: North vault"]
    assert "It was: Too warm" in nora.words[1].text
    nora.live(5, [])
    alarms.unshelve(1, "Nora", now_ms=nora.now)
    nora.live(5, [])
    assert nora.heard[2:] == ["Over: North vault"]
    assert "It was: Humidity 74.2 %" in nora.words[2].text


def test_what_is_put_aside_swallows_nothing_of_its_cause(opened: Opened) -> None:
    """Warm, shelved, then dry by the same cause: dry is told each time that it comes, and each time that it is over."""
    alarms, nora = opened()
    warm = dry(aspect="temperature-high", what="Too warm", cause="air:vault")
    nora.live(5, [warm])
    alarms.shelve(1, "Nora", nora.now + 8 * HOUR, now_ms=nora.now)
    for _ in range(2):
        nora.live(10, [warm, dry(cause="air:vault")])
        nora.live(10, [warm])
    assert nora.heard[1:] == ["Needs you: North vault", "Over: North vault"] * 2


def test_what_was_said_to_be_over_is_told_when_it_comes_back_beside_another_of_its_cause(
    opened: Opened,
) -> None:
    """Dry, then frost by the same cause; dry was told over, so that it is dry again is news beside the frost."""
    _, nora = opened()
    air, frost = dry(cause="air:vault"), dry(Priority.CRITICAL, aspect="freezing", cause="air:vault")
    nora.live(10, [air])
    nora.live(10, [air, frost])
    nora.live(10, [frost])
    assert nora.heard == ["Needs you: North vault", "Now: North vault", "Over: North vault"]
    nora.live(10, [air, frost])
    assert nora.heard[3:] == ["Needs you: North vault"]


def test_what_was_over_is_told_once_the_rest_is_put_aside(opened: Opened) -> None:
    """Dry and warm told together; dry is over, then washing keeps the warmth quiet: that dry is over need not wait for it."""
    alarms, nora = opened()
    warm = dry(aspect="temperature-high", what="Too warm")
    nora.live(5, [dry(), warm])
    nora.live(10, [warm])
    assert nora.heard == ["Needs you: North vault"]
    alarms.plan_work("vault", "washing", nora.now + 8 * HOUR, "Piet", now_ms=nora.now)
    nora.live(10, [warm])
    assert nora.heard == ["Needs you: North vault", "Over: North vault"]
    assert "It was: Humidity 74.2 %" in nora.words[1].text


def test_an_end_waits_for_what_was_told_with_it_and_for_nothing_else(opened_on_both: Opened) -> None:
    """Dry and warm told together, then warm and drying fast: dry is over once the warmth is, however fast wheels still dry."""
    alarms, nora = opened_on_both()
    warm, fast = dry(aspect="temperature-high", what="Too warm"), dry(rule="drying_pace", what="Drying fast")
    nora.live(5, [dry(), warm])
    alarms.shelve(2, "Nora", nora.now + 8 * HOUR, now_ms=nora.now)
    nora.live(5, [dry(), warm])
    alarms.unshelve(2, "Nora", now_ms=nora.now)
    nora.live(5, [dry(), warm, fast])
    assert nora.heard == ["Needs you: North vault"] * 2
    nora.live(10, [warm, fast])
    assert len(nora.heard) == 2
    nora.live(10, [fast])
    assert nora.heard[2:] == ["Over: North vault"]
    assert "It was: Humidity 74.2 %" in nora.words[2].text
    nora.live(10, [])
    assert nora.heard[3:] == ["Over: North vault"]
    assert "- Too warm" in nora.words[3].text
    assert "- Drying fast" in nora.words[3].text
