"""What a door's contact and a tank's float say: found on time by the clock, however rarely they speak."""

from __future__ import annotations

import json

import pytest

from monitor.alarms.planned import Work
from monitor.records import Flag, Reading
from monitor.rules.contacts import ContactsRule
from monitor.rules.finding import Finding, Priority
from tests.rules.samples import OLD, START, make_site, moment, reading

DOOR = '[[sensor]]\nid = "nv-door"\nroom = "vault"\nplace = "low-rack"\nquantities = ["door_open"]\n'
TANK = DOOR.replace("nv-door", "nv-tank").replace("door_open", "water_low")
SITE = make_site(**{"[[style]]\n": f"{DOOR}\n{TANK}\n[[style]]\n"})
SECOND_DOOR = make_site(**{"[[style]]\n": f"{DOOR}\n{DOOR.replace('nv-door', 'nv-gate')}\n[[style]]\n"})


class Room:
    """The rule in the vault, told what its contacts say."""

    def __init__(self, site=SITE) -> None:  # type: ignore[no-untyped-def]
        self.site = site
        self.rule = ContactsRule(site, site.rooms[0])

    def at(self, minute: float, *said: Reading, **more: object) -> list[Finding]:
        self.rule.update(moment(self.site, minute, readings=said, **more))
        return self.rule.findings()


def door(minute: float, is_open: bool, sensor: str = "nv-door") -> Reading:
    return reading(minute, "door_open", float(is_open), sensor)


def test_a_door_is_told_after_a_quarter_of_an_hour_by_the_clock() -> None:
    """It said open once and nothing more: the finding comes 15 minutes after the opening, between readings."""
    room = Room()
    assert room.at(3, door(2.5, True)) == []
    assert room.at(17.4) == []
    (finding,) = room.at(17.5)
    assert finding.what == "Door of North vault has stood open for 15 min"
    assert finding.since_ms == door(2.5, True).time_ms
    assert finding.effect.startswith("outside air reaches 41 wheels")
    assert finding.priority is Priority.MEDIUM
    (finding,) = room.at(19.5)
    assert finding.what == "Door of North vault has stood open for 17 min"


def test_its_state_said_again_at_the_interval_is_no_new_opening() -> None:
    """Heartbeats that say open keep the time of the opening."""
    room = Room()
    for minute in range(0, 15, 5):
        assert room.at(minute, door(minute, True)) == []
    (finding,) = room.at(15, door(15, True))
    assert finding.since_ms == START


def test_a_door_shut_in_between_starts_anew() -> None:
    """Open for ten minutes, shut for one, open for ten: carrying wheels in, and no news."""
    room = Room()
    assert room.at(0, door(0, True)) == []
    assert room.at(10, door(10, False)) == []
    assert room.at(11, door(11, True)) == []
    assert room.at(25.9) == []
    assert len(room.at(26)) == 1


def test_shut_and_opened_between_two_looks_ends_what_stood() -> None:
    """Both states come at once, as after a pause of the radio: the old opening is over, the new one begins."""
    room = Room()
    room.at(0, door(0, True))
    assert len(room.at(20)) == 1
    assert room.at(40, door(35, False), door(36, True)) == []
    assert len(room.at(51)) == 1


def test_it_is_over_when_the_door_is_shut() -> None:
    """The first word of shut ends it."""
    room = Room()
    room.at(0, door(0, True))
    assert len(room.at(20)) == 1
    assert room.at(21, door(21, False)) == []


def test_late_and_repeated_states_are_no_news() -> None:
    """What is not newer than the newest that the contact said changes nothing."""
    room = Room()
    room.at(10, door(10, False))
    assert room.at(11, door(5, True), door(10, True)) == []
    assert room.at(40) == []
    room.at(41, door(41, True))
    assert room.at(50, door(41, True), door(20, False)) == []
    assert len(room.at(56)) == 1


def test_a_silent_contact_leaves_its_door_open() -> None:
    """Hours without a word do not shut a door; that the contact is silent is told by another rule."""
    room = Room()
    room.at(0, door(0, True))
    (finding,) = room.at(26 * 60, last_seen={})
    assert finding.what == "Door of North vault has stood open for 1 d 2 h"


def test_what_is_no_state_is_passed_over() -> None:
    """A failed or missing reading neither opens nor shuts a door."""
    room = Room()
    half = Reading("nv-door", "door_open", START, 0.5, Flag.FAIL, "neither")
    assert room.at(1, half) == room.at(20, Reading("nv-door", "door_open", START + 1, None, 9)) == []
    room.at(21, door(21, True))
    assert len(room.at(40, Reading("nv-door", "door_open", START + 39 * 60_000, 0.0, Flag.FAIL))) == 1


def test_a_door_open_before_a_restart_is_told_on_time() -> None:
    """The time of the opening outlives the process."""
    before, after = Room(), Room()
    before.at(0, door(0, True))
    after.rule.restore(json.loads(json.dumps(before.rule.state())))
    assert after.at(14) == []
    assert len(after.at(15)) == 1


def test_a_clock_set_back_neither_ends_nor_invents_it() -> None:
    """A standing finding stands on with times of the new clock; shut ends it although its time is earlier."""
    room = Room()
    room.at(100, door(80, True))
    assert len(room.at(101)) == 1
    (finding,) = room.at(40)
    assert finding.since_ms == finding.seen_ms == START + 40 * 60_000
    assert room.at(41, door(41, False)) == []


@pytest.mark.parametrize("ahead", [1, 9])
def test_a_contact_whose_clock_is_ahead_opens_no_door_in_the_future(ahead: float) -> None:
    """Its opening counts from now at the latest."""
    room = Room()
    room.at(0, door(ahead, True))
    (finding,) = room.at(15)
    assert finding.since_ms == START


def test_a_tank_low_for_five_minutes_is_told() -> None:
    """A tank that fills itself is low for a minute or two; one that stays low is named with what to do."""
    room = Room()
    assert room.at(0, reading(0, "water_low", 1.0, "nv-tank")) == []
    assert room.at(2, reading(2, "water_low", 0.0, "nv-tank")) == []
    assert room.at(60, reading(60, "water_low", 1.0, "nv-tank")) == []
    (finding,) = room.at(65)
    assert finding.what == "Humidifier of North vault has been low on water for 5 min"
    assert "mains" in finding.check_first
    assert finding.cause == room.rule.air_cause


def test_loading_keeps_a_door_quiet_and_a_sensors_silence_not() -> None:
    """A door open is about the air, as planned work disturbs it, and not about a sensor."""
    room = Room()
    room.at(0, door(0, True))
    (finding,) = room.at(20)
    work = Work(None, "vault", "loading", START, START + 3_600_000, "keeper", "")
    assert work.covers(finding, finding.seen_ms)


def test_two_doors_are_told_apart() -> None:
    """Each by its contact's name."""
    room = Room(SECOND_DOOR)
    room.at(0, door(0, True), door(0, True, "nv-gate"))
    found = room.at(20)
    assert {f.what.partition(" has")[0] for f in found} == {
        "Door of North vault (nv-door)",
        "Door of North vault (nv-gate)",
    }
    assert len({f.key for f in found}) == 2


def test_in_a_room_without_wheels_it_is_of_low_priority() -> None:
    """An empty room may be aired; once wheels lie in it, its open door is as pressing as any."""
    room = Room()
    room.at(0, door(0, True), contents=())
    (finding,) = room.at(60, contents=())
    assert (finding.priority, finding.effect) == (Priority.LOW, "")
    (finding,) = room.at(61, contents=OLD)
    assert finding.priority is Priority.MEDIUM
