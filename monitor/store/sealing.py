"""Old readings in a compact form: one sealed piece for each series and day, and hourly extremes beside it.

A piece holds exactly what the rows held, bit for bit.  A reading that comes late for a sealed day opens the day
again within the same transaction.
"""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Iterable
from typing import Any

import msgspec
import numpy as np

from monitor.clock import DAY_MS
from monitor.errors import StoreDamaged
from monitor.store.numbers import ROW_TYPE, SCALE, VALUE_SQL, kept

HOUR_MS = 3_600_000
HOUR_TYPE = np.dtype([("start_ms", "i8"), ("low", "f8"), ("high", "f8"), ("mean", "f8"), ("count", "i4")])
Rows = np.ndarray[Any, Any]

_FORM = 1
_SELECT = f"SELECT time_ms, {VALUE_SQL}, flag, reason FROM reading WHERE series = ? AND time_ms >= ? AND time_ms < ?"


def packed(rows: Rows) -> bytes:
    """Rows of `ROW_TYPE` (in order, infinite where there is no value) as a sealed piece."""
    values = rows["value"]
    none = np.isinf(values)
    solid = np.where(none, 0.0, values)
    scaled = np.zeros(len(rows), "i8")
    fits = bool((np.abs(solid) < 2**52 / SCALE).all())
    if fits:
        scaled = np.rint(solid * SCALE).astype("i8")
    exact = fits and (scaled / SCALE).tobytes() == solid.tobytes()
    parts = [
        _FORM,
        len(rows),
        int(rows["time_ms"][0]),
        _shuffled(np.diff(rows["time_ms"], prepend=rows["time_ms"][0])),
        exact,
        _shuffled(np.diff(scaled, prepend=0)) if exact else solid.tobytes(),
        np.packbits(none).tobytes() if none.any() else b"",
        _alike(rows["flag"]),
        _alike(rows["reason"]),
    ]
    return zlib.compress(msgspec.msgpack.encode(parts), 6)


def unpacked(piece: bytes) -> Rows:
    """The rows of a sealed piece.

    Raises
    ------
    StoreDamaged
        The piece is torn or of a newer form.
    """
    try:
        form, count, first_ms, steps, exact, values, none, flags, reasons = msgspec.msgpack.decode(
            zlib.decompress(piece)
        )
    except (zlib.error, msgspec.MsgspecError, ValueError, TypeError) as error:
        raise StoreDamaged(f"a sealed day cannot be read ({error}); bring back a backup") from error
    if form != _FORM:
        raise StoreDamaged("a sealed day was written by a newer version of this program")
    rows = np.empty(count, ROW_TYPE)
    rows["time_ms"] = first_ms + np.cumsum(_unshuffled(steps, count))
    rows["value"] = np.cumsum(_unshuffled(values, count)) / SCALE if exact else np.frombuffer(values, "f8")
    if none:
        rows["value"][np.unpackbits(np.frombuffer(none, "u1"), count=count).astype(bool)] = np.inf
    rows["flag"] = np.frombuffer(flags, "u1")
    rows["reason"] = np.frombuffer(reasons, "i4")
    return rows


def _shuffled(numbers: Rows) -> bytes:
    """Integers with their bytes gathered by place, which lets them press far smaller; narrowed where they fit."""
    narrow = (
        numbers.astype("<i4") if len(numbers) and np.abs(numbers).max() < 2**31 else numbers.astype("<i8")
    )
    width = narrow.dtype.itemsize
    return bytes([width]) + narrow.view("u1").reshape(-1, width).T.tobytes()


def _unshuffled(data: bytes, count: int) -> Rows:
    width = data[0]
    planes = np.frombuffer(data, "u1", offset=1).reshape(width, count)
    return np.ascontiguousarray(planes.T).view(f"<i{width}").reshape(-1).astype("i8")


def _alike(codes: Rows) -> bytes:
    """One code where all are the same (numpy spreads it again), else all of them."""
    return codes[:1].tobytes() if (codes == codes[0]).all() else codes.tobytes()


def by_hour(rows: Rows) -> Rows:
    """Lowest, highest and mean of the good values (flags 1 and 2) of each hour."""
    good = rows[(rows["flag"] <= 2) & np.isfinite(rows["value"])]
    if not len(good):
        return np.empty(0, HOUR_TYPE)
    starts = good["time_ms"] - good["time_ms"] % HOUR_MS
    edges = np.flatnonzero(np.diff(starts, prepend=starts[0] - 1))
    hours = np.empty(len(edges), HOUR_TYPE)
    hours["start_ms"] = starts[edges]
    hours["low"] = np.minimum.reduceat(good["value"], edges)
    hours["high"] = np.maximum.reduceat(good["value"], edges)
    hours["count"] = np.diff(edges, append=len(good))
    hours["mean"] = np.add.reduceat(good["value"], edges) / hours["count"]
    return hours


def open_rows(connection: sqlite3.Connection, series: int, start_ms: int, end_ms: int) -> Rows:
    """Rows of a span that are not sealed, in order."""
    return np.fromiter(
        connection.execute(_SELECT + " ORDER BY time_ms", (series, start_ms, end_ms)), dtype=ROW_TYPE
    )


def rows_of_span(connection: sqlite3.Connection, series: int, start_ms: int, end_ms: int) -> Rows:
    """All rows of a span, sealed or not, in order."""
    pieces = connection.execute(
        "SELECT data FROM sealed WHERE series = ? AND day >= ? AND day <= ? ORDER BY day",
        (series, start_ms // DAY_MS, (end_ms - 1) // DAY_MS),
    )
    parts = [unpacked(row[0]) for row in pieces]
    loose = open_rows(connection, series, start_ms, end_ms)
    if not parts:
        return loose
    rows = np.concatenate([*parts, loose])
    times = rows["time_ms"]
    if times[0] < start_ms or times.max() >= end_ms:
        rows = rows[(times >= start_ms) & (times < end_ms)]
    if len(rows) > 1 and (np.diff(rows["time_ms"]) < 0).any():
        rows = rows[np.argsort(rows["time_ms"], kind="stable")]
    return rows


def hours_of_span(connection: sqlite3.Connection, series: int, start_ms: int, end_ms: int) -> Rows:
    """Hourly extremes of a span: as sealed, and worked out for what is not."""
    pieces = connection.execute(
        "SELECT hours FROM sealed WHERE series = ? AND day >= ? AND day <= ? ORDER BY day",
        (series, start_ms // DAY_MS, (end_ms - 1) // DAY_MS),
    )
    sealed = np.frombuffer(b"".join(zlib.decompress(row[0]) for row in pieces), HOUR_TYPE)
    hours = np.concatenate([sealed, by_hour(open_rows(connection, series, start_ms, end_ms))])
    hours = hours[(hours["start_ms"] >= start_ms - HOUR_MS) & (hours["start_ms"] < end_ms)]
    return hours[np.argsort(hours["start_ms"], kind="stable")]


def seal(connection: sqlite3.Connection, before_ms: int, most_days: int = 1000) -> int:
    """Seal whole days that ended before a moment, oldest first within each series; how many were sealed."""
    sealed = 0
    last_day = before_ms // DAY_MS
    for (series,) in connection.execute("SELECT id FROM series ORDER BY id").fetchall():
        day = _next_day(connection, series, 0)
        while day is not None and day < last_day and sealed < most_days:
            _seal_day(connection, series, day)
            sealed += 1
            day = _next_day(connection, series, day + 1)
    return sealed


def _next_day(connection: sqlite3.Connection, series: int, day: int) -> int | None:
    first = connection.execute(
        "SELECT min(time_ms) FROM reading WHERE series = ? AND time_ms >= ?", (series, day * DAY_MS)
    ).fetchone()[0]
    return None if first is None else int(first) // DAY_MS


def _seal_day(connection: sqlite3.Connection, series: int, day: int) -> None:
    put_sealed(connection, series, day, open_rows(connection, series, day * DAY_MS, (day + 1) * DAY_MS))


def put_sealed(connection: sqlite3.Connection, series: int, day: int, rows: Rows) -> None:
    """Make ``rows`` (in order) the sealed form of a day, in place of whatever stood for it."""
    hours = zlib.compress(by_hour(rows).tobytes(), 6)
    connection.execute(
        "INSERT OR REPLACE INTO sealed (series, day, count, hours, data) VALUES (?, ?, ?, ?, ?)",
        (series, day, len(rows), hours, packed(rows)),
    )
    connection.execute(
        "DELETE FROM reading WHERE series = ? AND time_ms >= ? AND time_ms < ?",
        (series, day * DAY_MS, (day + 1) * DAY_MS),
    )


def is_sealed(connection: sqlite3.Connection, series: int, day: int) -> bool:
    """Whether a day of a series is in its compact form."""
    query = "SELECT 1 FROM sealed WHERE series = ? AND day = ?"
    return connection.execute(query, (series, day)).fetchone() is not None


def insert_rows(connection: sqlite3.Connection, series: int, rows: Rows) -> None:
    """Put rows that are not there yet into the open table."""
    connection.executemany(
        "INSERT INTO reading (series, time_ms, value, flag, reason) VALUES (?, ?, ?, ?, ?)",
        [
            (series, time_ms, None if value == np.inf else kept(value), flag, reason)
            for time_ms, value, flag, reason in rows.tolist()
        ],
    )


def open_again(connection: sqlite3.Connection, days: Iterable[tuple[int, int]]) -> None:
    """Put sealed days (series, day) back into rows, where they are sealed."""
    for series, day in days:
        key = (series, day)
        piece = connection.execute("SELECT data FROM sealed WHERE series = ? AND day = ?", key).fetchone()
        if piece is None:
            continue
        insert_rows(connection, series, unpacked(piece[0]))
        connection.execute("DELETE FROM sealed WHERE series = ? AND day = ?", key)


def forget_before(connection: sqlite3.Connection, series: int, before_ms: int) -> int:
    """Delete a series' readings of whole days that ended before a moment; how many readings that was."""
    day = before_ms // DAY_MS
    sealed = connection.execute(
        "SELECT coalesce(sum(count), 0) FROM sealed WHERE series = ? AND day < ?", (series, day)
    ).fetchone()[0]
    connection.execute("DELETE FROM sealed WHERE series = ? AND day < ?", (series, day))
    cursor = connection.execute(
        "DELETE FROM reading WHERE series = ? AND time_ms < ?", (series, day * DAY_MS)
    )
    gone = int(sealed) + cursor.rowcount
    if gone:
        first = first_time(connection, series)
        connection.execute(
            "UPDATE series SET count = count - ?, first_ms = ? WHERE id = ?", (gone, first, series)
        )
    return gone


def first_time(connection: sqlite3.Connection, series: int) -> int | None:
    """The time [ms] of a series' first reading, sealed or not."""
    piece = connection.execute(
        "SELECT data FROM sealed WHERE series = ? ORDER BY day LIMIT 1", (series,)
    ).fetchone()
    loose = connection.execute("SELECT min(time_ms) FROM reading WHERE series = ?", (series,)).fetchone()[0]
    times = [int(unpacked(piece[0])["time_ms"][0])] if piece else []
    times += [int(loose)] if loose is not None else []
    return min(times, default=None)
