"""What people know of alarms: the findings as they were when their messages left, or when the alarms were last raised."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.alarms import journal as tables
from monitor.alarms.lifecycle import Event

LOOKED_BACK = 20
"""So many messages are looked through for one that tells the same of the air."""
NEWLY_TOLD = ("raised", "worse", "again")
_STANDS_ANEW = [str(e) for e in (Event.RAISE, Event.REALARM, Event.UNSHELVE, Event.RELEASE, Event.RESTORE)]


@dataclass(frozen=True)
class ToldMessage:
    """A message that left: what brought its alarms together, when it was made [ms], and its alarms (rows) as it told them.

    An alarm that was linked to it later is there with the finding it has now, and its ``told`` is false.
    """

    id: int
    group: str
    created_ms: int
    alarms: tuple[dict[str, Any], ...]


def told_messages(connection: Connection, route: str, groups: Sequence[str]) -> Iterator[ToldMessage]:
    """The newest messages by a route that told of alarms of some groups, newest first."""
    message, grouping, text = tables.messages.c, tables.groupings.c, tables.texts.c
    query = (
        sa.select(message.id, message.created_ms, grouping.group_key, text.composed_ms)
        .join(tables.groupings, grouping.message_id == message.id)
        .join(tables.texts, text.message_id == message.id)
        .where(grouping.route == route, grouping.group_key.in_(groups), message.about.in_(NEWLY_TOLD))
        .order_by(message.id.desc())
        .limit(LOOKED_BACK)
    )
    link = tables.message_alarms.c
    for found in connection.execute(query).all():
        linked = sa.select(link.alarm_id).where(link.message_id == found.id)
        rows = sa.select(tables.alarms).where(tables.alarms.c.id.in_(linked)).order_by(tables.alarms.c.id)
        alarms = [dict(row) for row in connection.execute(rows).mappings()]
        as_told = _findings(connection, [row["id"] for row in alarms], until_ms=found.composed_ms)
        told = tuple(
            {**row, "finding": as_told.get(row["id"], row["finding"]), "told": row["id"] in as_told}
            for row in alarms
        )
        yield ToldMessage(found.id, found.group_key, found.created_ms, told)


def as_raised(connection: Connection, alarm_ids: Sequence[int]) -> dict[int, dict[str, Any]]:
    """The finding (as data) with which each alarm was last raised or alarmed again."""
    return _findings(connection, alarm_ids, events=_STANDS_ANEW)


def _findings(
    connection: Connection,
    alarm_ids: Sequence[int],
    until_ms: int | None = None,
    events: Iterable[str] = (),
) -> dict[int, dict[str, Any]]:
    step = tables.transitions.c
    query = sa.select(step.alarm_id, step.finding).where(
        step.alarm_id.in_(alarm_ids), step.finding.is_not(None)
    )
    if until_ms is not None:
        query = query.where(step.time_ms <= until_ms)
    if events:
        query = query.where(step.event.in_(events))
    return {row.alarm_id: row.finding for row in connection.execute(query.order_by(step.id))}
