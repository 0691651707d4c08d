"""A made scenario: the same bytes from the same seed, a ledger that the monitor takes in, water that adds up."""

from __future__ import annotations

import csv
import gzip
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sensors_sim.errors import SimulationError
from sensors_sim.make import make_files
from sensors_sim.messages import senml
from sensors_sim.recorder import Recorder
from sensors_sim.scenario_file import build_scenario


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture
def eventful(small: dict[str, Any]) -> dict[str, Any]:
    small["faults"] = [
        {"kind": "humidifier dry", "target": "cellar", "start": "1 d", "end": "2 d"},
        {"kind": "sensor stuck", "target": "a", "start": "1 d", "end": "2 d"},
        {"kind": "broker down", "start": "3 d", "end": "3 d 2 h"},
    ]
    small["observer"] = {"inspect_every": "1 d", "weigh_every": "1 d", "weighed_share": 1.0}
    return small


def test_same_seed_same_bytes_and_another_seed_others(eventful: dict[str, Any], tmp_path: Path) -> None:
    """Readings, ledger and truth are equal to the byte, whatever the hour they were made."""
    make_files(build_scenario(eventful), tmp_path / "one", show_progress=False)
    make_files(build_scenario(eventful), tmp_path / "two", show_progress=False)
    make_files(build_scenario({**eventful, "seed": 12}), tmp_path / "three", show_progress=False)
    one, two, three = (contents(tmp_path / name) for name in ("one", "two", "three"))
    assert one == two
    assert len(one) == 9
    assert [name for name in one if one[name] == three[name]] == []


def test_the_truth_of_each_fault_is_written(eventful: dict[str, Any], tmp_path: Path) -> None:
    """How far a room was from what it would have been, how far a sensor from its air, how many messages waited."""
    make_files(build_scenario(eventful), tmp_path, show_progress=False)
    with (tmp_path / "truth" / "faults.csv").open(encoding="utf-8") as file:
        rows = {row["kind"]: row for row in csv.DictReader(file)}
    assert float(rows["humidifier dry"]["mean_pct"]) < -0.3
    assert int(rows["sensor stuck"]["messages"]) == pytest.approx(1440, abs=15)
    assert int(rows["broker down"]["messages"]) == pytest.approx(4 * 120, abs=10)
    lines = gzip.decompress((tmp_path / "readings" / "a.csv.gz").read_bytes()).decode().splitlines()
    assert lines[0] == "stamp_ms,sent_ms,temperature_c,humidity_pct,battery_v"
    assert len(lines) == pytest.approx(4 * 1440, abs=60)


def test_a_folder_that_cannot_be_written_is_refused(small: dict[str, Any], tmp_path: Path) -> None:
    """The message names the folder."""
    blocked = tmp_path / "file"
    blocked.write_text("here already", encoding="utf-8")
    with pytest.raises(SimulationError, match="file"):
        make_files(build_scenario(small), blocked, show_progress=False)


def test_the_water_that_wheels_lose_is_the_water_that_rooms_gain(small: dict[str, Any]) -> None:
    """Between two arrivals, mass lost by all wheels equals what rooms booked, carbon apart, to 1e-9."""
    small["batches"] = small["batches"][:1]
    small["batches"][0]["first_make"] = "-10 d"
    recorder = Recorder(build_scenario(small))
    stock, room = recorder.world.stock, recorder.world.rooms["cold"]
    water, evaporated = stock.field.water_kg().sum(), room.wheels.evaporated_kg
    for _ in recorder.days():
        pass
    assert room.wheels.evaporated_kg - evaporated > 0.05
    assert water - stock.field.water_kg().sum() == pytest.approx(
        room.wheels.evaporated_kg - evaporated, rel=1e-9
    )


def test_wheels_lose_mass_and_a_bare_one_more_than_a_covered_one(small: dict[str, Any]) -> None:
    """A cover slows drying; both dry in 86 % air."""
    covered = {**small["styles"][0], "id": "covered", "cover_resistance_share": 0.8}
    small["styles"].append(covered)
    small["batches"] = [
        {"style": s, "first_make": "0 d", "wheels": 4, "route": [[0, "cold", "middle"]]}
        for s in ("hard", "covered")
    ]
    recorder = Recorder(build_scenario(small))
    for _ in recorder.days():
        pass
    stock = recorder.world.stock
    lost = (stock.made_kg - stock.mass_kg()) / stock.made_kg
    bare = np.array([w.style.id == "hard" for w in stock.wheels])
    assert lost[~bare].min() > 0
    assert lost[bare].min() > 1.5 * lost[~bare].max()


def test_a_message_is_a_senml_pack() -> None:
    """RFC 8428: base name and time, Cel and %RH, the battery only where there is one."""
    text = senml("cave-low", 1764064800.0, 11.9, 86.1, float("nan"))
    assert text == (
        b'[{"bn":"urn:dev:id:cave-low:","bt":1764064800.000,"n":"temperature","u":"Cel","v":11.9},'
        b'{"n":"humidity","u":"%RH","v":86.1}]'
    )
    assert b'"battery_voltage","u":"V","v":2.9' in senml("a", 0.0, 1.0, 2.0, 2.9)
