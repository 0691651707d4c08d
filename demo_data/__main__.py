"""Makes the demo's data: ``python -m demo_data`` (about a minute)."""

from __future__ import annotations

import csv
import gzip
import io
from collections import defaultdict

import numpy as np
from numpy.typing import NDArray
from tqdm import tqdm

from demo_data import (
    HUMIDITY_STEP_PCT,
    LEDGER_FILE,
    NO_VALUE,
    READINGS_FILE,
    SLOT_S,
    TEMPERATURE_STEP_C,
    YEAR_SCENARIO,
)
from sensors_sim.network import SensorNetwork
from sensors_sim.recorder import Recorder
from sensors_sim.scenario_file import read_scenario
from sensors_sim.sensors import Samples


def main() -> None:
    """Run the year and write its readings and its ledger."""
    scenario = read_scenario(YEAR_SCENARIO)
    recorder = Recorder(scenario)
    network = SensorNetwork(scenario, recorder.world.faults)
    sent: dict[str, list[Samples]] = defaultdict(list)
    for span in tqdm(recorder.days(), total=round(scenario.days), unit="day"):
        for samples in network.messages(span):
            sent[samples.sensor].append(samples)
    slots = round(scenario.length_s / SLOT_S)
    grids = {
        sensor: np.diff(_grid(parts, slots), prepend=0, axis=1).astype(np.int16)
        for sensor, parts in sent.items()
    }
    np.savez_compressed(READINGS_FILE, **grids)
    LEDGER_FILE.write_bytes(gzip.compress(_ledger_text(recorder.observer.rows).encode("utf-8"), 9, mtime=0))


def _grid(parts: list[Samples], slots: int) -> NDArray[np.int16]:
    """A sensor's values on the ten-minute grid, in steps: temperature and humidity, `NO_VALUE` where missing."""
    grid = np.full((2, slots), NO_VALUE, dtype=np.int16)
    for samples in parts:
        index = np.round(samples.stamp_s / SLOT_S).astype(int)
        fits = (index >= 0) & (index < slots)
        grid[0, index[fits]] = np.round(samples.temperature_c[fits] / TEMPERATURE_STEP_C)
        grid[1, index[fits]] = np.round(samples.humidity_pct[fits] / HUMIDITY_STEP_PCT)
    return grid


def _ledger_text(rows: list[dict]) -> str:
    columns = list(dict.fromkeys(key for row in rows for key in row))
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, columns, lineterminator="\n")
    writer.writeheader()
    writer.writerows(sorted(rows, key=lambda row: row["at_s"]))
    return out.getvalue()


if __name__ == "__main__":
    main()
