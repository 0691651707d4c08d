"""Readings out to CSV and in from it, by one plain layout: time, sensor, quantity, value, flag, reason."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

import numpy as np
import pandas as pd

from monitor.clock import rfc3339, to_ms
from monitor.store.protocol import Store

COLUMNS = ("time", "sensor", "quantity", "value", "flag", "reason")
_STEP_MS = 30 * 86_400_000


def export(
    store: Store, stream: TextIO, start_ms: int = 0, end_ms: int = 2**52, sensor: str | None = None
) -> int:
    """Write readings as CSV, sensor by sensor, a month at a time; how many lines besides the header.

    A text that a spreadsheet would take for a formula gets an apostrophe before it.
    """
    writer = csv.writer(stream)
    writer.writerow(COLUMNS)
    lines = 0
    for summary in store.series():
        if sensor is not None and summary.sensor != sensor:
            continue
        for frame in _months(
            store,
            summary.sensor,
            summary.quantity,
            max(start_ms, summary.first_ms),
            min(end_ms, summary.last_ms + 1),
        ):
            writer.writerows(_lines(frame, summary.sensor, summary.quantity))
            lines += len(frame)
    return lines


def _months(store: Store, sensor: str, quantity: str, start_ms: int, end_ms: int) -> Iterator[pd.DataFrame]:
    for first in range(start_ms, end_ms, _STEP_MS):
        yield store.read(sensor, quantity, first, min(first + _STEP_MS, end_ms))


def _lines(frame: pd.DataFrame, sensor: str, quantity: str) -> Iterator[tuple[object, ...]]:
    times = pd.DatetimeIndex(frame.index).as_unit("ms").asi8.tolist()
    for time_ms, value, flag, reason in zip(
        times, frame["value"], frame["flag"], frame["reason"], strict=True
    ):
        shown = "" if np.isnan(value) else repr(float(value))
        yield rfc3339(time_ms), _harmless(sensor), quantity, shown, int(flag), _harmless(str(reason))


def _harmless(text: str) -> str:
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def moment_ms(text: str | None, otherwise: int) -> int:
    """RFC 3339 text or a date (taken as UTC) as milliseconds.

    Raises
    ------
    ValueError
        It is neither.
    """
    if text is None:
        return otherwise
    stamp = pd.Timestamp(text)
    return to_ms((stamp.tz_localize("UTC") if stamp.tzinfo is None else stamp).to_pydatetime())


def file_size(path: Path) -> int:
    """Bytes of a SQLite file with what waits beside it."""
    return sum(p.stat().st_size for p in (path, path.with_name(path.name + "-wal")) if p.exists())
