"""Times as the project uses them: aware UTC inside, RFC 3339 in text, epoch milliseconds in databases."""

from __future__ import annotations

import time
from datetime import UTC, datetime

TEN_MINUTES_MS = 600_000
DAY_MS = 86_400_000


def now() -> datetime:
    """The present moment, timezone-aware, in UTC."""
    return datetime.now(UTC)


def now_ms() -> int:
    """The present moment as milliseconds since 1970-01-01T00:00Z."""
    return to_ms(now())


def steady_ms() -> int:
    """Milliseconds by a clock that nobody sets, and that runs on while the machine sleeps where the system has one."""
    return time.clock_gettime_ns(getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)) // 1_000_000


def to_ms(moment: datetime) -> int:
    """An aware datetime as milliseconds since 1970-01-01T00:00Z.

    Raises
    ------
    ValueError
        The datetime has no time zone.
    """
    if moment.tzinfo is None:
        raise ValueError(f"{moment.isoformat()} has no time zone; give one, for example a trailing Z")
    return round(moment.timestamp() * 1000)


def from_ms(time_ms: int) -> datetime:
    """Milliseconds since 1970-01-01T00:00Z as an aware UTC datetime."""
    return datetime.fromtimestamp(time_ms / 1000, UTC)


def rfc3339(moment: datetime | int | None) -> str | None:
    """A moment as RFC 3339 text in UTC with a trailing Z (milliseconds only where there are any)."""
    if moment is None:
        return None
    aware = from_ms(moment) if isinstance(moment, int) else moment.astimezone(UTC)
    precision = "milliseconds" if aware.microsecond else "seconds"
    return aware.isoformat(timespec=precision).replace("+00:00", "Z")


def parse_rfc3339(text: str) -> datetime:
    """RFC 3339 text, with its offset, as an aware UTC datetime.

    Raises
    ------
    ValueError
        The text is no date and time, or lacks an offset.
    """
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(f"{text!r} has no offset; write for example 2026-03-01T06:00:00Z")
    return moment.astimezone(UTC)


def slot_of(time_ms: int) -> int:
    """The start [ms] of the ten-minute slot that a time [ms] falls in."""
    return time_ms - time_ms % TEN_MINUTES_MS
