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
    """Nothing at the first look, the new reading at the second (0.4 K lower by its calibration), nothing at the third."""
    arrivals = Arrivals(SITE)
    assert arrivals.update([summary(START, 10.9)]) == ()
    (reading,) = arrivals.update([summary(START + 1000, 11.4)])
    assert (reading.time_ms, round(reading.value or 0.0, 6)) == (START + 1000, 11.0)
    assert arrivals.update([summary(START + 1000, 11.4)]) == ()
