"""How the clock was set while the journal ran on: so reminders and calls come by time truly passed, not by the clock's.

Each step is written down with the numbers that the journal had reached; what bears a lower number has a time by the clock
as it was before.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.alarms import journal as tables

LEAST_MS = 60_000
"""A clock that moved by less [ms] since the last look was not set, for all that is known."""
_TIMES = {
    "transitions": tables.transitions.c.time_ms,
    "messages": tables.messages.c.created_ms,
    "attempts": tables.attempts.c.time_ms,
}


@dataclass(frozen=True)
class ClockSteps:
    """The steps of the clock known to a journal, oldest first."""

    steps: tuple[dict[str, Any], ...]

    @classmethod
    def of(cls, connection: Connection) -> ClockSteps:
        """Read them from a journal."""
        query = sa.select(tables.clock_steps).order_by(tables.clock_steps.c.id)
        return cls(tuple(dict(row) for row in connection.execute(query).mappings()))

    def now(self, table: str, number: int, time_ms: int) -> int:
        """A time [ms] in row ``number`` of ``transitions``, ``messages`` or ``attempts``, by the clock as it is set now."""
        return time_ms + sum(step["by_ms"] for step in self.steps if number <= step[table])

    def message(self, row: dict[str, Any]) -> dict[str, Any]:
        """A message with its times by the clock as it is set now."""
        times = {name: self.now("messages", row["id"], row[name]) for name in ("created_ms", "due_ms")}
        return {**row, **times}


class ClockWatch:
    """Notices that the clock was set, between two looks.

    Parameters
    ----------
    passed : a clock [ms] that only runs on; without one, only a clock that was set back is noticed
    """

    def __init__(self, passed: Callable[[], int] | None = None) -> None:
        self._passed = passed
        self._last: tuple[int, int] | None = None

    def look(self, now_ms: int, newest_ms: Callable[[], int | None]) -> int:
        """By how much [ms] the clock was set since the look that was last `kept`; 0 where it was not.

        At the first look there is only ``newest_ms`` in the journal to go by: the clock was set back by so much at least.
        """
        if self._last is None:
            newest = newest_ms()
            by = 0 if newest is None else min(0, now_ms - newest)
        elif self._passed is None:
            by = min(0, now_ms - self._last[0])
        else:
            by = now_ms - self._last[0] - (self._passed() - self._last[1])
        return by if abs(by) >= LEAST_MS else 0

    def keep(self, now_ms: int) -> None:
        """Go on from a look, once what it found is written down."""
        self._last = (now_ms, self._passed() if self._passed is not None else 0)


def newest_ms(connection: Connection) -> int | None:
    """The latest time [ms] in the journal by the clock as it was last known to be set."""
    steps = ClockSteps.of(connection).steps
    last = steps[-1] if steps else dict.fromkeys(_TIMES, 0)
    found = [
        connection.execute(sa.select(sa.func.max(column)).where(column.table.c.id > last[name])).scalar()
        for name, column in _TIMES.items()
    ]
    return max((time for time in found if time is not None), default=None)


def enter(connection: Connection, now_ms: int, by_ms: int) -> None:
    """Write down that the clock was set by so much [ms], and how far the journal had come."""
    reached = {
        name: connection.execute(sa.select(sa.func.coalesce(sa.func.max(column.table.c.id), 0))).scalar_one()
        for name, column in _TIMES.items()
    }
    connection.execute(tables.clock_steps.insert().values(time_ms=now_ms, by_ms=by_ms, **reached))
