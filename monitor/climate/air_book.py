"""The air of every place as arrays on a regular grid of slots, kept in the process and brought up to date by days.

What is derived from air (doses, twins) asks `PlaceAir.touched_since` where to begin again, so a late reading costs
what it touches and nothing more.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from monitor.clock import DAY_MS, TEN_MINUTES_MS
from monitor.store.protocol import AirDay, Store

Floats = NDArray[np.float64]
Key = tuple[str, str]
"""Room and place; an empty place is the room as a whole."""

COLUMNS = (
    "temperature_c",
    "temperature_min_c",
    "temperature_max_c",
    "rh_pct",
    "rh_min_pct",
    "rh_max_pct",
    "temperature_sigma_k",
    "rh_sigma_pct",
)
SLOTS_A_DAY = DAY_MS // TEN_MINUTES_MS
DAYS_A_LOOK = 20_000
_TOUCHES_KEPT = 500


@dataclass
class PlaceAir:
    """The air of one place, slot by slot.

    Attributes
    ----------
    first : number of the first slot, its start over ten minutes; always the first of a UTC day
    columns : one array of (slots,) by name of `COLUMNS`, NaN where not known
    version : grows whenever a value changes
    """

    first: int = 0
    columns: dict[str, Floats] = field(default_factory=lambda: {name: np.empty(0) for name in COLUMNS})
    version: int = 0
    _touches: list[tuple[int, int]] = field(default_factory=list)

    @property
    def slots(self) -> int:
        """How many slots the grid has."""
        return len(self.columns["rh_pct"])

    @property
    def end(self) -> int:
        """Number of the slot after the last."""
        return self.first + self.slots

    def touched_since(self, version: int) -> int | None:
        """The earliest slot that changed after a version; None where nothing did."""
        if version >= self.version:
            return None
        if self._touches[0][0] > version + 1:
            return self.first
        return min(slot for after, slot in self._touches if after > version)

    def slice(self, name: str, from_slot: int, to_slot: int) -> Floats:
        """One column of a span of slots, NaN outside what is known; a copy."""
        result = np.full(max(0, to_slot - from_slot), np.nan)
        low, high = max(from_slot, self.first), min(to_slot, self.end)
        if low < high:
            result[low - from_slot : high - from_slot] = self.columns[name][
                low - self.first : high - self.first
            ]
        return result

    def put(self, from_slot: int, values: dict[str, Floats]) -> int | None:
        """Lay in whole days from a slot on; the earliest slot that differs from before, None where none does."""
        self._reach(from_slot, from_slot + len(values["rh_pct"]))
        at, differs = from_slot - self.first, np.zeros(len(values["rh_pct"]), dtype=bool)
        for name, new in values.items():
            old = self.columns[name][at : at + len(new)]
            differs |= (old != new) & ~(np.isnan(old) & np.isnan(new))
            old[:] = new
        if not differs.any():
            return None
        touched = from_slot + int(np.argmax(differs))
        self.version += 1
        self._touches = [*self._touches[-_TOUCHES_KEPT:], (self.version, touched)]
        return touched

    def _reach(self, from_slot: int, to_slot: int) -> None:
        if not self.slots:
            self.first = from_slot
        before, after = max(0, self.first - from_slot), max(0, to_slot - self.end)
        if before or after:
            for name, old in self.columns.items():
                self.columns[name] = np.concatenate([np.full(before, np.nan), old, np.full(after, np.nan)])
            self.first -= before


class AirBook:
    """The air of all places of a store; `catch_up`, then look at ``places``. Threads may share one.

    Raises
    ------
    StoreAway : (any call) the store cannot be read now; what was known stays.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._revision = 0
        self.lock = threading.RLock()
        self.places: dict[Key, PlaceAir] = {}

    def catch_up(self, most_days: int = DAYS_A_LOOK) -> bool:
        """Take in what was written since; at most so many days of a place. True when there is no more."""
        with self.lock:
            days = self._store.air_days(self._revision, most_days)
            for key, first, last in _runs(days):
                self._take(key, first, last)
            if days:
                self._revision = max(day.revision for day in days)
            return len(days) < most_days

    @property
    def revision(self) -> int:
        """Of the newest write that was taken in."""
        return self._revision

    def of(self, room: str, place: str) -> PlaceAir | None:
        """The air of a place, None where nothing was ever known."""
        return self.places.get((room, place))

    def _take(self, key: Key, first_day: int, last_day: int) -> None:
        start, end = first_day * DAY_MS, (last_day + 1) * DAY_MS
        frame = self._store.read_air(*key, start, end)
        index = pd.DatetimeIndex(frame.index).as_unit("ms").asi8 // TEN_MINUTES_MS
        from_slot = start // TEN_MINUTES_MS
        values = {}
        for name in COLUMNS:
            values[name] = np.full((end - start) // TEN_MINUTES_MS, np.nan)
            values[name][index - from_slot] = frame[name].to_numpy(dtype=float)
        self.places.setdefault(key, PlaceAir()).put(from_slot, values)


def _runs(days: list[AirDay]) -> Iterator[tuple[Key, int, int]]:
    """Days in a row of each place, as (place, first, last)."""
    by_place: dict[Key, list[int]] = defaultdict(list)
    for day in days:
        by_place[day.room, day.place].append(day.day)
    for key, found in by_place.items():
        numbers = np.unique(found)
        for part in np.split(numbers, np.flatnonzero(np.diff(numbers) > 1) + 1):
            yield key, int(part[0]), int(part[-1])
