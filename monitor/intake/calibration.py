"""Dated calibrations, applied when values are derived and never to what is kept raw."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Protocol

import numpy as np
import pandas as pd

from monitor.climate.air_records import Judging, Watcher
from monitor.clock import now_ms, to_ms
from monitor.intake.quality import (
    ALLOWED_APART,
    CONTEXT_MS,
    RUN_REACH_MS,
    SCHEME,
    apart,
    assessed,
    creep_along,
    limits_of,
)
from monitor.records import QUANTITIES
from monitor.site import CalibrationEntry, Sensor, Site
from monitor.store.protocol import Run, Store

DOCUMENT = "calibrations"


@dataclass(frozen=True)
class Line:
    """true = gain * reading + offset, from ``start_ms`` on."""

    start_ms: int
    gain: float
    offset: float

    def __call__(self, reading: float) -> float:
        return self.gain * reading + self.offset


def line_of(entry: CalibrationEntry) -> Line:
    """The straight line of a calibration: one point shifts, two points stretch and shift."""
    start_ms = to_ms(entry.at)
    if len(entry.points) == 1:
        ((read, true),) = entry.points
        return Line(start_ms, 1.0, true - read)
    (read_low, true_low), (read_high, true_high) = entry.points
    gain = (true_high - true_low) / (read_high - read_low)
    return Line(start_ms, gain, true_low - gain * read_low)


def lines_of(sensor: Sensor, quantity: str) -> list[Line]:
    """A sensor's calibrations of one quantity, oldest first."""
    return sorted(
        (line_of(e) for e in sensor.calibrations if e.quantity == quantity), key=lambda line: line.start_ms
    )


def calibrated(sensor: Sensor, quantity: str, readings: pd.DataFrame) -> pd.DataFrame:
    """Readings (index of UTC times, column ``value``) with each value on the line in force at its time.

    Readings before the first calibration stay as they came.  The frame given is not changed.
    """
    lines = lines_of(sensor, quantity)
    if not lines or readings.empty:
        return readings
    times = pd.DatetimeIndex(readings.index).as_unit("ms").asi8
    which = np.searchsorted([line.start_ms for line in lines], times, side="right")
    gains = np.array([1.0, *(line.gain for line in lines)])[which]
    offsets = np.array([0.0, *(line.offset for line in lines)])[which]
    return readings.assign(value=readings["value"].to_numpy() * gains + offsets)


def judging(site: Site, watch: Watcher | None = None) -> Judging:
    """How a site's raw readings become what air records are made of: calibrated, then through the quality tests."""
    limits = {
        (room.id, quantity): limits_of(quantity, room.climatology.get(quantity))
        for room in site.rooms
        for quantity in QUANTITIES
    }

    def derive(sensor: Sensor, quantity: str, readings: pd.DataFrame, run: Run | None) -> pd.DataFrame:
        values = calibrated(sensor, quantity, readings)
        if run is not None and len(readings) and readings["value"].iloc[0] == run.value:
            run = replace(run, value=float(values["value"].iloc[0]))  # a run of raw values, as calibrated now
        return assessed(quantity, values, limits[sensor.room, quantity], run)

    return Judging(derive, CONTEXT_MS, RUN_REACH_MS, off_the_others, creep_along, watch)


def off_the_others(quantity: str, values: np.ndarray) -> np.ndarray:
    """Which of several sensors at one place (a row each) are off the others, by slot."""
    return apart(values, ALLOWED_APART[quantity])


@dataclass(frozen=True)
class Drift:
    """How far a sensor had moved between two calibrations, at the later one's points."""

    at_ms: int
    days: float
    change: float


def drifts(sensor: Sensor, quantity: str) -> list[Drift]:
    """The drift found at each calibration after the first: what the sensor read, on the line then in force, less
    what was true, averaged over its points [unit of the quantity]."""
    entries = sorted((e for e in sensor.calibrations if e.quantity == quantity), key=lambda e: e.at)
    found = []
    for before, after in pairwise(entries):
        line = line_of(before)
        change = sum(line(read) - true for read, true in after.points) / len(after.points)
        found.append(Drift(to_ms(after.at), (after.at - before.at).total_seconds() / 86400, change))
    return found


class MarksChanges(Protocol):
    """A store that can mark a span of a sensor's slots for making again."""

    def mark_changed(self, sensor: str, start_ms: int, end_ms: int) -> int: ...


def mark_touched(site: Site, store: Store) -> list[str]:
    """Mark, for making again, the slots that a new, changed or withdrawn calibration touches, and all slots of a room
    whose range or whose scheme of tests has changed; the sensors concerned.

    What was in force last time stands in the store, so a back-dated entry is found at the next start.
    """
    known: dict[str, list[list[object]]] = store.document(DOCUMENT) or {}
    current = {sensor.id: _signature(site, sensor) for sensor in site.sensors}
    touched = []
    for sensor in sorted(set(known) | set(current)):
        # What is held of a sensor for the first time was judged by the scheme of today, or not at all.
        before = {tuple(item) for item in known.get(sensor, current.get(sensor, [])[:1])}
        after = {tuple(item) for item in current.get(sensor, [])}
        differing = before ^ after
        if differing and hasattr(store, "mark_changed"):
            store.mark_changed(sensor, min(int(str(item[0])) for item in differing), now_ms() + 1)
            touched.append(sensor)
    if known != current:
        store.put_document(DOCUMENT, current)
    return touched


def _signature(site: Site, sensor: Sensor) -> list[list[object]]:
    """What a sensor's derived values rest on, each with the moment [ms] from which it holds."""
    ranges = sorted(site.room_by_id[sensor.room].climatology.items())
    held: list[list[object]] = [[0, _digest((SCHEME, ranges))]]
    return held + [[to_ms(e.at), _digest((e.quantity, e.points))] for e in sensor.calibrations]


def _digest(what: object) -> str:
    return hashlib.sha256(repr(what).encode()).hexdigest()[:16]
