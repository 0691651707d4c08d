"""Faults in simulated rooms are found in time by the rules as they come (`alarms_on_simulated_rooms` has the whole table)."""

from __future__ import annotations

from functools import cache

import pytest

from sensors_sim.scenario import Fault
from tests.system.alarms_on_simulated_rooms import INTERVAL_S, Found, false_contacts, found
from tests.system.simulated_rooms import DAY_S, HOUR_S, Tick, Told, judged, ordinary_year, sensed

SEED = 77
FAULTS = (
    Fault(kind="sensor stuck", target="cave-mid-rack", start=1.2 * DAY_S, end=1.6 * DAY_S),
    Fault(kind="sensor silent", target="cellar-middle", start=1.3 * DAY_S, end=1.6 * DAY_S),
    Fault(kind="door ajar", target="cold-room", start=8.1 * DAY_S, end=8.3 * DAY_S),
    Fault(kind="humidifier dry", target="cellar", start=14.1 * DAY_S, end=14.3 * DAY_S),
)


YEAR = ordinary_year(SEED, 14.4, INTERVAL_S, FAULTS, contacts=True)


@cache
def lived() -> list[Tick]:
    """Two weeks, after which a room is known well, with a fault of each kind."""
    return list(sensed(YEAR))


@cache
def told(contacts: bool) -> Told:
    """What the rules told of them, with the contacts or from the air alone."""
    return judged(YEAR, lived(), contacts=contacts)


def january(contacts: bool = False) -> dict[tuple[str, str], Found]:
    return {(one.kind, one.target): one for one in found(YEAR, told(contacts), lived())}


@pytest.mark.system
@pytest.mark.parametrize(
    ("kind", "where", "hours"),
    [
        ("sensor stuck", "cave-mid-rack", 6.0),
        ("sensor silent", "cellar-middle", 3 * INTERVAL_S / HOUR_S),
        ("door ajar", "cold-room", 1.0),
    ],
)
def test_it_is_found_in_time(kind: str, where: str, hours: float) -> None:
    """A stuck sensor within six hours, a silent one within three of its intervals, a door ajar at night within the hour."""
    one = january()[kind, where]
    assert one.hours is not None
    assert one.hours <= hours


@pytest.mark.system
def test_a_dry_humidifier_is_found_two_hours_after_the_air_showed_it() -> None:
    """In January the air of a cellar that has been known for two weeks shows it soon."""
    one = january()["humidifier dry", "cellar"]
    assert one.hours is not None
    assert one.shown_h is not None
    assert one.hours - one.shown_h <= 2.0


@pytest.mark.system
@pytest.mark.parametrize(
    ("kind", "where", "hours"), [("door ajar", "cold-room", 0.75), ("humidifier dry", "cellar", 2.0)]
)
def test_contacts_find_it_whatever_the_air_does(kind: str, where: str, hours: float) -> None:
    """By the door's contact within three quarters of an hour, by the tank's float within two hours."""
    one = january(contacts=True)[kind, where]
    assert one.by.startswith("contacts/")
    assert one.hours is not None
    assert one.hours <= hours


@pytest.mark.system
def test_contacts_tell_of_nothing_else() -> None:
    """Doors are opened for work every day of these, and none of that is told; nor is anything where there are no contacts."""
    assert false_contacts(YEAR, told(True)) == []
    assert {f.rule for _, f in told(True).raised} >= {"contacts"}
    assert not any(f.rule == "contacts" for _, f in told(False).raised)
