"""A year of a room, thinned for a chart."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pandas as pd

from monitor.climate.course import MOST_STEPS, room_course

START = datetime(2026, 1, 1, tzinfo=UTC)
END = START + timedelta(days=365)


class YearOfAir:
    """Ten-minute records of a year at 11 degC and 85 %, with one door left open and three days of silence."""

    def read_air(self, room: str, place: str, start_ms: int, end_ms: int) -> pd.DataFrame:
        times = np.arange(start_ms, end_ms, 600_000)
        count = len(times)
        columns = {
            n: np.full(count, 11.0) for n in ("temperature_c", "temperature_min_c", "temperature_max_c")
        }
        columns |= {n: np.full(count, 85.0) for n in ("rh_pct", "rh_min_pct", "rh_max_pct")}
        columns["rh_min_pct"][20_000:20_001] = 52.0
        columns["temperature_c"][30_000 : 30_000 + 3 * 144] = np.nan
        index = pd.DatetimeIndex(times.astype("datetime64[ms]"), name="start").tz_localize("UTC")
        return pd.DataFrame(columns, index=index)


def test_a_year_is_few_points_and_keeps_its_extremes() -> None:
    """52,560 records become at most 1,200 steps, and the ten minutes of an open door are still the lowest."""
    document = room_course(YearOfAir(), "north", "", START, END)  # type: ignore[arg-type]
    assert 1000 < len(document["steps"]) <= MOST_STEPS
    assert min(step["rh_min_pct"] for step in document["steps"]) == 52.0


def test_silence_stays_a_gap() -> None:
    """Three days without a good reading leave steps out; nothing is filled in."""
    document = room_course(YearOfAir(), "north", "", START, END)  # type: ignore[arg-type]
    times = [datetime.fromisoformat(step["at"]) for step in document["steps"]]
    longest = max(b - a for a, b in pairwise(times))
    assert longest > timedelta(days=2, hours=18)


def test_a_day_is_not_thinned() -> None:
    """A day keeps all its 144 records."""
    document = room_course(YearOfAir(), "north", "", START, START + timedelta(days=1))  # type: ignore[arg-type]
    assert len(document["steps"]) == 144
