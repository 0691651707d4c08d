"""The store on InfluxDB 2: everything is kept near first, carried to InfluxDB, and read from there once it is old.

Writing is durable in the near store (see `monitor.store.spool`) before it returns, so it never waits for InfluxDB.
Marks, documents and rejects, which are small and change often, stay near.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd

from monitor.clock import DAY_MS, now_ms
from monitor.errors import StoreError
from monitor.records import AirRecord, Change, Reading, Reject
from monitor.store.gathering import Gatherer, Teller
from monitor.store.protocol import AirDay, Run, SeriesSummary, Written
from monitor.store.readings_table import run_of
from monitor.store.spool import NearStore

if TYPE_CHECKING:
    from monitor.store.influx_far import InfluxFar

BATCH = 5_000
ASK_AGAIN_S = 60.0
"""How long writing does without asking an InfluxDB that did not answer."""


class InfluxStore:
    """See `Store` for what each call promises.

    Parameters
    ----------
    near, far
        Where readings are kept first, and the InfluxDB they are carried to.
    taken_in_elsewhere
        Readings also come in on other machines: each tells what it carries, and `gather` brings it here.  Where
        nobody gathers, what is near is not all, and every read asks InfluxDB.
    """

    def __init__(self, near: NearStore, far: InfluxFar, taken_in_elsewhere: bool = False) -> None:
        self.near, self.far = near, far
        self.taken_in_elsewhere = taken_in_elsewhere
        self._ask_again_at = 0.0
        self._teller, self._gatherer = Teller(), Gatherer(near, far)

    def write(self, readings: Sequence[Reading]) -> Written:
        """Keep readings; those so old that they are near no more are compared with InfluxDB, where it answers."""
        edge = self.near.pruned_before()
        old = [r for r in readings if r.time_ms < edge]
        if not old:
            return self.near.write(readings)
        fresh, already, differing = self._not_held_far(old)
        written = self.near.write([*(r for r in readings if r.time_ms >= edge), *fresh])
        return Written(written.new, written.already + already, written.differing + differing)

    def _not_held_far(self, readings: Sequence[Reading]) -> tuple[list[Reading], int, int]:
        fresh: list[Reading] = []
        already = differing = 0
        held: dict[tuple[str, str], pd.DataFrame] = {}
        for reading in readings:
            key = (reading.sensor, reading.quantity)
            if key not in held:
                times = [r.time_ms for r in readings if (r.sensor, r.quantity) == key]
                held[key] = self._held_far(*key, min(times), max(times) + 1)
            known = held[key]["value"].get(pd.Timestamp(reading.time_ms, unit="ms", tz="UTC"))
            if known is None:
                fresh.append(reading)
            elif known == reading.value or (reading.value is None and known != known):
                already += 1
            else:
                differing += 1
        return fresh, already, differing

    def _held_far(self, sensor: str, quantity: str, start_ms: int, end_ms: int) -> pd.DataFrame:
        # Not to lose it and not to wait come first: carried later, it takes the place of what may be there.
        nothing = pd.DataFrame({"value": []}, index=pd.DatetimeIndex([], tz="UTC"))
        if time.monotonic() < self._ask_again_at:
            return nothing
        try:
            return self.far.readings(sensor, quantity, start_ms, end_ms)
        except StoreError:
            self._ask_again_at = time.monotonic() + ASK_AGAIN_S
            return nothing

    def read(self, sensor: str, quantity: str, start_ms: int, end_ms: int) -> pd.DataFrame:
        """Readings in a span; see `Store.read`.

        Raises
        ------
        StoreAway
            The span reaches back to what only InfluxDB has, and it does not answer.
        """
        near = self.near.read(sensor, quantity, start_ms, end_ms)
        if not self._reaches_far(start_ms):
            return near
        far = self.far.readings(sensor, quantity, start_ms, end_ms)
        return _joined(far, near)

    def read_air(self, room: str, place: str, start_ms: int, end_ms: int) -> pd.DataFrame:
        """Air records in a span; see `Store.read_air` and, for what it raises, `read`."""
        near = self.near.read_air(room, place, start_ms, end_ms)
        if not self._reaches_far(start_ms):
            return near
        return _joined(self.far.air(room, place, start_ms, end_ms), near)

    def _reaches_far(self, start_ms: int) -> bool:
        return self._only_far() or start_ms < self.near.complete_from()

    def _only_far(self) -> bool:
        return self.taken_in_elsewhere and not self.near.gathers()

    def air_days(self, after_revision: int = 0, limit: int = 10_000) -> list[AirDay]:
        """Days of air written after a revision; see `Store.air_days`.

        Days that only InfluxDB has come with the first look, as revision 1.  Where air records are made elsewhere
        their writes are not seen here: then a day's number is its revision, and the last two days always are new.
        """
        if self._only_far():
            first = max(now_ms() // DAY_MS - 1, after_revision) if after_revision else -(2**30)
            return [d for d in self._far_days(2**53) if d.day >= first]
        near = self.near.air_days(after_revision, limit)
        began_ms, older_far = self.near.began()
        if after_revision > 0 or older_far is False:
            return near
        return [*(AirDay(d.room, d.place, d.day, 1) for d in self._far_days(began_ms)), *near]

    def _far_days(self, before_ms: int) -> list[AirDay]:
        extents = self.far.air_extents(before_ms)
        return [
            AirDay(room, place, day, day)
            for (room, place), (first_ms, last_ms) in extents.items()
            for day in range(first_ms // DAY_MS, last_ms // DAY_MS + 1)
        ]

    def latest_air(self) -> list[AirRecord]:
        """The newest air record of every room and place."""
        near = {(r.room, r.place): r for r in self.near.latest_air()}
        if self._only_far():
            for record in self.far.latest_air():
                key = (record.room, record.place)
                if key not in near or near[key].start_ms < record.start_ms:
                    near[key] = record
        return [near[key] for key in sorted(near)]

    def carry(self, most: int = BATCH) -> int:
        """Carry what waits to InfluxDB, oldest first, at most ``most`` of each kind; how much was carried.

        Raises
        ------
        StoreAway
            InfluxDB does not take it now; everything waits on.
        """
        began_ms, older_far = self.near.began()
        if older_far is None:
            self.near.settle(self.far.holds_before(began_ms))
        batch = self.near.batch(most)
        if not len(batch):
            return 0
        refused = self.far.write(batch.readings, batch.air)
        if refused:
            self.near.reject(refusal.reject for refusal in refused)
        if self.taken_in_elsewhere and batch.readings:
            self.far.tell_carried(self._teller.told(batch.readings))
        self.near.carried(batch, [r.number for r in refused if r.number is not None])
        return len(batch)

    def gather(self) -> int:
        """Bring here what other machines have carried to InfluxDB; see `Gatherer.gather`."""
        return self._gatherer.gather()

    def waiting(self) -> int:
        """How many readings and air records wait to be carried."""
        return self.near.waiting()

    def write_air(self, records: Sequence[AirRecord], done: Sequence[Change] = ()) -> None:
        """Replace air records and forget the changes they answer; see `Store.write_air`."""
        self.near.write_air(records, done)

    def run_before(self, sensor: str, quantity: str, before_ms: int, reach_ms: int) -> Run | None:
        """The run of equal values that ends just before a moment; see `Store.run_before`."""
        if not self._reaches_far(before_ms - reach_ms):
            return self.near.run_before(sensor, quantity, before_ms, reach_ms)
        return run_of(self.read(sensor, quantity, before_ms - reach_ms, before_ms))

    def series(self) -> list[SeriesSummary]:
        """Every series that came in here with its count, extent and newest reading."""
        return self.near.series()

    def mark_changed(self, sensor: str, start_ms: int, end_ms: int) -> int:
        """Mark every slot of a span in which a sensor has readings, so that its air records are made again."""
        if not self._reaches_far(start_ms):
            return self.near.mark_changed(sensor, start_ms, end_ms)
        times = self.far.times(sensor, start_ms, end_ms)
        return self.near.mark_slots(sensor, times) + self.near.mark_changed(sensor, start_ms, end_ms)

    def reject(self, rejects: Iterable[Reject]) -> None:
        """Count and keep what could not be read."""
        self.near.reject(rejects)

    def rejects(self, limit: int = 100) -> list[Reject]:
        """The newest rejects, newest first."""
        return self.near.rejects(limit)

    def reject_counts(self) -> dict[str, int]:
        """How many messages were ever refused, by reason."""
        return self.near.reject_counts()

    def changes(self, limit: int = 10_000) -> list[Change]:
        """Slots whose air records are out of date, newest slot first."""
        return self.near.changes(limit)

    def put_document(self, name: str, document: Any) -> None:
        """Keep a small JSON document by name."""
        self.near.put_document(name, document)

    def document(self, name: str) -> Any:
        """A document by name, or None."""
        return self.near.document(name)

    def close(self) -> None:
        """Let go of both stores; closing twice does no harm."""
        self.near.close()
        self.far.close()


def _joined(far: pd.DataFrame, near: pd.DataFrame) -> pd.DataFrame:
    """Rows of both, in order of time; where both have one, the near one."""
    if far.empty:
        return near
    if not near.empty:
        far = far[~far.index.isin(near.index)]
    reasons = [str(r) for frame in (far, near) if "reason" in frame for r in frame["reason"].unique()]
    parts = [part.astype({"reason": object}) if "reason" in part else part for part in (far, near)]
    joined = pd.concat([part for part in parts if len(part)]).sort_index()
    if "reason" in joined:
        joined["reason"] = pd.Categorical(joined["reason"], categories=list(dict.fromkeys(["", *reasons])))
    joined.index.name = near.index.name
    return joined


def influx_store(near: NearStore, make_far: Callable[[], InfluxFar], taken_in_elsewhere: bool) -> InfluxStore:
    """The store, with the near part closed again where the far one cannot even be set up.

    Raises
    ------
    StoreError
        The environment does not hold what the site file names.
    """
    try:
        return InfluxStore(near, make_far(), taken_in_elsewhere)
    except StoreError:
        near.close()
        raise
