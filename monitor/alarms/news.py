"""What a message tells, whichever way it goes: so whoever is on two routes is told each thing by one of them alone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.alarms import journal as tables

UNDER_WAY_MS = 90_000
"""An attempt that began so long ago [ms] and has no outcome is no longer under way: its process has died."""
NO_ALARM = 0
"""Stands for the alarm in news that are about none: the daily message."""


@dataclass(frozen=True)
class News:
    """One thing that a message tells: of which alarm, and by a name that is the same on every route."""

    alarm_id: int
    name: str


@dataclass(frozen=True)
class Twin:
    """A message by another route that tells some of the same, and the names of that."""

    message_id: int
    route: str
    names: frozenset[str]


@dataclass(frozen=True)
class Elsewhere:
    """Whether a person has been told all of a message by other routes (named), or is being told just now."""

    told_by: tuple[str, ...] = ()
    under_way: bool = False


def keep(connection: Connection, message_id: int, news: Iterable[News]) -> None:
    """Write down what a message tells; what it is known to tell already is passed over."""
    column = tables.news.c
    known = set(connection.execute(sa.select(column.name).where(column.message_id == message_id)).scalars())
    for item in news:
        if item.name not in known:
            known.add(item.name)
            values = {"message_id": message_id, "alarm_id": item.alarm_id, "name": item.name}
            connection.execute(tables.news.insert().values(**values))


def ended_by(connection: Connection, alarm_id: int) -> int:
    """The transition by which an alarm's condition was last found to be over."""
    step = tables.transitions.c
    ended = sa.and_(step.alarm_id == alarm_id, sa.not_(step.active), step.person.is_(None))
    return int(
        connection.execute(sa.select(sa.func.coalesce(sa.func.max(step.id), 0)).where(ended)).scalar_one()
    )


def names_of(connection: Connection, message_id: int, alarm_ids: Sequence[int]) -> frozenset[str]:
    """What a message tells of some of its alarms (of none: what it tells beside alarms)."""
    column = tables.news.c
    query = sa.select(column.name).where(
        column.message_id == message_id, column.alarm_id.in_(alarm_ids or [NO_ALARM])
    )
    return frozenset(connection.execute(query).scalars())


def twins_of(
    connection: Connection, message_id: int, names: frozenset[str], routes: Iterable[str]
) -> list[Twin]:
    """The messages by some routes that tell any of the same as another."""
    column, message = tables.news.c, tables.messages.c
    query = (
        sa.select(column.message_id, message.route, column.name)
        .join(tables.messages, message.id == column.message_id)
        .where(column.name.in_(names), column.message_id != message_id, message.route.in_(list(routes)))
        .order_by(column.message_id)
    )
    found: dict[tuple[int, str], set[str]] = {}
    for row in connection.execute(query):
        found.setdefault((row.message_id, row.route), set()).add(row.name)
    return [Twin(number, route, frozenset(told)) for (number, route), told in found.items()]


def elsewhere(
    connection: Connection,
    names: frozenset[str],
    twins: Sequence[Twin],
    recipients: Mapping[str, set[int]],
    now_ms: int,
) -> Elsewhere:
    """What became of a person's news on other routes; ``recipients`` has the person's numbers on each."""
    told, by, under_way = set[str](), list[str](), set[str]()
    for twin in twins:
        numbers = recipients.get(twin.route, set())
        outcomes = _newest(connection, twin.message_id, numbers) if numbers else []
        if any(row["outcome"] == "sent" for row in outcomes):
            told |= twin.names
            by.append(twin.route)
        elif any(
            row["outcome"] == "started" and abs(now_ms - row["time_ms"]) < UNDER_WAY_MS for row in outcomes
        ):
            under_way |= twin.names
    if names <= told:
        return Elsewhere(tuple(dict.fromkeys(by)))
    return Elsewhere(under_way=names <= told | under_way)


def _newest(connection: Connection, message_id: int, recipients: set[int]) -> list[dict[str, Any]]:
    """The newest entry about each of some recipients of a message."""
    column = tables.attempts.c
    query = sa.select(tables.attempts).where(
        column.message_id == message_id, column.recipient.in_(recipients)
    )
    rows = connection.execute(query.order_by(column.id)).mappings()
    return list({row["recipient"]: dict(row) for row in rows}.values())
