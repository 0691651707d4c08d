"""The dose book: any span's doses as a difference, the same as summing the records, also after late readings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor import air
from monitor.climate.dose_book import NUMBER, DoseBook, pieces_of
from monitor.climate.running_sums import kinetic_temperature
from monitor.clock import DAY_MS, TEN_MINUTES_MS, to_ms
from monitor.records import AirRecord
from monitor.rind.drying import drying_pace
from monitor.rind.mould import mould_pace
from monitor.rind.ripening import mean_kinetic_temperature, rate_factor
from monitor.rind.species import RIND_MOULDS
from monitor.site import Site
from monitor.store.embedded import EmbeddedStore
from tests.wheels.samples import MADE, make_site

START = to_ms(MADE) - to_ms(MADE) % DAY_MS
DAYS = 70


def records(place: str, from_slot: int, t: np.ndarray, rh: np.ndarray) -> list[AirRecord]:
    return [
        AirRecord("vault", place, START + (from_slot + i) * TEN_MINUTES_MS, a, a - 0.1, a + 0.1, b, b - 1, b + 1,
                  1.0, None, None, 0.3, 2.0)
        for i, (a, b) in enumerate(zip(t.tolist(), rh.tolist(), strict=True))
    ]  # fmt: skip


@pytest.fixture(scope="module")
def air_of_the_place() -> tuple[np.ndarray, np.ndarray]:
    generator = np.random.default_rng(3)
    slots = DAYS * 144
    return 11.5 + generator.normal(0, 0.6, slots), np.clip(86 + generator.normal(0, 4, slots), 40, 99.5)


@pytest.fixture(scope="module")
def book(
    tmp_path_factory: pytest.TempPathFactory, air_of_the_place: tuple[np.ndarray, np.ndarray]
) -> DoseBook:
    folder = tmp_path_factory.mktemp("doses")
    store = EmbeddedStore(folder / "readings.sqlite")
    store.write_air(records("low-rack", 0, *air_of_the_place))
    found = DoseBook(make_site(folder), store)
    found.catch_up()
    return found


def style_of(site: Site):
    return site.style_by_id["clothed"]


def life(book: DoseBook, from_day: float, to_day: float, made_ms: int = START) -> np.ndarray:
    stay = ("vault", "low-rack", START + int(from_day * DAY_MS), START + int(to_day * DAY_MS))
    return book.doses([(style_of(book.site), made_ms, [stay])])[0]


def test_doses_are_those_of_the_records_summed_by_hand(
    book: DoseBook, air_of_the_place: tuple[np.ndarray, np.ndarray]
) -> None:
    """Drying, mould, warmth and days out of band of twenty days agree with the same functions over every record."""
    t, rh = (values[10 * 144 : 30 * 144] for values in air_of_the_place)
    style, sums = style_of(book.site), life(book, 10, 30)
    stage = style.stages[0]
    pressure = float(air.pressure_at_altitude(book.site.site.altitude_m))
    reference = (stage.reference_temperature_c, stage.reference_rh_pct)
    speed = book.site.room_by_id["vault"].air_speed_at("low-rack")
    drying = drying_pace(t, rh, *reference, air_speed_m_s=speed, pressure_pa=pressure)
    species = style.unwanted_moulds or RIND_MOULDS[style.rind].unwanted
    mould = mould_pace(t, rh / 100, reference[0], reference[1] / 100, species=species)
    assert sums[NUMBER["days"]] == pytest.approx(20)
    assert sums[NUMBER["known"]] == pytest.approx(20)
    assert sums[NUMBER["drying"]] == pytest.approx(np.sum(drying) / 144, rel=1e-9)
    assert sums[NUMBER["mould"]] == pytest.approx(np.sum(mould) / 144, rel=1e-9)
    assert sums[NUMBER["dry"]] == pytest.approx(np.sum(rh < stage.rh_pct[0]) / 144, rel=1e-9)
    assert sums[NUMBER["equivalent_days"]] == pytest.approx(
        np.sum(rate_factor(t, reference[0])) / 144, rel=1e-9
    )
    assert kinetic_temperature(sums[NUMBER["kinetic"]] / 20) == pytest.approx(
        mean_kinetic_temperature(t), abs=1e-6
    )


@settings(max_examples=30, deadline=None)
@given(st.floats(0, 70), st.floats(0, 70), st.floats(0, 70))
def test_a_span_is_the_sum_of_its_parts(book: DoseBook, a: float, b: float, c: float) -> None:
    """Cut anywhere, even within a slot or across a change of stage, the parts come to the whole."""
    low, middle, high = sorted((a, b, c))
    parts = life(book, low, middle) + life(book, middle, high)
    assert parts == pytest.approx(life(book, low, high), rel=1e-6, abs=1e-6)


def test_a_late_reading_changes_what_it_touches(tmp_path: Path) -> None:
    """A day that arrives late, and a record made again, end in the doses of a book that knew them from the first."""
    store = EmbeddedStore(tmp_path / "readings.sqlite")
    t, rh = np.full(10 * 144, 11.0), np.linspace(80, 92, 10 * 144)
    late = slice(3 * 144, 4 * 144)
    store.write_air(records("low-rack", 0, t[:432], rh[:432]) + records("low-rack", 576, t[576:], rh[576:]))
    book = DoseBook(make_site(tmp_path), store)
    book.catch_up()
    assert life(book, 0, 10)[NUMBER["known"]] == pytest.approx(9)
    store.write_air(records("low-rack", 432, t[late], rh[late]))
    store.write_air(records("low-rack", 1000, np.array([25.0]), np.array([40.0])))
    book.catch_up()
    afresh = DoseBook(book.site, store)
    afresh.catch_up()
    assert life(book, 0, 10)[NUMBER["known"]] == pytest.approx(10)
    assert life(book, 0, 10) == pytest.approx(life(afresh, 0, 10), rel=1e-12)
    assert book.air.of("vault", "low-rack").version > 1
    unchanged = book.air.of("vault", "low-rack").version
    store.write_air(records("low-rack", 432, t[late], rh[late]))
    book.catch_up()
    assert book.air.of("vault", "low-rack").version == unchanged


def test_a_place_without_a_sensor_takes_its_rooms_air(tmp_path: Path) -> None:
    """The high rack has no air record of its own: a wheel there has the vault's; in no place at all it has none."""
    store = EmbeddedStore(tmp_path / "readings.sqlite")
    store.write_air(records("", 0, np.full(288, 11.0), np.full(288, 84.0)))
    book = DoseBook(make_site(tmp_path), store)
    book.catch_up()
    style = style_of(book.site)
    stays = [("vault", "high-rack", START, START + 2 * DAY_MS), ("elsewhere", "x", START, START + DAY_MS)]
    pieces = pieces_of(style, START, stays)
    assert book.sums(pieces)[:, NUMBER["known"]].tolist() == pytest.approx([2.0, 0.0])
    assert book.sums(pieces)[:, NUMBER["days"]].tolist() == pytest.approx([2.0, 1.0])


def test_places_are_let_go_of_and_come_back_the_same(tmp_path: Path) -> None:
    """With room for one place at a time the doses of three racks, asked for in turn and after a late reading, are those
    of a book with room for all; a place is read when it is asked for, and never all of them."""
    store = EmbeddedStore(tmp_path / "readings.sqlite")
    for number, place in enumerate(("low", "middle", "high")):
        store.write_air(records(place, 0, np.full(720, 10.0 + number), np.linspace(80, 90, 720)))
    site = make_site(tmp_path)
    tight, wide = DoseBook(site, store, most_bytes=1), DoseBook(site, store)
    pieces = {
        place: pieces_of(style_of(site), START, [("vault", place, START, START + 5 * DAY_MS)])
        for place in ("low", "middle", "high")
    }
    for place in ("low", "high", "low", "middle", "low"):
        tight.catch_up()
        wide.catch_up()
        assert tight.sums(pieces[place]) == pytest.approx(wide.sums(pieces[place]), rel=1e-11)
        store.write_air(records("low", 700, np.array([25.0]), np.array([40.0])))
    tight.catch_up()
    assert list(tight.air.places) == [("vault", "low")]
    assert len(wide.air.places) == 3
    assert tight.size < wide.size / 2
