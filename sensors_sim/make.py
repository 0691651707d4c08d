"""Writes a scenario as files: what sensors said, what the ledger holds, and the truth behind both.

In the folder: ``readings/SENSOR.csv.gz`` (one row a message, in the order sent; a contact's state as 0 or 1),
``ledger.csv`` (columns of the ledger's CSV import), ``truth/air.npz`` (ten-minute means at places), ``truth/wheels.npz`` (daily mass and rind
water activity), ``truth/events.csv``, ``truth/faults.csv``.  Same scenario, same bytes.
"""

from __future__ import annotations

import csv
import gzip
import io
from collections import defaultdict
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from tqdm import tqdm

from sensors_sim.contacts import States
from sensors_sim.effects import Effect, sensor_effect
from sensors_sim.errors import SimulationError
from sensors_sim.network import SensorNetwork
from sensors_sim.recorder import Recorder
from sensors_sim.scenario import SENSOR_FAULTS, Fault, Scenario
from sensors_sim.sensors import Samples
from sensors_sim.world import Span, joined

Array = NDArray[Any]
TEN_MINUTES_S = 600.0
WRITERS = 2


@dataclass(frozen=True)
class Summary:
    """What was written: messages, sensors, ledger entries, wheels."""

    readings: int
    sensors: int
    entries: int
    wheels: int


def make_files(scenario: Scenario, folder: Path, show_progress: bool = True) -> Summary:
    """Run a scenario and write it under ``folder``.

    Raises
    ------
    SimulationError
        The folder cannot be written.
    """
    try:
        for name in ("readings", "truth"):
            (folder / name).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SimulationError(f"{folder}: cannot be written: {error.strerror}") from error
    recorder = Recorder(scenario)
    network = SensorNetwork(scenario, recorder.world.faults)
    parts: dict[str, list[Samples]] = defaultdict(list)
    said: dict[str, list[States]] = defaultdict(list)
    air: list[Span] = []
    effects: list[Effect] = []
    for span in tqdm(
        recorder.days(), total=int(np.ceil(scenario.days)), unit="day", disable=not show_progress
    ):
        for samples in network.messages(span):
            parts[samples.sensor].append(samples)
        for states in network.states(span):
            said[states.sensor].append(states)
        air.append(span)
    whole = joined(air)
    sent = {
        sensor: _in_order(_held_back(p, recorder.world.faults) for p in some)
        for sensor, some in parts.items()
    }
    effects += recorder.effects.finish() + _sensor_effects(scenario, recorder.world.faults, sent, whole)
    jobs = [
        (folder / "readings" / f"{sensor}.csv.gz", s, scenario.start.timestamp())
        for sensor, s in sent.items()
    ]
    with ProcessPoolExecutor(WRITERS) as pool:
        list(tqdm(pool.map(_write_readings, jobs), total=len(jobs), unit="sensor", disable=not show_progress))
    for sensor, some_states in said.items():
        path = folder / "readings" / f"{sensor}.csv.gz"
        _write_states(path, some_states, recorder.world.faults, scenario.start.timestamp())
    _write_ledger(folder / "ledger.csv", recorder.observer.rows, scenario.start)
    _write_truth(folder / "truth", recorder, whole, effects)
    wheels = len(recorder.world.stock.wheels)
    messages = sum(map(len, sent.values())) + sum(len(s) for some in said.values() for s in some)
    return Summary(messages, len(sent) + len(said), len(recorder.observer.rows), wheels)


def _held_back(samples: Samples, faults: list[Fault]) -> Samples:
    """Messages with those that fall due while the broker is down sent when it is back."""
    return replace(samples, send_s=_held_s(samples.send_s, faults))


def _held_s(send_s: Array, faults: list[Fault]) -> Array:
    for fault in faults:
        if fault.kind == "broker down":
            send_s = np.where((send_s >= fault.start) & (send_s < fault.end), fault.end, send_s)
    return send_s


def _in_order(some: Iterable[Samples]) -> Samples:
    """All messages of a sensor in the order they were sent."""
    parts = list(some)

    def together(name: str) -> Array:
        return np.concatenate([getattr(part, name) for part in parts])

    order = np.argsort(together("send_s"), kind="stable")
    names = ("stamp_s", "send_s", "temperature_c", "humidity_pct", "battery_v")
    ordered: dict[str, Any] = {name: together(name)[order] for name in names}
    return replace(parts[0], **ordered)


def _sensor_effects(
    scenario: Scenario, faults: list[Fault], sent: dict[str, Samples], air: Span
) -> list[Effect]:
    settings = {s.id: s for s in scenario.sensors}
    result = []
    for fault in faults:
        if fault.kind in SENSOR_FAULTS and len(sent.get(fault.target, ())):
            sensor = settings[fault.target]
            key = (sensor.room, sensor.place)
            result.append(sensor_effect(fault, sent[fault.target], air, key, sensor.clock_offset_s))
        elif fault.kind == "broker down":
            waiting = sum(int((s.send_s == fault.end).sum()) for s in sent.values())
            result.append(Effect(fault, 0.0, 0.0, 0.0, 0.0, waiting))
    return result


def _write_readings(job: tuple[Path, Samples, float]) -> None:
    path, samples, start_epoch_s = job
    table = pd.DataFrame(
        {
            "stamp_ms": np.round((start_epoch_s + samples.stamp_s) * 1000).astype(np.int64),
            "sent_ms": np.round((start_epoch_s + samples.send_s) * 1000).astype(np.int64),
            "temperature_c": np.round(samples.temperature_c, 3),
            "humidity_pct": np.round(samples.humidity_pct, 2),
            "battery_v": samples.battery_v,
        }
    )
    text = table.to_csv(index=False, lineterminator="\n")
    path.write_bytes(gzip.compress(text.encode(), 4, mtime=0))


def _write_states(path: Path, some: list[States], faults: list[Fault], start_epoch_s: float) -> None:
    """What a contact sent: a column named as its quantity, 1 where it is on."""
    send = _held_s(np.concatenate([s.send_s for s in some]), faults)
    order = np.argsort(send, kind="stable")
    stamp, on = (np.concatenate([getattr(s, name) for s in some])[order] for name in ("stamp_s", "is_on"))
    table = pd.DataFrame(
        {
            "stamp_ms": np.round((start_epoch_s + stamp) * 1000).astype(np.int64),
            "sent_ms": np.round((start_epoch_s + send[order]) * 1000).astype(np.int64),
            some[0].quantity: on.astype(int),
        }
    )
    path.write_bytes(gzip.compress(table.to_csv(index=False, lineterminator="\n").encode(), 4, mtime=0))


def _write_ledger(path: Path, rows: list[dict[str, Any]], start: datetime) -> None:
    ordered = sorted(rows, key=lambda row: row["at_s"])
    columns = ["at", *dict.fromkeys(key for row in ordered for key in row if key != "at_s")]
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, columns, lineterminator="\n")
    writer.writeheader()
    for row in ordered:
        at = start + timedelta(seconds=row["at_s"])
        stated = {key: value for key, value in row.items() if key != "at_s"}
        writer.writerow({"at": at.isoformat(timespec="seconds").replace("+00:00", "Z"), **stated})
    path.write_text(out.getvalue(), encoding="utf-8", newline="")


def _write_truth(folder: Path, recorder: Recorder, air: Span, effects: list[Effect]) -> None:
    per_slot = max(1, round(TEN_MINUTES_S / recorder.scenario.step))
    tables: dict[str, Any] = {}
    for key in air.temperature_c:
        name = "/".join(key)
        tables[f"{name}/temperature_c"] = _means(air.temperature_c[key], per_slot).astype(np.float32)
        tables[f"{name}/rh_pct"] = _means(air.rh_pct[key], per_slot).astype(np.float32)
    np.savez_compressed(folder / "air.npz", **tables)
    stock = recorder.world.stock
    np.savez_compressed(
        folder / "wheels.npz",
        wheel=np.array([w.id for w in stock.wheels]),
        made_kg=stock.made_kg,
        made_s=np.array([w.made_s for w in stock.wheels]),
        mass_kg=np.array(recorder.mass_kg),
        rind_activity=np.array(recorder.rind_activity, dtype=np.float32),
    )
    events = [
        ["at_s", "wheel", "what"],
        *([f"{e.time_s:.0f}", e.wheel, e.what] for e in recorder.outcomes.events),
    ]
    _write_rows(folder / "events.csv", events)
    head = [
        "kind",
        "target",
        "other",
        "start_s",
        "end_s",
        "size",
        "mean_k",
        "most_k",
        "mean_pct",
        "most_pct",
        "messages",
    ]
    _write_rows(folder / "faults.csv", [head, *(_effect_row(effect) for effect in effects)])


def _effect_row(effect: Effect) -> list[str]:
    fault = effect.fault
    numbers = [f"{x:.3f}" for x in (effect.mean_k, effect.most_k, effect.mean_pct, effect.most_pct)]
    size = "" if fault.size is None else f"{fault.size:g}"
    return [
        fault.kind,
        fault.target,
        fault.other,
        f"{fault.start:.0f}",
        f"{fault.end:.0f}",
        size,
        *numbers,
        str(effect.messages),
    ]


def _write_rows(path: Path, rows: list[list[str]]) -> None:
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows(rows)
    path.write_text(out.getvalue(), encoding="utf-8", newline="")


def _means(values: Array, count: int) -> Array:
    whole = len(values) // count * count
    result: Array = values[:whole].reshape(-1, count).mean(axis=1)
    return result
