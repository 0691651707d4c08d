"""Connections to the embedded store's file: one writer behind a lock, readers as many as ask."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from monitor.errors import StoreAway, StoreDamaged, StoreError

BUSY_MS = 2_000
_READERS_KEPT = 4
_DAMAGE = ("malformed", "not a database", "file is encrypted", "no such table", "no such column")


def translated(error: sqlite3.Error, path: Path) -> StoreError:
    """What an error of SQLite means for a caller: try again later, or a file that needs mending."""
    text = str(error)
    if isinstance(error, sqlite3.DatabaseError) and any(word in text for word in _DAMAGE):
        return StoreDamaged(
            f"the store {path} is damaged ({text}); keep the file, and bring back a backup with: "
            "maturing-room restore SITE.toml BACKUP"
        )
    if isinstance(error, sqlite3.OperationalError):
        return StoreAway(f"the store {path} cannot be used now: {text}")
    return StoreError(f"the store {path}: {text}")


class Connections:
    """Hands out connections to one SQLite file in WAL mode.

    Writers of this process queue on one lock; writers of other processes are waited for up to ``busy_ms``.
    Readers never wait for a writer.
    """

    def __init__(self, path: Path, busy_ms: int = BUSY_MS) -> None:
        self.path = path
        self._busy_ms = busy_ms
        self._lock = threading.RLock()
        self._writer: sqlite3.Connection | None = None
        self._idle: list[sqlite3.Connection] = []
        self._idle_lock = threading.Lock()
        self._closed = False

    def open(self) -> sqlite3.Connection:
        """A new connection, set up."""
        connection = sqlite3.connect(
            self.path, timeout=self._busy_ms / 1000, isolation_level=None, check_same_thread=False
        )
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA journal_size_limit = 67108864")
            connection.execute("PRAGMA cache_size = -16384")
        except BaseException:
            connection.close()
            raise
        return connection

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """A transaction: committed durably at the end, rolled back whole on any error."""
        with self._lock, self.errors():
            self._refuse_closed()
            if self._writer is None:
                self._writer = self.open()
            connection = self._writer
            connection.execute("BEGIN IMMEDIATE")
            try:
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """A connection that sees one state of the file for as long as it is held."""
        with self.errors():
            connection = self._take()
            try:
                connection.execute("BEGIN")
                yield connection
            finally:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                self._give_back(connection)

    @contextmanager
    def errors(self) -> Iterator[None]:
        """Errors of SQLite become the store's own."""
        try:
            yield
        except sqlite3.Error as error:
            raise translated(error, self.path) from error

    def close(self) -> None:
        """Close what is open; closing twice does no harm."""
        with self._lock, self._idle_lock:
            self._closed = True
            for connection in [*self._idle, *([self._writer] if self._writer else [])]:
                connection.close()
            self._idle, self._writer = [], None

    def _refuse_closed(self) -> None:
        if self._closed:
            raise StoreAway(f"the store {self.path} has been closed")

    def _take(self) -> sqlite3.Connection:
        with self._idle_lock:
            self._refuse_closed()
            if self._idle:
                return self._idle.pop()
        return self.open()

    def _give_back(self, connection: sqlite3.Connection) -> None:
        with self._idle_lock:
            if len(self._idle) < _READERS_KEPT and not self._closed:
                self._idle.append(connection)
                return
        connection.close()
