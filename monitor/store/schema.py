"""The embedded store's tables: named, ordered migrations, each applied once in its own transaction."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.clock import now_ms
from monitor.errors import StoreDamaged

APPLICATION_ID = 0x4D526D31
"""Written into the file's header, so that another program's database is not taken for ours."""


@dataclass(frozen=True)
class Migration:
    """One named step from an older layout of the file to a newer one."""

    name: str
    statements: tuple[str, ...]


# A value column without a declared type keeps what it is given: an INTEGER is the value in ten-thousandths,
# a REAL is the value itself (where ten-thousandths would alter it), NULL is "no value".
MIGRATIONS: tuple[Migration, ...] = (
    Migration(
        "readings",
        (
            """CREATE TABLE series (
                id INTEGER PRIMARY KEY, sensor TEXT NOT NULL, quantity TEXT NOT NULL,
                count INTEGER NOT NULL DEFAULT 0, first_ms INTEGER, last_ms INTEGER,
                UNIQUE (sensor, quantity))""",
            "CREATE TABLE reason (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE)",
            "INSERT INTO reason (id, text) VALUES (0, '')",
            """CREATE TABLE reading (
                series INTEGER NOT NULL, time_ms INTEGER NOT NULL, value, flag INTEGER NOT NULL,
                reason INTEGER NOT NULL DEFAULT 0, PRIMARY KEY (series, time_ms)) WITHOUT ROWID""",
            "CREATE TABLE counter (name TEXT PRIMARY KEY, value INTEGER NOT NULL) WITHOUT ROWID",
            """CREATE TABLE change (
                sensor TEXT NOT NULL, slot_ms INTEGER NOT NULL, revision INTEGER NOT NULL,
                PRIMARY KEY (sensor, slot_ms)) WITHOUT ROWID""",
            "CREATE INDEX change_by_slot ON change (slot_ms)",
            """CREATE TABLE air (
                room TEXT NOT NULL, place TEXT NOT NULL, start_ms INTEGER NOT NULL,
                temperature_c REAL, temperature_min_c REAL, temperature_max_c REAL,
                rh_pct REAL, rh_min_pct REAL, rh_max_pct REAL, coverage REAL NOT NULL,
                dew_point_c REAL, vapour_pressure_deficit_pa REAL,
                temperature_sigma_k REAL, rh_sigma_pct REAL,
                PRIMARY KEY (room, place, start_ms)) WITHOUT ROWID""",
            """CREATE TABLE reject (
                id INTEGER PRIMARY KEY AUTOINCREMENT, time_ms INTEGER NOT NULL, topic TEXT NOT NULL,
                reason TEXT NOT NULL, payload BLOB NOT NULL, sensor TEXT NOT NULL)""",
            "CREATE TABLE reject_count (reason TEXT PRIMARY KEY, count INTEGER NOT NULL) WITHOUT ROWID",
            "CREATE TABLE document (name TEXT PRIMARY KEY, content TEXT NOT NULL) WITHOUT ROWID",
        ),
    ),
    Migration(
        "sealed days",
        (
            # The hourly extremes stand before the readings, so that reading them alone does not touch those.
            """CREATE TABLE sealed (
                series INTEGER NOT NULL, day INTEGER NOT NULL, count INTEGER NOT NULL,
                hours BLOB NOT NULL, data BLOB NOT NULL, UNIQUE (series, day))""",
        ),
    ),
    Migration(
        "waiting for a far store",
        (
            """CREATE TABLE waiting_reading (
                id INTEGER PRIMARY KEY AUTOINCREMENT, series INTEGER NOT NULL, time_ms INTEGER NOT NULL)""",
            "CREATE INDEX waiting_by_reading ON waiting_reading (series, time_ms)",
            """CREATE TABLE waiting_air (
                id INTEGER PRIMARY KEY AUTOINCREMENT, room TEXT NOT NULL, place TEXT NOT NULL,
                start_ms INTEGER NOT NULL)""",
        ),
    ),
    Migration(
        "days of air that changed",
        (
            """CREATE TABLE air_day (
                room TEXT NOT NULL, place TEXT NOT NULL, day INTEGER NOT NULL, revision INTEGER NOT NULL,
                PRIMARY KEY (room, place, day)) WITHOUT ROWID""",
            "CREATE INDEX air_day_by_revision ON air_day (revision)",
            """INSERT INTO air_day SELECT room, place, start_ms / 86400000 AS day, 1 FROM air
                GROUP BY room, place, day""",
            "INSERT INTO counter VALUES ('air', 1)",
        ),
    ),
    Migration("creep of humidity sensors", ("ALTER TABLE air ADD COLUMN rh_creep_pct REAL",)),
)


def migrate(connection: sqlite3.Connection, migrations: Sequence[Migration] = MIGRATIONS) -> list[str]:
    """Bring the file up to date and return the names of the migrations applied now.

    Raises
    ------
    StoreDamaged
        The file belongs to another program, or was written by a newer version of this one.
    """
    connection.execute("BEGIN IMMEDIATE")
    try:
        _refuse_strangers(connection)
        connection.execute(
            "CREATE TABLE IF NOT EXISTS migration (name TEXT PRIMARY KEY, applied_ms INTEGER NOT NULL)"
        )
        done = {row[0] for row in connection.execute("SELECT name FROM migration")}
        _refuse_newer(done, migrations)
        applied = [m.name for m in migrations if m.name not in done]
        for migration in migrations:
            if migration.name in done:
                continue
            for statement in migration.statements:
                connection.execute(statement)
            connection.execute("INSERT INTO migration VALUES (?, ?)", (migration.name, now_ms()))
        connection.execute(f"PRAGMA user_version = {len(migrations)}")
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise
    return applied


def is_current(connection: sqlite3.Connection) -> bool:
    """Whether the file has exactly our migrations, told without taking a lock."""
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    stranger = connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID
    return not stranger and version == len(MIGRATIONS)


def _refuse_strangers(connection: sqlite3.Connection) -> None:
    identity = connection.execute("PRAGMA application_id").fetchone()[0]
    tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if tables and identity != APPLICATION_ID:
        raise StoreDamaged(
            "the store's file is another program's database; move it away or name another folder"
        )
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")


def _refuse_newer(done: set[str], migrations: Sequence[Migration]) -> None:
    unknown = sorted(done - {m.name for m in migrations})
    if unknown:
        raise StoreDamaged(
            f"the store was written by a newer version of this program (it has {', '.join(unknown)}); "
            "install that version, or restore a backup made by this one"
        )
