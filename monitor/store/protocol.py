"""What every time store does; nothing above this seam knows which store it is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import pandas as pd

from monitor.records import AirRecord, Change, Reading, Reject


@dataclass(frozen=True, slots=True)
class Written:
    """What a write did: rows that are new, rows already there, rows already there with another value."""

    new: int
    already: int
    differing: int


@dataclass(frozen=True, slots=True)
class SeriesSummary:
    """What is held of one sensor's quantity."""

    sensor: str
    quantity: str
    count: int
    first_ms: int
    last_ms: int
    last_value: float | None
    last_flag: int
    last_reason: str


@dataclass(frozen=True, slots=True)
class AirDay:
    """A UTC day (days since 1970) in which air records of a place were written; ``revision`` grows with every
    write, so that a reader who keeps derived figures asks only for what changed since it looked last."""

    room: str
    place: str
    day: int
    revision: int


@dataclass(frozen=True, slots=True)
class Run:
    """Readings of one series that repeat a value without a break: the value, the first's time, and how many."""

    value: float | None
    since_ms: int
    count: int


class Store(Protocol):
    """Raw readings as they came, and the ten-minute air records made from them.

    Writing is durable when the call returns, atomic, and idempotent by (sensor, quantity, time): a value
    already there stays as it first came.  Spans are half open, [start_ms, end_ms).  Any call may raise
    `StoreAway` (nothing was done; try again) or `StoreDamaged`.
    """

    def write(self, readings: Sequence[Reading]) -> Written:
        """Keep readings; in the same transaction mark each sensor's ten-minute slot as changed."""

    def read(self, sensor: str, quantity: str, start_ms: int, end_ms: int) -> pd.DataFrame:
        """Readings in a span: index ``time`` (UTC, datetime64[ms, UTC]), columns ``value`` (float64, NaN where
        none), ``flag`` (uint8) and ``reason`` (str), in order of time."""

    def run_before(self, sensor: str, quantity: str, before_ms: int, reach_ms: int) -> Run | None:
        """The run of equal values that ends with the newest reading before a moment, as far back as ``reach_ms``; None
        where there is no reading so near."""

    def series(self) -> list[SeriesSummary]:
        """Every series with its count, extent and newest reading."""

    def reject(self, rejects: Iterable[Reject]) -> None:
        """Count and keep what could not be read (the newest ``rejects_kept`` of them)."""

    def rejects(self, limit: int = 100) -> list[Reject]:
        """The newest rejects, newest first."""

    def reject_counts(self) -> dict[str, int]:
        """How many messages were ever refused, by reason."""

    def changes(self, limit: int = 10_000) -> list[Change]:
        """Slots whose air records are out of date, newest first, so that what happens now never waits behind a backlog."""

    def write_air(self, records: Sequence[AirRecord], done: Sequence[Change] = ()) -> None:
        """Replace air records by (room, place, start) and, in the same transaction, forget the changes they
        answer (a change whose revision has moved on since stays)."""

    def read_air(self, room: str, place: str, start_ms: int, end_ms: int) -> pd.DataFrame:
        """Air records in a span: index ``start`` (UTC), a column for each further field of `AirRecord`
        but ``room``, ``place`` and ``start_ms``; NaN where None."""

    def air_days(self, after_revision: int = 0, limit: int = 10_000) -> list[AirDay]:
        """Days whose air records were written after a revision, in order of revision: the first ``limit`` of them,
        and what else has the revision of the last."""

    def latest_air(self) -> list[AirRecord]:
        """The newest air record of every room and place."""

    def put_document(self, name: str, document: Any) -> None:
        """Keep a small JSON document by name (checkpoints, the state of rooms), durable on return."""

    def document(self, name: str) -> Any:
        """A document by name, or None."""

    def close(self) -> None:
        """Let go of the store; closing twice does no harm."""
