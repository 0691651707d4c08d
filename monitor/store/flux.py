"""The questions put to InfluxDB, as Flux text; whatever stands in a name is quoted.

Basis: Flux language specification, "String literals" and "Date and time literals".
"""

from __future__ import annotations

from datetime import UTC, datetime

from monitor.clock import to_ms
from monitor.store.line_protocol import AIR, CARRIED, READING, WHOLE_ROOM, as_tag

EARLIEST_MS = to_ms(datetime(1700, 1, 1, tzinfo=UTC))
LATEST_MS = to_ms(datetime(2262, 1, 1, tzinfo=UTC))
"""InfluxDB's times are 64 bit nanoseconds: 1677 to 2262."""


def readings(bucket: str, site: str, sensor: str, quantity: str, start_ms: int, end_ms: int) -> str | None:
    """Readings of one series in a half-open span: a row each, columns value, flag, reason.

    None for an empty span, which InfluxDB takes for an error.
    """
    tags = {"_measurement": READING, "site": site, "sensor": sensor, "quantity": quantity}
    return _rows(bucket, tags, start_ms, end_ms)


def air(bucket: str, site: str, room: str, place: str, start_ms: int, end_ms: int) -> str | None:
    """Air records of one place in a half-open span: a row each, a column for each value; None for an empty span."""
    tags = {"_measurement": AIR, "site": site, "room": room, "place": place or WHOLE_ROOM}
    return _rows(bucket, tags, start_ms, end_ms)


def outermost_air(bucket: str, site: str, start_ms: int, end_ms: int, which: str) -> str | None:
    """The time of the ``first`` or ``last`` air record of every room and place in a half-open span."""
    tags = {"_measurement": AIR, "site": site, "_field": "coverage"}
    return _rows(bucket, tags, start_ms, end_ms, which)


def oldest(bucket: str, site: str, start_ms: int, end_ms: int) -> str | None:
    """The time of the oldest reading of every series in a half-open span."""
    tags = {"_measurement": READING, "site": site, "_field": "flag"}
    return _rows(bucket, tags, start_ms, end_ms, "first")


def carried(bucket: str, site: str, start_ms: int, end_ms: int) -> str | None:
    """What was told to have been carried over in a half-open span: columns by, sensor, quantity, first, last."""
    return _rows(bucket, {"_measurement": CARRIED, "site": site}, start_ms, end_ms)


def _rows(bucket: str, tags: dict[str, str], start_ms: int, end_ms: int, only: str = "") -> str | None:
    """A row for each time of each series (only the ``first`` or ``last`` of each), a column for each field."""
    if held(start_ms) >= held(end_ms):
        return None
    dropped = ", ".join(f'"{name}"' for name in ("_start", "_stop", *(t for t in tags if t != "_field")))
    chosen = f"  |> {only}()\n" if only else ""
    return (
        f"{_from(bucket, tags, start_ms, end_ms)}\n"
        f"{chosen}"
        '  |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")\n'
        f"  |> drop(columns: [{dropped}])"
    )


def _from(bucket: str, tags: dict[str, str], start_ms: int, end_ms: int) -> str:
    wanted = " and ".join(f"r.{name} == {quoted(as_tag(value))}" for name, value in tags.items())
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
    known = held(time_ms)
    whole = datetime.fromtimestamp(known // 1000, UTC).replace(tzinfo=None)
    return f"{whole.isoformat()}.{known % 1000:03d}Z"


def held(time_ms: int) -> int:
    """A time [ms], held within what InfluxDB can tell."""
    return min(max(time_ms, EARLIEST_MS), LATEST_MS)
