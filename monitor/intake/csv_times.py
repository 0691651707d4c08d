"""The times of a logger's CSV file as UTC: its order of day and month, its clock, its time zone."""

from __future__ import annotations

import re
from datetime import UTC, timedelta, timezone, tzinfo
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
import pandas as pd

from monitor.errors import ReadingError
from monitor.intake.csv_form import Form

_CLOCKS = ("%H:%M:%S", "%H:%M", "%I:%M:%S %p", "%I:%M %p", "%H:%M:%S.%f")
_DATES = {
    "year-first": ("%Y-%m-%d",),
    "day-first": ("%d-%m-%Y", "%d-%m-%y"),
    "month-first": ("%m-%d-%Y", "%m-%d-%y"),
}
NOT_A_TIME = "the time cannot be read"
NOT_ON_THE_CLOCK = (
    "this time does not exist on the clock there (summer time began); "
    "if the logger did not follow summer time, state its offset, for example --time-zone +01:00"
)


def zone_named(text: str) -> tzinfo:
    """A time zone by its IANA name, or by its offset from UTC (``+01:00``).

    Raises
    ------
    ReadingError
        It is neither.
    """
    if match := re.fullmatch(r"(?:UTC)?([+-])(\d{1,2})(?::?(\d{2}))?", text.strip()):
        offset = timedelta(hours=int(match[2]), minutes=int(match[3] or 0))
        if offset < timedelta(hours=24):
            return timezone(offset if match[1] == "+" else -offset)
    if text in ("Z", "UTC"):
        return UTC
    if text in available_timezones():
        return ZoneInfo(text)
    raise ReadingError(f"{text!r} is no time zone; write for example Europe/Dublin or +01:00")


def times_of(cells: list[pd.Series[Any]], form: Form, zone: tzinfo) -> tuple[np.ndarray[Any, Any], list[str]]:
    """Times [ms since 1970 UTC] and, for each that there is none of, the reason (else an empty text)."""
    text = cells[0].str.strip() if len(cells) == 1 else cells[0].str.strip() + " " + cells[1].str.strip()
    if form.order in ("epoch-s", "epoch-ms"):
        number = pd.to_numeric(text, errors="coerce").to_numpy(dtype=float)
        good = np.isfinite(number) & (np.abs(number) < 1e14)
        scale = 1000.0 if form.order == "epoch-s" else 1.0
        ms = np.where(good, np.rint(np.where(good, number, 0.0) * scale), 0.0).astype("i8")
        return ms, _reasons(~good, NOT_A_TIME)
    moments = _parsed(text, form)
    unread = moments.isna().to_numpy()
    if not form.has_offset:
        moments = _localised(moments, zone)
    lost = moments.isna().to_numpy()
    reasons = _reasons(lost, NOT_ON_THE_CLOCK)
    for place in np.flatnonzero(unread):
        reasons[place] = NOT_A_TIME
    ms = np.asarray(moments.dt.tz_convert("UTC").dt.as_unit("ms").astype("int64"))
    return np.where(lost, 0, ms), reasons


def _parsed(text: pd.Series[Any], form: Form) -> pd.Series[Any]:
    if form.order == "year-first":
        plain = text.str.replace("[/.](?=.*[ T])|/", "-", regex=True) if "/" in str(text.iloc[0]) else text
        moments = pd.to_datetime(plain, format="ISO8601", utc=form.has_offset, errors="coerce")
    else:
        moments = pd.Series(pd.NaT, index=text.index, dtype="datetime64[ns]")
    if form.has_offset or not moments.isna().any():
        return moments
    for form_text in (f"{d} {c}" for d in _DATES[form.order] for c in _CLOCKS):
        missing = moments.isna()
        if not missing.any():
            break
        rest = pd.to_datetime(_plain(text[missing]), format=form_text, errors="coerce")
        moments[missing] = rest.astype(moments.dtype)
    return moments


def _plain(text: pd.Series[Any]) -> pd.Series[Any]:
    """Dates with dashes, clocks with colons, halves of the day as AM and PM, one space between."""
    parts = text.str.replace(",", " ").str.extract(r"^(\S+?[-/. ]\S+?[-/. ]\d+)[T\s]+(.*)$")
    date = parts[0].str.replace(r"[/. ]", "-", regex=True)
    clock = parts[1].str.replace(r"(?<=\d)\.(?=\d{2}(\D|$))", ":", regex=True)
    clock = clock.str.replace(r"\s*([AaPp])\.?[Mm]\.?$", r" \1M", regex=True).str.upper()
    return date + " " + clock


def _localised(moments: pd.Series[Any], zone: tzinfo) -> pd.Series[Any]:
    """Clock times as moments; an hour that comes twice is told by the order of rows, else taken as the first."""
    try:
        return moments.dt.tz_localize(zone, ambiguous="infer", nonexistent="NaT")
    except ValueError:
        first = np.ones(len(moments), dtype=bool)
        return moments.dt.tz_localize(zone, ambiguous=first, nonexistent="NaT")


def _reasons(bad: np.ndarray[Any, Any], reason: str) -> list[str]:
    return [reason if one else "" for one in bad.tolist()] if bad.any() else [""] * len(bad)
