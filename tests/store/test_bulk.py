"""Many readings of one series at once: the same as one by one, and nothing twice."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.clock import DAY_MS
from monitor.records import Reading
from monitor.store.bulk import Series, write_series
from monitor.store.embedded import EmbeddedStore
from monitor.store.numbers import ROW_TYPE
from monitor.store.protocol import Written

START = 20_400 * DAY_MS
ALL = (0, 2**52)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[EmbeddedStore]:
    opened = EmbeddedStore(tmp_path / "readings.sqlite")
    yield opened
    opened.close()


def series(times: list[int], values: list[float]) -> Series:
    rows = np.zeros(len(times), ROW_TYPE)
    rows["time_ms"], rows["value"], rows["flag"] = times, values, 2
    return Series(rows)


def total(steps: Iterator[tuple[int, Written]]) -> Written:
    done = [written for _, written in steps]
    return Written(sum(w.new for w in done), sum(w.already for w in done), sum(w.differing for w in done))


def put(store: EmbeddedStore, given: Series, seal_before_ms: int = 2**60, sensor: str = "rack-1") -> Written:
    return total(write_series(store, sensor, "humidity", given, seal_before_ms))


def test_old_days_are_sealed_at_once_and_read_back(store: EmbeddedStore) -> None:
    """Three days of ten-minute humidity, all old, come back bit for bit, and nothing is left to seal."""
    times = [START + n * 600_000 for n in range(432)]
    values = [85.0 + n % 7 / 10 for n in range(432)]
    assert put(store, series(times, values)) == Written(432, 0, 0)
    frame = store.read("rack-1", "humidity", *ALL)
    assert frame["value"].tolist() == values
    assert store.seal(2**52) == 0


def test_the_same_file_again_changes_nothing(store: EmbeddedStore) -> None:
    """A second time everything is already there; another value for a known time is counted and not taken."""
    given = series([START, START + 60_000], [86.0, 86.1])
    put(store, given)
    assert put(store, given) == Written(0, 2, 0)
    assert put(store, series([START], [50.0])) == Written(0, 0, 1)
    assert store.read("rack-1", "humidity", *ALL)["value"].tolist() == [86.0, 86.1]


def test_new_readings_mark_their_slots(store: EmbeddedStore) -> None:
    """Air records of the slots that an import touches are made again; those it does not touch are left alone."""
    store.write([Reading("rack-1", "humidity", START, 86.0)])
    known = store.changes()
    store.write_air([], known)
    put(store, series([START, START + 3_600_000], [86.0, 87.0]))
    assert [c.slot_ms for c in store.changes()] == [START + 3_600_000]


def test_a_reason_comes_along(store: EmbeddedStore) -> None:
    """A flag and its reason are kept with the reading."""
    rows = series([START, START + 1], [86.0, 180.0]).rows
    rows["flag"], rows["reason"] = [2, 4], [0, 1]
    put(store, Series(rows, ("", "impossible")))
    frame = store.read("rack-1", "humidity", *ALL)
    assert frame["reason"].tolist() == ["", "impossible"]
    assert frame["flag"].tolist() == [2, 4]


@pytest.fixture(scope="module")
def two_stores(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[EmbeddedStore, EmbeddedStore]]:
    """A pair for all examples of a law; each example has a sensor of its own."""
    folder = tmp_path_factory.mktemp("law")
    stores = EmbeddedStore(folder / "bulk.sqlite"), EmbeddedStore(folder / "plain.sqlite")
    yield stores
    for store in stores:
        store.close()


TIMED = st.lists(
    st.tuples(st.integers(0, 3 * DAY_MS), st.floats(0, 100)), max_size=30, unique_by=lambda p: p[0]
)


@given(TIMED, TIMED, st.integers(0, 4))
def test_it_is_the_same_as_writing_one_by_one(
    two_stores: tuple[EmbeddedStore, EmbeddedStore],
    live: list[tuple[int, float]],
    imported: list[tuple[int, float]],
    sealed_days: int,
) -> None:
    """Whatever was there before and wherever the seal stands, an import and plain writes end in the same readings."""
    bulk, plain = two_stores
    sensor, edge = uuid.uuid4().hex, START + sealed_days * DAY_MS
    for store in two_stores:
        store.write([Reading(sensor, "humidity", START + t, v) for t, v in live])
    rising = sorted(imported)
    bulk.seal(edge)
    put(bulk, series([START + t for t, _ in rising], [v for _, v in rising]), edge, sensor)
    plain.write([Reading(sensor, "humidity", START + t, v) for t, v in rising])
    frames = [store.read(sensor, "humidity", *ALL) for store in two_stores]
    pd.testing.assert_frame_equal(*frames)
    for store in two_stores:
        assert sum(s.count for s in store.series() if s.sensor == sensor) == len(frames[0])
