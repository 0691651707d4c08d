"""The near store: an embedded store whose readings and air records also wait to be carried to a far one.

What waits is noted in the transaction that keeps it, and forgotten once the far store has taken it. So the far store
may be away for as long as the disk lasts, and a crash at any point loses nothing and doubles nothing.

What the far store refuses for what it holds is set aside: it waits under the negative of its number, stays here, and
is tried again when the store is next opened for carrying.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from monitor.clock import now_ms, slot_of
from monitor.records import AirRecord, Reading
from monitor.store import bulk
from monitor.store.embedded import EmbeddedStore
from monitor.store.numbers import VALUE_SQL
from monitor.store.protocol import Written
from monitor.store.readings_table import Row, mark_changed
from monitor.store.side_tables import AIR_FIELDS

NEAR_FILE_NAME = "readings-near.sqlite"
_PRUNED, _BEGAN = "pruned-before", "near-began"
_GATHERING = "gathering"
_ALWAYS = -(2**53)
_GATHERING_LATE_MS = 120_000


@dataclass(frozen=True)
class Batch:
    """Things that wait, oldest first, with the number of the last of each kind."""

    readings: list[Reading]
    air: list[AirRecord]
    numbers: list[int]
    """Of the readings, in their order."""
    last_air: int

    def __len__(self) -> int:
        return len(self.readings) + len(self.air)


class NearStore(EmbeddedStore):
    """See the module's text; everything else is as in `EmbeddedStore`."""

    def __init__(self, path: str | Path, rejects_kept: int = 1000) -> None:
        super().__init__(path, rejects_kept)
        self._bringing = threading.local()
        if self.document(_BEGAN) is None:
            self.begin()

    def begin(self) -> None:
        """What is here starts now: whether the far store holds anything older is not known yet."""
        self.put_document(_BEGAN, {"at_ms": now_ms(), "older_far": None})

    def began(self) -> tuple[int, bool | None]:
        """Since when [ms] this store is kept without a hole, and whether the far one holds older readings (None: unknown)."""
        document = self.document(_BEGAN)
        return document["at_ms"], document["older_far"]

    def settle(self, older_far: bool) -> None:
        """Note whether the far store holds readings from before this one began."""
        self.put_document(_BEGAN, {"at_ms": self.began()[0], "older_far": older_far})

    def complete_from(self) -> int:
        """From this moment on [ms] all that there is stands here."""
        at_ms, older_far = self.began()
        return max(self.pruned_before(), _ALWAYS if older_far is False else at_ms)

    def keep(self, readings: Sequence[Reading]) -> Written:
        """Write what the far store has already: it does not wait to be carried."""
        self._bringing.now = True
        try:
            return self.write(readings)
        finally:
            self._bringing.now = False

    def gathering(self) -> None:
        """Note that what comes in elsewhere is being brought here."""
        self.put_document(_GATHERING, now_ms())

    def gathers(self) -> bool:
        """Whether what comes in elsewhere is being brought here now."""
        return now_ms() - int(self.document(_GATHERING) or 0) < _GATHERING_LATE_MS

    def _on_written(self, connection: sqlite3.Connection, new: Sequence[Row]) -> None:
        if getattr(self._bringing, "now", False):
            return
        connection.executemany(
            "INSERT INTO waiting_reading (series, time_ms) VALUES (?, ?)", [row[:2] for row in new]
        )

    def _on_air(self, connection: sqlite3.Connection, records: Sequence[AirRecord]) -> None:
        connection.executemany(
            "INSERT INTO waiting_air (room, place, start_ms) VALUES (?, ?, ?)",
            [(r.room, r.place, r.start_ms) for r in records],
        )

    def write_series(self, sensor: str, quantity: str, series: bulk.Series, seal_before_ms: int) -> Written:
        """As many plain writes: what comes in here has to wait for the far store like everything else."""
        steps = [self.write(part) for part in bulk.readings_of(sensor, quantity, series)]
        return Written(
            sum(w.new for w in steps), sum(w.already for w in steps), sum(w.differing for w in steps)
        )

    def mark_slots(self, sensor: str, times_ms: Iterable[int]) -> int:
        """Mark the slots that some times fall in as changed; how many slots that is."""
        slots = {(sensor, slot_of(int(time_ms))) for time_ms in times_ms}
        with self._connections.writing() as connection:
            mark_changed(connection, slots)
        return len(slots)

    def waiting(self) -> int:
        """How many readings and air records wait."""
        with self._connections.reading() as connection:
            counts = "SELECT (SELECT count(*) FROM waiting_reading WHERE id > 0) + (SELECT count(*) FROM waiting_air)"
            return int(connection.execute(counts).fetchone()[0])

    def set_aside(self) -> int:
        """How many readings the far store has refused."""
        with self._connections.reading() as connection:
            return int(connection.execute("SELECT count(*) FROM waiting_reading WHERE id < 0").fetchone()[0])

    def try_again(self) -> None:
        """Let what was set aside wait again."""
        with self._connections.writing() as connection:
            connection.execute("UPDATE waiting_reading SET id = -id WHERE id < 0")

    def batch(self, most: int) -> Batch:
        """The oldest that wait, at most ``most`` of each kind."""
        with self._connections.reading() as connection:
            readings = connection.execute(
                f"SELECT w.id, s.sensor, s.quantity, w.time_ms, {VALUE_SQL}, r.flag, q.text"
                " FROM (SELECT * FROM waiting_reading WHERE id > 0 ORDER BY id LIMIT ?) w JOIN series s ON s.id = w.series"
                " JOIN reading r ON r.series = w.series AND r.time_ms = w.time_ms"
                " LEFT JOIN reason q ON q.id = r.reason ORDER BY w.id",
                (most,),
            ).fetchall()
            names = ", ".join(f"a.{name}" for name in AIR_FIELDS)
            air = connection.execute(
                f"SELECT w.id, {names} FROM (SELECT * FROM waiting_air ORDER BY id LIMIT ?) w"
                " JOIN air a ON a.room = w.room AND a.place = w.place AND a.start_ms = w.start_ms ORDER BY w.id",
                (most,),
            ).fetchall()
        return Batch(
            [_reading(row) for row in readings],
            [AirRecord(*row[1:]) for row in air],
            [row[0] for row in readings],
            air[-1][0] if air else 0,
        )

    def carried(self, batch: Batch, refused: Iterable[int] = ()) -> None:
        """The far store has taken a batch: it waits no longer, but for the ``refused`` readings (places in the batch)."""
        last = batch.numbers[-1] if batch.numbers else 0
        aside = [(batch.numbers[place],) for place in refused if place < len(batch.numbers)]
        with self._connections.writing() as connection:
            connection.executemany("UPDATE waiting_reading SET id = -id WHERE id = ?", aside)
            connection.execute("DELETE FROM waiting_reading WHERE id BETWEEN 1 AND ?", (last,))
            connection.execute("DELETE FROM waiting_air WHERE id <= ?", (batch.last_air,))

    def pruned_before(self) -> int:
        """Readings before this moment [ms] may have been let go of here; the far store has them."""
        return int(self.document(_PRUNED) or _ALWAYS)

    def prune(self, before_ms: int, marks_too: bool = False) -> int:
        """Let go of readings and air records before a moment that wait no longer; how many readings.

        The newest of every series and place stays.  ``marks_too`` also lets go of the marks of changed slots, where
        nobody judges on this machine.
        """
        if before_ms <= self.pruned_before():
            return 0
        self.put_document(_PRUNED, before_ms)
        with self._connections.writing() as connection:
            if marks_too:
                connection.execute("DELETE FROM change WHERE slot_ms < ?", (before_ms,))
            gone = connection.execute(
                "DELETE FROM reading WHERE time_ms < ?1 AND time_ms <"
                " (SELECT last_ms FROM series WHERE id = reading.series) AND NOT EXISTS"
                " (SELECT 1 FROM waiting_reading w WHERE w.series = reading.series AND w.time_ms = reading.time_ms)",
                (before_ms,),
            ).rowcount
            connection.execute(
                "DELETE FROM air WHERE start_ms < ?1 AND start_ms < (SELECT max(b.start_ms) FROM air b"
                " WHERE b.room = air.room AND b.place = air.place) AND NOT EXISTS"
                " (SELECT 1 FROM waiting_air w WHERE w.room = air.room AND w.place = air.place"
                " AND w.start_ms = air.start_ms)",
                (before_ms,),
            )
        return int(gone)


def _reading(row: tuple[object, ...]) -> Reading:
    _, sensor, quantity, time_ms, value, flag, reason = row
    known = None if value == float("inf") else value
    return Reading(sensor, quantity, time_ms, known, flag, reason or "")  # type: ignore[arg-type]
