"""Writing and reading raw readings inside one SQLite transaction."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd

from monitor.clock import DAY_MS, TEN_MINUTES_MS, slot_of
from monitor.errors import ReadingError
from monitor.records import Reading
from monitor.store.dictionary import reason_texts
from monitor.store.numbers import frame, given, kept
from monitor.store.protocol import Run, SeriesSummary, Written
from monitor.store.sealing import open_again, rows_of_span

Row = tuple[int, int, int | float | None, int, int]
"""Series, time [ms], value as kept, flag, reason."""

_INSERT = "INSERT OR IGNORE INTO reading (series, time_ms, value, flag, reason) VALUES (?, ?, ?, ?, ?)"
_FIND = "SELECT value, flag FROM reading WHERE series = ? AND time_ms = ?"


def checked(reading: Reading) -> Reading:
    """The reading, if it can be kept.

    Raises
    ------
    ReadingError
        Its value is not finite, or its time does not fit into the store.
    """
    if reading.value is not None and not math.isfinite(reading.value):
        raise ReadingError(
            f"{reading.sensor} {reading.quantity}: {reading.value} is no value; send null for none"
        )
    if not -(2**53) < reading.time_ms < 2**53:
        raise ReadingError(
            f"{reading.sensor} {reading.quantity}: the time {reading.time_ms} ms is out of range"
        )
    return reading


def insert(connection: sqlite3.Connection, rows: Sequence[Row]) -> tuple[list[Row], Written]:
    """Insert what is not there yet; the rows that are new, and the account of all."""
    open_again(connection, {(row[0], row[1] // DAY_MS) for row in rows})
    before = connection.total_changes
    connection.execute("SAVEPOINT batch")
    connection.executemany(_INSERT, rows)
    if connection.total_changes - before == len(rows):
        connection.execute("RELEASE batch")
        return list(rows), Written(len(rows), 0, 0)
    # Some were there already.  Which ones matters (only new ones change an air record), so go row by row.
    connection.execute("ROLLBACK TO batch")
    connection.execute("RELEASE batch")
    return _insert_one_by_one(connection, rows)


def _insert_one_by_one(connection: sqlite3.Connection, rows: Sequence[Row]) -> tuple[list[Row], Written]:
    new: list[Row] = []
    already = differing = 0
    for row in rows:
        there = connection.execute(_FIND, row[:2]).fetchone()
        if there is None:
            connection.execute(_INSERT, row)
            new.append(row)
        elif there[0] == row[2]:
            already += 1
        else:
            differing += 1
    return new, Written(len(new), already, differing)


def account(connection: sqlite3.Connection, rows: Iterable[Row]) -> None:
    """Bring each series' count and extent up to date with its new rows."""
    extents: dict[int, list[int]] = {}
    for series, time_ms, *_ in rows:
        extent = extents.setdefault(series, [0, time_ms, time_ms])
        extent[0] += 1
        extent[1] = min(extent[1], time_ms)
        extent[2] = max(extent[2], time_ms)
    connection.executemany(
        "UPDATE series SET count = count + ?1, first_ms = min(coalesce(first_ms, ?2), ?2),"
        " last_ms = max(coalesce(last_ms, ?3), ?3) WHERE id = ?4",
        [(*extent, series) for series, extent in extents.items()],
    )


def mark_changed(connection: sqlite3.Connection, slots: Iterable[tuple[str, int]]) -> None:
    """Mark ten-minute slots (sensor, start) as changed, under a revision that is never given twice."""
    marks = sorted(set(slots))
    if not marks:
        return
    revision = next_number(connection, "revision")
    connection.executemany(
        "INSERT INTO change (sensor, slot_ms, revision) VALUES (?1, ?2, ?3)"
        " ON CONFLICT (sensor, slot_ms) DO UPDATE SET revision = ?3",
        [(sensor, slot_of(slot_ms), revision) for sensor, slot_ms in marks],
    )


def slots_with_readings(
    connection: sqlite3.Connection, sensor: str, start_ms: int, end_ms: int
) -> set[tuple[str, int]]:
    """The ten-minute slots (sensor, start) in a span in which a sensor has readings of any quantity."""
    slots: set[tuple[str, int]] = set()
    for (number,) in connection.execute("SELECT id FROM series WHERE sensor = ?", (sensor,)).fetchall():
        times = rows_of_span(connection, number, start_ms, end_ms)["time_ms"]
        slots.update((sensor, slot) for slot in np.unique(times // TEN_MINUTES_MS * TEN_MINUTES_MS).tolist())
    return slots


def next_number(connection: sqlite3.Connection, name: str) -> int:
    """The next number of a counter."""
    row = connection.execute(
        "INSERT INTO counter VALUES (?, 1) ON CONFLICT (name) DO UPDATE SET value = value + 1 RETURNING value",
        (name,),
    ).fetchone()
    return int(row[0])


def run_before(connection: sqlite3.Connection, series: int, before_ms: int, reach_ms: int) -> Run | None:
    """The run of equal values that ends with a series' newest reading before a moment; see `Store.run_before`.

    A sensor that is well is told after one step back, so this costs nothing where it is asked all the time.
    """
    span = (series, before_ms - reach_ms, before_ms)
    within = "FROM reading WHERE series = ? AND time_ms >= ? AND time_ms < ?"
    newest = connection.execute(f"SELECT value {within} ORDER BY time_ms DESC LIMIT 1", span).fetchone()
    if newest is None:
        rows = rows_of_span(connection, *span)
        return run_of(frame(rows, reason_texts(connection)))
    other = connection.execute(
        f"SELECT time_ms {within} AND value IS NOT ? ORDER BY time_ms DESC LIMIT 1", (*span, newest[0])
    ).fetchone()
    first = span[1] if other is None else other[0] + 1
    since, count = connection.execute(
        f"SELECT min(time_ms), count(*) {within}", (series, first, before_ms)
    ).fetchone()
    return Run(given(newest[0]), since, count)


def run_of(frame: pd.DataFrame) -> Run | None:
    """The run of equal values at the end of readings as `Store.read` gives them."""
    if frame.empty:
        return None
    values = frame["value"].to_numpy(float)
    differing = np.flatnonzero((values != values[-1]) & ~(np.isnan(values) & np.isnan(values[-1])))
    first = int(differing[-1]) + 1 if len(differing) else 0
    since_ms = int(pd.DatetimeIndex(frame.index).as_unit("ms").asi8[first])
    return Run(None if np.isnan(values[-1]) else float(values[-1]), since_ms, len(values) - first)


def rows_of(
    readings: Sequence[Reading], series: dict[tuple[str, str], int], reasons: dict[str, int]
) -> list[Row]:
    """Readings as rows."""
    return [
        (series[r.sensor, r.quantity], r.time_ms, kept(r.value), int(r.flag), reasons[r.reason])
        for r in readings
    ]


def summaries(connection: sqlite3.Connection) -> list[SeriesSummary]:
    """Every series that has readings."""
    rows = connection.execute(
        "SELECT s.id, s.sensor, s.quantity, s.count, s.first_ms, s.last_ms, r.value, r.flag, q.text"
        " FROM series s LEFT JOIN reading r ON r.series = s.id AND r.time_ms = s.last_ms"
        " LEFT JOIN reason q ON q.id = r.reason WHERE s.count > 0 ORDER BY s.sensor, s.quantity"
    )
    return [_summary(connection, row) for row in rows.fetchall()]


def _summary(connection: sqlite3.Connection, row: tuple[Any, ...]) -> SeriesSummary:
    number, sensor, quantity, count, first_ms, last_ms, stored, flag, reason = row
    value = given(stored)
    if flag is None:  # the newest reading is in a sealed day
        newest = rows_of_span(connection, number, last_ms, last_ms + 1)[-1]
        value = float(newest["value"]) if np.isfinite(newest["value"]) else None
        flag, reason = int(newest["flag"]), reason_texts(connection)[int(newest["reason"])]
    return SeriesSummary(sensor, quantity, count, first_ms, last_ms, value, flag, reason or "")
