"""An invented site for the demo: a cave, a cold room and a cellar, with a year of readings and a ledger.

Nothing here was measured: `sensors_sim` made it, from ``year.toml``, with ``python -m demo_data``.  Times are
kept relative to an anchor day and move with today, so some wheels are always due for grading on the day the
demo is opened (the seasons move along).
"""

from __future__ import annotations

import csv
import gzip
import io
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

FOLDER = Path(__file__).parent
SITE_FILE = FOLDER / "site.toml"
YEAR_SCENARIO = FOLDER / "year.toml"
LIVE_SCENARIO = FOLDER / "live.toml"
READINGS_FILE = FOLDER / "readings.npz"
LEDGER_FILE = FOLDER / "ledger.csv.gz"

SCENARIO_START = datetime(2026, 1, 1, tzinfo=UTC)
ANCHOR_DAY = 365
"""The day of the scenario, counted from 0, that is shown as today."""
SLOT_S = 600
NO_VALUE = -32768
TEMPERATURE_STEP_C, HUMIDITY_STEP_PCT = 0.01, 0.1


@dataclass(frozen=True)
class SensorYear:
    """A sensor's year: times [ms since 1970-01-01T00:00Z], temperatures [degC] and humidities [%]."""

    time_ms: NDArray[np.int64]
    temperature_c: NDArray[np.float64]
    rh_pct: NDArray[np.float64]


@dataclass(frozen=True)
class DemoYear:
    """The invented year as seen from a moment.

    ``ledger`` holds rows for the ledger's CSV import (columns as in a ledger file, all text), oldest first.
    """

    readings: dict[str, SensorYear]
    ledger: list[dict[str, str]]


def load(now: datetime | None = None) -> DemoYear:
    """The invented year that ends at ``now`` (aware; else the present moment).

    Raises
    ------
    ValueError
        ``now`` has no time zone.
    """
    now = now or datetime.now(UTC)
    if now.tzinfo is None:
        raise ValueError(f"{now.isoformat()} has no time zone; give one, for example a trailing Z")
    today = now.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
    start = today - timedelta(days=ANCHOR_DAY)
    return DemoYear(_readings(start, now), _ledger(start, now))


def _readings(start: datetime, now: datetime) -> dict[str, SensorYear]:
    first_ms = round(start.timestamp() * 1000)
    slots = int((now - start).total_seconds() // SLOT_S) + 1
    result = {}
    with np.load(READINGS_FILE) as archive:
        for sensor in archive.files:
            values = np.cumsum(archive[sensor], axis=1, dtype=np.int16)[:, :slots]
            there = values[0] != NO_VALUE
            times = first_ms + 1000 * SLOT_S * np.arange(values.shape[1], dtype=np.int64)
            result[sensor] = SensorYear(
                times[there],
                np.round(values[0][there] * TEMPERATURE_STEP_C, 2),
                np.round(values[1][there] * HUMIDITY_STEP_PCT, 1),
            )
    return result


def _ledger(start: datetime, now: datetime) -> list[dict[str, str]]:
    text = gzip.decompress(LEDGER_FILE.read_bytes()).decode("utf-8")
    rows = []
    for row in csv.DictReader(io.StringIO(text, newline="")):
        at = start + timedelta(seconds=int(row.pop("at_s")))
        if at > now:
            continue
        row["at"] = at.isoformat(timespec="seconds").replace("+00:00", "Z")
        row["make"], row["wheel"] = _renamed(row["make"], start), _renamed(row["wheel"], start)
        rows.append({key: value for key, value in row.items() if value != ""})
    return rows


def _renamed(name: str, start: datetime) -> str:
    """A make's or wheel's name with its make date moved along with today."""
    style, date, *number = name.split("-")
    made = datetime.strptime(date, "%Y%m%d").replace(tzinfo=UTC)
    moved = made + (start - SCENARIO_START)
    return "-".join([style, f"{moved:%Y%m%d}", *number])
