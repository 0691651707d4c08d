"""Series and reasons as small numbers: the embedded store's two dictionaries."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable

LONGEST_REASON = 300


class Dictionary:
    """Numbers for (sensor, quantity) pairs and for reasons, remembered only once they are committed."""

    def __init__(self) -> None:
        self._series: dict[tuple[str, str], int] = {}
        self._reasons: dict[str, int] = {"": 0}
        self._pending_series: dict[tuple[str, str], int] = {}
        self._pending_reasons: dict[str, int] = {}

    def series(
        self, connection: sqlite3.Connection, pairs: Iterable[tuple[str, str]]
    ) -> dict[tuple[str, str], int]:
        """The number of every pair, adding what is new within the caller's transaction."""
        self._pending_series = {}
        for pair in set(pairs):
            if pair not in self._series:
                self._pending_series[pair] = self._add_series(connection, pair)
        return {**self._series, **self._pending_series} if self._pending_series else self._series

    def reasons(self, connection: sqlite3.Connection, texts: Iterable[str]) -> dict[str, int]:
        """The number of every reason, adding what is new within the caller's transaction."""
        self._pending_reasons = {}
        for text in set(texts):
            if text not in self._reasons:
                self._pending_reasons[text] = self._add_reason(connection, text[:LONGEST_REASON])
        return {**self._reasons, **self._pending_reasons} if self._pending_reasons else self._reasons

    def committed(self) -> None:
        """The caller's transaction is durable: what it added may be remembered."""
        self._series.update(self._pending_series)
        self._reasons.update(self._pending_reasons)
        self._pending_series, self._pending_reasons = {}, {}

    @staticmethod
    def _add_series(connection: sqlite3.Connection, pair: tuple[str, str]) -> int:
        connection.execute("INSERT OR IGNORE INTO series (sensor, quantity) VALUES (?, ?)", pair)
        return int(
            connection.execute("SELECT id FROM series WHERE sensor = ? AND quantity = ?", pair).fetchone()[0]
        )

    @staticmethod
    def _add_reason(connection: sqlite3.Connection, text: str) -> int:
        connection.execute("INSERT OR IGNORE INTO reason (text) VALUES (?)", (text,))
        return int(connection.execute("SELECT id FROM reason WHERE text = ?", (text,)).fetchone()[0])


def series_number(connection: sqlite3.Connection, sensor: str, quantity: str) -> int | None:
    """The number of a series that is there, else None."""
    row = connection.execute(
        "SELECT id FROM series WHERE sensor = ? AND quantity = ?", (sensor, quantity)
    ).fetchone()
    return None if row is None else int(row[0])


def reason_texts(connection: sqlite3.Connection) -> list[str]:
    """Every reason by its number (numbers that are free give an empty text)."""
    rows = connection.execute("SELECT id, text FROM reason").fetchall()
    texts = [""] * (max(row[0] for row in rows) + 1)
    for number, text in rows:
        texts[number] = text
    return texts
