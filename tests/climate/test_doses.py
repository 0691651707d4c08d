"""Doses: any span is a difference, gaps are counted, bent rates are not taken at a day's mean."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.climate.doses import Dose, Span, dose_of_air
from monitor.clock import DAY_MS, TEN_MINUTES_MS
from monitor.errors import PhysicsError
from monitor.rind.mould import growth_rate
from monitor.rind.ripening import rate_factor

MARCH = 1_772_323_200_000
"""2026-03-01T00:00Z [ms]."""


def starts(count: int) -> np.ndarray:
    """So many records of ten minutes without a gap."""
    return MARCH + TEN_MINUTES_MS * np.arange(count)


def test_a_day_at_a_steady_rate_is_that_rate() -> None:
    """Two a day over a day are two, all known."""
    span = Dose(starts(144), np.full(144, 2.0)).between(MARCH, MARCH + DAY_MS)
    assert span.value == pytest.approx(2.0)
    assert (span.known_hours, span.unknown_hours, span.coverage) == (24.0, 0.0, 1.0)
    assert span.mean_rate == pytest.approx(2.0)


def test_half_a_record_counts_half() -> None:
    """A span that ends inside a record takes its share of it."""
    dose = Dose(starts(2), [1.0, 3.0])
    half = dose.between(MARCH, MARCH + TEN_MINUTES_MS * 3 // 2).value
    assert half == pytest.approx((1.0 + 1.5) * TEN_MINUTES_MS / DAY_MS)


def test_gaps_and_unknown_records_are_counted_and_never_zero() -> None:
    """A record of None, an hour without records, and time before the first are unknown hours."""
    records = [MARCH, MARCH + TEN_MINUTES_MS, MARCH + 8 * TEN_MINUTES_MS]
    dose = Dose(records, [4.0, None, 4.0])
    span = dose.between(MARCH - 3_600_000, MARCH + 9 * TEN_MINUTES_MS)
    assert span.known_hours == pytest.approx(2 / 6)
    assert span.unknown_hours == pytest.approx(1.0 + 7 / 6)
    assert span.mean_rate == pytest.approx(4.0)


def test_a_span_without_anything_known_has_no_value() -> None:
    """None, not 0: outside the records, in a gap, and without any records."""
    unknown = Dose(starts(1), [1.0]).between(MARCH + DAY_MS, MARCH + 2 * DAY_MS)
    assert unknown == Span(None, 0.0, 24.0)
    assert unknown.mean_rate is None
    assert Dose([], []).between(MARCH, MARCH + DAY_MS).value is None
    assert Dose([], []).end_ms is None
    assert Dose(starts(3), [1.0, None, 1.0]).between(MARCH + 600_000, MARCH + 1_200_000).value is None


@given(
    st.lists(st.one_of(st.none(), st.floats(0.0, 50.0)), min_size=1, max_size=60),
    st.lists(st.integers(0, 5), min_size=60, max_size=60),
    st.tuples(*(st.integers(-3_000_000, 60_000_000),) * 3),
)
def test_a_span_split_in_two_gives_the_same_dose(rates, gaps, cuts) -> None:
    """Whatever the gaps and wherever the cut: value, known and unknown time add up."""
    apart = np.array(gaps[: len(rates)]) + 1
    records = MARCH + TEN_MINUTES_MS * np.concatenate(([0], np.cumsum(apart)[:-1]))
    dose = Dose(records, rates)
    first, cut, last = (MARCH + c for c in sorted(cuts))
    whole, left, right = dose.between(first, last), dose.between(first, cut), dose.between(cut, last)
    assert (left.value or 0.0) + (right.value or 0.0) == pytest.approx(whole.value or 0.0, abs=1e-9)
    assert left.known_hours + right.known_hours == pytest.approx(whole.known_hours, abs=1e-9)
    assert left.unknown_hours + right.unknown_hours == pytest.approx(whole.unknown_hours, abs=1e-9)


def test_a_day_that_swings_is_not_its_mean() -> None:
    """Half a day at 8 and half at 16 degC ripens more than a day at 12, and as much as the mean rate says."""
    t = np.where(np.arange(144) < 72, 8.0, 16.0)
    dose = dose_of_air(starts(144), t, np.full(144, 85.0), lambda t, rh: rate_factor(t, 12.0))
    value = dose.between(MARCH, MARCH + DAY_MS).value
    assert value == pytest.approx((rate_factor(8.0, 12.0) + rate_factor(16.0, 12.0)) / 2)
    assert value > 1.02


def test_mould_under_an_hour_of_wet_air_a_day_is_not_lost() -> None:
    """The mean humidity of 79 % would grow nothing; the wet hours do."""
    rh = np.where(np.arange(144) < 18, 97.0, 76.5)
    dose = dose_of_air(
        starts(144), np.full(144, 12.0), rh, lambda t, rh: growth_rate(t, rh / 100, "Penicillium commune")
    )
    assert growth_rate(12.0, rh.mean() / 100, "Penicillium commune") == 0.0
    assert (dose.between(MARCH, MARCH + DAY_MS).value or 0.0) > 0.05


def test_running_sum_can_be_read_for_charts() -> None:
    """Ends of records and the sum so far."""
    ends, sums = Dose(starts(3), [144.0, None, 144.0]).cumulative()
    assert ends.tolist() == [MARCH + TEN_MINUTES_MS * n for n in (1, 2, 3)]
    assert sums == pytest.approx([1.0, 1.0, 2.0])


@pytest.mark.parametrize(
    ("records", "rates", "named"),
    [
        ([MARCH, MARCH], [1.0, 1.0], "must rise"),
        ([MARCH + DAY_MS, MARCH], [1.0, 1.0], "must rise"),
        ([MARCH], [1.0, 2.0], "2 rates for 1 records"),
        ([MARCH], [np.inf], "infinite"),
        ([MARCH], ["wet"], "numbers are expected"),
    ],
)
def test_impossible_records_raise(records, rates, named: str) -> None:
    """Unsorted, doubled, unequal, infinite or textual records are refused with the reason."""
    with pytest.raises(PhysicsError, match=named):
        Dose(records, rates)


def test_a_span_that_ends_before_it_starts_raises() -> None:
    """Named with both ends."""
    with pytest.raises(PhysicsError, match="before it starts"):
        Dose(starts(1), [1.0]).between(MARCH + 1, MARCH)
