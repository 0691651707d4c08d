"""What lets several machines take readings in: each tells on InfluxDB what it carried there, and one gathers it.

Points have the times of their readings, which say nothing about when they arrived.  So whoever carries readings over
tells, as points of their own, which spans of which series those were; the machine that judges reads these, and brings
the readings into its near store, where they mark slots as changed like any others.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import pandas as pd

from monitor.clock import DAY_MS, now_ms
from monitor.records import Reading
from monitor.store.line_protocol import Carried
from monitor.store.spool import NearStore

if TYPE_CHECKING:
    from monitor.store.influx_far import InfluxFar

WINDOW_MS = 10_000
"""Word about one series is given once in so long; more in that time takes the place of what was told."""
OVERLAP_MS = 600_000
"""How far back [ms] word is looked for again: clocks of machines may differ by so much."""
_CURSOR = "gathered-until"
Key = tuple[str, str]


class Teller:
    """Tells what this process has carried over."""

    def __init__(self) -> None:
        self._by = uuid.uuid4().hex
        self._window_ms = 0
        self._spans: dict[Key, tuple[int, int]] = {}

    def told(self, readings: Sequence[Reading], at_ms: int | None = None) -> list[Carried]:
        """The word to give about some readings, together with what was carried in the same window before."""
        moment = now_ms() if at_ms is None else at_ms
        window_ms = moment - moment % WINDOW_MS
        if window_ms != self._window_ms:
            self._window_ms, self._spans = window_ms, {}
        touched = set()
        for reading in readings:
            key = (reading.sensor, reading.quantity)
            first, last = self._spans.get(key, (reading.time_ms, reading.time_ms))
            self._spans[key] = min(first, reading.time_ms), max(last, reading.time_ms)
            touched.add(key)
        return [Carried(self._by, *key, *self._spans[key], window_ms) for key in sorted(touched)]


class Gatherer:
    """Brings here what other machines have carried over.

    Parameters
    ----------
    near, far : where it is brought, and from where
    """

    def __init__(self, near: NearStore, far: InfluxFar) -> None:
        self._near, self._far = near, far
        self._known: dict[tuple[str, str, str, int], tuple[int, int]] = {}

    def gather(self) -> int:
        """Bring what was told since the last time; how many readings were new here.

        Raises
        ------
        StoreAway
            InfluxDB does not answer; what was missed comes the next time.
        """
        self._near.gathering()
        until_ms = self._near.document(_CURSOR) or self._near.began()[0] - DAY_MS
        word = self._far.carried(until_ms - OVERLAP_MS, now_ms() + DAY_MS)
        fresh = [w for w in word if self._known.get(_name(w)) != (w.first_ms, w.last_ms)]
        new = sum(self._bring(*piece) for piece in _spans(fresh))
        self._known = {_name(w): (w.first_ms, w.last_ms) for w in word}
        if word:
            self._near.put_document(_CURSOR, min(max(w.at_ms for w in word), now_ms()))
        return new

    def _bring(self, sensor: str, quantity: str, first_ms: int, last_ms: int) -> int:
        frame = self._far.readings(sensor, quantity, first_ms, last_ms + 1)
        times = pd.DatetimeIndex(frame.index).as_unit("ms").asi8
        columns = zip(times, frame["value"], frame["flag"], frame["reason"], strict=True)
        readings = [
            Reading(
                sensor, quantity, int(at), None if value != value else float(value), int(flag), str(reason)
            )
            for at, value, flag, reason in columns
        ]
        return self._near.keep(readings).new


def _name(word: Carried) -> tuple[str, str, str, int]:
    return word.by, word.sensor, word.quantity, word.at_ms


def _spans(word: Sequence[Carried]) -> Iterator[tuple[str, str, int, int]]:
    """Series and span of each piece to be read; overlapping ones are read once."""
    by_series: dict[Key, list[tuple[int, int]]] = defaultdict(list)
    for one in word:
        by_series[one.sensor, one.quantity].append((one.first_ms, one.last_ms))
    for key, spans in by_series.items():
        spans.sort()
        first, last = spans[0]
        for start, end in spans[1:]:
            if start > last + WINDOW_MS:
                yield (*key, first, last)
                first, last = start, end
            else:
                last = max(last, end)
        yield (*key, first, last)
