"""From a number in a message to a reading: units, possible range and times, each with a reason."""

from __future__ import annotations

import math
import re
from typing import NamedTuple

from monitor.clock import parse_rfc3339, to_ms
from monitor.errors import ReadingError
from monitor.intake.units import conversion, units_of
from monitor.records import CONTACTS, QUANTITIES, Flag, Reading

EARLIEST_MS = 315_532_800_000
"""1980-01-01T00:00Z: a sensor that states an earlier time has lost its clock."""
MOST_AHEAD_MS = 10 * 60_000
AHEAD_REASON = "the time is more than 10 minutes ahead of the monitor's clock"
_MILLISECONDS_FROM = 1e11
"""Epoch numbers from here on (the year 5138 in seconds) are milliseconds."""
_DECIMAL = re.compile(r"\s*[+-]?(\d{1,20}(\.\d{0,20})?|\.\d{1,20})([eE][+-]?\d{1,3})?\s*")
FRACTION_REASON = "humidity of 1 % or less: a fraction sent where percent is meant?"

_SAID = {"true": 1.0, "false": 0.0, "yes": 1.0, "no": 0.0}
CONTACT_WORDS: dict[str, dict[str, float]] = {
    "door_open": {**_SAID, "open": 1.0, "shut": 0.0, "closed": 0.0},
    "water_low": {**_SAID, "low": 1.0, "empty": 1.0, "full": 0.0, "enough": 0.0},
}
"""What a contact's states are called, by contact."""


class Measurement(NamedTuple):
    """One value out of a message, before it is judged; ``time_ms`` is None where the message states none."""

    sensor: str
    quantity: str
    value: object
    unit: str
    time_ms: int | None


def reading_of(measurement: Measurement, arrived_ms: int) -> Reading:
    """The reading that a measurement makes; impossible values are kept with flag 4 and the reason.

    Raises
    ------
    ReadingError
        The value is no number, the unit is not one of the quantity, or the time cannot be.
    """
    time_ms = arrived_ms if measurement.time_ms is None else measurement.time_ms
    _check_time(time_ms, arrived_ms)
    sensor, quantity = measurement.sensor, measurement.quantity
    if measurement.value is None:
        return Reading(sensor, quantity, time_ms, None, Flag.MISSING, f"{quantity}: the sensor sent no value")
    convert = conversion(quantity, measurement.unit)
    if convert is None:
        raise ReadingError(f"{quantity}: the unit is not one of {units_of(quantity)}")
    state = contact_state(quantity, measurement.value)
    value = convert(number(quantity, measurement.value)) if state is None else state
    return Reading(sensor, quantity, time_ms, value, *judged(quantity, value))


def judged(quantity: str, value: float) -> tuple[int, str]:
    """The flag and reason that a value deserves on its own: 4 where it is impossible."""
    limits = QUANTITIES[quantity]
    if not limits.possible(value) and limits.contact:
        return Flag.FAIL, f"{quantity} is neither 0 nor 1: a contact has two states"
    if not limits.possible(value):
        return (
            Flag.FAIL,
            f"{quantity} outside {limits.lowest:g} to {limits.highest:g} {limits.unit}: impossible",
        )
    if quantity == "humidity" and value <= 1.0:
        return Flag.SUSPECT, FRACTION_REASON
    return Flag.NOT_EVALUATED, ""


def contact_state(quantity: str, value: object) -> float | None:
    """The state (1.0 or 0.0) that true, false or a word such as ``open`` names for a contact; None for all else."""
    if quantity not in CONTACTS:
        return None
    if isinstance(value, bool):
        return float(value)
    return CONTACT_WORDS[quantity].get(value.strip().lower()) if isinstance(value, str) else None


def wanted_of(quantity: str) -> str:
    """What a value of a quantity must be, for a message to a person."""
    return f"one of 1, 0, {', '.join(CONTACT_WORDS[quantity])}" if quantity in CONTACTS else "a number"


def number(quantity: str, value: object) -> float:
    """A finite number, also where it stands as decimal text.

    Raises
    ------
    ReadingError
        It is none.
    """
    if type(value) is float and math.isfinite(value):
        return value
    if isinstance(value, str) and _DECIMAL.fullmatch(value):
        value = float(value)
    if isinstance(value, bool) or not isinstance(value, int | float):
        word = value.strip().lower() if isinstance(value, str) else ""
        if word.lstrip("+-") in ("nan", "inf", "infinity"):
            raise ReadingError(f"{quantity}: NaN or infinity is no value")
        raise ReadingError(f"{quantity}: the value is not {wanted_of(quantity)}")
    try:
        finite = float(value)
    except OverflowError:
        finite = math.inf
    if not math.isfinite(finite):
        raise ReadingError(f"{quantity}: NaN or infinity is no value")
    return finite


def stated_time(value: object) -> int | None:
    """The time [ms] that a message states: RFC 3339 text, epoch seconds, or epoch milliseconds; None where null.

    Raises
    ------
    ReadingError
        It is none of these, or text without an offset.
    """
    if value is None:
        return None
    if isinstance(value, str) and _DECIMAL.fullmatch(value):
        value = float(value)
    if isinstance(value, str):
        return _text_time(value)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ReadingError("the time is neither RFC 3339 text nor seconds since 1970")
    if not abs(value) < 1e15:
        raise ReadingError("the time is not a possible one")
    return round(value if abs(value) >= _MILLISECONDS_FROM else value * 1000)


def _text_time(text: str) -> int:
    try:
        return to_ms(parse_rfc3339(text.strip()[:64]))
    except (ValueError, OverflowError):
        raise ReadingError(
            "the time is not RFC 3339 text with an offset, for example 2026-03-01T06:00:00Z"
        ) from None


def _check_time(time_ms: int, arrived_ms: int) -> None:
    if time_ms < EARLIEST_MS:
        raise ReadingError("the time is before the year 1980: has the sensor lost its clock?")
    if time_ms > arrived_ms + MOST_AHEAD_MS:
        raise ReadingError(AHEAD_REASON)
