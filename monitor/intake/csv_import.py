"""A logger's CSV file into the store: parsed in pieces, every row that cannot be taken told with its reason."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import tzinfo
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from monitor.clock import DAY_MS, now_ms
from monitor.errors import ReadingError
from monitor.intake.csv_form import Column, Form
from monitor.intake.csv_times import times_of
from monitor.intake.measurement import (
    CONTACT_WORDS,
    EARLIEST_MS,
    FRACTION_REASON,
    MOST_AHEAD_MS,
    judged,
    wanted_of,
)
from monitor.intake.units import conversion
from monitor.records import QUANTITIES, Flag, Reject
from monitor.site import Site
from monitor.store.bulk import Series, write_series
from monitor.store.numbers import ROW_TYPE
from monitor.store.protocol import Store

CHUNK_ROWS = 200_000
SPARE_FIELDS = 8
REFUSED_SHOWN = 20
NOTHING = frozenset({"", "-", "--", "---", "nan", "null", "none", "n/a", "na"})
"""What loggers write where there is no value."""


@dataclass
class Account:
    """What an import did."""

    rows: int = 0
    new: int = 0
    already: int = 0
    differing: int = 0
    doubled: int = 0
    empty: int = 0
    refused: int = 0
    refused_rows: list[tuple[int, str]] = field(default_factory=list)
    series: dict[str, int] = field(default_factory=dict)
    first_ms: int | None = None
    last_ms: int | None = None

    def refuse(self, row: int, reason: str) -> None:
        """Count a row (from 1, as an editor shows it) that cannot be taken."""
        self.refused += 1
        if len(self.refused_rows) < REFUSED_SHOWN:
            self.refused_rows.append((row, reason))


@dataclass(frozen=True)
class Target:
    """Where readings go and how the file's times and names are to be read."""

    site: Site
    zone: tzinfo
    sensor: str | None


def import_file(
    store: Store, path: Path, form: Form, target: Target, progress: Callable[[int], None] = lambda rows: None
) -> Account:
    """Keep every reading of a file; doing it again changes nothing.

    Raises
    ------
    ReadingError
        A row has far too many fields, or no sensor is named for readings that name none themselves.
    """
    account = Account()
    seal_before = now_ms() - target.site.store.seal_after_days * DAY_MS
    for chunk in chunks(path, form):
        for (sensor, quantity), series, doubled in taken(chunk, form, target, account):
            account.doubled += doubled
            for _, written in write_series(store, sensor, quantity, series, seal_before):
                account.new += written.new
                account.already += written.already
                account.differing += written.differing
            name = f"{sensor} {quantity}"
            account.series[name] = account.series.get(name, 0) + len(series.rows)
        progress(len(chunk))
    account.refused_rows.sort()
    store.reject(
        Reject(now_ms(), f"import/{path.name}"[:200], f"row of an imported file: {reason}", str(row).encode())
        for row, reason in account.refused_rows
    )
    return account


def chunks(path: Path, form: Form, rows: int | None = None) -> Iterator[pd.DataFrame]:
    """The file in pieces, all cells as text, indexed by row (from 1, as an editor shows it)."""
    try:
        reader = pd.read_csv(
            path,
            sep=form.delimiter,
            header=None,
            names=list(range(form.fields + SPARE_FIELDS)),
            skiprows=form.first_row,
            dtype=str,
            keep_default_na=False,
            skip_blank_lines=False,
            encoding=form.encoding,
            encoding_errors="replace",
            chunksize=rows or CHUNK_ROWS,
            nrows=rows,
        )
        with reader:
            for chunk in reader:
                yield chunk.set_axis(chunk.index + form.first_row + 1)
    except pd.errors.ParserError as error:
        raise ReadingError(
            f"{path}: {' '.join(str(error).split())}; mend that line and import again"
        ) from error
    except OSError as error:
        raise ReadingError(f"{path}: cannot be read: {error.strerror}") from error


Taken = tuple[tuple[str, str], Series, int]


def taken(chunk: pd.DataFrame, form: Form, target: Target, account: Account) -> Iterator[Taken]:
    """The series of readings in a piece, each with how many times came twice in it."""
    chunk = _whole_rows(chunk, form, account)
    account.rows += len(chunk)
    if chunk.empty:
        return
    time_ms, reasons = times_of([chunk[at] for at in form.times], form, target.zone)
    _check_times(time_ms, reasons)
    good = np.array([not reason for reason in reasons])
    for place in np.flatnonzero(~good):
        account.refuse(int(chunk.index[place]), reasons[place])
    chunk, time_ms = chunk[good], time_ms[good]
    if not len(chunk):
        return
    first, last = int(time_ms.min()), int(time_ms.max())
    account.first_ms = first if account.first_ms is None else min(account.first_ms, first)
    account.last_ms = last if account.last_ms is None else max(account.last_ms, last)
    for sensor, rows in _by_sensor(chunk, form, target, account):
        for column, some in _by_quantity(chunk, rows, form, account):
            series, doubled = _series(chunk[column.at].iloc[some], time_ms[some], column, form, account)
            if len(series.rows):
                yield (sensor, column.quantity), series, doubled


def _whole_rows(chunk: pd.DataFrame, form: Form, account: Account) -> pd.DataFrame:
    """The rows that are neither blank nor of too many fields."""
    extra = chunk.iloc[:, form.fields :]
    extra = extra.loc[:, extra.notna().any()]
    long = (extra.notna() & (extra != "")).any(axis=1).to_numpy()
    text = chunk.iloc[:, : form.fields].fillna("")
    blank = (text == "").all(axis=1).to_numpy()
    for place in np.flatnonzero(long):
        account.refuse(int(text.index[place]), f"more than {form.fields} fields")
    return text[~(blank | long)]


def _check_times(time_ms: np.ndarray[Any, Any], reasons: list[str]) -> None:
    for mask, reason in (
        (time_ms < EARLIEST_MS, "the time is before the year 1980"),
        (time_ms > now_ms() + MOST_AHEAD_MS, "the time is in the future"),
    ):
        for place in np.flatnonzero(mask):
            reasons[place] = reasons[place] or reason


def _by_sensor(
    chunk: pd.DataFrame, form: Form, target: Target, account: Account
) -> Iterator[tuple[str, np.ndarray[Any, Any]]]:
    everything = np.arange(len(chunk))
    if target.sensor is not None:
        yield target.sensor, everything
        return
    if form.sensor_column is None:
        raise ReadingError("the file does not say which sensor it is from; state it with --sensor ID")
    names = chunk[form.sensor_column].str.strip().to_numpy()
    for name in dict.fromkeys(names):
        rows = everything[names == name]
        if name in target.site.sensor_by_id:
            yield name, rows
        else:
            for place in rows:
                account.refuse(int(chunk.index[place]), f"sensor {name[:60]!r} is not in the site file")


def _by_quantity(
    chunk: pd.DataFrame, rows: np.ndarray[Any, Any], form: Form, account: Account
) -> Iterator[tuple[Column, np.ndarray[Any, Any]]]:
    if form.quantity_column is None:
        for column in form.columns:
            yield column, rows
        return
    names = chunk[form.quantity_column].str.strip().to_numpy()[rows]
    for name in dict.fromkeys(names):
        if name in QUANTITIES:
            yield Column(form.columns[0].at, form.columns[0].heading, name, ""), rows[names == name]
        else:
            for place in rows[names == name]:
                account.refuse(int(chunk.index[place]), f"{name[:60]!r} is no quantity")


def _series(
    cells: pd.Series[Any], time_ms: np.ndarray[Any, Any], column: Column, form: Form, account: Account
) -> tuple[Series, int]:
    text = cells.str.strip()
    plain = text.str.replace(form.decimal, ".", regex=False) if form.decimal != "." else text
    values = pd.to_numeric(plain, errors="coerce").to_numpy(dtype=float)
    states = text.str.lower().map(CONTACT_WORDS.get(column.quantity, {})).to_numpy(dtype=float)
    named = np.isfinite(states)
    wrong = ~np.isfinite(values) & ~named
    if wrong.any():
        nothing = text.str.lower().isin(NOTHING).to_numpy()
        account.empty += int(nothing.sum())
        for place in np.flatnonzero(wrong & ~nothing):
            shown = str(text.iloc[place])[:40]
            account.refuse(
                int(cells.index[place]),
                f"{column.heading or column.quantity}: {shown!r} is not {wanted_of(column.quantity)}",
            )
    convert = conversion(column.quantity, column.unit)
    assert convert is not None, "checked with the form"
    values = np.where(named, states, convert(values))  # type: ignore[arg-type]
    keep = np.flatnonzero(~wrong)
    return _rows(time_ms[keep], values[keep], column.quantity)


def _rows(time_ms: np.ndarray[Any, Any], values: np.ndarray[Any, Any], quantity: str) -> tuple[Series, int]:
    """Rows in rising time; of a time that comes twice the first counts, as everywhere."""
    _, first = np.unique(time_ms, return_index=True)
    rows = np.zeros(len(first), ROW_TYPE)
    rows["time_ms"], rows["value"], rows["flag"] = time_ms[first], values[first], Flag.NOT_EVALUATED
    limits = QUANTITIES[quantity]
    impossible = (rows["value"] < limits.lowest) | (rows["value"] > limits.highest)
    if limits.contact:
        impossible |= ~np.isin(rows["value"], (0.0, 1.0))
    rows["flag"][impossible], rows["reason"][impossible] = Flag.FAIL, 1
    if quantity == "humidity":
        fraction = (rows["value"] <= 1.0) & ~impossible
        rows["flag"][fraction], rows["reason"][fraction] = Flag.SUSPECT, 2
    return Series(rows, ("", judged(quantity, limits.highest + 1)[1], FRACTION_REASON)), len(time_ms) - len(
        first
    )
