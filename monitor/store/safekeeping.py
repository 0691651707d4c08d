"""Backups of the embedded store's file, their verification, and bringing one back."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from monitor.clock import now_ms, rfc3339
from monitor.errors import StoreDamaged, StoreError
from monitor.store.connections import translated
from monitor.store.schema import APPLICATION_ID, MIGRATIONS
from monitor.store.sealing import unpacked

_PAGES_AT_ONCE = 2000


@dataclass
class Account:
    """What `verify` found: how much there is, and every fault."""

    readings: int = 0
    series: int = 0
    sealed_days: int = 0
    air_records: int = 0
    faults: list[str] = field(default_factory=list)

    @property
    def sound(self) -> bool:
        return not self.faults


def verify(path: Path) -> Account:
    """Check a store's file through: SQLite's own structure, every sealed day, doubles, and the counts.

    Raises
    ------
    StoreDamaged
        It cannot be read at all.
    StoreError
        There is no such file.
    """
    with closing(_open_read_only(path)) as connection:
        account = Account()
        try:
            account.faults += _structure(connection)
            if account.sound:
                _count(connection, account)
        except sqlite3.Error as error:
            account.faults.append(f"SQLite: {error}")
        return account


def _open_read_only(path: Path) -> sqlite3.Connection:
    if not path.is_file():
        raise StoreError(f"{path}: no such file")
    try:
        connection = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=10)
        identity = connection.execute("PRAGMA application_id").fetchone()[0]
        version = connection.execute("PRAGMA user_version").fetchone()[0]
    except sqlite3.Error as error:
        raise translated(error, path) from error
    if identity != APPLICATION_ID:
        connection.close()
        raise StoreDamaged(f"{path} is not a store of this program")
    if version > len(MIGRATIONS):
        connection.close()
        raise StoreDamaged(f"{path} was written by a newer version of this program; use that version")
    return connection


def _structure(connection: sqlite3.Connection) -> list[str]:
    rows = connection.execute("PRAGMA integrity_check(20)").fetchall()
    return [] if rows == [("ok",)] else [f"SQLite: {row[0]}" for row in rows]


def _count(connection: sqlite3.Connection, account: Account) -> None:
    loose = dict(connection.execute("SELECT series, count(*) FROM reading GROUP BY series").fetchall())
    account.air_records = connection.execute("SELECT count(*) FROM air").fetchone()[0]
    # A near store lets go of what a far one has, and counts it all the same.
    let_go = connection.execute("SELECT 1 FROM document WHERE name = 'pruned-before'").fetchone() is not None
    for number, sensor, quantity, count in connection.execute(
        "SELECT id, sensor, quantity, count FROM series"
    ).fetchall():
        found = loose.get(number, 0)
        for day, stated, data in connection.execute(
            "SELECT day, count, data FROM sealed WHERE series = ?", (number,)
        ):
            account.sealed_days += 1
            found += _check_day(connection, account, f"{sensor} {quantity}", number, day, stated, data)
        if found > count or (found < count and not let_go):
            account.faults.append(f"{sensor} {quantity}: {found} readings, but {count} were counted")
        account.series += 1
        account.readings += found


def _check_day(
    connection: sqlite3.Connection,
    account: Account,
    name: str,
    number: int,
    day: int,
    stated: int,
    data: bytes,
) -> int:
    try:
        rows = unpacked(data)
    except StoreDamaged as error:
        account.faults.append(f"{name}, day {rfc3339(day * 86_400_000)}: {error}")
        return 0
    times = rows["time_ms"]
    if len(rows) != stated or (times[1:] <= times[:-1]).any():
        account.faults.append(f"{name}, day {rfc3339(day * 86_400_000)}: readings doubled or missing")
    beside = connection.execute(
        "SELECT count(*) FROM reading WHERE series = ? AND time_ms >= ? AND time_ms < ?",
        (number, day * 86_400_000, (day + 1) * 86_400_000),
    ).fetchone()[0]
    if beside:
        account.faults.append(f"{name}, day {rfc3339(day * 86_400_000)}: both sealed and open")
    return len(rows)


def backup(store: Path, target: Path, progress: Callable[[float], None] | None = None) -> Account:
    """Copy a store's file while others write it, verify the copy, and only then give it its name.

    Raises
    ------
    StoreError
        The target is there already, or the copy is not sound (it is removed then).
    """
    if target.exists():
        raise StoreError(f"{target} is there already; name another file")
    unfinished = target.with_name(target.name + ".unfinished")
    unfinished.unlink(missing_ok=True)
    try:
        _copy(store, unfinished, progress)
        account = verify(unfinished)
        if not account.sound:
            raise StoreError(f"the backup of {store} is not sound: {account.faults[0]}")
        with open(unfinished, "rb") as stream:
            os.fsync(stream.fileno())
        unfinished.rename(target)
    except sqlite3.Error as error:
        raise translated(error, store) from error
    except OSError as error:
        raise StoreError(f"{target} cannot be written: {error.strerror}") from error
    finally:
        unfinished.unlink(missing_ok=True)
    return account


def _copy(store: Path, target: Path, progress: Callable[[float], None] | None) -> None:
    def told(_status: int, remaining: int, total: int) -> None:
        if progress is not None and total:
            progress(1 - remaining / total)

    with closing(_open_read_only(store)) as source, closing(sqlite3.connect(target)) as copy:
        # One step holds one state of the file; in WAL mode writers go on meanwhile.
        source.backup(copy, pages=-1 if progress is None else _PAGES_AT_ONCE, progress=told)
        copy.execute("PRAGMA journal_mode = DELETE")


def restore(source: Path, store: Path) -> Path | None:
    """Put a verified backup in a store's place; what was there is kept beside it (its path, or None).

    The monitor must not run meanwhile.

    Raises
    ------
    StoreError
        The backup is not sound; nothing is changed then.
    """
    account = verify(source)
    if not account.sound:
        raise StoreError(f"{source} is not sound, nothing was changed: {account.faults[0]}")
    store.parent.mkdir(parents=True, exist_ok=True)
    incoming = store.with_name(store.name + ".incoming")
    incoming.unlink(missing_ok=True)
    _copy(source, incoming, None)
    aside = None
    if store.exists():
        aside = store.with_name(f"{store.name}.before-{now_ms()}")
        for suffix in ("", "-wal", "-shm"):
            old = store.with_name(store.name + suffix)
            if old.exists():
                old.rename(aside.with_name(aside.name + suffix))
    incoming.rename(store)
    return aside
