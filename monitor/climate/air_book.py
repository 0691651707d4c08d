"""The air of every place as arrays on a regular grid of slots, kept in the process and brought up to date by days.

What is derived from air (doses, twins) asks `PlaceAir.touched_since` where to begin again, so a late reading costs
what it touches and nothing more.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from monitor.clock import DAY_MS, TEN_MINUTES_MS
from monitor.store.protocol import Store

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
DAYS_A_READ = 150
"""Read at once: a read holds its records several times over for a moment."""
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
    def size(self) -> int:
        """Memory that the values take [bytes]."""
        return sum(column.nbytes for column in self.columns.values())

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
    """The air of all places of a store; `catch_up`, then ask `of`. Threads may share one.

    Parameters
    ----------
    store : as opened
    when_asked : `catch_up` only notes what was written, and `of` reads it for the place asked for; a place can then
        be let go of again

    Attributes
    ----------
    places : what was read, by room and place, the place last asked for last

    Raises
    ------
    StoreAway : (any call) the store cannot be read now; what was known stays.
    """

    def __init__(self, store: Store, *, when_asked: bool = False) -> None:
        self._store = store
        self._when_asked = when_asked
        self._waiting: dict[Key, set[int]] = defaultdict(set)
        self._revision = 0
        self.lock = threading.RLock()
        self.places: dict[Key, PlaceAir] = {}

    def catch_up(self, most_days: int = DAYS_A_LOOK) -> bool:
        """Take in what was written since; at most so many days of a place. True when there is no more."""
        with self.lock:
            days = self._store.air_days(self._revision, most_days)
            for day in days:
                self._waiting[day.room, day.place].add(day.day)
            if not self._when_asked:
                for key in list(self._waiting):
                    self._take_waiting(key)
            if days:
                self._revision = max(day.revision for day in days)
            return len(days) < most_days

    @property
    def revision(self) -> int:
        """Of the newest write that was taken in."""
        return self._revision

    def of(self, room: str, place: str) -> PlaceAir | None:
        """The air of a place, None where nothing was ever known."""
        key = (room, place)
        with self.lock:
            self._take_waiting(key)
            if key in self.places:
                self.places[key] = self.places.pop(key)
            return self.places.get(key)

    def let_go(self, key: Key) -> None:
        """Forget the values of a place, which are read again when it is asked for; only of a book read when asked."""
        with self.lock:
            gone = self.places.pop(key)
            self._waiting[key].update(range(gone.first // SLOTS_A_DAY, gone.end // SLOTS_A_DAY))

    def _take_waiting(self, key: Key) -> None:
        waiting = self._waiting.get(key)
        if waiting:
            for first, last in _runs(waiting):
                self._take(key, first, last)
                waiting.difference_update(range(first, last + 1))
        self._waiting.pop(key, None)

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


def _runs(days: Iterable[int]) -> Iterator[tuple[int, int]]:
    """Days in a row as (first, last), at most `DAYS_A_READ` of them."""
    numbers = np.unique(list(days))
    for run in np.split(numbers, np.flatnonzero(np.diff(numbers) > 1) + 1):
        for at in range(0, len(run), DAYS_A_READ):
            part = run[at : at + DAYS_A_READ]
            yield int(part[0]), int(part[-1])
