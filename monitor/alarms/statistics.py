"""How well the alarms do: how many, how often, for how long, and how soon a person answered.

Reference figures stand beside ours: those of EEMUA publication 191 and of ISA-18.2-2016, as quoted by others
(neither text was at hand), for one operator who watches a process plant around the clock.  A maturing room with
one person on call at night wants far fewer.
"""

from __future__ import annotations

import bisect
import statistics as figures
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

import sqlalchemy as sa

from monitor.alarms import journal as tables
from monitor.alarms.alarms import Alarms
from monitor.clock import DAY_MS, rfc3339
from monitor.clock import now_ms as clock_now_ms
from monitor.rules.finding import Priority
from monitor.site import Site

VERSION = 1
STALE_AFTER_MS = DAY_MS
FLOOD_MORE_THAN, FLOOD_ENDS_UNDER, FLOOD_WINDOW_MS = 10, 5, 600_000
CHATTER_TIMES, CHATTER_WINDOW_MS = 3, 60_000
REFERENCES = (
    {"name": "raised_per_day", "at_most": 120, "source": "EEMUA 191, as quoted: average of 5 an hour"},
    {"name": "raised_per_day", "at_most": 150, "source": "ISA-18.2-2016, as quoted: about 150 a day"},
    {
        "name": "most_in_ten_minutes",
        "at_most": 10,
        "source": "EEMUA 191, as quoted: over 10 in 10 min is a flood",
    },
    {"name": "share_of_time_in_flood_pct", "at_most": 1, "source": "ISA-18.2-2016, from memory"},
    {"name": "chattering", "at_most": 0, "source": "ISA-18.2-2016, from memory: none in the long run"},
    {"name": "stale", "at_most": 5, "source": "ISA-18.2-2016, from memory: under 5 a day, each with a plan"},
    {
        "name": "share_of_top_ten_pct",
        "at_most": 5,
        "source": "ISA-18.2-2016, from memory: 1 to 5 % of the load",
    },
    {"name": "priorities_pct", "at_most": [80, 15, 5], "source": "EEMUA 191, as quoted: low, medium, high"},
)
"""Figures of others to hold ours against."""


def statistics_document(
    site: Site, alarms: Alarms, now_ms: int | None = None, days: float = 30.0
) -> dict[str, Any]:
    """How the alarms did over the last days; a figure that cannot be told yet is None.

    Returns
    -------
    dict : see ``monitor/docs/json.md``, ``alarm-statistics``
    """
    moment = clock_now_ms() if now_ms is None else now_ms
    begin = moment - round(days * DAY_MS)
    steps = _steps(alarms, begin, moment)
    raised = [s for s in steps if s["state"] == "unacknowledged" and s["event"] in ("raise", "re-alarm")]
    times = [s["time_ms"] for s in raised]
    standing = [a for a in alarms.standing() if a.active]
    answered = _answer_times(steps)
    floods = flood_spans(times)
    by_key = Counter(s["key"] for s in raised)
    top = sum(count for _, count in by_key.most_common(10))
    return {
        "version": VERSION,
        "at": rfc3339(moment),
        "from_at": rfc3339(begin),
        "days": days,
        "raised": len(raised),
        "raised_per_day": round(len(raised) / days, 3),
        "raised_by_room": dict(Counter(s["room"] for s in raised)),
        "raised_by_rule": dict(Counter(s["rule"] for s in raised)),
        "messages": {route.name: 0 for route in site.routes} | _messages(alarms, begin, moment),
        "standing": len(standing),
        "stale": sum(moment - a.raised_ms > STALE_AFTER_MS for a in standing),
        "chattering": len(chattering([(s["key"], s["time_ms"]) for s in raised])),
        "most_in_ten_minutes": _most_at_once(times),
        "floods": len(floods),
        "share_of_time_in_flood_pct": round(100 * sum(e - b for b, e in floods) / (days * DAY_MS), 3),
        "share_of_top_ten_pct": round(100 * top / len(raised), 1) if raised else None,
        "minutes_to_acknowledge": _spread([ms / 60_000 for ms in answered]),
        "never_acknowledged": _unanswered(steps),
        "priorities_pct": _shares([s["priority"] for s in raised]),
        "references": list(REFERENCES),
    }


def flood_spans(times_ms: Sequence[int]) -> list[tuple[int, int]]:
    """Spans of flood: from over 10 alarms in ten minutes until fewer than 5 (ISA-18.2-2016, as quoted)."""
    spans: list[tuple[int, int]] = []
    since: int | None = None
    ordered = sorted(times_ms)
    moments = sorted({t + shift for t in ordered for shift in (0, FLOOD_WINDOW_MS)})
    for moment in moments:
        count = sum(moment - FLOOD_WINDOW_MS < t <= moment for t in _near(ordered, moment))
        if since is None and count > FLOOD_MORE_THAN:
            since = moment
        elif since is not None and count < FLOOD_ENDS_UNDER:
            spans.append((since, moment))
            since = None
    return spans


def chattering(raised: Iterable[tuple[str, int]]) -> set[str]:
    """Keys of alarms raised three times or more within a minute (the usual meaning of chattering)."""
    by_key: dict[str, list[int]] = defaultdict(list)
    for key, time_ms in raised:
        by_key[key].append(time_ms)
    return {key for key, times in by_key.items() if _within(sorted(times), CHATTER_TIMES, CHATTER_WINDOW_MS)}


def _within(times: Sequence[int], count: int, window_ms: int) -> bool:
    return any(
        later - earlier <= window_ms for earlier, later in zip(times, times[count - 1 :], strict=False)
    )


def _near(ordered: Sequence[int], moment: int) -> Sequence[int]:
    return ordered[
        bisect.bisect_right(ordered, moment - FLOOD_WINDOW_MS) : bisect.bisect_right(ordered, moment)
    ]


def _most_at_once(times: Sequence[int]) -> int:
    ordered = sorted(times)
    return max((len(_near(ordered, moment)) for moment in ordered), default=0)


def _steps(alarms: Alarms, begin: int, end: int) -> list[dict[str, Any]]:
    step, alarm = tables.transitions.c, tables.alarms.c
    query = (
        sa.select(tables.transitions, alarm.key, alarm.priority, alarm.finding.label("now"))
        .join(tables.alarms, alarm.id == step.alarm_id)
        .where(step.time_ms >= begin, step.time_ms <= end)
        .order_by(step.id)
    )
    with alarms.journal.reading() as connection:
        rows = [dict(row) for row in connection.execute(query).mappings()]
    return [{**row, "room": row["now"]["room"], "rule": row["now"]["rule"]} for row in rows]


def _messages(alarms: Alarms, begin: int, end: int) -> dict[str, int]:
    message = tables.messages.c
    query = sa.select(message.route, sa.func.count()).where(
        message.created_ms >= begin, message.created_ms <= end, message.route != ""
    )
    with alarms.journal.reading() as connection:
        return {row[0]: row[1] for row in connection.execute(query.group_by(message.route))}


def _answer_times(steps: Sequence[dict[str, Any]]) -> list[int]:
    """From each time an alarm became unacknowledged to its acknowledgement [ms]."""
    since: dict[int, int] = {}
    times = []
    for step in steps:
        if step["state"] == "unacknowledged" and step["state_before"] != "unacknowledged":
            since.setdefault(step["alarm_id"], step["time_ms"])
        elif step["event"] == "acknowledge" and step["alarm_id"] in since:
            times.append(max(0, step["time_ms"] - since.pop(step["alarm_id"])))
    return times


def _unanswered(steps: Sequence[dict[str, Any]]) -> int:
    raised = {s["alarm_id"] for s in steps if s["state"] == "unacknowledged"}
    answered = ("acknowledge", "answered with another")
    return len(raised - {s["alarm_id"] for s in steps if s["event"] in answered})


def _spread(values: Sequence[float]) -> dict[str, float] | None:
    if not values:
        return None
    ordered = sorted(values)
    ninth = ordered[min(len(ordered) - 1, round(0.9 * (len(ordered) - 1)))]
    return {
        "median": round(figures.median(ordered), 1),
        "nine_in_ten": round(ninth, 1),
        "count": len(ordered),
    }


def _shares(priorities: Sequence[int]) -> dict[str, float] | None:
    if not priorities:
        return None
    counts = Counter(priorities)
    return {p.name.lower(): round(100 * counts[p] / len(priorities), 1) for p in Priority}
