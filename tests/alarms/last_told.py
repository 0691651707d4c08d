"""What a person was told last of each alarm, held against what is true of it."""

from __future__ import annotations

import sqlalchemy as sa

from monitor.alarms import journal as tables
from monitor.alarms.journal import Journal
from monitor.alarms.lifecycle import QUIET
from monitor.alarms.messages import TELLING


def told_is_true(journal: Journal) -> None:
    """Whether the last that Nora took of each alarm is what is true of it."""
    with journal.reading() as connection:
        reached = tables.attempts.c.outcome.in_(("sent", "told"))
        sent = sa.select(tables.attempts.c.message_id).where(reached)
        message, link = tables.messages.c, tables.message_alarms.c
        query = (
            sa.select(link.alarm_id, message.id, message.about)
            .join(tables.messages, message.id == link.message_id)
            .where(message.route == "phone", message.id.in_(sent))
            .order_by(message.id)
        )
        told = [tuple(row) for row in connection.execute(query)]
        gave_up = sa.select(tables.attempts.c.message_id).where(tables.attempts.c.outcome == "gave-up")
        given_up = set(
            connection.execute(sa.select(link.alarm_id).where(link.message_id.in_(gave_up))).scalars()
        )
        rows = {r["id"]: dict(r) for r in connection.execute(sa.select(tables.alarms)).mappings()}
    last = {alarm_id: (number, about) for alarm_id, number, about in told}
    for number, row in rows.items():
        # What no channel took for a day is given up, unless it waits for an answer and she is reminded.
        if "route-" in row["key"] or (row["state"] != "unacknowledged" and number in given_up):
            continue
        message, about = last.get(number, (0, ""))
        if row["ended_ms"] is None and row["state"] in ("unacknowledged", "acknowledged"):
            assert about in (*TELLING, "reminder"), f"{row['key']} stands and Nora does not know: {about!r}"
        elif row["ended_ms"] is not None or row["state"] == "returned-unacknowledged":
            # What was told together is said to be over once all of it is, but for what is put aside.
            together = {m for a, m, what in told if a == number and (m == message or what in TELLING)}
            beside = [rows[a] for a, m, _ in told if m in together]
            open_still = any(
                r["active"] and r["ended_ms"] is None and r["state"] not in QUIET for r in beside
            )
            assert about in ("over", "") or open_still, f"{row['key']} is over and Nora does not know"
