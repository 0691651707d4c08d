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


def contact_spans(
    store: Store, contacts: Iterable[tuple[str, str, float]], start: datetime, end: datetime
) -> list[dict[str, Any]]:
    """For each contact (sensor, quantity, how long it may be quiet [s]) the spans of [start, end) in which what its quantity
    names was so.

    A state lasts until the contact says otherwise, and is unknown from when it is quiet for too long until its next word.  A contact gives ``sensor``, ``quantity``, ``heard`` (whether it said anything in the stretch),
    ``times`` and ``on_s`` [s] over all, ``longest_s`` [s], ``spans``, and ``silent`` and ``silent_s`` [s] for what is
    unknown.  A span gives ``from_at``, ``to_at`` (None where it still lasts at the end), ``times`` and ``on_s`` [s]:
    those too near to each other to be drawn apart are one, and their seconds count only what was so.
    """
    bounds = to_ms(start), to_ms(end)
    found = []
    for sensor, quantity, longest_s in contacts:
        known_ms = round(longest_s * 1000)
        frame = store.read(sensor, quantity, bounds[0] - known_ms, bounds[1])
        found.append({"sensor": sensor, "quantity": quantity, **_contact(frame, known_ms, *bounds)})
    return found


def _contact(frame: pd.DataFrame, known_ms: int, start_ms: int, end_ms: int) -> dict[str, Any]:
    good = frame[frame["flag"].isin([int(f) for f in GOOD_FLAGS]) & frame["value"].isin([0.0, 1.0])]
    times = pd.DatetimeIndex(good.index).as_unit("ms").asi8
    beyond = np.r_[times[1:], end_ms][: len(times)]
    until = np.minimum(beyond, times + known_ms)
    on = good["value"].to_numpy() == 1.0
    begins, ends = _within(*_joined(times[on], until[on]), start_ms, end_ms)
    mute = _within(np.r_[start_ms, until], np.r_[times, end_ms], start_ms, end_ms)
    seconds = (ends - begins) / 1000
    return {
        "heard": bool((times >= start_ms).any()),
        "times": len(begins),
        "on_s": float(seconds.sum()),
        "longest_s": float(seconds.max()) if len(seconds) else 0.0,
        "spans": _spans(begins, ends, start_ms, end_ms),
        "silent_s": float((mute[1] - mute[0]).sum() / 1000),
        "silent": _spans(*mute, start_ms, end_ms),
    }


def _joined(begins: np.ndarray, ends: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Stretches of which each that begins where the one before ends is told with it."""
    apart = begins[1:] > ends[:-1]
    return begins[np.r_[True, apart][: len(begins)]], ends[np.r_[apart, True][: len(ends)]]


def _within(
    begins: np.ndarray, ends: np.ndarray, start_ms: int, end_ms: int
) -> tuple[np.ndarray, np.ndarray]:
    """What of some stretches lies within the one that is asked for."""
    begins, ends = np.maximum(begins, start_ms), np.minimum(ends, end_ms)
    return begins[ends > begins], ends[ends > begins]


def _spans(begins: np.ndarray, ends: np.ndarray, start_ms: int, end_ms: int) -> list[dict[str, Any]]:
    """Stretches as they are drawn: those too near to each other as one."""
    firsts = _firsts(begins, ends, (end_ms - start_ms) / STEPS)
    return [
        {
            "from_at": rfc3339(int(begins[first])),
            "to_at": None if ends[beyond - 1] == end_ms else rfc3339(int(ends[beyond - 1])),
            "times": int(beyond - first),
            "on_s": float((ends[first:beyond] - begins[first:beyond]).sum() / 1000),
        }
        for first, beyond in zip(firsts, [*firsts[1:], len(begins)][: len(firsts)], strict=True)
    ]


def _firsts(begins: np.ndarray, ends: np.ndarray, step_ms: float) -> list[int]:
    """The first run of each group that is told as one span; no group takes in what begins more than a step after it."""
    firsts: list[int] = []
    for at, begin in enumerate(begins):
        near = firsts and begin - ends[at - 1] < step_ms and begin - begins[firsts[-1]] < step_ms
        if not near:
            firsts.append(at)
    return firsts
