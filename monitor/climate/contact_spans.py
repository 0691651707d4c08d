"""When contacts said that a door stood open or a tank was low, as spans of time for a chart."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from monitor.clock import rfc3339, to_ms
from monitor.records import GOOD_FLAGS
from monitor.store.protocol import Store

STEPS = 300
"""Into so many steps a stretch of time is parted: spans that begin within one, and near to each other, are told as one."""
REACH_MS = 86_400_000
"""How long before a stretch of time its first state may have been said [ms]."""


def contact_spans(
    store: Store, contacts: Iterable[tuple[str, str]], start: datetime, end: datetime
) -> list[dict[str, Any]]:
    """For each contact (sensor, quantity) the spans of [start, end) in which what its quantity names was so.

    A state lasts until the contact says otherwise, as it does for the rule ``contacts``; what holds before ``start``
    is known where it was said within a day before.  A contact gives ``sensor``, ``quantity``, ``heard`` (whether it
    said anything in the stretch), ``times`` and ``on_s`` [s] over all, ``longest_s`` [s] and ``spans``; a span gives
    ``from_at``, ``to_at`` (None where it still lasts at the end), ``times`` and ``on_s`` [s]: those too near to each
    other to be drawn apart are one, and their seconds count only what was on.
    """
    bounds = to_ms(start), to_ms(end)
    return [
        _contact(store.read(sensor, quantity, bounds[0] - REACH_MS, bounds[1]), sensor, quantity, *bounds)
        for sensor, quantity in contacts
    ]


def _contact(frame: pd.DataFrame, sensor: str, quantity: str, start_ms: int, end_ms: int) -> dict[str, Any]:
    good = frame[frame["flag"].isin([int(f) for f in GOOD_FLAGS]) & frame["value"].isin([0.0, 1.0])]
    times = pd.DatetimeIndex(good.index).as_unit("ms").asi8
    on = good["value"].to_numpy() == 1.0
    begins, ends, lasts = _runs(times, on, start_ms, end_ms)
    seconds = (ends - begins) / 1000
    firsts = _firsts(begins, ends, (end_ms - start_ms) / STEPS)
    spans = [
        {
            "from_at": rfc3339(int(begins[first])),
            "to_at": None if lasts and beyond == len(begins) else rfc3339(int(ends[beyond - 1])),
            "times": int(beyond - first),
            "on_s": float(seconds[first:beyond].sum()),
        }
        for first, beyond in zip(firsts, [*firsts[1:], len(begins)][: len(firsts)], strict=True)
    ]
    return {
        "sensor": sensor,
        "quantity": quantity,
        "heard": bool((times >= start_ms).any()),
        "times": len(begins),
        "on_s": float(seconds.sum()),
        "longest_s": float(seconds.max()) if len(seconds) else 0.0,
        "spans": spans,
    }


def _firsts(begins: np.ndarray, ends: np.ndarray, step_ms: float) -> list[int]:
    """The first run of each group that is told as one span; no group takes in what begins more than a step after it."""
    firsts: list[int] = []
    for at, begin in enumerate(begins):
        near = firsts and begin - ends[at - 1] < step_ms and begin - begins[firsts[-1]] < step_ms
        if not near:
            firsts.append(at)
    return firsts


def _runs(
    times: np.ndarray, on: np.ndarray, start_ms: int, end_ms: int
) -> tuple[np.ndarray, np.ndarray, bool]:
    """Begin and end [ms] of every run of being on, cut to the stretch, and whether the last one lasts beyond it."""
    change = np.flatnonzero(np.diff(on.astype(np.int8), prepend=0))
    begins, ends = times[change[::2]], times[change[1::2]]
    lasts = len(begins) > len(ends)
    ends = np.maximum(np.r_[ends, end_ms] if lasts else ends, start_ms)
    begins = np.maximum(begins, start_ms)
    within = ends > begins
    return begins[within], ends[within], lasts
