"""What a sensor makes of the air at its place: lag, wet-weather habits, bias, drift, noise, steps, and its radio.

`SensorModel.respond` takes a span of true air, in order, and returns what the sensor would have sent; its
state carries over, so a year in one call and a live run second by second use the same code.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from sensors_sim.faults import size_of
from sensors_sim.randomness import generator
from sensors_sim.scenario import Fault, Sensor

Array = NDArray[Any]
DAY_S, YEAR_S = 86400.0, 365.25 * 86400.0
HYSTERESIS_MEMORY_S, CREEP_BUILDS_S, CREEP_FROM_PCT = 8 * 3600.0, 3 * DAY_S, 90.0
"""A polymer sensor reads high while drying out and low while wetting (hours), and drifts upward in long wet
air (days); times are common practice, no source."""
WET_DRIES_S = 4 * 3600.0
BATTERY_FULL_V, BATTERY_EMPTY_V = 3.05, 2.3
BATTERY_EVERY_S = 6 * 3600.0


@dataclass(frozen=True)
class Samples:
    """What a sensor sends: one row a message, in the order they are sent.

    ``stamp_s`` is the time the sensor says, ``send_s`` when its message goes out [s from the start];
    ``battery_v`` is NaN where the message does not carry it.
    """

    sensor: str
    topic: str
    stamp_s: Array
    send_s: Array
    temperature_c: Array
    humidity_pct: Array
    battery_v: Array
    retained: bool

    def __len__(self) -> int:
        return len(self.stamp_s)


class _Lag:
    """A first-order lag over evenly spaced samples that remembers where it stopped."""

    def __init__(self, time_s: float) -> None:
        self.time_s = time_s
        self._last: float | None = None

    def run(self, values: Array, dt: float) -> Array:
        if self.time_s <= 0 or not len(values):
            return values
        keep = math.exp(-dt / self.time_s)
        start = float(values[0]) if self._last is None else self._last
        result, _ = lfilter([1.0 - keep], [1.0, -keep], values, zi=[keep * start])
        self._last = float(result[-1])
        return np.asarray(result)


class SensorModel:
    """One sensor and everything that is wrong with it."""

    def __init__(self, settings: Sensor, seed: int, faults: list[Fault]) -> None:
        self.settings = settings
        self._faults = [f for f in faults if settings.id in (f.target, f.other)]
        self._values, self._radio = (
            generator(seed, "sensor", settings.id),
            generator(seed, "radio", settings.id),
        )
        self._temperature, self._humidity = _Lag(settings.lag), _Lag(settings.lag)
        self._memory, self._creep = _Lag(HYSTERESIS_MEMORY_S), _Lag(CREEP_BUILDS_S)
        self._creep.run(np.zeros(1), 1.0)
        self._next_sample_s = 0.0
        self._next_battery_s = 0.0
        self._stuck: tuple[float, float] | None = None
        self._dropout_until_s = -1.0

    def respond(self, times_s: Array, temperature_c: Array, rh_pct: Array) -> tuple[Array, Array, Array]:
        """(sample times, temperatures, humidities) as measured in a span of true air, evenly spaced.

        Parameters
        ----------
        times_s
            Ends of the steps [s from the start].
        temperature_c, rh_pct
            True air at the sensor's place at these times.
        """
        dt = float(times_s[1] - times_s[0]) if len(times_s) > 1 else float(self.settings.interval)
        measured_c, measured_pct = self._element(times_s, temperature_c, rh_pct, dt)
        count = math.floor((times_s[-1] - self._next_sample_s) / self.settings.interval + 1e-9) + 1
        if count <= 0:
            return np.zeros(0), np.zeros(0), np.zeros(0)
        samples = self._next_sample_s + self.settings.interval * np.arange(count)
        self._next_sample_s = float(samples[-1]) + self.settings.interval
        value_c = np.interp(samples, times_s, measured_c)
        value_pct = np.interp(samples, times_s, measured_pct)
        return (samples, *self._readout(samples, value_c, value_pct))

    def _element(self, times_s: Array, temperature_c: Array, rh_pct: Array, dt: float) -> tuple[Array, Array]:
        """What the sensing element itself shows: lag, hysteresis, creep, free water on it."""
        sensor = self.settings
        shown_c, shown_pct = self._temperature.run(temperature_c, dt), self._humidity.run(rh_pct, dt)
        swing = np.clip((self._memory.run(shown_pct, dt) - shown_pct) / 8.0, -1.0, 1.0)
        creep = self._creep.run(np.clip((shown_pct - CREEP_FROM_PCT) / 8.0, 0.0, 1.0), dt)
        shown_pct = shown_pct + sensor.hysteresis_pct * swing + sensor.creep_pct * creep
        for fault in self._of("sensor wet"):
            wet = (times_s >= fault.start) & (times_s < fault.end)
            dries = np.exp(-np.clip(times_s - fault.end, 0.0, None) / WET_DRIES_S) * (times_s >= fault.end)
            share = np.where(wet, 1.0, dries)
            shown_c = shown_c - share * 0.35 * (100.0 - rh_pct) / 10.0
            shown_pct = shown_pct + share * (103.0 - shown_pct)
        return shown_c, shown_pct

    def _readout(self, samples: Array, value_c: Array, value_pct: Array) -> tuple[Array, Array]:
        """Bias, drift, noise, clipping and steps, and the faults of the electronics."""
        sensor, rng = self.settings, self._values
        drift = sensor.humidity_drift_pct_per_year * np.clip(samples - sensor.drift_from, 0, None) / YEAR_S
        for fault in self._of("sensor drifting"):
            during = (samples >= fault.start) & (samples < fault.end)
            drift = drift + np.where(during, size_of(fault) * (samples - fault.start) / DAY_S, 0.0)
        noise = rng.standard_normal((len(samples), 2))
        value_c = value_c + sensor.temperature_bias_k + sensor.temperature_noise_k * noise[:, 0]
        value_pct = value_pct + sensor.humidity_bias_pct + drift + sensor.humidity_noise_pct * noise[:, 1]
        value_c, value_pct = self._spikes(samples, value_c, value_pct)
        value_c = np.round(value_c / sensor.temperature_step_k) * sensor.temperature_step_k
        value_pct = np.clip(
            np.round(value_pct / sensor.humidity_step_pct) * sensor.humidity_step_pct, 0.0, 100.0
        )
        return self._hold(samples, value_c, value_pct)

    def _spikes(self, samples: Array, value_c: Array, value_pct: Array) -> tuple[Array, Array]:
        for fault in self._of("sensor spiking"):
            during = (samples >= fault.start) & (samples < fault.end)
            draws = self._radio.uniform(size=(len(samples), 3))
            struck = during & (draws[:, 0] < 0.08)
            value_c = value_c + np.where(struck, 60.0 * (draws[:, 1] - 0.4), 0.0)
            value_pct = value_pct + np.where(struck, 160.0 * (draws[:, 2] - 0.5), 0.0)
        return value_c, value_pct

    def _hold(self, samples: Array, value_c: Array, value_pct: Array) -> tuple[Array, Array]:
        for fault in self._of("sensor stuck"):
            during = (samples >= fault.start) & (samples < fault.end)
            if not during.any():
                continue
            first = int(np.argmax(during))
            if self._stuck is None or samples[first] - fault.start < self.settings.interval:
                self._stuck = (float(value_c[first]), float(value_pct[first]))
            value_c, value_pct = (
                np.where(during, self._stuck[0], value_c),
                np.where(during, self._stuck[1], value_pct),
            )
        return value_c, value_pct

    def transmit(self, samples: Array, value_c: Array, value_pct: Array) -> Samples:
        """Put measured values on the radio: clock, jitter, losses, drop-outs with a later burst, doubles, late ones."""
        sensor, rng = self.settings, self._radio
        count = len(samples)
        stamp = samples + sensor.clock_offset_s + sensor.clock_jitter_s * rng.standard_normal(count)
        for fault in self._of("clock jump"):
            stamp = stamp + np.where((samples >= fault.start) & (samples < fault.end), size_of(fault), 0.0)
        battery = self._battery(samples)
        kept = rng.uniform(size=count) >= sensor.lost_share
        for fault in self._of("sensor silent"):
            kept &= ~((samples >= fault.start) & (samples < fault.end))
        send = self._dropouts(samples)
        late = rng.uniform(size=count) < sensor.late_share
        send = send + np.where(late, rng.uniform(1.5, 4.0, count) * sensor.interval, 0.0)
        doubled = np.where((rng.uniform(size=count) < sensor.duplicate_share) & kept)[0]
        rows = np.concatenate((np.where(kept)[0], doubled))
        sent = np.concatenate((send[kept], send[doubled] + 0.2))
        order = np.lexsort((stamp[rows], sent))
        rows, sent = rows[order], sent[order]
        return Samples(
            sensor.id,
            sensor.full_topic,
            stamp[rows],
            sent,
            value_c[rows],
            value_pct[rows],
            battery[rows],
            sensor.retained,
        )

    def _battery(self, samples: Array) -> Array:
        """Battery voltage [V] where a message carries it (every six hours), else NaN."""
        used = np.clip(samples / (self.settings.battery_days * DAY_S), 0.0, 1.2)
        volts = BATTERY_FULL_V - (BATTERY_FULL_V - BATTERY_EMPTY_V) * (0.5 * used + 0.5 * used**6)
        result = np.full(len(samples), np.nan)
        for index in (
            range(len(samples))
            if len(samples) < 5
            else np.unique(
                np.searchsorted(samples, np.arange(self._next_battery_s, samples[-1] + 1e-9, BATTERY_EVERY_S))
            )
        ):
            if index < len(samples) and samples[index] >= self._next_battery_s - 1e-9:
                result[index] = round(float(np.clip(volts[index], 0.0, None)), 2)
                self._next_battery_s += BATTERY_EVERY_S
        return result

    def _dropouts(self, samples: Array) -> Array:
        """When each message goes out: at once, or in a burst when a radio drop-out ends."""
        sensor, send = self.settings, samples.copy()
        if not len(samples):
            return send
        still = samples < self._dropout_until_s
        send[still] = self._dropout_until_s + 0.05 * np.arange(int(still.sum()))
        chance = sensor.dropouts_per_week * sensor.interval / (7 * DAY_S)
        draws = self._radio.uniform(size=(len(samples), 2))
        for index in np.where(draws[:, 0] < chance)[0]:
            if samples[index] >= self._dropout_until_s:
                self._dropout_until_s = float(samples[index] + draws[index, 1] * sensor.dropout_longest)
            waiting = (samples >= samples[index]) & (samples < self._dropout_until_s)
            send[waiting] = self._dropout_until_s + 0.05 * np.arange(int(waiting.sum()))
        return send

    def _of(self, kind: str) -> list[Fault]:
        return [f for f in self._faults if f.kind == kind and f.target == self.settings.id]


def swapped_places(sensors: tuple[Sensor, ...], faults: list[Fault]) -> list[tuple[Fault, Sensor, Sensor]]:
    """The swaps among the faults, each with its two sensors."""
    by_id = {s.id: s for s in sensors}
    return [(f, by_id[f.target], by_id[f.other]) for f in faults if f.kind == "sensors swapped"]
