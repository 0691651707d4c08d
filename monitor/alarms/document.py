"""The ``alarms`` document (see ``monitor/docs/json.md``)."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import sqlalchemy as sa

from monitor.alarms import journal as tables
from monitor.alarms.alarms import Alarms
from monitor.alarms.record import Alarm
from monitor.clock import now_ms as clock_now_ms
from monitor.clock import rfc3339
from monitor.rules.finding import Priority
from monitor.site import Site

VERSION = 1


def alarms_document(
    site: Site, alarms: Alarms, now_ms: int | None = None, recent: int = 50
) -> dict[str, Any]:
    """What stands, and what ended lately."""
    standing, ended = alarms.standing(), alarms.recent(recent)
    sent = _messages(alarms, [a.id for a in (*standing, *ended)])
    return {
        "version": VERSION,
        "at": rfc3339(clock_now_ms() if now_ms is None else now_ms),
        "standing": [_alarm(site, a, sent[a.id]) for a in standing],
        "recent": [{**_alarm(site, a, sent[a.id]), "ended_at": rfc3339(a.ended_ms)} for a in ended],
    }


def _alarm(site: Site, alarm: Alarm, messages: list[dict[str, Any]]) -> dict[str, Any]:
    finding = alarm.finding
    room = site.room_by_id.get(finding.room)
    return {
        "id": alarm.id,
        "state": str(alarm.state),
        "priority": Priority(alarm.priority).name.lower(),
        "rule": finding.rule,
        "room": finding.room,
        "room_name": room.name if room else finding.room,
        "place": finding.place,
        "sensor": finding.sensor,
        "style": finding.style,
        "wheel": finding.wheel,
        "what": finding.what,
        "effect": finding.effect,
        "check_first": finding.check_first,
        "wheels": list(finding.wheels),
        "numbers": finding.numbers,
        "since_at": rfc3339(alarm.since_ms),
        "raised_at": rfc3339(alarm.raised_ms),
        "acknowledged_at": rfc3339(alarm.acknowledged_ms),
        "acknowledged_by": alarm.acknowledged_by,
        "note": alarm.note,
        "returned_at": rfc3339(alarm.returned_ms),
        "until_at": rfc3339(alarm.until_ms),
        "messages": messages,
    }


def _messages(alarms: Alarms, ids: list[int]) -> dict[int, list[dict[str, Any]]]:
    by_alarm: dict[int, list[dict[str, Any]]] = defaultdict(list)
    if not ids:
        return by_alarm
    link, message = tables.message_alarms.c, tables.messages.c
    query = (
        sa.select(link.alarm_id, tables.messages)
        .join(tables.messages, message.id == link.message_id)
        .where(link.alarm_id.in_(ids))
        .order_by(message.id)
    )
    with alarms.journal.reading() as connection:
        rows = [dict(row) for row in connection.execute(query).mappings()]
        tries: dict[int, list[dict[str, Any]]] = defaultdict(list)
        attempted = sa.select(tables.attempts).where(
            tables.attempts.c.message_id.in_([r["id"] for r in rows])
        )
        for attempt in connection.execute(attempted.order_by(tables.attempts.c.id)).mappings():
            tries[attempt["message_id"]].append(dict(attempt))
    for row in rows:
        by_alarm[row["alarm_id"]].append(_message(row, tries[row["id"]]))
    return by_alarm


def _message(row: dict[str, Any], attempts: list[dict[str, Any]]) -> dict[str, Any]:
    outcomes = {a["outcome"] for a in attempts}
    sent = next((a["time_ms"] for a in attempts if a["outcome"] == "sent"), None)
    state = "failed" if "gave-up" in outcomes else "sent" if "closed" in outcomes else "waiting"
    error = next((a["error"] for a in reversed(attempts) if a["error"]), None)
    return {
        "route": row["route"] or "local log",
        "about": row["about"],
        "state": state,
        "attempts": sum(a["outcome"] == "started" for a in attempts),
        "last_attempt_at": rfc3339(attempts[-1]["time_ms"]) if attempts else None,
        "sent_at": rfc3339(sent),
        "error": None if state == "sent" else error,
    }
