"""Ten-minute air records of every place and room, made from good readings and made again when late ones come."""

from __future__ import annotations

import math
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from monitor import air
from monitor.clock import DAY_MS, TEN_MINUTES_MS
from monitor.records import GOOD_FLAGS, AirRecord, Change
from monitor.site import Sensor, Site
from monitor.store.protocol import Run, Store

Floats = npt.NDArray[np.float64]
Derive = Callable[[Sensor, str, pd.DataFrame, Run | None], pd.DataFrame]
Watcher = Callable[[Sensor, str, pd.DataFrame], None]
Slots = Sequence[tuple[Sensor, pd.DataFrame]]


@dataclass(frozen=True)
class Judging:
    """How readings are judged before they enter a record.

    ``derive`` turns the raw readings of (sensor, quantity) into calibrated and flagged ones (both frames have the
    columns ``value`` and ``flag``); it is shown ``around_ms`` more than the span in question on both sides, and told the
    run of equal values that went before, as far back as ``run_reach_ms``.
    ``apart`` tells which of several sensors at one place are off the others, from their slots' means.  ``creep`` carries
    the creep of humidity sensors on over slots.  ``watch`` is shown what was judged.
    """

    derive: Derive
    around_ms: int = 0
    run_reach_ms: int = 0
    apart: Callable[[str, npt.NDArray[np.float64]], npt.NDArray[np.bool_]] | None = None
    creep: Callable[[Floats, Floats, float], Floats] | None = None
    watch: Watcher | None = None


COLUMNS = (
    "temperature_c",
    "temperature_min_c",
    "temperature_max_c",
    "rh_pct",
    "rh_min_pct",
    "rh_max_pct",
    "coverage",
    "dew_point_c",
    "vapour_pressure_deficit_pa",
    "temperature_sigma_k",
    "rh_sigma_pct",
    "rh_creep_pct",
)
_CREEP_HELD_MS = 3 * DAY_MS
"""How far back the creep of a humidity sensor is looked up where the slot before has no record."""
_LONGEST_RUN_MS = 31 * DAY_MS
HOUR_MS = 3_600_000


def as_it_came(sensor: Sensor, quantity: str, readings: pd.DataFrame, run: Run | None) -> pd.DataFrame:
    """Readings unchanged: the derivation of a sensor that has neither calibration nor further quality tests."""
    return readings


class AirKeeper:
    """Keeps the air records of a site up to date with its readings.

    `update` takes the slots that the store marks as changed, makes their records from scratch out of the
    readings, and writes them in one transaction with the marks' removal.  So a reading that comes late, twice,
    or just before the process dies ends in the same records.

    Parameters
    ----------
    site, store
        The settings and the store.
    judging
        How readings are judged; only flags 1 and 2 enter a record.
    """

    def __init__(self, site: Site, store: Store, judging: Judging = Judging(as_it_came)) -> None:
        self._site, self._store, self._judging = site, store, judging
        self._sensors_at: dict[tuple[str, str], list[Sensor]] = defaultdict(list)
        for sensor in site.sensors:
            if {"temperature", "humidity"} & set(sensor.quantities):
                self._sensors_at[sensor.room, sensor.place].append(sensor)
        self._served: dict[tuple[str, str], int] = {}
        self._calls = 0

    def update(self, limit: int = 10_000, seconds: float = math.inf) -> list[AirRecord]:
        """Make the records of changed slots (newest first, at most ``limit`` changes) and return them.

        After some ``seconds`` [s] the places not yet reached are left for the next call, which begins with them; so who
        calls can see to other things, however many sensors there are.
        """
        changes = self._store.changes(limit)
        slots = self._changed_slots(changes)
        frames: dict[tuple[str, str], pd.DataFrame] = {}
        until = time.monotonic() + seconds
        for place in sorted(slots, key=lambda place: self._served.get(place, 0)):
            if frames and time.monotonic() >= until:
                break
            frames[place] = self._place_frame(place, slots[place])
            self._served[place] = self._calls = self._calls + 1
        records = [r for (room, place), frame in frames.items() for r in to_records(room, place, frame)]
        records += self._room_records(frames)
        left = {sensor.id for place in slots.keys() - frames.keys() for sensor in self._sensors_at[place]}
        if done := [change for change in changes if change.sensor not in left]:
            self._store.write_air(records, done)
        return records

    def _changed_slots(self, changes: Sequence[Change]) -> dict[tuple[str, str], list[int]]:
        slots: dict[tuple[str, str], set[int]] = defaultdict(set)
        for change in changes:
            sensor = self._site.sensor_by_id.get(change.sensor)
            if sensor is not None and sensor in self._sensors_at.get((sensor.room, sensor.place), ()):
                slots[sensor.room, sensor.place].add(change.slot_ms)
        return {place: sorted(wanted) for place, wanted in slots.items()}

    def _place_frame(self, place: tuple[str, str], slots: list[int]) -> pd.DataFrame:
        parts = [self._run_frame(place, start, end) for start, end in runs(slots)]
        frame = pd.concat(parts) if len(parts) > 1 else parts[0]
        return frame.reindex(slots)

    def _run_frame(self, place: tuple[str, str], start_ms: int, end_ms: int) -> pd.DataFrame:
        sensors = self._sensors_at[place]
        readings: Slots = [self._sensor_readings(sensor, start_ms, end_ms) for sensor in sensors]
        if self._judging.apart is not None and len(sensors) >= 3:
            readings = without_those_apart(readings, self._judging.apart)
        frame = summarise(readings)
        if self._judging.creep is not None and len(frame):
            before = self._creep_before(place, int(frame.index[0]))
            hours = np.diff(frame.index.to_numpy(), prepend=frame.index[0] - TEN_MINUTES_MS) / HOUR_MS
            known = frame["rh_pct"].to_numpy(dtype=float)
            frame["rh_creep_pct"] = self._judging.creep(known, np.minimum(hours, 1.0), before)
        return frame

    def _creep_before(self, place: tuple[str, str], start_ms: int) -> float:
        for back_ms in (TEN_MINUTES_MS, _CREEP_HELD_MS):
            kept = self._store.read_air(*place, start_ms - back_ms, start_ms)["rh_creep_pct"].dropna()
            if len(kept):
                return float(kept.iloc[-1])
        return 0.0

    def _sensor_readings(self, sensor: Sensor, start_ms: int, end_ms: int) -> tuple[Sensor, pd.DataFrame]:
        columns, how = {}, self._judging
        for quantity in ("temperature", "humidity"):
            if quantity in sensor.quantities:
                derived = judged_span(self._store, how, sensor, quantity, start_ms, end_ms)
                if how.watch is not None:
                    how.watch(sensor, quantity, derived)
                good = derived["flag"].isin(GOOD_FLAGS) & derived["value"].notna()
                columns[quantity] = derived.loc[good, "value"]
        return sensor, pd.DataFrame(columns)

    def _room_records(self, frames: dict[tuple[str, str], pd.DataFrame]) -> Iterator[AirRecord]:
        rooms: dict[str, set[int]] = defaultdict(set)
        for (room, _), frame in frames.items():
            rooms[room].update(int(slot) for slot in frame.index)
        for room, slots in rooms.items():
            wanted = sorted(slots)
            parts = [
                self._frame_of(room, place, frames, wanted) for r, place in self._sensors_at if r == room
            ]
            yield from to_records(room, "", combine_places(parts))

    def _frame_of(
        self, room: str, place: str, frames: dict[tuple[str, str], pd.DataFrame], slots: list[int]
    ) -> pd.DataFrame:
        fresh = frames.get((room, place))
        if fresh is not None and len(fresh.index) == len(slots):
            return fresh
        kept = [self._store.read_air(room, place, start, end) for start, end in runs(slots)]
        frame = pd.concat(kept) if len(kept) > 1 else kept[0]
        frame = frame.set_axis(pd.DatetimeIndex(frame.index).as_unit("ms").asi8).reindex(slots)
        if fresh is not None:
            frame.loc[fresh.index, list(COLUMNS)] = fresh[list(COLUMNS)]
        return frame


def runs(slots: Sequence[int], apart_ms: int = DAY_MS) -> list[tuple[int, int]]:
    """Sorted slot starts [ms] as half-open spans, split at gaps over ``apart_ms`` and where a span gets long."""
    spans: list[tuple[int, int]] = []
    for slot in slots:
        if spans and slot - spans[-1][1] <= apart_ms and slot - spans[-1][0] <= _LONGEST_RUN_MS:
            spans[-1] = (spans[-1][0], slot + TEN_MINUTES_MS)
        else:
            spans.append((slot, slot + TEN_MINUTES_MS))
    return spans


def judged_span(
    store: Store, how: Judging, sensor: Sensor, quantity: str, start_ms: int, end_ms: int
) -> pd.DataFrame:
    """Readings of a half-open span, judged with what lies around it in view."""
    first_ms = start_ms - how.around_ms
    raw = store.read(sensor.id, quantity, first_ms, end_ms + how.around_ms)
    run = store.run_before(sensor.id, quantity, first_ms, how.run_reach_ms) if how.run_reach_ms else None
    derived = how.derive(sensor, quantity, raw, run)
    return derived[within(derived, start_ms, end_ms)] if how.around_ms else derived


def within(frame: pd.DataFrame, start_ms: int, end_ms: int) -> slice:
    """The rows of a frame indexed by rising UTC times that lie in a half-open span."""
    times = pd.DatetimeIndex(frame.index).as_unit("ms").asi8
    first, last = np.searchsorted(times, [start_ms, end_ms])
    return slice(int(first), int(last))


def without_those_apart(
    readings: Slots, apart: Callable[[str, npt.NDArray[np.float64]], npt.NDArray[np.bool_]]
) -> Slots:
    """Readings of several sensors at a place without the slots in which a sensor is off the others."""
    frames = {sensor.id: frame for sensor, frame in readings}
    for quantity in ("temperature", "humidity"):
        means = pd.DataFrame(
            {
                name: frame[quantity].groupby(_slot_of(frame)).mean()
                for name, frame in frames.items()
                if quantity in frame and len(frame)
            }
        )
        off = (
            apart(quantity, means.to_numpy(dtype=float).T) if means.shape[1] >= 3 else np.zeros((0, 0), bool)
        )
        for name, flags in zip(means.columns, off, strict=False):
            if flags.any():
                frame = frames[name]
                frames[name] = frame.assign(
                    **{quantity: frame[quantity].where(~np.isin(_slot_of(frame), means.index[flags]))}
                )
    return [(sensor, frames[sensor.id]) for sensor, _ in readings]


def _slot_of(frame: pd.DataFrame) -> npt.NDArray[np.int64]:
    return np.asarray(pd.DatetimeIndex(frame.index).as_unit("ms").asi8 // TEN_MINUTES_MS * TEN_MINUTES_MS)


def summarise(readings: Slots) -> pd.DataFrame:
    """The air of one place by ten-minute slot, from the good readings of its sensors.

    Each sensor counts alike, however often it reports.  Vapour pressures are averaged over readings of
    temperature and humidity that a sensor took together (over the slot's means where it took none together).

    Parameters
    ----------
    readings
        For each sensor a frame indexed by time, columns ``temperature`` [degC] and ``humidity`` [%RH].

    Returns
    -------
    DataFrame
        Indexed by slot start [ms since 1970], with the columns of `COLUMNS`.
    """
    by_sensor = [_sensor_slots(sensor, frame) for sensor, frame in readings if not frame.empty]
    if not by_sensor:
        return pd.DataFrame({name: pd.Series(dtype=float) for name in COLUMNS})
    slots = sorted(set().union(*(frame.index for frame in by_sensor)))
    stack = {
        name: np.stack([f[name].reindex(slots).to_numpy() for f in by_sensor])
        for name in by_sensor[0].columns
    }
    expected = sum(_expected_per_slot(sensor) for sensor, _ in readings)
    result = pd.DataFrame(
        {
            "temperature_c": _mean(stack["t"]),
            "temperature_min_c": _extreme(np.fmin, stack["t_min"]),
            "temperature_max_c": _extreme(np.fmax, stack["t_max"]),
            "rh_pct": _mean(stack["rh"]),
            "rh_min_pct": _extreme(np.fmin, stack["rh_min"]),
            "rh_max_pct": _extreme(np.fmax, stack["rh_max"]),
            "coverage": np.minimum(1.0, np.nansum(stack["count"], axis=0) / expected),
        },
        index=slots,
    )
    vapour = _mean(stack["e"])
    result["dew_point_c"] = dew_point_of(result["temperature_c"].to_numpy(), vapour)
    result["vapour_pressure_deficit_pa"] = _mean(stack["vpd"])
    result["temperature_sigma_k"] = _sigma(
        stack["t"], [s.temperature_uncertainty_k for s, f in readings if not f.empty]
    )
    result["rh_sigma_pct"] = _sigma(
        stack["rh"], [s.humidity_uncertainty_pct for s, f in readings if not f.empty]
    )
    result["rh_creep_pct"] = np.nan
    return result


def combine_places(frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """The air of a room from the frames of its places (same slots): every place counts alike."""
    stack = {
        name: np.stack([f[name].to_numpy(dtype=float, na_value=np.nan) for f in frames]) for name in COLUMNS
    }
    temperature = _mean(stack["temperature_c"])
    result = pd.DataFrame(
        {name: _mean(stack[name]) for name in COLUMNS if name not in ("coverage", "dew_point_c")},
        index=frames[0].index,
    )
    for quantity, unit in (("temperature", "c"), ("rh", "pct")):
        result[f"{quantity}_min_{unit}"] = _extreme(np.fmin, stack[f"{quantity}_min_{unit}"])
        result[f"{quantity}_max_{unit}"] = _extreme(np.fmax, stack[f"{quantity}_max_{unit}"])
    result["coverage"] = np.nan_to_num(stack["coverage"]).mean(axis=0)
    vapour = _mean(np.asarray(air.saturation_vapour_pressure(stack["dew_point_c"], over="water")))
    result["dew_point_c"] = dew_point_of(temperature, vapour)
    for name in ("temperature_sigma_k", "rh_sigma_pct"):
        known = np.maximum(1, np.isfinite(stack[name]).sum(axis=0))
        total = np.sqrt(np.nansum(stack[name] ** 2, axis=0)) / known
        result[name] = np.where(np.isfinite(stack[name]).any(axis=0), total, np.nan)
    return result[list(COLUMNS)]


def dew_point_of(temperature_c: Floats, vapour_pa: Floats) -> Floats:
    """The dew point over water [degC] of air with a temperature [degC] and a vapour pressure [Pa], else NaN."""
    with np.errstate(divide="ignore", invalid="ignore"):
        saturated = np.asarray(air.saturation_vapour_pressure(temperature_c, over="water"))
        rh = np.clip(100.0 * vapour_pa / saturated, None, 100.0)
    return np.asarray(air.dew_point(temperature_c, np.where(rh > 0, rh, np.nan)))


def to_records(room: str, place: str, frame: pd.DataFrame) -> Iterator[AirRecord]:
    """The rows of a frame of `summarise` as air records."""
    columns = [frame[name].to_numpy(dtype=float) for name in COLUMNS]
    for slot, *values in zip(frame.index, *columns, strict=True):
        known: dict[str, Any] = {
            name: None if math.isnan(v) else float(v) for name, v in zip(COLUMNS, values, strict=True)
        }
        known["coverage"] = known["coverage"] or 0.0
        yield AirRecord(room, place, int(slot), **known)


def _sensor_slots(sensor: Sensor, frame: pd.DataFrame) -> pd.DataFrame:
    slot = _slot_of(frame)
    unknown = np.full(len(frame), np.nan)
    t = frame["temperature"].to_numpy(dtype=float) if "temperature" in frame else unknown
    rh = frame["humidity"].to_numpy(dtype=float) if "humidity" in frame else unknown
    rh_possible = np.clip(rh, 0.0, 100.0)
    saturated = np.asarray(air.saturation_vapour_pressure(t, over="water"))
    e = saturated * rh_possible / 100.0
    pairs = pd.DataFrame({"t": t, "rh": rh, "e": e, "vpd": saturated - e}).groupby(slot, sort=True)
    result = pairs.mean()
    for name, how in (("t_min", "min"), ("t_max", "max")):
        result[name], result[name.replace("t", "rh", 1)] = pairs["t"].agg(how), pairs["rh"].agg(how)
    result["count"] = pairs[["t", "rh"]].count().max(axis=1)
    return _fill_from_means(result)


def _fill_from_means(slots: pd.DataFrame) -> pd.DataFrame:
    saturated = np.asarray(air.saturation_vapour_pressure(slots["t"].to_numpy(), over="water"))
    vapour = saturated * np.clip(slots["rh"].to_numpy(), 0.0, 100.0) / 100.0
    slots["e"] = slots["e"].fillna(pd.Series(vapour, index=slots.index))
    slots["vpd"] = slots["vpd"].fillna(pd.Series(saturated - vapour, index=slots.index))
    return slots


def _expected_per_slot(sensor: Sensor) -> float:
    return max(1.0, TEN_MINUTES_MS / 1000.0 / sensor.interval_s)


def _mean(stack: Floats) -> Floats:
    known = np.isfinite(stack).sum(axis=0)
    total = np.nansum(stack, axis=0)
    return np.where(known > 0, total / np.maximum(known, 1), np.nan)


def _extreme(choose: np.ufunc, stack: Floats) -> Floats:
    return np.asarray(choose.reduce(stack, axis=0))


def _sigma(values: Floats, stated: Sequence[float]) -> Floats:
    """Standard uncertainty of a mean over sensors whose errors have nothing to do with each other."""
    present = np.isfinite(values)
    count = present.sum(axis=0)
    variance = (present * np.square(np.asarray(stated))[:, None]).sum(axis=0)
    return np.where(count > 0, np.sqrt(variance) / np.maximum(count, 1), np.nan)
