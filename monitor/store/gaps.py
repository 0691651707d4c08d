"""Gaps in what is kept: spans in which a sensor said nothing for longer than it should."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from monitor.clock import DAY_MS
from monitor.site import Site
from monitor.store.protocol import Store

INTERVALS = 3.0
"""A gap is longer than so many of the sensor's own expected intervals; common practice, no source."""
_STEP_MS = 92 * DAY_MS


@dataclass(frozen=True)
class Gap:
    """Nothing of a series between two readings [ms]."""

    sensor: str
    quantity: str
    start_ms: int
    end_ms: int

    @property
    def hours(self) -> float:
        return (self.end_ms - self.start_ms) / 3_600_000


def gaps(
    times_ms: np.ndarray[Any, Any], interval_s: float, intervals: float = INTERVALS
) -> list[tuple[int, int]]:
    """Spans (start, end) [ms] between neighbouring readings that are longer than so many expected intervals."""
    late = np.flatnonzero(np.diff(times_ms) > interval_s * 1000 * intervals)
    return [(int(times_ms[n]), int(times_ms[n + 1])) for n in late]


def gaps_of(store: Store, site: Site) -> list[Gap]:
    """Every gap of every series of the site's sensors, longest first."""
    found = []
    for summary in store.series():
        sensor = site.sensor_by_id.get(summary.sensor)
        if sensor is None:
            continue
        last = np.empty(0, "i8")
        for start in range(summary.first_ms, summary.last_ms + 1, _STEP_MS):
            end = min(start + _STEP_MS, summary.last_ms + 1)
            index = store.read(summary.sensor, summary.quantity, start, end).index
            times = np.concatenate([last, pd.DatetimeIndex(index).as_unit("ms").asi8])
            found += [Gap(summary.sensor, summary.quantity, *span) for span in gaps(times, sensor.interval_s)]
            last = times[-1:]
    return sorted(found, key=lambda gap: gap.start_ms - gap.end_ms)
