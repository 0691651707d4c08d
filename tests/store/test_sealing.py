"""Sealed days hold exactly what the rows held, open again for late readings, and keep every extreme."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.clock import DAY_MS
from monitor.errors import StoreDamaged
from monitor.records import Flag, Reading
from monitor.store import Written
from monitor.store.embedded import EmbeddedStore
from monitor.store.numbers import ROW_TYPE
from monitor.store.sealing import packed, unpacked

START = 20_500 * DAY_MS
ALL = (0, 2**52)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[EmbeddedStore]:
    held = EmbeddedStore(tmp_path / "readings.sqlite")
    yield held
    held.close()


def fill(store: EmbeddedStore, days: int, minutes: int = 10) -> None:
    """A slow cave: 12 degC with a daily swing of half a degree, one missing value and one suspect a day."""
    for day in range(days):
        batch = []
        for minute in range(0, 1440, minutes):
            value = round(12 + 0.25 * np.sin(minute / 229.2), 2)
            time_ms = START + day * DAY_MS + minute * 60_000
            batch.append(Reading("rack-1", "temperature", time_ms, value))
        batch[3] = Reading(
            "rack-1", "temperature", batch[3].time_ms, None, Flag.MISSING, "the sensor sent no value"
        )
        batch[5] = Reading("rack-1", "temperature", batch[5].time_ms, 12.123456789, Flag.SUSPECT, "spike")
        store.write(batch)


def test_sealing_changes_nothing_that_is_read(store: EmbeddedStore) -> None:
    """Every value, flag and reason is the same before and after, in any span."""
    fill(store, 5)
    before, summary = store.read("rack-1", "temperature", *ALL), store.series()
    assert store.seal(START + 4 * DAY_MS) == 4
    pd.testing.assert_frame_equal(store.read("rack-1", "temperature", *ALL), before)
    assert store.series() == summary
    span = (START + DAY_MS // 2, START + 2 * DAY_MS + 600_001)
    times = pd.DatetimeIndex(before.index).as_unit("ms").asi8
    expected = before[(times >= span[0]) & (times < span[1])]
    assert list(store.read("rack-1", "temperature", *span).index) == list(expected.index)


def test_a_series_whose_newest_reading_is_sealed_is_still_summed_up(store: EmbeddedStore) -> None:
    """A sensor that fell silent long ago keeps its last value."""
    fill(store, 1)
    before = store.series()
    store.seal(START + 9 * DAY_MS)
    assert store.series() == before


def test_a_late_reading_opens_its_day_again(store: EmbeddedStore) -> None:
    """A late reading joins a sealed day, a replay of the sealed ones stays a replay, and the day seals anew."""
    fill(store, 3)
    store.seal(START + 3 * DAY_MS)
    late = Reading("rack-1", "temperature", START + DAY_MS + 61_000, 12.5)
    there = Reading("rack-1", "temperature", START, 12.0)
    assert store.write([late, there]) == Written(1, 1, 0)
    frame = store.read("rack-1", "temperature", *ALL)
    assert frame.index.is_monotonic_increasing
    assert len(frame) == 3 * 144 + 1
    assert store.seal(START + 3 * DAY_MS) == 2
    pd.testing.assert_frame_equal(store.read("rack-1", "temperature", *ALL), frame)


def test_charts_keep_the_extremes_whether_sealed_or_not(store: EmbeddedStore) -> None:
    """The lowest and highest good reading survive any downsampling; suspect ones are left out."""
    fill(store, 20)
    store.write(
        [
            Reading("rack-1", "temperature", START + 61_500, 3.5),
            Reading("rack-1", "temperature", START + 61_501, 21.0),
        ]
    )
    for _ in range(2):
        chart = store.read_chart("rack-1", "temperature", START, START + 20 * DAY_MS, points=100)
        assert len(chart) <= 101
        assert (chart["low"].min(), chart["high"].max()) == (3.5, 21.0)
        assert chart["count"].sum() == 20 * 142 + 2
        store.seal(START + 15 * DAY_MS)
    fine = store.read_chart("rack-1", "temperature", START, START + DAY_MS, points=1000)
    assert fine["low"].min() == 3.5


def test_retention_forgets_whole_old_days(store: EmbeddedStore) -> None:
    """Days older than wished go, sealed or not; count and extent follow."""
    fill(store, 4)
    store.seal(START + 2 * DAY_MS)
    assert store.forget("temperature", START + 3 * DAY_MS) == 3 * 144
    (left,) = store.series()
    assert (left.count, left.first_ms) == (144, START + 3 * DAY_MS)
    assert store.forget("humidity", START + 9 * DAY_MS) == 0


def test_a_torn_piece_is_told(store: EmbeddedStore) -> None:
    """A sealed day that cannot be read raises, and names the remedy."""
    with pytest.raises(StoreDamaged, match="backup"):
        unpacked(b"torn")


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(allow_nan=False) | st.decimals(-50, 150, places=2).map(float), st.integers(0, 9)),
        min_size=1,
        max_size=30,
    )
)
def test_a_piece_holds_what_the_rows_held(given_rows: list[tuple[float, int]]) -> None:
    """Any values and flags come back bit for bit (plus infinity stands for no value)."""
    rows = np.zeros(len(given_rows), ROW_TYPE)
    rows["time_ms"] = START + np.arange(len(rows)) * 60_000
    rows["value"] = [np.inf if value == -np.inf else value for value, _ in given_rows]
    rows["flag"] = [flag for _, flag in given_rows]
    rows["reason"] = [flag * 3 for _, flag in given_rows]
    assert unpacked(packed(rows)).tobytes() == rows.tobytes()
