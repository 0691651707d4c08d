"""The air of every place by the hour, as the running twins live it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from monitor.climate.air_book import AirBook, Key, PlaceAir
from monitor.clock import TEN_MINUTES_MS

Floats = NDArray[np.float64]

HOUR_MS = 3_600_000
SLOTS = HOUR_MS // TEN_MINUTES_MS
LEAST_SLOTS = 3
"""An hour with fewer known slots is not known."""


@dataclass
class HourlyAir:
    """Hourly means of temperature [degC] and humidity [%] of places, numbered in the order they were asked for.

    A place takes its room's air for the time before it was first measured itself; after that a gap is a gap.
    `refresh` first takes up what changed in the book.
    """

    book: AirBook
    keys: list[Key] = field(default_factory=list)
    _numbers: dict[Key, int] = field(default_factory=dict)
    _versions: dict[Key, int] = field(default_factory=dict)
    _means: dict[Key, tuple[int, Floats, Floats]] = field(default_factory=dict)
    _first: int = 0
    _table: tuple[Floats, Floats] | None = None

    def number(self, room: str, place: str) -> int:
        """The number of a place; a new one where it was not asked for before."""
        key = (room, place)
        if key not in self._numbers:
            self._numbers[key] = len(self.keys)
            self.keys.append(key)
            self._table = None
            with self.book.lock:
                self._take(key)
                self._take((room, ""))
        return self._numbers[key]

    def refresh(self) -> dict[Key, int]:
        """Take up what changed; the earliest hour that did, of every place asked for where one did."""
        touched: dict[Key, int] = {}
        with self.book.lock:
            for key in {*self.keys, *((room, "") for room, _ in self.keys)}:
                slot = self._take(key)
                if slot is not None:
                    touched[key] = slot // SLOTS
        if touched:
            self._table = None
        for key in self.keys:
            of_room = touched.get((key[0], ""))
            if of_room is not None and of_room < self._own_from(key):
                touched[key] = min(of_room, touched.get(key, of_room))
        return touched

    def at(self, hour: int) -> tuple[Floats, Floats]:
        """Temperature [degC] and humidity [%] of every place in an hour, and NaN for "nowhere" behind the last."""
        if self._table is None:
            self._table = self._tabulate()
        celsius, rh = self._table
        row = hour - self._first
        if not 0 <= row < len(celsius):
            nothing = np.full(len(self.keys) + 1, np.nan)
            return nothing, nothing
        return celsius[row], rh[row]

    def span(self, key: Key, from_hour: int, to_hour: int) -> tuple[Floats, Floats]:
        """Temperature and humidity of one place in a span of hours, NaN where not known."""
        number = self.number(*key)
        if self._table is None:
            self._table = self._tabulate()
        rows = np.arange(from_hour, to_hour) - self._first
        inside = (rows >= 0) & (rows < len(self._table[0]))
        found = [np.full(len(rows), np.nan) for _ in range(2)]
        for column, values in zip(found, self._table, strict=True):
            column[inside] = values[rows[inside], number]
        return found[0], found[1]

    def fingerprint(self, from_hour: int, to_hour: int) -> dict[str, str]:
        """What the air of every place was in a span of hours, in short; it differs where any value does."""
        found = {}
        for room, place in list(self.keys):
            parts = np.concatenate(self.span((room, place), from_hour, to_hour)).round(6)
            found[f"{room}/{place}"] = hashlib.sha256(parts.tobytes()).hexdigest()[:16]
        return found

    def _take(self, key: Key) -> int | None:
        of_air = self.book.of(*key)
        if of_air is None or self._versions.get(key) == of_air.version:
            return None
        slot = of_air.touched_since(self._versions.get(key, -1))
        slot = of_air.first if slot is None else slot
        self._versions[key] = of_air.version
        self._means[key] = _means(of_air, max(0, slot // SLOTS - of_air.first // SLOTS), self._means.get(key))
        return slot

    def _own_from(self, key: Key) -> int:
        """The first hour that a place was measured in itself; beyond all hours where it never was."""
        if key not in self._means:
            return 2**60
        first, celsius, rh = self._means[key]
        known = np.flatnonzero(np.isfinite(celsius) & np.isfinite(rh))
        return first + int(known[0]) if known.size else 2**60

    def _tabulate(self) -> tuple[Floats, Floats]:
        spans = [(m[0], m[0] + len(m[1])) for m in self._means.values()]
        self._first = min((low for low, _ in spans), default=0)
        hours = max((high for _, high in spans), default=0) - self._first
        table = np.full((2, hours, len(self.keys) + 1), np.nan)
        for number, key in enumerate(self.keys):
            own_from = self._own_from(key)
            for source, until in (((key[0], ""), own_from), (key, 2**60)):
                if source in self._means:
                    first, celsius, rh = self._means[source]
                    count = max(0, min(len(celsius), until - first))
                    rows = slice(first - self._first, first - self._first + count)
                    known = np.isfinite(celsius[:count]) & np.isfinite(rh[:count])
                    for layer, values in zip(table, (celsius, rh), strict=True):
                        layer[rows, number] = np.where(known, values[:count], layer[rows, number])
        return table[0], table[1]


def _means(
    of_air: PlaceAir, from_row: int, before: tuple[int, Floats, Floats] | None
) -> tuple[int, Floats, Floats]:
    """Hourly means of a place's air, those before a row as they were worked out already."""
    first = of_air.first // SLOTS
    if before is None or before[0] != first:
        before, from_row = (first, np.empty(0), np.empty(0)), 0
    from_row = min(from_row, len(before[1]))
    found = []
    for name, known in (("temperature_c", before[1]), ("rh_pct", before[2])):
        slots = of_air.columns[name][from_row * SLOTS :].reshape(-1, SLOTS)
        count = np.isfinite(slots).sum(axis=1)
        mean = np.where(count >= LEAST_SLOTS, np.nansum(slots, axis=1) / np.maximum(count, 1), np.nan)
        found.append(np.concatenate([known[:from_row], np.clip(mean, None, 100.0)]))
    return first, found[0], np.maximum(found[1], 0.0)
