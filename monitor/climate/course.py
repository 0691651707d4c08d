"""The course of a room's air over any span, thinned for a chart so that every extreme and every gap stays."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from monitor.clock import TEN_MINUTES_MS, now_ms, rfc3339, to_ms
from monitor.store.protocol import Store

MOST_STEPS = 1200
"""Steps in a course; with a mean, a lowest and a highest value in each, a chart draws at most 3,600 points."""


def room_course(store: Store, room: str, place: str, start: datetime, end: datetime) -> dict[str, Any]:
    """The ``course`` document of a place (or, with an empty place, of the whole room) in a span of time.

    Each step is a whole number of ten-minute slots and says mean, lowest and highest; steps without a good
    reading are left out.  Means are of the slots' means, unweighted.
    """
    start_ms, end_ms = to_ms(start), to_ms(end)
    step_ms = max(1, -(-(end_ms - start_ms) // (MOST_STEPS * TEN_MINUTES_MS))) * TEN_MINUTES_MS
    return {
        "version": 1,
        "at": rfc3339(now_ms()),
        "room": room,
        "place": place,
        "from_at": rfc3339(start_ms),
        "to_at": rfc3339(end_ms),
        "step_s": step_ms / 1000,
        "steps": _steps(store, room, place, start_ms, end_ms, step_ms),
    }


def _steps(
    store: Store, room: str, place: str, start_ms: int, end_ms: int, step_ms: int
) -> list[dict[str, Any]]:
    frame = store.read_air(room, place, start_ms, end_ms).dropna(subset=["temperature_c", "rh_pct"])
    if frame.empty:
        return []
    frame.index = frame.index.as_unit("ms").asi8 // step_ms * step_ms
    thinned = frame.groupby(level=0).agg(
        temperature_c=("temperature_c", "mean"),
        temperature_min_c=("temperature_min_c", "min"),
        temperature_max_c=("temperature_max_c", "max"),
        rh_pct=("rh_pct", "mean"),
        rh_min_pct=("rh_min_pct", "min"),
        rh_max_pct=("rh_max_pct", "max"),
    )
    rows = thinned.round(3).to_dict(orient="index")
    return [{"at": rfc3339(int(time_ms)), **row} for time_ms, row in rows.items()]
