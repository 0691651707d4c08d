"""Bringing in a logger's CSV file: detection, parsing, and durable storing, against pandas alone reading the same file."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from monitor.intake.csv_form import form_of
from monitor.intake.csv_import import Target, import_file
from monitor.intake.csv_times import zone_named
from monitor.site import load
from monitor.store import open_store
from tests.benchmarks import Figure
from tests.system.running import write_site

ROWS = 1_000_000


def run() -> list[Figure]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = _file(folder)
        started = time.perf_counter()
        pd.read_csv(path, parse_dates=["time"])
        plain = ROWS / (time.perf_counter() - started)
        site = load(write_site(folder, 1883, ["rack-1"]))
        store = open_store(site)
        started = time.perf_counter()
        account = import_file(store, path, form_of(path), Target(site, zone_named("UTC"), "rack-1"))
        rate = ROWS / (time.perf_counter() - started)
        store.close()
        assert account.new == 2 * ROWS, account
    return [
        Figure("importing a logger's file", rate, "rows/s", "pandas reading it, nothing stored", plain, rate / plain,
               ">= 200,000 rows/s", f"{ROWS:,} invented rows of temperature and humidity, minute by minute")
    ]  # fmt: skip


def _file(folder: Path) -> Path:
    """Invented: two years of minutes, to a hundredth."""
    chance = np.random.default_rng(7)
    start = np.datetime64("2023-11-01T00:00")
    frame = pd.DataFrame(
        {
            "time": (start + np.arange(ROWS).astype("timedelta64[m]")).astype(str),
            "Temperature (°C)": np.round(11 + np.cumsum(chance.normal(0, 0.003, ROWS)), 2),
            "RH (%)": np.round(86 + chance.normal(0, 0.5, ROWS), 2),
        }
    )
    path = folder / "logger.csv"
    frame.to_csv(path, index=False)
    return path
