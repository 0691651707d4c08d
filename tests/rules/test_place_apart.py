"""A place apart: a door, a fan, a coil or a sensor that parts one place from the rest of its room."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment
from monitor.rules.place_apart import PlaceApartRule
from tests.rules.samples import make_site, moment, record

PLACES = ("low-rack", "high-rack", "door", "far-end")
MORE = (
    "".join(f'[[room.place]]\nid = "{place}"\n' for place in PLACES[2:]),
    "".join(f'[[sensor]]\nid = "of-{place}"\nroom = "vault"\nplace = "{place}"\n' for place in PLACES[1:]),
)
SITE = make_site(**{"[room.rules.band]": f"{MORE[0]}[room.rules.band]", "[[style]]": f"{MORE[1]}[[style]]"})
DAY = 1440
NIGHT = 9 * DAY
"""When something goes wrong, in minutes from the start."""
Off = dict[str, tuple[float, float]]


def slots(begin: int, end: int, off: Off | None = None, silent: str = "") -> Iterator[Moment]:
    """A cave that weather moves by some points a day, places and all, with a little noise of each sensor.

    ``off``: how much warmer [K] and damper [%] places are than they were.
    """
    chance = random.Random(begin)
    for minute in range(begin, end, 10):
        damp = 86.0 + 4.0 * abs((minute % 4000) / 2000 - 1)
        records = []
        for number, place in enumerate(PLACES):
            warmer, damper = (off or {}).get(place, (0.0, 0.0))
            t = 12.0 + 0.2 * number + warmer + chance.gauss(0, 0.02)
            records.append(record(minute, t, damp - number + damper + chance.gauss(0, 0.1), place))
        yield moment(SITE, minute + 10, *(r for r in records if r.place != silent))


@cache
def nine_days() -> str:
    rule = PlaceApartRule(SITE, SITE.rooms[0])
    for each in slots(0, NIGHT):
        rule.update(each)
        assert rule.findings() == []
    return json.dumps(rule.state())


def known() -> PlaceApartRule:
    """A rule that knows nine days of the room."""
    rule = PlaceApartRule(SITE, SITE.rooms[0])
    rule.restore(json.loads(nine_days()))
    return rule


def told(rule: PlaceApartRule, moments: Iterator[Moment]) -> list[tuple[int, Finding]]:
    """Each finding, with how many minutes after the nine days it was told."""
    begin, found = None, []
    for each in moments:
        begin = each.now_ms - 600_000 if begin is None else begin
        rule.update(each)
        found += [((each.now_ms - begin) // 60_000, finding) for finding in rule.findings()]
    return found


def test_drier_air_at_the_door_is_told_within_forty_minutes() -> None:
    """1.6 points drier at the door alone: what a door ajar does to a cave in winter."""
    minute, finding = told(known(), slots(NIGHT, NIGHT + 120, {"door": (0.0, -1.6)}))[0]
    assert minute <= 40
    assert "points drier beside the other places" in finding.what
    assert finding.numbers["place"] == "door"
    assert finding.check_first.startswith("Is a door or vent open there?")


def test_weather_that_moves_all_places_is_no_news() -> None:
    """Six points drier within two hours, everywhere: other rules speak of that."""
    dry = dict.fromkeys(PLACES, (0.3, -6.0))
    assert told(known(), slots(NIGHT, NIGHT + 240, dry)) == []


def test_a_door_open_for_ten_minutes_is_no_news() -> None:
    """One slot of cold, dry air at the door is somebody who came in."""
    rule = known()
    assert told(rule, slots(NIGHT, NIGHT + 10, {"door": (-1.0, -5.0)})) == []
    assert told(rule, slots(NIGHT + 10, NIGHT + 200)) == []


def test_it_is_over_when_the_door_is_shut() -> None:
    """Half an hour after the place is back among the others nothing stands."""
    rule = known()
    assert told(rule, slots(NIGHT, NIGHT + 120, {"door": (0.0, -1.5)}))
    told(rule, slots(NIGHT + 120, NIGHT + 180))
    assert rule.findings() == []


def test_a_stopped_fan_is_one_finding_for_all_places() -> None:
    """Without a fan warm air lies above cold: two places part at once, one message tells of both."""
    found = told(known(), slots(NIGHT, NIGHT + 120, {"low-rack": (-0.5, 0.0), "far-end": (0.6, 0.0)}))
    assert len({minute for minute, _ in found}) == len(found)
    _, last = found[-1]
    assert set(last.numbers["places"]) == {"low-rack", "far-end"}  # type: ignore[call-overload]
    assert "also unlike usual: " in last.what


def test_a_silent_neighbour_moves_no_place() -> None:
    """The dampest place says no more: the middle of the rest is no drier for it."""
    assert told(known(), slots(NIGHT, NIGHT + 240, silent="low-rack")) == []


def test_with_two_places_nobody_can_say_which_parted() -> None:
    """It needs three."""
    rule = known()
    for each in slots(NIGHT, NIGHT + 240, {"door": (0.0, -3.0)}):
        few = tuple(r for r in each.air if r.place in ("door", "low-rack"))
        rule.update(moment(SITE, (each.now_ms - moment(SITE, 0).now_ms) / 60_000, *few))
        assert rule.findings() == []


def test_a_door_of_five_days_ago_does_not_hide_the_next() -> None:
    """Found on the ninth night, and again on the fourteenth at the same hour."""
    rule = known()
    assert told(rule, slots(NIGHT, NIGHT + 240, {"door": (0.0, -2.2)}))
    assert [m for m, _ in told(rule, slots(NIGHT + 240, NIGHT + 5 * DAY))][3:] == []
    minute, _ = told(rule, slots(NIGHT + 5 * DAY, NIGHT + 5 * DAY + 120, {"door": (0.0, -2.2)}))[0]
    assert minute <= 40


def test_in_an_empty_room_it_is_of_low_priority() -> None:
    """Without wheels a door can wait, but somebody should know before the next wheels come."""
    moments = slots(NIGHT, NIGHT + 240, {"door": (0.0, -3.0)})
    _, finding = told(known(), (replace(each, contents=()) for each in moments))[0]
    assert (finding.priority, finding.effect) == (Priority.LOW, "")


def test_a_door_without_wheels_beside_it_matters_to_those_in_the_room() -> None:
    """All wheels lie on the low rack: the door's place holds none, and its news is of the same priority."""
    _, finding = told(known(), slots(NIGHT, NIGHT + 120, {"door": (0.0, -3.0)}))[0]
    assert finding.priority is Priority.MEDIUM
    assert finding.effect == "no wheels there; 41 wheels in the room may be next"
    assert len(finding.wheels) == 41
