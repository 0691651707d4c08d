"""Ten-minute air records: what enters them, and that late readings end in the same records."""

from __future__ import annotations

import random
from pathlib import Path

import pandas as pd
import pytest

from monitor import air
from monitor.climate.air_records import AirKeeper, runs
from monitor.clock import TEN_MINUTES_MS, parse_rfc3339, to_ms
from monitor.intake.calibration import judging
from monitor.records import AirRecord, Flag, Reading
from monitor.site import Site, check_text
from monitor.store.embedded import EmbeddedStore
from tests.test_site import GOOD

START = to_ms(parse_rfc3339("2026-03-01T06:00:00Z"))
TWO_SENSORS = GOOD + '[[sensor]]\nid = "nv-2"\nroom = "vault"\nplace = "high-rack"\ninterval_s = 60\n'


@pytest.fixture
def site() -> Site:
    site, faults = check_text(TWO_SENSORS, Path("site.toml"))
    assert site is not None, faults
    return site


@pytest.fixture
def store(tmp_path: Path) -> EmbeddedStore:
    return EmbeddedStore(tmp_path / "readings.sqlite")


def pair(
    sensor: str, minute: float, temperature_c: float, rh_pct: float, flag: int = Flag.NOT_EVALUATED
) -> list[Reading]:
    time_ms = START + round(minute * 60_000)
    return [
        Reading(sensor, "temperature", time_ms, temperature_c, flag),
        Reading(sensor, "humidity", time_ms, rh_pct, flag),
    ]


def only(records: list[AirRecord], place: str) -> AirRecord:
    (record,) = [r for r in records if r.place == place]
    return record


def test_a_slot_of_ten_readings_is_summed_up(site: Site, store: EmbeddedStore) -> None:
    """Ten readings at a minute give mean, extremes and a coverage of one."""
    store.write([r for minute in range(10) for r in pair("nv-1", minute, 11.0 + minute / 10, 86.0)])
    record = only(AirKeeper(site, store).update(), "low-rack")
    assert record.start_ms == START
    assert record.temperature_c == pytest.approx(11.45)
    assert (record.temperature_min_c, record.temperature_max_c) == (11.0, 11.9)
    assert record.rh_pct == pytest.approx(86.0)
    assert record.coverage == 1.0
    assert record.dew_point_c == pytest.approx(air.dew_point(11.45, 86.0), abs=0.01)
    assert record.temperature_sigma_k == 0.3


def test_a_bad_reading_leaves_no_trace_in_the_record(site: Site, store: EmbeddedStore) -> None:
    """A failed reading of 60 degC enters neither mean nor extremes, and lowers the coverage."""
    good = [r for minute in range(9) for r in pair("nv-1", minute, 11.0, 86.0)]
    store.write(good + pair("nv-1", 9, 60.0, 5.0, Flag.FAIL))
    record = only(AirKeeper(site, store).update(), "low-rack")
    assert record.temperature_max_c == 11.0
    assert record.rh_min_pct == 86.0
    assert record.coverage == pytest.approx(0.9)


def test_the_room_counts_its_places_alike(site: Site, store: EmbeddedStore) -> None:
    """A place with ten readings weighs no more in the room's record than one with a single reading."""
    store.write(
        [r for minute in range(10) for r in pair("nv-1", minute, 10.0, 90.0)] + pair("nv-2", 3, 12.0, 80.0)
    )
    room = only(AirKeeper(site, store).update(), "")
    assert room.temperature_c == pytest.approx(11.0)
    assert room.rh_pct == pytest.approx(85.0)
    assert (room.temperature_min_c, room.temperature_max_c) == (10.0, 12.0)
    assert room.coverage == pytest.approx((1.0 + 0.1) / 2)


def test_order_of_arrival_changes_nothing(site: Site, tmp_path: Path) -> None:
    """Readings of an hour give the same records whether they come in order or shuffled in five bursts."""
    readings = [
        r
        for minute in range(60)
        for sensor, offset in (("nv-1", 0.0), ("nv-2", 0.7))
        for r in pair(sensor, minute, 11.0 + offset + minute / 60, 85.0 + minute / 30)
    ]
    ordered, shuffled = EmbeddedStore(tmp_path / "a.sqlite"), EmbeddedStore(tmp_path / "b.sqlite")
    ordered.write(readings)
    AirKeeper(site, ordered).update()
    random.Random(7).shuffle(readings)
    keeper = AirKeeper(site, shuffled)
    for burst in range(5):
        shuffled.write(readings[burst::5])
        keeper.update()
    for place in ("low-rack", "high-rack", ""):
        span = (START, START + 6 * TEN_MINUTES_MS)
        expected, got = ordered.read_air("vault", place, *span), shuffled.read_air("vault", place, *span)
        assert len(expected) == 6
        assert (expected - got).abs().max().max() < 1e-9


def test_a_record_once_made_is_not_made_again_without_a_change(site: Site, store: EmbeddedStore) -> None:
    """With nothing new there is nothing to do; one late reading makes one slot of the place and the room anew."""
    store.write(pair("nv-1", 1, 11.0, 86.0) + pair("nv-1", 31, 11.0, 86.0))
    keeper = AirKeeper(site, store)
    assert len(keeper.update()) == 4
    assert keeper.update() == []
    store.write(pair("nv-1", 2, 13.0, 86.0))
    again = keeper.update()
    assert {(r.place, r.start_ms) for r in again} == {("low-rack", START), ("", START)}
    assert only(again, "low-rack").temperature_c == pytest.approx(12.0)


def test_humidity_alone_gives_no_dew_point_rather_than_a_wrong_one(site: Site, store: EmbeddedStore) -> None:
    """A slot without any temperature has a humidity, and None for what cannot be known."""
    store.write([Reading("nv-1", "humidity", START, 86.0)])
    record = only(AirKeeper(site, store).update(), "low-rack")
    assert record.rh_pct == 86.0
    assert record.temperature_c is None
    assert record.dew_point_c is None
    assert record.vapour_pressure_deficit_pa is None


def test_a_sensor_above_saturation_counts_as_saturated_air(site: Site, store: EmbeddedStore) -> None:
    """A sensor that does not clip may read 101.5 %: the reading stays, the deficit is zero and not negative."""
    store.write(pair("nv-1", 0, 11.0, 101.5))
    record = only(AirKeeper(site, store).update(), "low-rack")
    assert record.rh_pct == 101.5
    assert record.vapour_pressure_deficit_pa == pytest.approx(0.0, abs=1e-9)
    assert record.dew_point_c == pytest.approx(11.0, abs=1e-6)


def test_slots_far_apart_are_read_as_separate_spans() -> None:
    """A late reading from last year does not make the keeper read the whole year."""
    year_ago = START - 365 * 86_400_000
    assert runs([year_ago, START, START + TEN_MINUTES_MS]) == [
        (year_ago, year_ago + TEN_MINUTES_MS),
        (START, START + 2 * TEN_MINUTES_MS),
    ]


def lived(tmp_path: Path, readings: dict[str, list[float]], minutes: int) -> pd.DataFrame:
    """The air of a place with these humidities by sensor, a reading each so many minutes, judged as it comes in."""
    text = GOOD + "".join(
        f'[[sensor]]\nid = "{name}"\nroom = "vault"\nplace = "high-rack"\ninterval_s = {minutes * 60}\n'
        for name in readings
    )
    site, faults = check_text(text, tmp_path / "site.toml")
    assert site is not None, faults
    store = EmbeddedStore(tmp_path / "readings.sqlite")
    keeper = AirKeeper(site, store, judging(site))
    for number, values in enumerate(zip(*readings.values(), strict=True)):
        time_ms = START + number * minutes * 60_000
        store.write([Reading(n, "humidity", time_ms, v) for n, v in zip(readings, values, strict=True)])
        keeper.update()
    return store.read_air("vault", "high-rack", 0, 2**52)


def test_a_stuck_sensor_leaves_the_air_after_five_and_a_half_hours(tmp_path: Path) -> None:
    """Eight hours of the same 86.5 %: the last two and a half are not taken for air, though each slot alone looks well."""
    frame = lived(tmp_path, {"rack-1": [86.5] * 48}, minutes=10)
    assert frame["rh_pct"].notna().tolist() == [True] * 33 + [False] * 15


def test_creep_is_carried_from_slot_to_slot(tmp_path: Path) -> None:
    """Ten hours at 88 %: the humidity may read 0.5 % too high, and the record says so."""
    frame = lived(tmp_path, {"rack-1": [88.0 + n % 5 / 10 for n in range(60)]}, minutes=10)
    assert frame["rh_creep_pct"].iloc[-1] == pytest.approx(0.5, abs=0.02)


def test_one_of_three_sensors_that_is_off_is_left_out(tmp_path: Path) -> None:
    """Two say 86, the third 99: the place has 86."""
    well, off = [86.0, 86.1, 86.0, 86.2], [99.0, 99.1, 99.0, 99.2]
    frame = lived(tmp_path, {"rack-1": well, "rack-2": well, "rack-3": off}, minutes=10)
    assert frame["rh_pct"].tolist() == pytest.approx(well)
