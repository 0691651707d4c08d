"""Many readings of one series at once, straight into sealed days where they are old enough."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Protocol, runtime_checkable

import numpy as np

from monitor.clock import DAY_MS, TEN_MINUTES_MS
from monitor.records import Reading
from monitor.store.protocol import Store, Written
from monitor.store.readings_table import mark_changed
from monitor.store.sealing import insert_rows, is_sealed, put_sealed, rows_of_span

Rows = np.ndarray[Any, Any]
DAYS_A_WRITE = 30
ROWS_A_WRITE = 5_000


@runtime_checkable
class TakesSeries(Protocol):
    """A store with a faster way to take many readings of one series."""

    def write_series(self, sensor: str, quantity: str, series: Series, seal_before_ms: int) -> Written:
        """Keep readings of one series; as durable, atomic and idempotent as `Store.write`."""


@dataclass(frozen=True)
class Series:
    """Many readings of one series: rows of `ROW_TYPE` in rising time without doubles, an infinite value where there
    is none, ``reason`` a place in ``reasons`` (the first of which is empty)."""

    rows: Rows
    reasons: Sequence[str] = ("",)


def write_series(
    store: Store, sensor: str, quantity: str, series: Series, seal_before_ms: int
) -> Iterator[tuple[int, Written]]:
    """Keep many readings of one series, some weeks at a time; after each step how many were dealt with, and what
    the step did.

    Parameters
    ----------
    seal_before_ms : days that ended before this moment may be sealed at once [ms]
    """
    if isinstance(store, TakesSeries):
        for rows in _by_days(series.rows):
            days = Series(rows, series.reasons)
            yield len(rows), store.write_series(sensor, quantity, days, seal_before_ms)
        return
    for part in readings_of(sensor, quantity, series):
        yield len(part), store.write(part)


def readings_of(sensor: str, quantity: str, series: Series) -> Iterator[list[Reading]]:
    """A series as plain readings, some thousands at a time."""
    for first in range(0, len(series.rows), ROWS_A_WRITE):
        rows = series.rows[first : first + ROWS_A_WRITE]
        yield list(_readings(sensor, quantity, rows, series.reasons))


def _by_days(rows: Rows) -> Iterator[Rows]:
    steps = rows["time_ms"] // (DAYS_A_WRITE * DAY_MS)
    edges = np.flatnonzero(np.diff(steps)) + 1
    yield from (part for part in np.split(rows, edges) if len(part))


def _readings(sensor: str, quantity: str, rows: Rows, reasons: Sequence[str]) -> Iterator[Reading]:
    for time_ms, value, flag, reason in rows.tolist():
        yield Reading(sensor, quantity, time_ms, None if value == np.inf else value, flag, reasons[reason])


def put_series(
    connection: sqlite3.Connection, series: int, sensor: str, rows: Rows, seal_before_ms: int
) -> Written:
    """Within the caller's transaction: keep what is new of one series, and mark the slots that it changes."""
    days = rows["time_ms"] // DAY_MS
    fresh_parts = []
    already = differing = 0
    for part in np.split(rows, np.flatnonzero(np.diff(days)) + 1):
        fresh, same, other = _put_day(connection, series, part, seal_before_ms)
        fresh_parts.append(fresh)
        already, differing = already + same, differing + other
    new = np.concatenate(fresh_parts)
    if len(new):
        slots = np.unique(new["time_ms"] // TEN_MINUTES_MS * TEN_MINUTES_MS)
        mark_changed(connection, ((sensor, slot) for slot in slots.tolist()))
        connection.execute(
            "UPDATE series SET count = count + ?1, first_ms = min(coalesce(first_ms, ?2), ?2),"
            " last_ms = max(coalesce(last_ms, ?3), ?3) WHERE id = ?4",
            (len(new), int(new["time_ms"][0]), int(new["time_ms"][-1]), series),
        )
    return Written(len(new), already, differing)


def _put_day(
    connection: sqlite3.Connection, series: int, rows: Rows, seal_before_ms: int
) -> tuple[Rows, int, int]:
    day = int(rows["time_ms"][0]) // DAY_MS
    there = rows_of_span(connection, series, day * DAY_MS, (day + 1) * DAY_MS)
    known = np.isin(rows["time_ms"], there["time_ms"])
    fresh = rows[~known]
    same = 0
    if known.any():
        held = there[np.searchsorted(there["time_ms"], rows["time_ms"][known])]
        same = int((held["value"] == rows["value"][known]).sum())
    if len(fresh):
        if (day + 1) * DAY_MS <= seal_before_ms or is_sealed(connection, series, day):
            rows = np.concatenate([there, fresh])
            put_sealed(connection, series, day, rows[np.argsort(rows["time_ms"], kind="stable")])
        else:
            insert_rows(connection, series, fresh)
    return fresh, same, int(known.sum()) - same
