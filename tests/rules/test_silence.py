"""Silence: a sensor that says nothing is a finding of its own."""

from __future__ import annotations

from monitor.rules.finding import Priority
from monitor.rules.silence import SilenceRule
from tests.rules.samples import MINUTE, START, make_site, moment

SITE = make_site()


def findings(minute: float, last_minute: float | None, **more: object) -> list:
    rule = SilenceRule(SITE, SITE.rooms[0])
    rule.update(moment(SITE, 0, last_seen={} if last_minute is None else {"nv-1": START}, **more))
    seen = {} if last_minute is None else {"nv-1": START + int(last_minute * MINUTE)}
    rule.update(moment(SITE, minute, last_seen=seen, **more))
    return rule.findings()


def test_two_missed_messages_are_no_silence() -> None:
    """A sensor of one minute that is 2.5 minutes late has lost two messages at most."""
    assert findings(12.5, 10) == []


def test_three_intervals_are_silence() -> None:
    """After more than three of its intervals it is named, with where it is and which wheels nobody watches."""
    (finding,) = findings(14, 10)
    assert finding.sensor == "nv-1"
    assert "silent for 4 min" in finding.what
    assert "41 wheels is not watched" in finding.effect
    assert finding.priority is Priority.MEDIUM


def test_a_sensor_never_heard_counts_from_the_start() -> None:
    """One that never said anything is told too, once the same time has passed."""
    assert findings(2, None) == []
    (finding,) = findings(10, None)
    assert "never heard from" in finding.what


def test_an_empty_room_makes_it_less_pressing() -> None:
    """With no wheels around it, a silent sensor can wait."""
    (finding,) = findings(14, 10, contents=())
    assert finding.priority is Priority.LOW


def test_one_of_two_sensors_quiet_for_twenty_minutes_can_wait() -> None:
    """While the other is heard it is of low priority, after an hour of medium; both quiet are of medium at once."""
    second = '[[sensor]]\nid = "nv-2"\nroom = "vault"\nplace = "high-rack"\n\n[[style]]'
    site = make_site(**{"[[style]]\nid": second + "\nid"})
    rule = SilenceRule(site, site.rooms[0])
    told = []
    for minute in (0, 20, 70):
        now = START + minute * MINUTE
        rule.update(moment(site, minute, last_seen={"nv-1": START, "nv-2": now}))
        told.append([f.priority for f in rule.findings()])
    assert told == [[], [Priority.LOW], [Priority.MEDIUM]]
    rule.reset()
    for minute in (0, 20):
        rule.update(moment(site, minute, last_seen={"nv-1": START, "nv-2": START}))
    assert {f.sensor: f.priority for f in rule.findings()}["nv-1"] is Priority.MEDIUM


def test_a_silent_door_contact_hides_no_air() -> None:
    """It is of low priority and says what is not known; the air of the room is watched as before, so is its share heard."""
    door = '[[sensor]]\nid = "nv-door"\nroom = "vault"\nplace = "low-rack"\nquantities = ["door_open"]\n'
    site = make_site(**{"[[style]]\n": f"{door}\n[[style]]\n"})
    rule = SilenceRule(site, site.rooms[0])
    for minute in (0, 20):
        rule.update(moment(site, minute, last_seen={"nv-1": START + minute * MINUTE, "nv-door": START}))
    (finding,) = rule.findings()
    assert (finding.sensor, finding.priority) == ("nv-door", Priority.LOW)
    assert finding.effect == "whether its door stands open or its tank is low is not known"
    rule.update(moment(site, 40, last_seen={"nv-1": START, "nv-door": START + 40 * MINUTE}))
    (finding,) = rule.findings()
    assert (finding.sensor, finding.priority) == ("nv-1", Priority.MEDIUM)
