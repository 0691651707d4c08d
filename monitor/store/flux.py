"""The questions put to InfluxDB, as Flux text; whatever stands in a name is quoted.

Basis: Flux language specification, "String literals" and "Date and time literals".
"""

from __future__ import annotations

from datetime import UTC, datetime

from monitor.clock import to_ms
from monitor.store.line_protocol import AIR, READING, WHOLE_ROOM

EARLIEST_MS = to_ms(datetime(1700, 1, 1, tzinfo=UTC))
LATEST_MS = to_ms(datetime(2262, 1, 1, tzinfo=UTC))
"""InfluxDB's times are 64 bit nanoseconds: 1677 to 2262."""


def readings(bucket: str, site: str, sensor: str, quantity: str, start_ms: int, end_ms: int) -> str:
    """Readings of one series in a half-open span: a row each, columns value, flag, reason."""
    tags = {"_measurement": READING, "site": site, "sensor": sensor, "quantity": quantity}
    return _rows(bucket, tags, start_ms, end_ms)


def air(bucket: str, site: str, room: str, place: str, start_ms: int, end_ms: int) -> str:
    """Air records of one place in a half-open span: a row each, a column for each value."""
    tags = {"_measurement": AIR, "site": site, "room": room, "place": place or WHOLE_ROOM}
    return _rows(bucket, tags, start_ms, end_ms)


def newest_air(bucket: str, site: str, start_ms: int, end_ms: int) -> str:
    """The time of the newest air record of every room and place."""
    tags = {"_measurement": AIR, "site": site, "_field": "coverage"}
    return f'{_from(bucket, tags, start_ms, end_ms)}\n  |> last()\n  |> keep(columns: ["room", "place", "_time"])'


def _rows(bucket: str, tags: dict[str, str], start_ms: int, end_ms: int) -> str:
    keys = ", ".join(f'"{name}"' for name in ("_start", "_stop", *tags))
    return (
        f"{_from(bucket, tags, start_ms, end_ms)}\n"
        '  |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")\n'
        f"  |> drop(columns: [{keys}])"
    )


def _from(bucket: str, tags: dict[str, str], start_ms: int, end_ms: int) -> str:
    wanted = " and ".join(f"r.{name} == {quoted(value)}" for name, value in tags.items())
    return (
        f"from(bucket: {quoted(bucket)})\n"
        f"  |> range(start: {moment(start_ms)}, stop: {moment(end_ms)})\n"
        f"  |> filter(fn: (r) => {wanted})"
    )


def quoted(value: str) -> str:
    """A string literal: backslash, quote and the start of an interpolation escaped."""
    escaped = value.replace("\\", "\\\\").replace('"', '\\"').replace("${", "\\${")
    return f'"{escaped}"'


def moment(time_ms: int) -> str:
    """A time literal, held within what InfluxDB can tell."""
    held = min(max(time_ms, EARLIEST_MS), LATEST_MS)
    whole = datetime.fromtimestamp(held // 1000, UTC).replace(tzinfo=None)
    return f"{whole.isoformat()}.{held % 1000:03d}Z"
