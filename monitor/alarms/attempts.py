"""What is written down of each attempt to send a message; nothing here is ever changed or written twice."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.alarms import journal as tables
from monitor.alarms import outbox
from monitor.alarms.journal import Journal


def of(journal: Journal, message_id: int, recipient: int) -> list[dict[str, Any]]:
    """The attempts to reach a recipient with a message, oldest first."""
    columns = tables.attempts.c
    query = sa.select(tables.attempts).where(columns.message_id == message_id, columns.recipient == recipient)
    with journal.reading() as connection:
        return [dict(row) for row in connection.execute(query.order_by(columns.id)).mappings()]


def note(
    journal: Journal,
    message_id: int,
    recipient: int,
    number: int,
    outcome: str,
    time_ms: int,
    error: str | None = None,
) -> None:
    """Write down an attempt or its outcome, once."""
    with journal.transaction() as connection:
        write(connection, message_id, recipient, number, outcome, time_ms, error)


def write(
    connection: Connection,
    message_id: int,
    recipient: int,
    number: int,
    outcome: str,
    time_ms: int,
    error: str | None = None,
) -> None:
    """The same within a transaction."""
    row = {"message_id": message_id, "recipient": recipient, "number": number, "outcome": outcome}
    known = sa.select(tables.attempts.c.id).filter_by(**row)
    if connection.execute(known).first() is None:
        connection.execute(tables.attempts.insert().values(**row, time_ms=time_ms, error=error))


def close(journal: Journal, message_id: int, time_ms: int) -> None:
    """Write down that nothing more is to be done for a message."""
    values = {"message_id": message_id, "recipient": 0, "number": 0, "time_ms": time_ms, "error": None}
    with journal.transaction() as connection:
        waits = tables.waiting.c.message_id == message_id
        if connection.execute(sa.select(tables.waiting).where(waits)).first() is not None:
            connection.execute(tables.attempts.insert().values(outcome="closed", **values))
            connection.execute(tables.waiting.delete().where(waits))


def drop(journal: Journal, message_id: int, time_ms: int, why: str) -> None:
    """Write down that a message that has not left is not to leave."""
    with journal.transaction() as connection:
        waits = tables.waiting.c.message_id == message_id
        if connection.execute(sa.select(tables.waiting).where(waits)).first() is not None:
            outbox.drop(connection, message_id, time_ms, why)
