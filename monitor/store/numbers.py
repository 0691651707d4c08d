"""Values as the embedded store keeps them, and rows as pandas wants them; no value is ever altered."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

SCALE = 10_000
_LARGEST_SCALED = 2**52

# 9e999 is SQLite's spelling of infinity.  No reading is infinite, so it can stand for "no value" on the way
# into numpy; the division is the same IEEE 754 operation as Python's, so the value comes back bit for bit.
VALUE_SQL = f"CASE typeof(value) WHEN 'integer' THEN value / {SCALE}.0 WHEN 'null' THEN 9e999 ELSE value END"
ROW_TYPE = np.dtype([("time_ms", "i8"), ("value", "f8"), ("flag", "u1"), ("reason", "i4")])


def kept(value: float | None) -> int | float | None:
    """A value as it is stored: ten-thousandths where that is exact, else the number itself."""
    if value is None:
        return None
    number = float(value)
    scaled = round(number * SCALE) if abs(number) < _LARGEST_SCALED / SCALE else None
    if scaled is None or scaled / SCALE != number or (scaled == 0 and math.copysign(1.0, number) < 0):
        return number
    return scaled


def given(stored: int | float | None) -> float | None:
    """A stored value as it once came."""
    return stored / SCALE if isinstance(stored, int) else stored


def frame(rows: np.ndarray[Any, Any], reasons: list[str]) -> pd.DataFrame:
    """Rows of `ROW_TYPE` as the data frame that `Store.read` promises; ``reasons`` by code."""
    values = rows["value"].copy()
    values[np.isinf(values)] = np.nan
    index = pd.DatetimeIndex(rows["time_ms"].astype("datetime64[ms]"), name="time").tz_localize("UTC")
    codes, texts = _compact(rows["reason"], reasons)
    columns = {
        "value": values,
        "flag": rows["flag"].copy(),
        "reason": pd.Categorical.from_codes(codes, categories=texts),
    }
    return pd.DataFrame(columns, index=index)


def _compact(codes: np.ndarray[Any, Any], reasons: list[str]) -> tuple[np.ndarray[Any, Any], list[str]]:
    """Codes into the short list of reasons that occur (the empty one always does)."""
    if not codes.any():
        return np.zeros(len(codes), "i1"), [""]
    used, inverse = np.unique(np.concatenate([np.zeros(1, codes.dtype), codes]), return_inverse=True)
    return inverse[1:], [reasons[code] for code in used]
