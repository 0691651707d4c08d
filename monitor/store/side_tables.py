"""Air records, rejects and documents inside one SQLite transaction."""

from __future__ import annotations

import dataclasses
import json
import sqlite3
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd

from monitor.clock import DAY_MS
from monitor.records import AirRecord, Change, Reject
from monitor.store.protocol import AirDay
from monitor.store.readings_table import next_number

AIR_FIELDS = tuple(field.name for field in dataclasses.fields(AirRecord))
AIR_COLUMNS = AIR_FIELDS[3:]
LONGEST_PAYLOAD, LONGEST_TOPIC, LONGEST_REJECT_REASON = 1024, 300, 300
MOST_REASONS = 200
OTHER_REASONS = "other reasons"


def put_air(connection: sqlite3.Connection, records: Sequence[AirRecord]) -> None:
    """Put air records in place of what was there for their room, place and start."""
    marks = ", ".join("?" * len(AIR_FIELDS))
    connection.executemany(
        f"INSERT OR REPLACE INTO air ({', '.join(AIR_FIELDS)}) VALUES ({marks})",
        [tuple(getattr(record, name) for name in AIR_FIELDS) for record in records],
    )
    days = sorted({(record.room, record.place, record.start_ms // DAY_MS) for record in records})
    if days:
        revision = next_number(connection, "air")
        connection.executemany(
            "INSERT OR REPLACE INTO air_day VALUES (?, ?, ?, ?)",
            [(*day, revision + i) for i, day in enumerate(days)],
        )
        connection.execute("UPDATE counter SET value = ? WHERE name = 'air'", (revision + len(days) - 1,))


def air_days(connection: sqlite3.Connection, after_revision: int, limit: int) -> list[AirDay]:
    """Days of air written after a revision, as `Store.air_days` promises."""
    # A revision is never cut in two: what comes after it is all that a next look asks for.
    rows = connection.execute(
        "SELECT room, place, day, revision FROM air_day WHERE revision > ?1 AND revision <= (SELECT MAX(revision) FROM"
        " (SELECT revision FROM air_day WHERE revision > ?1 ORDER BY revision LIMIT ?2)) ORDER BY revision",
        (after_revision, limit),
    )
    return [AirDay(*row) for row in rows]


def forget_changes(connection: sqlite3.Connection, done: Sequence[Change]) -> None:
    """Forget changes that are answered, but not one that has moved on since."""
    connection.executemany(
        "DELETE FROM change WHERE sensor = ? AND slot_ms = ? AND revision = ?",
        [(change.sensor, change.slot_ms, change.revision) for change in done],
    )


def air_frame(
    connection: sqlite3.Connection, room: str, place: str, start_ms: int, end_ms: int
) -> pd.DataFrame:
    """Air records of a place in a span, as `Store.read_air` promises."""
    values = ", ".join(f"COALESCE({name}, 9e999)" for name in AIR_COLUMNS)
    cursor = connection.execute(
        f"SELECT start_ms, {values} FROM air WHERE room = ? AND place = ? AND start_ms >= ? AND start_ms < ?"
        " ORDER BY start_ms",
        (room, place, start_ms, end_ms),
    )
    rows = np.fromiter(cursor, dtype=[("start_ms", "i8"), *((name, "f8") for name in AIR_COLUMNS)])
    columns = {name: np.where(np.isinf(rows[name]), np.nan, rows[name]) for name in AIR_COLUMNS}
    index = pd.DatetimeIndex(rows["start_ms"].astype("datetime64[ms]"), name="start").tz_localize("UTC")
    return pd.DataFrame(columns, index=index)


def latest_air(connection: sqlite3.Connection) -> list[AirRecord]:
    """The newest air record of every room and place, found by skipping along the key."""
    found: list[AirRecord] = []
    names = ", ".join(AIR_FIELDS)
    place = _next_place(connection, None)
    while place is not None:
        # Jump to the next (room, place), then to its last record: a few look-ups a place, however long the record.
        row = connection.execute(
            f"SELECT {names} FROM air WHERE room = ? AND place = ? ORDER BY start_ms DESC LIMIT 1", place
        ).fetchone()
        found.append(AirRecord(*row))
        place = _next_place(connection, place)
    return found


def _next_place(connection: sqlite3.Connection, after: tuple[str, str] | None) -> tuple[str, str] | None:
    """The room and place that follow in the key.  Asked in two steps: SQLite would look through every record of a
    place for ``(room, place) > (?, ?)``."""
    found = None
    if after is not None:
        found = connection.execute(
            "SELECT room, place FROM air WHERE room = ? AND place > ? ORDER BY place LIMIT 1", after
        ).fetchone()
    if found is None:
        found = connection.execute(
            "SELECT room, place FROM air WHERE room > ? ORDER BY room, place LIMIT 1",
            (after[0] if after else "",),
        ).fetchone()
    return found


def put_rejects(connection: sqlite3.Connection, rejects: Iterable[Reject], most: int) -> None:
    """Count rejects by reason and keep the newest ``most`` of them."""
    counts: dict[str, int] = {}
    rows = []
    for reject in rejects:
        reason = clean(reject.reason, LONGEST_REJECT_REASON)
        counts[reason] = counts.get(reason, 0) + 1
        topic = clean(reject.topic, LONGEST_TOPIC)
        rows.append(
            (reject.time_ms, topic, reason, reject.payload[:LONGEST_PAYLOAD], clean(reject.sensor, 100))
        )
    connection.executemany(
        "INSERT INTO reject (time_ms, topic, reason, payload, sensor) VALUES (?, ?, ?, ?, ?)", rows[-most:]
    )
    connection.execute("DELETE FROM reject WHERE id <= (SELECT max(id) FROM reject) - ?", (most,))
    _count(connection, counts)


def _count(connection: sqlite3.Connection, counts: dict[str, int]) -> None:
    known = {row[0] for row in connection.execute("SELECT reason FROM reject_count")}
    for reason, count in counts.items():
        # Reasons are our own words and few; the bound holds even if one ever carries what a sender chose.
        name = reason if reason in known or len(known) < MOST_REASONS else OTHER_REASONS
        known.add(name)
        connection.execute(
            "INSERT INTO reject_count VALUES (?1, ?2) ON CONFLICT (reason) DO UPDATE SET count = count + ?2",
            (name, count),
        )


def newest_rejects(connection: sqlite3.Connection, limit: int) -> list[Reject]:
    """The newest rejects, newest first."""
    rows = connection.execute(
        "SELECT time_ms, topic, reason, payload, sensor FROM reject ORDER BY id DESC LIMIT ?", (limit,)
    )
    return [Reject(*row) for row in rows]


def put_document(connection: sqlite3.Connection, name: str, document: Any) -> None:
    """Keep a JSON document by name."""
    text = json.dumps(document, ensure_ascii=True, separators=(",", ":"))
    connection.execute("INSERT OR REPLACE INTO document VALUES (?, ?)", (name, text))


def document(connection: sqlite3.Connection, name: str) -> Any:
    """A document by name, or None."""
    row = connection.execute("SELECT content FROM document WHERE name = ?", (name,)).fetchone()
    return None if row is None else json.loads(row[0])


def clean(text: str, longest: int) -> str:
    """Text that any database takes: cut to a length, without lone surrogates or NUL."""
    return (
        text[:longest].encode("utf-8", "replace").decode("utf-8").replace("\x00", "\N{REPLACEMENT CHARACTER}")
    )
