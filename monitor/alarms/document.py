"""The ``alarms``, ``alarm-history`` and ``planned-work`` documents (see ``monitor/docs/json.md``)."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import sqlalchemy as sa

from monitor.alarms import journal as tables
from monitor.alarms.alarms import Alarms
from monitor.alarms.planned import KINDS
from monitor.alarms.record import Alarm
from monitor.clock import DAY_MS, rfc3339
from monitor.clock import now_ms as clock_now_ms
from monitor.rules.finding import Priority
from monitor.site import Site

VERSION = 1
MESSAGE_STATES = {"gave-up": "failed", "dropped": "not-needed", "closed": "sent"}


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


def alarm_history_document(site: Site, alarms: Alarms, alarm_id: int) -> dict[str, Any]:
    """One alarm with all that happened to it, oldest first, and the words of its messages.

    Raises
    ------
    AlarmError
        There is no such alarm.
    """
    alarm = alarms.alarm(alarm_id)
    steps = [
        {
            "at": rfc3339(step["time_ms"]),
            "event": step["event"],
            "state": step["state"],
            "person": step["person"],
            "note": step["note"],
            "until_at": rfc3339(step["until_ms"]),
            "what": step["finding"]["what"] if step["finding"] else None,
        }
        for step in alarms.history(alarm_id)
    ]
    shown = {
        **_alarm(site, alarm, _messages(alarms, [alarm_id])[alarm_id]),
        "ended_at": rfc3339(alarm.ended_ms),
    }
    return {"version": VERSION, "alarm": shown, "steps": steps}


def planned_work_document(
    site: Site, alarms: Alarms, now_ms: int | None = None, days_ahead: int = 14
) -> dict[str, Any]:
    """Planned work under way and of the coming days, entered or from the site file."""
    moment = clock_now_ms() if now_ms is None else now_ms
    works = alarms.works(moment, moment + days_ahead * DAY_MS)
    return {
        "version": VERSION,
        "at": rfc3339(moment),
        "kinds": list(KINDS),
        "work": [
            {
                "id": work.id,
                "room": work.room,
                "room_name": _room_name(site, work.room),
                "kind": work.kind,
                "from_at": rfc3339(work.from_ms),
                "until_at": rfc3339(work.until_ms),
                "under_way": work.from_ms <= moment,
                "person": work.person,
                "note": work.note,
            }
            for work in works
        ],
    }


def _room_name(site: Site, room: str) -> str:
    found = site.room_by_id.get(room)
    return found.name if found else room


def _alarm(site: Site, alarm: Alarm, messages: list[dict[str, Any]]) -> dict[str, Any]:
    finding = alarm.finding
    return {
        "id": alarm.id,
        "state": str(alarm.state),
        "priority": Priority(alarm.priority).name.lower(),
        "rule": finding.rule,
        "room": finding.room,
        "room_name": _room_name(site, finding.room),
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
    state = next((state for outcome, state in MESSAGE_STATES.items() if outcome in outcomes), "waiting")
    if state == "sent" and "sent" not in outcomes:
        state = "not-needed"
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
