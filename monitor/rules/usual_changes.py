"""How far a room's air usually leaves its own last hours, learnt by hour of day from its own last days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from monitor.clock import DAY_MS

BINS = 12
"""Parts of a day; a part is known by itself and the one before and after it, so that work may begin an hour late."""
LEAST_DAYS, LEAST_SLOTS = 7, 100
"""How many days must be known, and of how many slots, before anything is called unusual."""

NEWEST_DAYS = 3
KNOWN_WELL_DAYS, DOUBT_A_DAY = 14, 0.05
"""What is known from fewer days may yet turn out larger: by so much for each day that is missing (chosen, no source)."""


@dataclass(frozen=True)
class Usually:
    """What a room usually does: its largest changes by kind, the range and level of each view, and how much larger either
    may yet turn out (1 where it is known well)."""

    changes: list[float]
    ranges: list[float]
    levels: list[float]
    doubt: float


class UsualChanges:
    """The largest changes of each part of each of the last days, and how wide and where the air ranged meanwhile.

    What is kept is ``days``, a list fit for JSON of
    ``[day since 1970, slots, [sum of the range of each view], [sum of each view], [[largest change of each kind] of each
    part]]``; a part without any change is empty.

    Parameters
    ----------
    most_days : how many days are kept
    views, kinds : how many quantities are watched, and how many kinds of change (a quantity and a side)
    """

    def __init__(self, days: list[list[Any]], most_days: int, views: int, kinds: int) -> None:
        self._days, self._most, self._views, self._kinds = days, most_days, views, kinds

    def learn(
        self, time_ms: int, changes: Sequence[float], ranges: Sequence[float], levels: Sequence[float]
    ) -> None:
        """Take in the changes, the ranges and the views of a slot."""
        day, part = time_ms // DAY_MS, time_ms % DAY_MS * BINS // DAY_MS
        self._days[:] = [d for d in self._days if day - self._most <= d[0] <= day]
        if not self._days or self._days[-1][0] != day:
            none = [0.0] * self._views
            self._days.append([day, 0, none, none, [[] for _ in range(BINS)]])
        today = self._days[-1]
        today[1] += 1
        today[2] = [round(total + now, 3) for total, now in zip(today[2], ranges, strict=True)]
        today[3] = [round(total + now, 3) for total, now in zip(today[3], levels, strict=True)]
        if any(changes):
            known = today[4][part] or [0.0] * self._kinds
            today[4][part] = [max(old, round(now, 3)) for old, now in zip(known, changes, strict=True)]

    def largest(self, time_ms: int) -> Usually | None:
        """The largest usual change of each kind at this time of day; the usual range, and the newest level, of each view.

        None before enough days are known; today counts for nothing.
        """
        day, part = time_ms // DAY_MS, time_ms % DAY_MS * BINS // DAY_MS
        known = [d for d in self._days if d[0] < day and d[1] >= LEAST_SLOTS]
        if len(known) < min(LEAST_DAYS, self._most):
            return None
        near = [(part + step) % BINS for step in (-1, 0, 1)]
        parts = [d[4][p] for d in known for p in near if d[4][p]]
        changes = [max((part[kind] for part in parts), default=0.0) for kind in range(self._kinds)]
        ranges = [median(d[2][view] / d[1] for d in known) for view in range(self._views)]
        levels = [median(d[3][view] / d[1] for d in known[-NEWEST_DAYS:]) for view in range(self._views)]
        doubt = 1.0 + DOUBT_A_DAY * max(0, min(KNOWN_WELL_DAYS, self._most) - len(known))
        return Usually(changes, ranges, levels, doubt)
