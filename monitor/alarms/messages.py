"""What the journal holds of an alarm's messages: which were made, which told it, and since when an answer is due."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.alarms import journal as tables
from monitor.alarms.company import stands
from monitor.alarms.lifecycle import QUIET, State
from monitor.site import Site

TELLING = ("raised", "worse", "again", "escalated")
"""What tells a person of an alarm, as against reminding of it or saying that it is over."""


def messages_of(connection: Connection, alarm_ids: Sequence[int]) -> list[dict[str, Any]]:
    """The messages about alarms, oldest first, each with ``alarm_id``, ``composed``, ``waiting``.

    Those dropped are left out, and what was to say that an alarm is over but could not before it stood again.
    """
    message, link = tables.messages.c, tables.message_alarms.c
    outcome = tables.attempts.c.outcome
    dropped = sa.select(tables.attempts.c.message_id).where(
        tables.attempts.c.message_id == message.id,
        sa.or_(outcome == "dropped", sa.and_(message.about == "over", outcome == "overtaken")),
    )
    query = (
        sa.select(
            tables.messages,
            link.alarm_id,
            tables.texts.c.message_id.is_not(None).label("composed"),
            tables.waiting.c.message_id.is_not(None).label("waiting"),
        )
        .join(tables.message_alarms, link.message_id == message.id)
        .outerjoin(tables.texts, tables.texts.c.message_id == message.id)
        .outerjoin(tables.waiting, tables.waiting.c.message_id == message.id)
        .where(link.alarm_id.in_(list(alarm_ids)), ~dropped.exists())
        .order_by(message.id)
    )
    return [dict(row) for row in connection.execute(query).mappings()]


def open_told(history: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Of an alarm's messages those that told of it since it was last said to be over."""
    last_over = max((m["id"] for m in history if m["about"] == "over"), default=0)
    return [m for m in history if m["about"] in TELLING and m["id"] > last_over]


@dataclass(frozen=True)
class Unsaid:
    """An alarm (a row) that is over, and the messages that left and told of it."""

    alarm: dict[str, Any]
    messages: tuple[int, ...]


def over_unsaid(connection: Connection, family: list[dict[str, Any]], route: str) -> list[Unsaid]:
    """Of some alarms those that are over, with all that was told with them, and of which a route was not told so."""
    history, found = messages_of(connection, [row["id"] for row in family]), []
    for row in family:
        if stands(row):
            continue
        told = open_told([m for m in history if m["alarm_id"] == row["id"] and m["route"] == route])
        left = tuple(m["id"] for m in told if m["composed"])
        beside = alarms_of(connection, [m["id"] for m in told])
        if left and not any(stands(other) and other["state"] not in QUIET for other in beside):
            found.append(Unsaid(row, left))
    return found


def alarms_of(connection: Connection, message_ids: Sequence[int]) -> list[dict[str, Any]]:
    linked = sa.select(tables.message_alarms.c.alarm_id).where(
        tables.message_alarms.c.message_id.in_(list(message_ids))
    )
    query = sa.select(tables.alarms).where(tables.alarms.c.id.in_(linked)).order_by(tables.alarms.c.id)
    return [dict(row) for row in connection.execute(query).mappings()]


def asked_since(site: Site, history: list[dict[str, Any]], since_ms: int) -> int:
    """When somebody was first to be told [ms] of an alarm that is unacknowledged since a time.

    While it waits for the end of their quiet hours nobody is late with an answer.
    """
    first = {route.name for route in site.routes if route.after_min == 0}
    due = [m["due_ms"] for m in history if m["route"] in first and m["about"] in TELLING]
    return min((ms for ms in due if ms >= since_ms), default=since_ms)


def entered_unacknowledged(connection: Connection, ids: Sequence[int]) -> dict[int, tuple[int, int]]:
    """For each alarm the transition (number, time [ms]) by which it last became unacknowledged."""
    step = tables.transitions.c
    query = (
        sa.select(step.alarm_id, step.id, step.time_ms)
        .where(step.alarm_id.in_(list(ids)))
        .where(step.state == State.UNACKNOWLEDGED, step.state_before != State.UNACKNOWLEDGED)
        .order_by(step.id)
    )
    return {row.alarm_id: (row.id, row.time_ms) for row in connection.execute(query)}
