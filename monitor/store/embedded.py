"""The embedded store: one SQLite file that the service writes while others read it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from monitor.errors import StoreAway
from monitor.records import AirRecord, Change, Reading, Reject
from monitor.store import bulk, charting, sealing
from monitor.store import readings_table as readings_in
from monitor.store import side_tables as side
from monitor.store.connections import BUSY_MS, Connections
from monitor.store.dictionary import Dictionary, reason_texts, series_number
from monitor.store.numbers import ROW_TYPE, frame
from monitor.store.protocol import AirDay, Run, SeriesSummary, Written
from monitor.store.schema import is_current, migrate

FILE_NAME = "readings.sqlite"


class EmbeddedStore:
    """Readings, air records, rejects and documents in one SQLite file (see `Store` for what each call promises).

    A commit is on the disk when a call returns (WAL, synchronous FULL).  Threads may share one store, and
    other processes may open the same file at the same time.
    """

    def __init__(self, path: str | Path, rejects_kept: int = 1000, busy_ms: int = BUSY_MS) -> None:
        """Open the file, making or migrating it where needed.

        Raises
        ------
        StoreAway
            The file cannot be opened now.
        StoreDamaged
            The file is torn, another program's, or of a newer version.
        """
        self.path = Path(path)
        self._rejects_kept = rejects_kept
        self._dictionary = Dictionary()
        self._connections = Connections(self.path, busy_ms)
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreAway(
                f"the store's folder {self.path.parent} cannot be made: {error.strerror}"
            ) from error
        self._bring_up_to_date()

    def _bring_up_to_date(self) -> None:
        with self._connections.errors():
            connection = self._connections.open()
            try:
                if not is_current(connection):
                    migrate(connection)
            finally:
                connection.close()

    def write(self, readings: Sequence[Reading]) -> Written:
        """Keep readings, and mark the slots that they change; see `Store.write`.

        Raises
        ------
        ReadingError
            A value is not finite; nothing is written then.
        """
        if not readings:
            return Written(0, 0, 0)
        for reading in readings:
            readings_in.checked(reading)
        with self._connections.writing() as connection:
            series = self._dictionary.series(connection, ((r.sensor, r.quantity) for r in readings))
            reasons = self._dictionary.reasons(connection, (r.reason for r in readings))
            rows = readings_in.rows_of(readings, series, reasons)
            new, written = readings_in.insert(connection, rows)
            readings_in.account(connection, new)
            self._on_written(connection, new)
            sensors = {number: sensor for (sensor, _), number in series.items()}
            readings_in.mark_changed(
                connection, {(sensors[row[0]], row[1] - row[1] % 600_000) for row in new}
            )
        self._dictionary.committed()
        return written

    def _on_written(self, connection: sqlite3.Connection, new: Sequence[readings_in.Row]) -> None:
        """For a store that does more with new readings, within the same transaction."""

    def _on_air(self, connection: sqlite3.Connection, records: Sequence[AirRecord]) -> None:
        """For a store that does more with air records, within the same transaction."""

    def write_series(self, sensor: str, quantity: str, series: bulk.Series, seal_before_ms: int) -> Written:
        """Keep many readings of one series in one transaction; see `bulk.TakesSeries`."""
        with self._connections.writing() as connection:
            number = self._dictionary.series(connection, [(sensor, quantity)])[sensor, quantity]
            reasons = self._dictionary.reasons(connection, series.reasons)
            rows = series.rows.copy()
            rows["reason"] = np.array([reasons[text] for text in series.reasons])[series.rows["reason"]]
            written = bulk.put_series(connection, number, sensor, rows, seal_before_ms)
        self._dictionary.committed()
        return written

    def read(self, sensor: str, quantity: str, start_ms: int, end_ms: int) -> pd.DataFrame:
        """Readings in a span; see `Store.read`."""
        with self._connections.reading() as connection:
            number = series_number(connection, sensor, quantity)
            if number is None:
                return frame(np.zeros(0, ROW_TYPE), [""])
            rows = sealing.rows_of_span(connection, number, start_ms, end_ms)
            return frame(rows, reason_texts(connection))

    def run_before(self, sensor: str, quantity: str, before_ms: int, reach_ms: int) -> Run | None:
        """The run of equal values that ends just before a moment; see `Store.run_before`."""
        with self._connections.reading() as connection:
            number = series_number(connection, sensor, quantity)
            return None if number is None else readings_in.run_before(connection, number, before_ms, reach_ms)

    def read_chart(
        self, sensor: str, quantity: str, start_ms: int, end_ms: int, points: int = 2000
    ) -> pd.DataFrame:
        """Good readings (flags 1 and 2) of a span in at most about ``points`` buckets that keep every extreme.

        Index ``time`` (UTC, start of the bucket), columns ``low``, ``high``, ``mean`` and ``count``.
        """
        width = max(1, (end_ms - start_ms) // max(1, points))
        with self._connections.reading() as connection:
            number = series_number(connection, sensor, quantity)
            if number is None:
                return charting.buckets(np.empty(0, sealing.HOUR_TYPE), width)
            if width >= sealing.HOUR_MS:
                return charting.buckets(sealing.hours_of_span(connection, number, start_ms, end_ms), width)
            rows = sealing.rows_of_span(connection, number, start_ms, end_ms)
            return charting.buckets(charting.as_parts(rows), width)

    def seal(self, before_ms: int, most_days: int = 200) -> int:
        """Bring whole days that ended before a moment into their compact form; how many (0 once all are)."""
        with self._connections.writing() as connection:
            return sealing.seal(connection, before_ms, most_days)

    def forget(self, quantity: str, before_ms: int) -> int:
        """Delete a quantity's readings of whole days that ended before a moment; how many readings."""
        with self._connections.writing() as connection:
            rows = connection.execute("SELECT id FROM series WHERE quantity = ?", (quantity,)).fetchall()
            return sum(sealing.forget_before(connection, row[0], before_ms) for row in rows)

    def series(self) -> list[SeriesSummary]:
        """Every series with its count, extent and newest reading."""
        with self._connections.reading() as connection:
            return readings_in.summaries(connection)

    def reject(self, rejects: Iterable[Reject]) -> None:
        """Count and keep what could not be read."""
        refused = list(rejects)
        if refused:
            with self._connections.writing() as connection:
                side.put_rejects(connection, refused, self._rejects_kept)

    def rejects(self, limit: int = 100) -> list[Reject]:
        """The newest rejects, newest first."""
        with self._connections.reading() as connection:
            return side.newest_rejects(connection, limit)

    def reject_counts(self) -> dict[str, int]:
        """How many messages were ever refused, by reason."""
        with self._connections.reading() as connection:
            return dict(
                connection.execute("SELECT reason, count FROM reject_count ORDER BY reason").fetchall()
            )

    def changes(self, limit: int = 10_000) -> list[Change]:
        """Slots whose air records are out of date, newest slot first."""
        with self._connections.reading() as connection:
            rows = connection.execute(
                "SELECT sensor, slot_ms, revision FROM change ORDER BY slot_ms DESC, sensor LIMIT ?", (limit,)
            )
            return [Change(*row) for row in rows]

    def mark_changed(self, sensor: str, start_ms: int, end_ms: int) -> int:
        """Mark every slot of a span in which a sensor has readings, so that its air records are made again; how
        many slots that is."""
        with self._connections.writing() as connection:
            slots = readings_in.slots_with_readings(connection, sensor, start_ms, end_ms)
            readings_in.mark_changed(connection, slots)
            return len(slots)

    def write_air(self, records: Sequence[AirRecord], done: Sequence[Change] = ()) -> None:
        """Replace air records and forget the changes they answer; see `Store.write_air`."""
        with self._connections.writing() as connection:
            side.put_air(connection, records)
            side.forget_changes(connection, done)
            self._on_air(connection, records)

    def read_air(self, room: str, place: str, start_ms: int, end_ms: int) -> pd.DataFrame:
        """Air records of a place in a span; see `Store.read_air`."""
        with self._connections.reading() as connection:
            return side.air_frame(connection, room, place, start_ms, end_ms)

    def air_days(self, after_revision: int = 0, limit: int = 10_000) -> list[AirDay]:
        """Days of air written after a revision; see `Store.air_days`."""
        with self._connections.reading() as connection:
            return side.air_days(connection, after_revision, limit)

    def latest_air(self) -> list[AirRecord]:
        """The newest air record of every room and place."""
        with self._connections.reading() as connection:
            return side.latest_air(connection)

    def put_document(self, name: str, document: Any) -> None:
        """Keep a small JSON document by name."""
        with self._connections.writing() as connection:
            side.put_document(connection, name, document)

    def document(self, name: str) -> Any:
        """A document by name, or None."""
        with self._connections.reading() as connection:
            return side.document(connection, name)

    def close(self) -> None:
        """Let go of the file; closing twice does no harm."""
        self._connections.close()
