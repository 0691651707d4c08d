"""Quality tests over a span of readings, in the form of QARTOD; each says its flag and its reason.

Flags are those of UNESCO-IOC (2013), Manuals and Guides 54 vol. 3.  The tests follow the U.S. IOOS manuals for
real-time quality control (QARTOD), with three departures where a maturing room is not a sea: a spike never
condemns its neighbours; the flat-line test allows for rooms so steady that a healthy sensor repeats itself for
the better part of an hour; and a humidity that stands exactly at 100 % is a clipped one.
Default thresholds are common practice, no source, where none is named.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from monitor.intake.measurement import judged
from monitor.records import QUANTITIES, Flag
from monitor.store.protocol import Run

SCHEME = "maturing-room/3"
"""The name of this set of tests and thresholds, recorded beside what it judged; a new one has all records made again."""

HOUR_MS = 3_600_000
CREEP_ABOVE_PCT, CREEP_AFTER_H = 80.0, 60.0
"""Capacitive humidity sensors held so long above 80 % read up to 3 % high, and only high (data sheet of the
SHT20, 2011: +3 % RH after 60 h above 80 % RH, reversible)."""
LARGEST_CREEP_PCT = 3.0
SPIKE_WITHIN_MS = 600_000
"""A reading is told a spike only by neighbours within so long [ms]: in an hour real air may rise and fall."""
FLAT_LEAST_READINGS = 30
"""A flat line needs so many equal readings: six hourly ones rounded to 0.1 K may well be healthy."""
CONTEXT_MS = 2 * SPIKE_WITHIN_MS
"""What the tests need to see around a span [ms]: a spike's neighbours, and what a change is measured from."""
RUN_REACH_MS = 7 * HOUR_MS
"""How far back a run of equal values is followed [ms]; longer than a flat line takes."""
ALLOWED_APART = {"temperature": 1.5, "humidity": 8.0, "surface_temperature": 1.5}
"""How far a sensor may be off the median of the others at the same place: twice what careful makers state, and more."""
CLIPPED_REASON = "humidity at exactly 100 %: clipped by the sensor, or wet; cannot be judged"


@dataclass(frozen=True)
class Limits:
    """Thresholds of one quantity, in its own unit; None leaves a test out."""

    climate: tuple[float, float] | None = None
    spike: float | None = None
    rate_per_h: float | None = None
    flat_after_h: float | None = None
    flat_within: float = 0.0


# No climate by default: what is unlike one room is another's wet season, so only a room's own range can tell.
# The rates leave room for a door opening beside a sensor (3 K, or 60 % RH where dry outside air comes in, within a minute): a reading flagged here
# is left out of the air records, and a fast change of real air must not be.
DEFAULTS: dict[str, Limits] = {
    "temperature": Limits(spike=2.0, rate_per_h=180.0, flat_after_h=5.5),
    "humidity": Limits(spike=10.0, rate_per_h=3600.0, flat_after_h=5.5),
    "surface_temperature": Limits(spike=2.0, rate_per_h=180.0, flat_after_h=5.5),
}


def limits_of(quantity: str, climate: tuple[float, float] | None) -> Limits:
    """The thresholds of a quantity in a room with (or without) a range of its own."""
    return replace(DEFAULTS.get(quantity, Limits()), climate=climate)


def assessed(
    quantity: str, readings: pd.DataFrame, limits: Limits | None = None, run: Run | None = None
) -> pd.DataFrame:
    """Readings with ``flag`` and ``reason`` after every test; the worst flag wins, and what was 3 or worse stays.

    Parameters
    ----------
    quantity
        A name of `QUANTITIES`.
    readings
        Index of UTC times in order, columns ``value`` [unit of the quantity] and ``flag``.
    limits
        Thresholds; those of `DEFAULTS` where None.
    run
        The run of equal values that ends just before the first of them.
    """
    if readings.empty:
        return readings
    limits = limits or DEFAULTS.get(quantity, Limits())
    times = pd.DatetimeIndex(readings.index).as_unit("ms").asi8
    values = readings["value"].to_numpy(float)
    flags = readings["flag"].to_numpy(np.uint8).copy()
    reasons = (
        readings["reason"].astype(object).to_numpy().copy() if "reason" in readings else _blank(len(values))
    )
    for found, flag, reason in _tests(quantity, times, values, limits, run):
        # 9 (missing) is no judgement of a value, and nothing is worse than 4.
        worse = found & (flags < flag)
        flags[worse] = flag
        reasons[worse] = reason
    untouched = (flags == Flag.NOT_EVALUATED) & np.isfinite(values)
    if quantity == "humidity":
        # At the end of its range a sensor cannot be judged; left out of the air, a saturated room would be unseen.
        at_its_end = untouched & clipped(values)
        reasons[at_its_end] = CLIPPED_REASON
        untouched &= ~at_its_end
    flags[untouched] = Flag.PASS
    return readings.assign(flag=flags, reason=reasons)


def _blank(count: int) -> np.ndarray:
    return np.full(count, "", dtype=object)


def _tests(
    quantity: str, times: np.ndarray, values: np.ndarray, limits: Limits, run: Run | None
) -> list[tuple[np.ndarray, int, str]]:
    gross = QUANTITIES[quantity]
    if gross.contact:
        return [
            (np.isfinite(values) & ~np.isin(values, (0.0, 1.0)), int(Flag.FAIL), judged(quantity, -1.0)[1])
        ]
    outside = (values < gross.lowest) | (values > gross.highest)
    tests = [
        (outside, int(Flag.FAIL), f"{quantity} outside {gross.lowest:g} to {gross.highest:g} {gross.unit}")
    ]
    if limits.climate:
        low, high = limits.climate
        tests.append(
            ((values < low) | (values > high), 3, f"{quantity} outside {low:g} to {high:g}: unlike a room")
        )
    if limits.spike is not None:
        tests.append(
            (
                spikes(values, limits.spike) & close_neighbours(times),
                3,
                f"{quantity} spike: away from both neighbours, which agree",
            )
        )
    if limits.rate_per_h is not None:
        tests.append(
            (too_fast(times, values, limits.rate_per_h), 3, f"{quantity} changed faster than air can")
        )
    if limits.flat_after_h is not None:
        flat = flat_lines(times, values, limits.flat_after_h, limits.flat_within, run)
        if quantity == "humidity":
            flat &= values < 99.95
        tests.append((flat, 3, f"{quantity} unchanged for {limits.flat_after_h:g} h or longer: stuck?"))
    return tests


def close_neighbours(times_ms: np.ndarray) -> np.ndarray:
    """Where the readings before and after lie so close in time that real air could not have been there and back."""
    found = np.zeros(len(times_ms), bool)
    if len(times_ms) >= 3:
        found[1:-1] = times_ms[2:] - times_ms[:-2] <= 2 * SPIKE_WITHIN_MS
    return found


def spikes(values: np.ndarray, threshold: float) -> np.ndarray:
    """Where a value stands off from the mean of its neighbours by more than ``threshold`` while they agree.

    The QARTOD average test alone would flag the good neighbours of a spike as well; asking that the two
    neighbours lie within half the threshold of each other leaves them out.
    """
    found = np.zeros(len(values), bool)
    if len(values) >= 3:
        before, middle, after = values[:-2], values[1:-1], values[2:]
        away = np.abs(middle - (before + after) / 2) > threshold
        found[1:-1] = away & (np.abs(before - after) <= threshold / 2)
    return found


def too_fast(times_ms: np.ndarray, values: np.ndarray, rate_per_h: float) -> np.ndarray:
    """Where a value differs from the one before by more than the rate allows over the time really elapsed.

    The return from a spike is as fast as the spike: a value near the last one that was not too fast is cleared.
    """
    found = np.zeros(len(values), bool)
    known = np.flatnonzero(np.isfinite(values))
    allowed = rate_per_h * np.maximum(np.diff(times_ms[known]), 60_000) / HOUR_MS
    fast = np.abs(np.diff(values[known])) > allowed
    last = -1
    # Nearly always there is none; only from the first fast step on does it matter which value it is measured from.
    for place in range(int(fast.argmax()), len(known)) if fast.any() else ():
        number = int(known[place])
        if last >= 0:
            allowed_here = rate_per_h * max(times_ms[number] - times_ms[last], 60_000) / HOUR_MS
            if abs(values[number] - values[last]) > allowed_here:
                found[number] = True
                continue
        last = number
    return found


def flat_lines(
    times_ms: np.ndarray, values: np.ndarray, after_h: float, within: float = 0.0, run: Run | None = None
) -> np.ndarray:
    """Where a run of values within ``within`` of its first has lasted ``after_h`` or longer, seen from its end.

    Readings early in a run are not condemned: the run was not yet too long then.  ``run`` is what came before the first.
    """
    count = len(values)
    if within == 0.0:
        new = np.ones(count, bool)
        new[1:] = ~(values[1:] == values[:-1])
        start = np.maximum.accumulate(np.where(new, np.arange(count), 0))
    else:
        start = np.zeros(count, int)
        for number in range(1, count):
            first = start[number - 1]
            start[number] = first if abs(values[number] - values[first]) <= within else number
    since, before = times_ms[start], np.zeros(count, int)
    if run is not None and run.value is not None and abs(run.value - values[0]) <= within:
        goes_on = start == 0
        since, before = np.where(goes_on, run.since_ms, since), np.where(goes_on, run.count, 0)
    readings = before + np.arange(count) - start
    return (times_ms - since >= after_h * HOUR_MS) & (readings >= FLAT_LEAST_READINGS)


def clipped(values: np.ndarray) -> np.ndarray:
    """Where humidity is exactly 100 and the value before or after it is too."""
    full = values == 100.0
    beside = np.zeros(len(values), bool)
    beside[1:] |= full[:-1]
    beside[:-1] |= full[1:]
    return full & beside


def creep_along(humidity: np.ndarray, hours: np.ndarray, start_pct: float = 0.0) -> np.ndarray:
    """How far each humidity of a course may read too high from creep [% RH], 0 to 3: one-sided, never noise.

    It grows evenly with the time above 80 % until 60 h, and goes back as slowly below; the data sheets say that it is
    reversible and slow, and how slow is assumed.  The remedy is a recovery bake as the sensor's maker tells, or a check
    over a salt.

    Parameters
    ----------
    humidity : mean of each step [% RH], NaN where not known (the creep is held)
    hours : length of each step [h]
    start_pct : creep before the first step [% RH]
    """
    along = np.empty(len(humidity))
    now = start_pct
    for number, (value, length) in enumerate(zip(humidity.tolist(), hours.tolist(), strict=True)):
        if value == value:
            change = LARGEST_CREEP_PCT * length / CREEP_AFTER_H
            now = min(LARGEST_CREEP_PCT, max(0.0, now + (change if value > CREEP_ABOVE_PCT else -change)))
        along[number] = now
    return along


def apart(values: np.ndarray, allowed: float) -> np.ndarray:
    """Where a sensor is off the median of the others at its place by more than ``allowed``.

    Parameters
    ----------
    values : one row a sensor, one column a moment; NaN where it said nothing

    With fewer than three sensors that said something nobody can tell which of them is off, and none is condemned.
    """
    found = np.zeros(values.shape, bool)
    present = np.isfinite(values).sum(axis=0) >= 3
    if not present.any():
        return found
    columns = values[:, present]
    for row in range(len(values)):
        others = np.delete(columns, row, axis=0)
        found[row, present] = np.abs(columns[row] - np.nanmedian(others, axis=0)) > allowed
    return found
