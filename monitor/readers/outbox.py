"""Messages that wait on disk until the broker has acknowledged them."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from monitor.errors import StoreAway, StoreDamaged

FILE_NAME = "readings-to-send.sqlite"
_MAKE = "CREATE TABLE IF NOT EXISTS message (id INTEGER PRIMARY KEY AUTOINCREMENT, topic TEXT NOT NULL, payload BLOB NOT NULL)"


class Outbox:
    """A queue of messages in one SQLite file; what `put` has taken is on the disk when it returns.

    Threads may share it.
    """

    def __init__(self, path: Path) -> None:
        """Open the queue, with what an earlier run left in it.

        Raises
        ------
        StoreAway
            The file cannot be opened now.
        StoreDamaged
            It is torn; the text says what to do.
        """
        self.path = path
        self._lock = threading.Lock()
        with self._errors():
            path.parent.mkdir(parents=True, exist_ok=True)
            self._connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
            self._connection.execute("PRAGMA journal_mode = WAL")
            self._connection.execute("PRAGMA synchronous = FULL")
            self._connection.execute(_MAKE)

    def put(self, topic: str, payload: bytes) -> None:
        """Take a message.

        Raises
        ------
        StoreAway
            It could not be written (a full disk, for example); nothing was taken.
        """
        with self._errors():
            self._connection.execute("INSERT INTO message (topic, payload) VALUES (?, ?)", (topic, payload))

    def after(self, number: int, limit: int) -> list[tuple[int, str, bytes]]:
        """The oldest messages with numbers above ``number``: (number, topic, payload)."""
        with self._errors():
            return self._connection.execute(
                "SELECT id, topic, payload FROM message WHERE id > ? ORDER BY id LIMIT ?", (number, limit)
            ).fetchall()

    def done(self, numbers: Iterable[int]) -> None:
        """Forget messages that have been acknowledged."""
        with self._errors():
            self._connection.execute("BEGIN IMMEDIATE")
            self._connection.executemany("DELETE FROM message WHERE id = ?", [(n,) for n in numbers])
            self._connection.execute("COMMIT")

    @property
    def waiting(self) -> int:
        """How many messages wait."""
        with self._errors():
            return int(self._connection.execute("SELECT count(*) FROM message").fetchone()[0])

    def close(self) -> None:
        """Let go of the file."""
        with self._lock:
            self._connection.close()

    @contextmanager
    def _errors(self) -> Iterator[None]:
        with self._lock:
            try:
                yield
            except (sqlite3.OperationalError, OSError) as error:
                if getattr(self, "_connection", None) is not None and self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise StoreAway(f"{self.path} cannot be used now ({error}); look at the disk") from error
            except sqlite3.DatabaseError as error:
                raise StoreDamaged(
                    f"{self.path} is torn ({error}); move it away (unsent readings are in it) and start again"
                ) from error
