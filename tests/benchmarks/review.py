"""What a review costs: by its moves and not its history, doses of a full house, and straightforward pandas beside."""

from __future__ import annotations

import tempfile
import time
from datetime import timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from monitor import air
from monitor.climate.dose_book import NUMBER, DoseBook
from monitor.clock import DAY_MS, TEN_MINUTES_MS, to_ms
from monitor.review import review_wheel
from monitor.rind.drying import drying_pace
from monitor.rind.mould import mould_pace
from monitor.rind.presets import PRESETS
from monitor.rind.ripening import rate_factor
from monitor.rind.species import RIND_MOULDS
from monitor.rind.twin import Twin
from monitor.site import Site, Style
from monitor.store.embedded import EmbeddedStore
from monitor.twins.hourly import HOUR_MS
from monitor.twins.house import Beside
from monitor.twins.kept import SHELVES, Kept, shelf_document, shelf_of
from monitor.wheels import Ledger, open_ledger
from tests.benchmarks import Figure
from tests.wheels.samples import NOW, make_site

OLD, YOUNG = 730, 30
PLACES = ("low-rack", "high-rack")
WHEELS, MAKES = 5_000, 500
ROUNDS = 60
READING_S = 60


def readings_of(place: int) -> pd.DataFrame:
    """Two years of invented readings a minute apart: a yearly and a daily swing, and weather."""
    generator = np.random.default_rng(place)
    end = to_ms(NOW) // TEN_MINUTES_MS * TEN_MINUTES_MS
    times = np.arange(end - (OLD + 2) * DAY_MS, end, READING_S * 1000)
    day = times / DAY_MS
    weather = np.repeat(np.cumsum(generator.normal(0, 0.02, len(times) // 600 + 1)), 600)[: len(times)]
    t = (
        11.5
        + 1.0 * np.sin(2 * np.pi * day / 365)
        + 0.3 * np.sin(2 * np.pi * day)
        + generator.normal(0, 0.05, len(day))
    )
    rh = np.clip(86 - 3 * place + 3 * np.sin(2 * np.pi * day / 365 + 1) + np.clip(weather, -5, 5), 40, 99)
    rh = np.clip(rh + generator.normal(0, 0.3, len(day)), 0, 100)
    return pd.DataFrame({"temperature": t, "humidity": rh}, index=pd.to_datetime(times, unit="ms", utc=True))


def put_air(path: Path, place: str, readings: pd.DataFrame) -> None:
    """The readings' ten-minute records, written as the service would have over two years."""
    slots = readings.groupby(readings.index.floor("10min")).agg(["mean", "min", "max"])
    t, rh = slots["temperature"], slots["humidity"]
    start = slots.index.as_unit("ms").asi8
    store = EmbeddedStore(path)
    with store._connections.writing() as connection:
        connection.executemany(
            "INSERT INTO air (room, place, start_ms, temperature_c, temperature_min_c, temperature_max_c, rh_pct,"
            " rh_min_pct, rh_max_pct, coverage, temperature_sigma_k, rh_sigma_pct) VALUES ('vault', ?, ?, ?, ?, ?, ?, ?, ?, 1, 0.3, 2)",
            zip([place] * len(start), start.tolist(), *(t[c].tolist() for c in ("mean", "min", "max")),
                *(rh[c].tolist() for c in ("mean", "min", "max")), strict=True),
        )  # fmt: skip
        revision = connection.execute("SELECT value FROM counter WHERE name = 'air'").fetchone()[0]
        connection.execute(
            "INSERT OR REPLACE INTO air_day SELECT room, place, start_ms / 86400000 AS day, ? FROM air WHERE place = ?"
            " GROUP BY day",
            (revision + 1, place),
        )
        connection.execute("UPDATE counter SET value = ? WHERE name = 'air'", (revision + 1,))
    store.close()


def house(folder: Path) -> Ledger:
    """Five thousand wheels, an old and a young one among them that moved ten times each."""
    ledger = open_ledger(make_site(folder), clock=lambda: NOW)
    rows = []
    for number in range(MAKES):
        made = NOW - timedelta(days=OLD * (number + 1) / MAKES)
        for wheel in range(WHEELS // MAKES):
            about = {"author": "bench", "wheel": f"M{number:03d}-{wheel}", "make": f"M{number:03d}"}
            rows.append({**about, "kind": "make", "style": "clothed", "at": f"{made:%Y-%m-%dT%H:%M:%SZ}"})
            for move in range(3):
                at = made + (NOW - made) * move / 3
                rows.append({**about, "make": "", "kind": "move", "room": "vault", "place": PLACES[(wheel + move) % 2],
                             "at": f"{at:%Y-%m-%dT%H:%M:%SZ}"})  # fmt: skip
    ledger.load(rows)
    for name, days in (("OLD", OLD), ("YOUNG", YOUNG)):
        made = NOW - timedelta(days=days)
        ledger.add_make(name, "clothed", made, [f"{name}-1"], author="bench", mass_kg=22)
        for move in range(10):
            at = made + timedelta(days=days * move / 10)
            ledger.move(f"{name}-1", "vault", PLACES[move % 2], at, author="bench")
    return ledger


def keep_rinds(store: EmbeddedStore, ledger: Ledger) -> None:
    """The rinds of all wheels as the service keeps them, with a loss for every week of each wheel's life."""
    names, now = sorted(ledger.whereabouts()), to_ms(NOW) // HOUR_MS
    for number in range(SHELVES):
        mine = [name for name in names if shelf_of(name) == f"twins/{number}"]
        twin = Twin([PRESETS["cloth-bound"]] * len(mine))
        for _ in range(24):
            twin.advance(3600.0, 11.5, 86.0)
        kept = []
        for i, name in enumerate(mine):
            weeks = int((NOW - ledger.wheel(name).made_at).days / 7)
            track = [(now - 168 * (weeks - k), 0.01 * k, 0.0) for k in range(weeks + 1)]
            p = twin.parameters[i]
            kept.append(Kept(name, now, twin.state.selected([i]), Beside.fresh(1), p.wrap_resistance,
                             p.diffusivity_m2_s, "", track))  # fmt: skip
        store.put_document(f"twins/{number}", shelf_document(kept))


def times_of(
    site: Site, store: EmbeddedStore, ledger: Ledger, names: tuple[str, ...]
) -> dict[str, np.ndarray]:
    """Seconds of warm reviews of some wheels, taken in turn so that the machine's moods fall on all alike."""
    for name in names:
        review_wheel(site, store, ledger, name, NOW)
    found: dict[str, list[float]] = {name: [] for name in names}
    for _ in range(ROUNDS):
        for name in names:
            start = time.perf_counter()
            review_wheel(site, store, ledger, name, NOW)
            found[name].append(time.perf_counter() - start)
    return {name: np.array(seconds) for name, seconds in found.items()}


def by_pandas(site: Site, readings: dict[str, pd.DataFrame], style: Style, life: object) -> np.ndarray:
    """Drying, mould and equivalent days of one wheel, straight from its raw readings."""
    made_ms, stays = life.made_ms, life.stays
    pressure, total = float(air.pressure_at_altitude(site.site.altitude_m)), np.zeros(3)
    for _, place, start, end in stays:
        span = readings[place].loc[
            pd.Timestamp(start, unit="ms", tz="UTC") : pd.Timestamp(
                (end or to_ms(NOW)) - 1, unit="ms", tz="UTC"
            )
        ]
        mean = span.resample("10min").mean().dropna()
        age = (mean.index.as_unit("ms").asi8 - made_ms) / DAY_MS
        for stage in style.stages:
            rows = mean[(age >= stage.from_day) & (age < (stage.to_day or np.inf))]
            t, rh = rows["temperature"].to_numpy(), rows["humidity"].to_numpy()
            reference = stage.reference_temperature_c, stage.reference_rh_pct
            speed = site.room_by_id["vault"].air_speed_at(place)
            species = style.unwanted_moulds or RIND_MOULDS[style.rind].unwanted
            total += [
                np.sum(drying_pace(t, rh, *reference, air_speed_m_s=speed, pressure_pa=pressure)) / 144,
                np.sum(mould_pace(t, rh / 100, reference[0], reference[1] / 100, species=species)) / 144,
                np.sum(rate_factor(t, reference[0])) / 144,
            ]
    return total


def run() -> list[Figure]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        readings = {place: readings_of(i) for i, place in enumerate(PLACES)}
        for place, frame in readings.items():
            put_air(folder / "readings.sqlite", place, frame)
        ledger, site = house(folder), make_site(folder)
        store = EmbeddedStore(folder / "readings.sqlite")
        keep_rinds(store, ledger)
        seconds = times_of(site, store, ledger, ("OLD-1", "YOUNG-1"))
        book = DoseBook(site, store)
        start = time.perf_counter()
        book.catch_up()
        cold = time.perf_counter() - start
        style, end = site.style_by_id["clothed"], to_ms(NOW)

        def full_house() -> np.ndarray:
            wheels = ledger.whereabouts().values()
            return book.doses(
                (style, w.made_ms, [(a, b, c, end if d is None else d) for a, b, c, d in w.stays])
                for w in wheels
            )

        start = time.perf_counter()
        full_house()
        first = time.perf_counter() - start
        start = time.perf_counter()
        sums = full_house()
        warm = time.perf_counter() - start
        where = ledger.whereabouts(["OLD-1"])["OLD-1"]
        start = time.perf_counter()
        theirs = by_pandas(site, readings, style, where)
        pandas_s = time.perf_counter() - start
        life = [(style, where.made_ms, [(a, b, c, end if d is None else d) for a, b, c, d in where.stays])]
        start = time.perf_counter()
        for _ in range(20):
            ours = book.doses(life)[0]
        ours_s = (time.perf_counter() - start) / 20
        ours = ours[[NUMBER["drying"], NUMBER["mould"], NUMBER["equivalent_days"]]]
        worst = float(np.max(np.abs(ours / theirs - 1.0)))
        assert len(sums) == WHEELS + 2
        assert worst < 1e-3, worst
    old, young = (1000.0 * np.quantile(seconds[name], 0.95) for name in ("OLD-1", "YOUNG-1"))
    middle = float(np.median(seconds["OLD-1"]) / np.median(seconds["YOUNG-1"]))
    return [
        Figure("review: two years, ten moves, warm, p95", old, "ms", "goal, ms", 50.0, 50.0 / old, ">= 1",
               "beside 5,000 wheels in the ledger, its rind kept"),
        Figure("review: two years against a month, medians", float(np.median(seconds["OLD-1"])) * 1000, "ms",
               "a month, ms", float(np.median(seconds["YOUNG-1"])) * 1000, middle, "<= 1.5",
               f"p95 of the month's {young:.1f} ms"),
        Figure("doses: 5,000 wheels with three stays, warm", warm, "s", "goal, s", 1.0, 1.0 / warm, ">= 1",
               f"first time {first:.2f} s, and reading two years of two places {cold:.2f} s"),
        Figure("doses: one wheel, two years", ours_s, "s", "pandas over raw readings, s", pandas_s,
               pandas_s / ours_s, ">= 100", f"largest difference {100 * worst:.4f} %; readings every {READING_S} s"),
    ]  # fmt: skip
