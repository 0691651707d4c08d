"""Readings at the resolution of a chart: buckets that keep the extremes."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from monitor.store.sealing import HOUR_TYPE

Rows = np.ndarray[Any, Any]


def as_parts(rows: Rows) -> Rows:
    """Good single readings in the shape of the hourly extremes."""
    good = rows[(rows["flag"] <= 2) & np.isfinite(rows["value"])]
    parts = np.empty(len(good), HOUR_TYPE)
    parts["start_ms"] = good["time_ms"]
    for name in ("low", "high", "mean"):
        parts[name] = good["value"]
    parts["count"] = 1
    return parts


def buckets(parts: Rows, width_ms: int) -> pd.DataFrame:
    """Parts (in order of time) gathered into buckets of a width [ms]: lowest, highest, mean, count."""
    starts = parts["start_ms"] - parts["start_ms"] % width_ms
    edges = np.flatnonzero(np.diff(starts, prepend=starts[0] - 1)) if len(parts) else np.empty(0, "i8")
    index = pd.DatetimeIndex(starts[edges].astype("datetime64[ms]"), name="time").tz_localize("UTC")
    if not len(parts):
        return pd.DataFrame({"low": [], "high": [], "mean": [], "count": []}, index=index, dtype="f8")
    counts = np.add.reduceat(parts["count"], edges)
    columns = {
        "low": np.minimum.reduceat(parts["low"], edges),
        "high": np.maximum.reduceat(parts["high"], edges),
        "mean": np.add.reduceat(parts["mean"] * parts["count"], edges) / counts,
        "count": counts,
    }
    return pd.DataFrame(columns, index=index)
