"""Two published series go through a real broker into the store and the air records, and every value comes back.

Sources: Candanedo & Feldheim (2016), Energy and Buildings 112:28-39, office temperature and humidity, as the PyPI
package river carries it (``river/drift/datasets/occupancy.csv``); Wilcox & Marion (2008), Users Manual for TMY3
Data Sets, NREL/TP-581-43156, station 723170, as the PyPI package pvlib carries it (``723170TYA.CSV``).
"""

from __future__ import annotations

import importlib.util
import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from monitor.clock import TEN_MINUTES_MS
from monitor.site import load
from monitor.store import open_store
from monitor.store.protocol import Store
from tests.system.parts import Mosquitto, wait_for
from tests.system.running import MonitorProcess, publish_all, write_site

pytestmark = pytest.mark.system


def package_file(package: str, *parts: str) -> Path:
    spec = importlib.util.find_spec(package)
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent.joinpath(*parts)


def office() -> pd.DataFrame:
    """The office series: time, temperature [degC], humidity [%RH]."""
    frame = pd.read_csv(package_file("river", "drift", "datasets", "occupancy.csv"), parse_dates=["time"])
    frame = frame.rename(columns={"V1": "temperature", "V2": "humidity"})
    frame["time_ms"] = frame["time"].dt.tz_localize("UTC").dt.as_unit("ms").astype("int64")
    return frame.drop_duplicates("time_ms")


def weather() -> pd.DataFrame:
    """The weather year: dry bulb and dew point [degC], humidity [%RH], one row an hour, on invented hours of 2025."""
    frame = pd.read_csv(package_file("pvlib", "data", "723170TYA.CSV"), skiprows=1)
    columns = {"Dry-bulb (C)": "temperature", "RHum (%)": "humidity", "Dew-point (C)": "dew_point"}
    frame = frame[list(columns)].rename(columns=columns)
    first = pd.Timestamp("2025-01-01T00:00Z").value // 1_000_000
    frame["time_ms"] = first + 3_600_000 * np.arange(len(frame))
    return frame


def messages(sensor: str, frame: pd.DataFrame) -> Iterator[tuple[str, bytes]]:
    for row in frame.itertuples():
        pack = [
            {
                "bn": f"urn:dev:id:{sensor}:",
                "bt": row.time_ms / 1000,
                "n": "temperature",
                "u": "Cel",
                "v": row.temperature,
            },
            {"n": "humidity", "u": "%RH", "v": row.humidity},
        ]
        yield f"maturing/{sensor}/senml", json.dumps(pack).encode()


def held(store: Store, sensor: str) -> int:
    return min([s.count for s in store.series() if s.sensor == sensor], default=0)


@pytest.fixture(scope="module")
def stored(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """Both series, published to a mosquitto and taken in by a running monitor until nothing is left to do."""
    folder = tmp_path_factory.mktemp("published")
    with Mosquitto(folder / "broker") as broker:
        site_path = write_site(folder, broker.port, ["office"], interval_s=960)
        more = site_path.read_text("utf-8").replace(
            'id = "low-rack"', 'id = "low-rack"\n[[room.place]]\nid = "roof"'
        )
        more += '[[sensor]]\nid = "weather"\nroom = "vault"\nplace = "roof"\ninterval_s = 3600\n'
        site_path.write_text(more, encoding="utf-8")
        with MonitorProcess(site_path):
            wait_for(
                lambda: "broker: connected" in (folder / "monitor.log").read_text("utf-8"),
                what="the monitor's connection",
            )
            count = publish_all(broker.port, [*messages("office", office()), *messages("weather", weather())])
            assert count == len(office()) + 8760
            store = open_store(load(site_path))
            wait_for(lambda: held(store, "weather") == 8760, 60, "the weather year in the store")
            wait_for(lambda: not store.changes(1), 120, "the air records of everything stored")
        yield store
        store.close()


def span(frame: pd.DataFrame) -> tuple[int, int]:
    return int(frame["time_ms"].min()), int(frame["time_ms"].max()) + TEN_MINUTES_MS


@pytest.mark.parametrize(("sensor", "series"), [("office", office), ("weather", weather)])
@pytest.mark.parametrize("quantity", ["temperature", "humidity"])
def test_every_published_value_is_in_the_store(stored: Store, sensor: str, series, quantity: str) -> None:
    """Each published value is found at its own time, to the last digit."""
    expected = series()
    got = stored.read(sensor, quantity, *span(expected))
    assert len(got) == len(expected)
    assert (got.index.as_unit("ms").asi8 == expected["time_ms"].to_numpy()).all()
    np.testing.assert_array_equal(got["value"].to_numpy(), expected[quantity].to_numpy(dtype=float))


@pytest.mark.parametrize(("place", "series"), [("low-rack", office), ("roof", weather)])
def test_every_published_value_is_in_the_air_records(stored: Store, place: str, series) -> None:
    """The record of each slot has the mean of the values published in it."""
    expected = series()
    slots = expected["time_ms"] // TEN_MINUTES_MS * TEN_MINUTES_MS
    means = expected.groupby(slots)[["temperature", "humidity"]].mean()
    air = stored.read_air("vault", place, int(slots.min()), int(slots.max()) + TEN_MINUTES_MS)
    assert (air.index.as_unit("ms").asi8 == means.index.to_numpy()).all()
    np.testing.assert_allclose(air["temperature_c"], means["temperature"], atol=1e-9)
    np.testing.assert_allclose(air["rh_pct"], means["humidity"], atol=1e-9)


def test_the_dew_point_agrees_with_the_weather_years_own(stored: Store) -> None:
    """For dew points from 0 degC the median difference is under 0.07 K and the 99th percentile under 0.30 K.

    The column is rounded to 0.1 K and humidity to 1 %; some rows contradict themselves, so no maximum is asserted.
    """
    expected = weather()
    air = stored.read_air("vault", "roof", *span(expected))
    difference = np.abs(air["dew_point_c"].to_numpy() - expected["dew_point"].to_numpy())
    difference = difference[(expected["dew_point"] >= 0).to_numpy()]
    assert len(difference) > 5000
    assert np.median(difference) <= 0.07
    assert np.percentile(difference, 99) <= 0.30
