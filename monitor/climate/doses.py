"""Doses: what the air has done over time, kept as running sums so that any span is a difference.

A rate that bends (mould over humidity, ripening over temperature) is taken at every ten-minute record and
then summed; at a day's mean it would come out wrong. Time without a known rate is counted, never taken as zero.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.air.inputs import Array, Values, as_floats
from monitor.clock import DAY_MS, TEN_MINUTES_MS
from monitor.errors import PhysicsError

HOUR_MS = 3_600_000


@dataclass(frozen=True)
class Span:
    """A dose over a span of time.

    Attributes
    ----------
    value : the time integral over the known part of the span [rate x d]; None where nothing is known
    known_hours, unknown_hours : how much of the span is in the value, and how much is not [h]
    """

    value: float | None
    known_hours: float
    unknown_hours: float

    @property
    def coverage(self) -> float:
        """Known share of the span, 0..1 [-]."""
        whole = self.known_hours + self.unknown_hours
        return self.known_hours / whole if whole else 0.0

    @property
    def mean_rate(self) -> float | None:
        """Mean rate over the known part [rate per day]; None where nothing is known."""
        return None if self.value is None else self.value / (self.known_hours / 24.0)


class Dose:
    """The running integral of one rate over ten-minute records; `between` any two times is a difference.

    Parameters
    ----------
    start_ms : starts of the records, rising, none twice [ms since 1970 UTC]
    rate_per_day : the rate in each record, NaN or None where it is not known [1/d]
    step_ms : length of a record [ms]

    Time between records that are further apart than ``step_ms`` is unknown, as are records without a rate.
    A record cut by an end of a span counts with its share.

    Raises
    ------
    PhysicsError : times that do not rise or overlap, lengths that differ, or an infinite rate.
    """

    def __init__(
        self, start_ms: Sequence[int] | NDArray[np.int64], rate_per_day: Values, step_ms: int = TEN_MINUTES_MS
    ) -> None:
        starts, rates = _checked(start_ms, rate_per_day, step_ms)
        known = ~np.isnan(rates)
        self._starts = starts
        self._step = step_ms
        self._rates = np.where(known, rates, 0.0)
        self._known = known
        self._value_before = _running(self._rates * (step_ms / DAY_MS))
        self._known_before = _running(np.where(known, float(step_ms), 0.0))

    @property
    def start_ms(self) -> int | None:
        """Start of the first record [ms]; None without records."""
        return int(self._starts[0]) if self._starts.size else None

    @property
    def end_ms(self) -> int | None:
        """End of the last record [ms]; None without records."""
        return int(self._starts[-1]) + self._step if self._starts.size else None

    def between(self, from_ms: int, to_ms: int) -> Span:
        """The dose over a half-open span, in time that does not grow with its length.

        Parameters
        ----------
        from_ms, to_ms : [ms since 1970 UTC]; outside the records is unknown time

        Raises
        ------
        PhysicsError : a span that ends before it starts.
        """
        if to_ms < from_ms:
            raise PhysicsError(f"span ends at {to_ms} ms, before it starts at {from_ms} ms")
        (first, known_first), (last, known_last) = self._at(from_ms), self._at(to_ms)
        known_ms = known_last - known_first
        value = last - first if known_ms > 0 else None
        return Span(value, known_ms / HOUR_MS, (to_ms - from_ms - known_ms) / HOUR_MS)

    def cumulative(self) -> tuple[NDArray[np.int64], Array]:
        """End of every record [ms] and the dose since the first [rate x d]; unknown records add nothing."""
        return self._starts + self._step, self._value_before[1:].copy()

    def _at(self, moment_ms: int) -> tuple[float, float]:
        """Dose [rate x d] and known time [ms] from the first record up to a moment."""
        record = int(np.searchsorted(self._starts, moment_ms, side="right")) - 1
        if record < 0:
            return 0.0, 0.0
        inside_ms = min(moment_ms - int(self._starts[record]), self._step)
        value = self._value_before[record] + self._rates[record] * (inside_ms / DAY_MS)
        known = self._known_before[record] + (inside_ms if self._known[record] else 0.0)
        return float(value), float(known)


def dose_of_air(
    start_ms: Sequence[int] | NDArray[np.int64],
    temperature_c: Values,
    rh_pct: Values,
    rate: Callable[[Values, Values], Values],
    step_ms: int = TEN_MINUTES_MS,
) -> Dose:
    """The dose of a rate that depends on the air, taken at every record [rate x d].

    >>> from monitor.rind.mould import growth_rate
    >>> spread_mm = dose_of_air(start_ms, temperature_c, rh_pct,
    ...                         lambda t, rh: growth_rate(t, rh / 100, "Penicillium commune"))  # doctest: +SKIP

    Parameters
    ----------
    start_ms : starts of the records, rising [ms]
    temperature_c, rh_pct : of each record, None or NaN where not known [degC], [%]
    rate : function of the two arrays giving a rate per day, NaN where it is not known
    step_ms : length of a record [ms]

    Raises
    ------
    PhysicsError : as `Dose`, and what the rate raises.
    """
    t, rh = as_floats(temperature_c, "temperature_c"), as_floats(rh_pct, "rh_pct")
    return Dose(start_ms, rate(t, rh), step_ms)


def _checked(
    start_ms: Sequence[int] | NDArray[np.int64], rate: Values, step_ms: int
) -> tuple[NDArray[np.int64], Array]:
    if step_ms <= 0:
        raise PhysicsError(f"step_ms {step_ms} is impossible: expected above 0")
    starts, rates = np.asarray(start_ms, dtype=np.int64), as_floats(rate, "rate_per_day")
    if starts.ndim != 1 or rates.shape != starts.shape:
        raise PhysicsError(f"{rates.size} rates for {starts.size} records: expected one for each")
    if np.isinf(rates).any():
        raise PhysicsError("rate_per_day is infinite in a record: expected a number, or NaN where not known")
    if starts.size > 1 and np.diff(starts).min() < step_ms:
        raise PhysicsError(
            f"records must rise and be at least {step_ms} ms apart: sort them, and keep one for each time"
        )
    return starts, rates


def _running(parts: Array) -> Array:
    return np.concatenate(([0.0], np.cumsum(parts)))
