"""What every store must do: the contract of `monitor.store.Store`, run over each kind."""

from __future__ import annotations

import os
import threading
import uuid
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.clock import TEN_MINUTES_MS
from monitor.errors import ReadingError, StoreAway
from monitor.records import AirRecord, Change, Flag, Reading, Reject
from monitor.store import Store, Written
from monitor.store.embedded import EmbeddedStore
from monitor.store.influx import InfluxStore
from monitor.store.influx_far import InfluxFar
from monitor.store.protocol import Run
from monitor.store.spool import NearStore
from tests.store.influx_double import TOKEN, InfluxDouble

NOON = 1_772_366_400_000
"""2026-03-01T12:00:00Z in milliseconds."""

OpenStore = Callable[[], Store]


class AlwaysFar(InfluxStore):
    """An InfluxDB store that carries everything over at once and lets go of it here, so that reads ask InfluxDB."""

    def write(self, readings: Sequence[Reading]) -> Written:
        written = super().write(readings)
        self._let_go()
        return written

    def write_air(self, records: Sequence[AirRecord], done: Sequence[Change] = ()) -> None:
        super().write_air(records, done)
        self._let_go()

    def _let_go(self) -> None:
        while self.carry():
            pass
        self.near.prune(self.near.pruned_before() + 1 if self.near.pruned_before() > NOON else 2**51)


def kinds() -> list[str]:
    """The embedded store, InfluxDB by its stand-in, and a live InfluxDB where the environment names one."""
    live = os.environ.get("MATURING_INFLUX_URL")
    return ["embedded", "influx-near", "influx-far", *(["influx-live"] if live else [])]


def influx(kind: str, folder: Path) -> Iterator[InfluxStore]:
    """A store on InfluxDB, with a site tag of its own, so that tests on a live server do not meet."""
    near = NearStore(folder / "near.sqlite", rejects_kept=10)
    tag = f"test-{uuid.uuid4().hex}"
    if kind == "influx-live":
        names = (
            "MATURING_INFLUX_URL",
            "MATURING_INFLUX_ORG",
            "MATURING_INFLUX_BUCKET",
            "MATURING_INFLUX_TOKEN",
        )
        url, org, bucket, token = (os.environ[name] for name in names)
        yield AlwaysFar(near, InfluxFar(url, org, bucket, token, tag))
        return
    double = InfluxDouble()
    far = InfluxFar(double.url, "dairy", "rooms", TOKEN, tag)
    made = (InfluxStore if kind == "influx-near" else AlwaysFar)(near, far)
    made.carry()
    yield made
    double.stop()


@pytest.fixture(params=kinds())
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    if request.param == "embedded":
        made = EmbeddedStore(tmp_path / "readings.sqlite", rejects_kept=10)
        yield made
        made.close()
        return
    for made in influx(request.param, tmp_path):
        yield made
        made.close()


def temperature(minute: float, value: float | None = 12.3, sensor: str = "rack-1", **more: object) -> Reading:
    return Reading(sensor, "temperature", NOON + round(minute * 60_000), value, **more)  # type: ignore[arg-type]


def values(store: Store, sensor: str = "rack-1", quantity: str = "temperature") -> list[float]:
    return list(store.read(sensor, quantity, 0, 2**52)["value"])


def test_a_reading_comes_back_as_it_went_in(store: Store) -> None:
    """Value, time, flag and reason of a reading survive the store."""
    assert store.write([temperature(0, 12.34, flag=Flag.SUSPECT, reason="spike")]) == Written(1, 0, 0)
    frame = store.read("rack-1", "temperature", NOON, NOON + 1)
    assert list(frame["value"]) == [12.34]
    assert list(frame["flag"]) == [3]
    assert list(frame["reason"]) == ["spike"]
    assert frame.index[0].isoformat() == "2026-03-01T12:00:00+00:00"
    assert str(frame.index.dtype) == "datetime64[ms, UTC]"
    assert frame["flag"].dtype == np.uint8


def test_a_missing_value_is_nan_never_zero(store: Store) -> None:
    """A sensor that says it has no value leaves NaN, with flag 9."""
    store.write([temperature(0, None, flag=Flag.MISSING, reason="the sensor sent no value")])
    frame = store.read("rack-1", "temperature", 0, 2**52)
    assert np.isnan(frame["value"].iloc[0])
    assert frame["flag"].iloc[0] == 9


@pytest.mark.parametrize(
    "name",
    ["a,b c=d", '"quoted"', "it's ${1+1}", "back\\slash\\", "caf\N{LATIN SMALL LETTER E WITH ACUTE}, #1"],
)
def test_names_may_hold_what_other_languages_use_as_signs(store: Store, name: str) -> None:
    """Commas, quotes, spaces and backslashes in names and reasons: each series is its own and comes back whole."""
    store.write([temperature(0, 12.5, name, flag=Flag.SUSPECT, reason=name), temperature(0, 10.0, "other")])
    frame = store.read(name, "temperature", 0, 2**52)
    assert (list(frame["value"]), list(frame["reason"])) == ([12.5], [name])
    store.write_air([air_record(0, place=name)])
    assert list(store.read_air("cave", name, 0, 2**52)["rh_pct"]) == [86.0]


def test_spans_are_half_open_and_in_order_of_time(store: Store) -> None:
    """A span holds its start but not its end, however the readings arrived."""
    store.write([temperature(2, 2.0), temperature(0, 0.0), temperature(1, 1.0)])
    frame = store.read("rack-1", "temperature", NOON, NOON + 120_000)
    assert list(frame["value"]) == [0.0, 1.0]


def test_a_replay_changes_nothing(store: Store) -> None:
    """The same batch again is counted as already there, and marks nothing as changed."""
    batch = [temperature(minute) for minute in range(5)]
    store.write(batch)
    store.write_air([], store.changes())
    assert store.write(batch) == Written(0, 5, 0)
    assert store.changes() == []
    assert len(values(store)) == 5


def test_the_first_value_stays(store: Store) -> None:
    """Another value for the same time is counted as differing and not kept."""
    store.write([temperature(0, 12.0)])
    assert store.write([temperature(0, 13.0), temperature(1, 14.0)]) == Written(1, 0, 1)
    assert values(store) == [12.0, 14.0]


def test_doubles_within_one_batch_are_kept_once(store: Store) -> None:
    """A batch that holds a reading twice stores it once."""
    assert store.write([temperature(0, 12.0), temperature(0, 12.0), temperature(0, 9.0)]) == Written(1, 1, 1)


def test_a_batch_that_cannot_be_kept_is_refused_whole(store: Store) -> None:
    """An infinite value refuses the batch; nothing of it is stored."""
    with pytest.raises(ReadingError, match="inf is no value"):
        store.write([temperature(0), temperature(1, float("inf"))])
    assert store.series() == []


def test_every_series_is_summed_up(store: Store) -> None:
    """The summary has count, extent and the newest value, not the newest arrival."""
    store.write(
        [temperature(5, 11.5, flag=Flag.SUSPECT, reason="spike"), Reading("rack-1", "humidity", NOON, 86.0)]
    )
    store.write([temperature(1, 11.0)])
    humidity, air = store.series()
    assert (humidity.quantity, humidity.count, humidity.last_value) == ("humidity", 1, 86.0)
    assert (air.count, air.first_ms, air.last_ms) == (2, NOON + 60_000, NOON + 300_000)
    assert (air.last_value, air.last_flag, air.last_reason) == (11.5, 3, "spike")


def test_new_readings_mark_their_slots_as_changed(store: Store) -> None:
    """Each sensor's ten-minute slot is marked once; the newest come first."""
    store.write([temperature(11), temperature(0), temperature(1), temperature(3, sensor="rack-2")])
    marks = [(change.sensor, change.slot_ms) for change in store.changes()]
    assert marks == [("rack-1", NOON + TEN_MINUTES_MS), ("rack-1", NOON), ("rack-2", NOON)]
    assert len(store.changes(limit=2)) == 2


def test_a_change_that_moved_on_is_not_forgotten(store: Store) -> None:
    """A reading that arrives while its slot is being worked out leaves the slot marked."""
    store.write([temperature(0)])
    taken = store.changes()
    store.write([temperature(1)])
    store.write_air([air_record(0)], taken)
    assert [change.slot_ms for change in store.changes()] == [NOON]
    store.write_air([], store.changes())
    assert store.changes() == []


def test_a_revision_is_never_given_twice(store: Store) -> None:
    """A stale worker cannot forget a mark made after the one it saw was answered."""
    store.write([temperature(0)])
    stale = store.changes()
    store.write_air([], stale)
    store.write([temperature(1)])
    store.write_air([], stale)
    assert len(store.changes()) == 1


def air_record(slot: int, place: str = "left", temperature_c: float | None = 12.0) -> AirRecord:
    start = NOON + slot * TEN_MINUTES_MS
    return AirRecord(
        "cave", place, start, temperature_c, 11.5, 12.5, 86.0, 85.0, 87.0, 0.9, 9.7, 196.0, 0.3, None
    )


def test_air_records_are_replaced_and_read_back(store: Store) -> None:
    """An air record replaces the one before it; None comes back as NaN."""
    store.write_air([air_record(0), air_record(1)])
    store.write_air([air_record(0, temperature_c=None)])
    frame = store.read_air("cave", "left", NOON, NOON + 2 * TEN_MINUTES_MS)
    assert np.isnan(frame["temperature_c"].iloc[0])
    assert frame["temperature_c"].iloc[1] == 12.0
    assert frame["rh_sigma_pct"].isna().all()
    assert frame.index.name == "start"
    assert "place" not in frame.columns
    assert len(store.read_air("cave", "right", 0, 2**52)) == 0


def test_the_newest_air_record_of_every_place_is_found(store: Store) -> None:
    """One record for each room and place, the newest."""
    store.write_air([air_record(0), air_record(2), air_record(1), air_record(5, place="")])
    newest = {record.place: record for record in store.latest_air()}
    assert newest["left"] == air_record(2)
    assert newest[""] == air_record(5, place="")
    assert len(newest) == 2


def test_a_run_of_equal_values_is_told(store: Store) -> None:
    """Since when the newest reading's value has been repeated; a sensor that is well has a run of one."""
    store.write([temperature(minute, value) for minute, value in enumerate([12.0, 12.1, 12.2, 12.2, 12.2])])
    hours = 3_600_000
    assert store.run_before("rack-1", "temperature", NOON + hours, hours * 2) == Run(12.2, NOON + 120_000, 3)
    assert store.run_before("rack-1", "temperature", NOON + 120_000, hours) == Run(12.1, NOON + 60_000, 1)
    assert store.run_before("rack-1", "temperature", NOON + hours, 1000) is None
    assert store.run_before("rack-9", "temperature", NOON + hours, hours) is None


def test_rejects_are_counted_and_the_newest_kept(store: Store) -> None:
    """Every refusal is counted by reason; only so many are kept, newest first."""
    store.reject(Reject(NOON + n, "maturing/x", "not JSON", b"\xff" * 5000) for n in range(25))
    store.reject([Reject(NOON, "a\x00\ud800" + "t" * 999, "empty")])
    kept = store.rejects(100)
    assert len(kept) == 10
    assert kept[0].reason == "empty"
    assert kept[1].time_ms == NOON + 24
    assert len(kept[1].payload) <= 1024
    assert len(kept[0].topic) <= 300
    assert store.reject_counts() == {"empty": 1, "not JSON": 25}


def test_counted_reasons_are_bounded(store: Store) -> None:
    """A thousand invented reasons do not make a thousand counters."""
    store.reject(Reject(NOON, "t", f"reason {n}") for n in range(1000))
    counts = store.reject_counts()
    assert len(counts) <= 201
    assert sum(counts.values()) == 1000


def test_documents_are_kept_by_name(store: Store) -> None:
    """A document comes back equal; an unknown name gives None."""
    store.put_document("rooms", {"a": [1, None, "<script>\N{CHEESE WEDGE}"]})
    store.put_document("rooms", {"a": [2, None, "\N{CHEESE WEDGE}"]})
    assert store.document("rooms") == {"a": [2, None, "\N{CHEESE WEDGE}"]}
    assert store.document("none") is None


def test_closing_twice_does_no_harm(store: Store) -> None:
    """A closed store says that it is away."""
    store.close()
    store.close()
    with pytest.raises(StoreAway):
        store.write([temperature(0)])


def test_threads_share_a_store(store: Store) -> None:
    """Four threads writing and reading at once lose nothing."""
    failures: list[BaseException] = []

    def work(number: int) -> None:
        try:
            for minute in range(20):
                store.write([temperature(minute, float(number), sensor=f"rack-{number}")])
                store.read(f"rack-{number}", "temperature", 0, 2**52)
        except BaseException as error:
            failures.append(error)

    threads = [threading.Thread(target=work, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert [summary.count for summary in store.series()] == [20, 20, 20, 20]


@pytest.fixture(scope="module")
def held(tmp_path_factory: pytest.TempPathFactory) -> Iterator[EmbeddedStore]:
    """One store for all examples of a law."""
    made = EmbeddedStore(tmp_path_factory.mktemp("law") / "readings.sqlite")
    yield made
    made.close()


@given(
    numbers=st.lists(st.none() | st.floats(allow_nan=False, allow_infinity=False), min_size=1, max_size=20)
)
def test_no_value_is_ever_altered(held: EmbeddedStore, numbers: list[float | None]) -> None:
    """Any finite number comes back bit for bit, None as NaN."""
    name = uuid.uuid4().hex
    held.write([temperature(minute, number, name) for minute, number in enumerate(numbers)])
    expected = np.array([np.nan if n is None else n for n in numbers], dtype="f8")
    assert held.read(name, "temperature", 0, 2**52)["value"].to_numpy().tobytes() == expected.tobytes()


def test_an_unknown_change_is_ignored(store: Store) -> None:
    """Forgetting a change that never was does no harm."""
    store.write_air([], [Change("nobody", NOON, 1)])


def test_days_of_air_that_were_written_are_told_once(store: Store) -> None:
    """A reader who remembers a revision is told the days written since, a day written again among them."""

    def record(start_ms: int) -> AirRecord:
        return AirRecord("cave", "low", start_ms, 11.0, 11.0, 11.0, 88.0, 88.0, 88.0, 1.0, 9.0, 150.0)

    day = NOON // 86_400_000
    store.write_air([record(NOON), record(NOON + 86_400_000)])
    first = store.air_days()
    assert [(d.room, d.place, d.day) for d in first] == [("cave", "low", day), ("cave", "low", day + 1)]
    assert store.air_days(first[-1].revision) == []
    store.write_air([record(NOON + TEN_MINUTES_MS)])
    (again,) = store.air_days(first[-1].revision)
    assert (again.day, again.revision > first[-1].revision) == (day, True)
    assert len(store.air_days(0, 1)) == 1
