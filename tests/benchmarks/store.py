"""The embedded store: size and reading of sealed readings against the same values in plain rows, and durable writing.

Ten million invented readings (minute values of twenty series); set STORE_READINGS to take fewer.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from monitor.clock import DAY_MS
from monitor.records import Reading
from monitor.store.embedded import EmbeddedStore
from tests.benchmarks import Figure

DAYS, SERIES = 730, 20
START = 20_000 * DAY_MS
ALL = (0, 2**52)


def run() -> list[Figure]:
    wanted = int(os.environ.get("STORE_READINGS", 10_512_000))
    others = max(0, wanted // (DAYS * 1440) - 1)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.sqlite"
        store = EmbeddedStore(path)
        writing = _durable_writing(store)
        count = _fill(store, path, others + 1)
        plain_bytes, plain_s = _plain_rows(Path(folder) / "plain.sqlite")
        sealed_bytes = _size(path)
        whole = _best(lambda: store.read("rack-0", "temperature", *ALL))
        chart = _best(lambda: store.read_chart("rack-0", "temperature", START, START + DAYS * DAY_MS, 2000))
        store.close()
    per_reading = sealed_bytes / count
    note = f"{count:,} readings sealed"
    return [
        Figure("100 million sealed readings", per_reading / 10, "GB", "the same as plain rows", plain_bytes / 10,
               per_reading / plain_bytes, "<= 0.8 GB", note + ", extrapolated by bytes a reading"),
        Figure("two years of a minute into pandas", whole, "s", "plain rows, np.fromiter", plain_s, whole / plain_s,
               "<= 0.2 s", note),
        Figure("two years at 2,000 points", chart, "s", "plain rows, np.fromiter", plain_s, chart / plain_s,
               "<= 0.05 s", note),
        writing,
    ]  # fmt: skip


def _values(number: int) -> np.ndarray:
    """A slow cave with noise, to a hundredth."""
    chance = np.random.default_rng(number)
    minutes = np.arange(DAYS * 1440)
    daily = 0.3 * np.sin(minutes / 229.2) + np.cumsum(chance.normal(0, 0.005, len(minutes)))
    return np.round(12 + daily + chance.normal(0, 0.02, len(minutes)), 2)


def _fill(store: EmbeddedStore, path: Path, series: int) -> int:
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA synchronous = OFF")
    times = (START + np.arange(DAYS * 1440) * 60_000).tolist()
    for number in range(series):
        connection.execute("BEGIN")
        connection.execute(
            "INSERT INTO series (sensor, quantity, count, first_ms, last_ms) VALUES (?, 'temperature', ?, ?, ?)",
            (f"rack-{number}", len(times), times[0], times[-1]),
        )
        (key,) = connection.execute("SELECT max(id) FROM series").fetchone()
        scaled = np.rint(_values(number) * 10_000).astype("i8").tolist()
        rows = ((key, t, v, 1, 0) for t, v in zip(times, scaled, strict=True))
        connection.executemany("INSERT INTO reading VALUES (?, ?, ?, ?, ?)", rows)
        connection.execute("COMMIT")
        while store.seal(START + DAYS * DAY_MS, 1000):
            pass
    connection.execute("VACUUM")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    return series * len(times)


def _plain_rows(path: Path) -> tuple[float, float]:
    """Bytes a reading, and seconds for two years into numpy, of one series in plain rows."""
    connection = sqlite3.connect(path)
    connection.execute(
        "CREATE TABLE reading (series, time_ms, value REAL, flag, PRIMARY KEY (series, time_ms)) WITHOUT ROWID"
    )
    values = _values(0).tolist()
    rows = ((1, START + n * 60_000, value, 1) for n, value in enumerate(values))
    connection.executemany("INSERT INTO reading VALUES (?, ?, ?, ?)", rows)
    connection.commit()
    kind = np.dtype([("time_ms", "i8"), ("value", "f8"), ("flag", "u1")])
    query = "SELECT time_ms, value, flag FROM reading WHERE series = 1 ORDER BY time_ms"
    seconds = _best(lambda: np.fromiter(connection.execute(query), dtype=kind))
    connection.close()
    return _size(path) / len(values), seconds


def _durable_writing(store: EmbeddedStore) -> Figure:
    """Readings a second in commits of 1,000, each on the disk when it returns."""
    batches = [
        [Reading(f"probe-{n % 50}", "humidity", START + (b * 1000 + n) * 1000, 86.0) for n in range(1000)]
        for b in range(50)
    ]
    started = time.perf_counter()
    for batch in batches:
        store.write(batch)
    rate = 50_000 / (time.perf_counter() - started)
    return Figure("durable writing, 1,000 a commit", rate, "readings/s", "one reading a commit", single := _singles(store),
                  rate / single)  # fmt: skip


def _singles(store: EmbeddedStore) -> float:
    started = time.perf_counter()
    for number in range(500):
        store.write([Reading("single", "humidity", START + number * 1000, 86.0)])
    return 500 / (time.perf_counter() - started)


def _best(work: Callable[[], object], rounds: int = 3) -> float:
    seconds = []
    for _ in range(rounds):
        started = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - started)
    return min(seconds)


def _size(path: Path) -> int:
    return sum(p.stat().st_size for p in path.parent.glob(path.name + "*"))
