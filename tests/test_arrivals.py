"""What the judge tells the rules of single readings."""

from __future__ import annotations

from monitor.service import Arrivals
from monitor.store.protocol import SeriesSummary
from tests.rules.samples import START, make_site

SITE = make_site(
    **{
        "interval_s = 60": 'interval_s = 60\n[[sensor.calibration]]\nquantity = "temperature"\n'
        "at = 2026-01-01T00:00:00Z\npoints = [[0.4, 0.0]]\n"
    }
)


def summary(last_ms: int, value: float, quantity: str = "temperature") -> SeriesSummary:
    return SeriesSummary("nv-1", quantity, 10, START, last_ms, value, 2, "")


def test_only_what_came_since_the_last_look_is_told_and_on_its_calibration() -> None:
    """At the second look the new reading (0.4 K lower by its calibration), at the third nothing."""
    arrivals = Arrivals(SITE)
    arrivals.update([summary(START, 10.9)], START)
    (reading,), came_now = arrivals.update([summary(START + 1000, 11.4)], START + 1000)
    assert (reading.time_ms, round(reading.value or 0.0, 6), came_now) == (START + 1000, 11.0, True)
    assert arrivals.update([summary(START + 1000, 11.4)], START + 2000) == ((), True)


def test_at_the_first_look_only_the_last_minutes_are_told() -> None:
    """What was kept just before a crash is judged after it; what is six minutes old says nothing of now."""
    told, came_now = Arrivals(SITE).update([summary(START, 10.9)], START + 4 * 60_000)
    assert ([reading.time_ms for reading in told], came_now) == ([START], False)
    assert Arrivals(SITE).update([summary(START, 10.9)], START + 6 * 60_000) == ((), False)


def test_at_the_first_look_a_contact_is_told_however_old_its_state() -> None:
    """A door that said open two hours before the start is open still."""
    (told,), _ = Arrivals(SITE).update([summary(START, 1.0, "door_open")], START + 2 * 3_600_000)
    assert (told.quantity, told.value) == ("door_open", 1.0)
