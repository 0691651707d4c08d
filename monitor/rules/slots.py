"""Rules that look back over ten-minute slots of a place or a room, and what is usual at a place by its own last days."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Collection, Iterator
from statistics import median
from typing import Any

from monitor.clock import DAY_MS, TEN_MINUTES_MS
from monitor.records import AirRecord
from monitor.rules.base import Rule
from monitor.rules.moment import Moment
from monitor.rules.watch import Evidence

Slot = list[Any]
"""Start [ms], temperature [degC], relative humidity [%]; a list, since it is kept as JSON."""
GAP_MS = 1_800_000
"""Slots further apart than this [ms] are not one course."""


SETTLING = 0.02
"""How much of what a place is off the room is learnt with each slot: a third of a day for most of it."""


class SlotRule(Rule):
    """Keeps the last ``kept`` slots of each place; the newest is made again and again while it is in progress."""

    kept = 6

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        for record in self.new_air(moment):
            if record.temperature_c is None or record.rh_pct is None:
                continue
            recent = self.memory.setdefault("recent", {}).setdefault(record.place, [])
            if recent and recent[-1][0] < record.start_ms:
                self.finish(record.place, recent)
                if record.start_ms - recent[-1][0] > GAP_MS:
                    recent.clear()
            if recent and recent[-1][0] >= record.start_ms:
                recent.pop()
            recent.append([record.start_ms, record.temperature_c, record.rh_pct])
            del recent[: -self.kept]
            yield from self.of_place(moment, record, recent)

    @abstractmethod
    def of_place(self, moment: Moment, record: AirRecord, recent: list[Slot]) -> Iterator[Evidence]:
        """What the last slots of a place show, the newest (of ``record``) last."""

    def finish(self, place: str, recent: list[Slot]) -> None:
        """Take note of the slots of a place, the last of which is now complete."""
        return

    def _rewind(self, now_ms: int) -> None:
        super()._rewind(now_ms)
        for recent in self.memory.get("recent", {}).values():
            recent[:] = [slot for slot in recent if slot[0] <= now_ms]


class RoomSlotRule(Rule):
    """Gathers the air of all places of the room by slot, and looks at a slot once it is over."""

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        waiting = self.memory.setdefault("open", {})
        for record in self.new_air(moment):
            if record.place and record.temperature_c is not None and record.rh_pct is not None:
                slot = waiting.setdefault(str(record.start_ms), {})
                slot[record.place] = [record.temperature_c, record.rh_pct]
        for start in sorted(int(s) for s in waiting if int(s) + TEN_MINUTES_MS <= moment.now_ms):
            yield from self.of_slot(moment, start, waiting.pop(str(start)))

    @abstractmethod
    def of_slot(self, moment: Moment, start_ms: int, places: dict[str, list[float]]) -> Iterator[Evidence]:
        """What a slot that is over shows: temperature [degC] and relative humidity [%] by place."""

    def middle(self, places: dict[str, list[float]], unlike: Collection[str] = ()) -> list[float]:
        """Temperature [degC] and humidity [%] of the room: the median of its places, each less what it is usually off, so
        that a place without a reading moves nothing.  Of places that are ``unlike`` themselves now nothing is learnt."""
        offsets = self.memory.setdefault("offsets", {})
        plain = [median(values[column] for values in places.values()) for column in (0, 1)]
        for name, values in places.items():
            offsets.setdefault(name, [values[column] - plain[column] for column in (0, 1)])
        room = [median(v[column] - offsets[name][column] for name, v in places.items()) for column in (0, 1)]
        room[1] = min(max(room[1], 0.0), 100.0)
        for name in places.keys() - set(unlike):
            for column in (0, 1):
                off = places[name][column] - room[column]
                offsets[name][column] += SETTLING * (off - offsets[name][column])
        return room

    def usual_at(self, place: str, middle: list[float]) -> list[float]:
        """What a place that was in `middle` usually has when the room has that: air cannot be damper than saturated."""
        warmer, damper = self.memory["offsets"][place]
        return [middle[0] + warmer, min(middle[1] + damper, 100.0)]

    def _rewind(self, now_ms: int) -> None:
        super()._rewind(now_ms)
        self.memory["open"] = {}


class Usual:
    """The usual range of a value: the lowest and highest of each of its last days, the most extreme day left out.

    What is kept is ``days``, a list fit for JSON of [day since 1970, lowest, highest].
    """

    def __init__(self, days: list[list[float]], most_days: int) -> None:
        self._days, self._most = days, most_days

    def update(self, time_ms: int, low: float, high: float) -> None:
        """Take in a value, or a low and a high reading of it."""
        day = time_ms // DAY_MS
        self._days[:] = [d for d in self._days if day - self._most <= d[0] <= day]
        if self._days and self._days[-1][0] == day:
            last = self._days[-1]
            last[1], last[2] = min(last[1], low), max(last[2], high)
        else:
            self._days.append([day, low, high])

    def range(self) -> tuple[float, float] | None:
        """Lowest and highest usual value; None before three whole days are known."""
        if len(self._days) < 4:
            return None
        return sorted(d[1] for d in self._days)[1], sorted(d[2] for d in self._days)[-2]
