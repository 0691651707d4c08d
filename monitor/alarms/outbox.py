"""What messages are made when: on changes of an alarm, and as the clock goes on.

Everything here happens inside the caller's transaction, so a change and its messages stand or fall together.
Alarms of one cause (or one room) share a message while it has not left.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.alarms import journal as tables
from monitor.alarms.clock_steps import ClockSteps
from monitor.alarms.company import (
    answers,
    goes_with,
    group_of,
    groups_that_tell,
    hold_ms,
    says_the_same,
    stands,
)
from monitor.alarms.lifecycle import QUIET, State
from monitor.alarms.messages import (
    TELLING,
    alarms_of,
    asked_since,
    entered_unacknowledged,
    messages_of,
    open_told,
    over_unsaid,
)
from monitor.alarms.news import NO_ALARM, News, ended_by, keep
from monitor.alarms.told import told_messages
from monitor.clock import from_ms, to_ms
from monitor.rules.finding import Priority
from monitor.site import Route, Site

LOCAL_LOG = ""
DAILY_LATEST_MS = 12 * 3_600_000
"""How late [ms] the daily message is still worth sending, where the monitor did not run at its hour."""
MINUTE_MS = 60_000


@dataclass(frozen=True)
class Wanted:
    """A message to be made."""

    route: str
    about: str
    alarm_ids: tuple[int, ...]
    group: str
    due_ms: int
    once: str
    news: tuple[News, ...] = ()


class Outbox:
    """Makes messages for the routes of a site."""

    def __init__(self, site: Site) -> None:
        self._site = site

    def raised(
        self,
        connection: Connection,
        alarm: dict[str, Any],
        about: str,
        number: int,
        moments: tuple[int, int],
        worse: bool = False,
    ) -> dict[str, Any] | None:
        """An alarm stands anew (``raised``, ``again`` or ``worse``), by transition ``number``.

        ``moments`` are now, and the earliest time that a message may leave [ms]; ``worse`` says that it is more pressing
        than it was.  Returns the alarm (a row) with which it is answered, where nobody is told of it since it only adds
        to what was told and answered on every route.
        """
        known: list[dict[str, Any] | None] = []
        now_ms, earliest_ms = moments
        _make(connection, self._to_log(about, alarm, number, now_ms), now_ms)
        group, told_as = group_of(alarm), about
        for route in self._routes_for(alarm):
            if route.after_min > 0:
                continue
            if about == "raised":
                history = [m for m in messages_of(connection, [alarm["id"]]) if m["route"] == route.name]
                unsaid = _unsaid_over(connection, history, now_ms)
                if unsaid and not worse:
                    known.append(None)
                    continue
                told_as = "worse" if unsaid else "raised"
                is_new = not history or bool(open_told(history))
                if not unsaid and is_new:
                    beside = self._join_told(connection, alarm, route.name, now_ms)
                    if beside:
                        known.append(answers(beside))
                        continue
            known.append(None)
            held_ms = earliest_ms + hold_ms(self._site, alarm)
            due_ms = quiet_until(self._site, route, alarm["priority"], max(now_ms, held_ms))
            once = f"{told_as}/{alarm['id']}/{number}/{route.name}"
            news = (News(alarm["id"], f"stands/{number}"),)
            _make(connection, Wanted(route.name, told_as, (alarm["id"],), group, due_ms, once, news), now_ms)
        answered = [row for row in known if row is not None]
        return answers(answered) if answered and len(answered) == len(known) else None

    def over(self, connection: Connection, alarm: dict[str, Any], number: int, now_ms: int) -> None:
        """An alarm's condition has gone: tell those who were told of it, or of another with it, once all of that is over.

        What a person has put aside, or work keeps quiet, holds up nobody's end; so this is asked then too.
        """
        history = messages_of(connection, [alarm["id"]])
        is_over = not stands(alarm) and alarm["state"] not in QUIET
        if is_over and any(m["route"] == LOCAL_LOG and m["about"] in TELLING for m in history):
            _make(connection, self._to_log("over", alarm, number, now_ms), now_ms)
        for name in sorted({m["route"] for m in history} - {LOCAL_LOG}):
            told = open_told([m for m in history if m["route"] == name])
            family = alarms_of(connection, [m["id"] for m in told])
            for message in told:
                if not message["composed"] and not any(map(stands, family)):
                    drop(connection, message["id"], now_ms, "over before it left")
            if over := over_unsaid(connection, family, name):
                left = sorted({message for unsaid in over for message in unsaid.messages})
                group, once = f"over/{left[0]}", f"over/{left[-1]}/{number}/{name}"
                due_ms = self._over_due(name, [unsaid.alarm for unsaid in over], now_ms)
                ids = tuple(unsaid.alarm["id"] for unsaid in over)
                news = tuple(News(i, f"over/{ended_by(connection, i)}") for i in ids)
                _make(connection, Wanted(name, "over", ids, group, due_ms, once, news), now_ms)

    def _over_due(self, route_name: str, over: list[dict[str, Any]], now_ms: int) -> int:
        due_ms = now_ms + round(self._site.alarms.hold_s * 1000)
        route = next((r for r in self._site.routes if r.name == route_name), None)
        priority = max(row["priority"] for row in over)
        return due_ms if route is None else quiet_until(self._site, route, priority, due_ms)

    def due(self, connection: Connection, now_ms: int) -> list[Wanted]:
        """The reminders, escalations and daily messages that the clock asks for now."""
        alarms = tables.alarms.c
        query = sa.select(tables.alarms).where(
            alarms.ended_ms.is_(None), alarms.active, alarms.state == State.UNACKNOWLEDGED
        )
        rows = [dict(row) for row in connection.execute(query).mappings()]
        wanted = [*self._daily(now_ms)]
        if rows and self._site.routes:
            ids = [row["id"] for row in rows]
            clock = ClockSteps.of(connection)
            history = [clock.message(m) for m in messages_of(connection, ids)]
            entered = {
                i: (number, clock.now("transitions", number, since_ms))
                for i, (number, since_ms) in entered_unacknowledged(connection, ids).items()
            }
            for row in rows:
                own = [m for m in history if m["alarm_id"] == row["id"]]
                asked_ms = asked_since(self._site, own, entered[row["id"]][1])
                for route in self._routes_for(row):
                    on_route = [m for m in own if m["route"] == route.name]
                    for message in self._later(row, route, on_route, entered[row["id"]], asked_ms, now_ms):
                        whole = self._with_company(message, route, rows, history)
                        wanted.append(replace(whole, news=_later_news(whole, route, history, entered)))
        return _new(connection, wanted)

    def write(self, connection: Connection, wanted: Iterable[Wanted], now_ms: int) -> None:
        """Make messages that `due` asked for."""
        for message in wanted:
            _make(connection, message, now_ms)

    def _later(
        self,
        row: dict[str, Any],
        route: Route,
        history: list[dict[str, Any]],
        entered: tuple[int, int],
        asked_ms: int,
        now_ms: int,
    ) -> Iterator[Wanted]:
        if any(m["waiting"] and not m["composed"] for m in history):
            return
        number, since_ms = entered
        if route.after_min > 0 and now_ms - asked_ms >= route.after_min * MINUTE_MS:
            once = f"escalated/{row['id']}/{number}/{route.name}"
            if not any(m["about"] == "escalated" and m["created_ms"] >= since_ms for m in history):
                yield self._wanted(row, route, "escalated", once, now_ms)
                return
        told = open_told(history)
        wait_min = getattr(self._site.alarms.remind_min, Priority(row["priority"]).name.lower())
        if not told or wait_min is None:
            return
        reminders = [m for m in history if m["about"] == "reminder" and m["id"] > told[-1]["id"]]
        last_ms = max(max(m["created_ms"], m["due_ms"]) for m in (told[-1], *reminders))
        if len(reminders) < self._site.alarms.reminders and now_ms - last_ms >= wait_min * MINUTE_MS:
            once = f"reminder/{row['id']}/{told[-1]['id']}/{len(reminders) + 1}/{route.name}"
            yield self._wanted(row, route, "reminder", once, now_ms)

    def _with_company(
        self, message: Wanted, route: Route, rows: list[dict[str, Any]], history: list[dict[str, Any]]
    ) -> Wanted:
        """A reminder or escalation with all that waits beside its alarm, so that they do not come one by one."""
        told = {m["alarm_id"] for m in history if m["route"] == route.name}
        beside = (
            row["id"]
            for row in rows
            if group_of(row) == message.group
            and route in self._routes_for(row)
            and (message.about == "escalated" or row["id"] in told)
        )
        return replace(message, alarm_ids=tuple(dict.fromkeys((*message.alarm_ids, *beside))))

    def _wanted(self, row: dict[str, Any], route: Route, about: str, once: str, now_ms: int) -> Wanted:
        due_ms = quiet_until(self._site, route, row["priority"], now_ms)
        return Wanted(route.name, about, (row["id"],), group_of(row), due_ms, once)

    def _daily(self, now_ms: int) -> Iterator[Wanted]:
        at = self._site.alarms.daily_at
        if at is None:
            return
        zone = self._site.site.zone
        day = from_ms(now_ms).astimezone(zone).date()
        moment_ms = to_ms(datetime.combine(day, at, zone).astimezone(UTC))
        if not moment_ms <= now_ms <= moment_ms + DAILY_LATEST_MS:
            return
        for route in self._site.routes:
            if route.daily:
                once, news = f"daily/{day}/{route.name}", (News(NO_ALARM, f"daily/{day}"),)
                yield Wanted(route.name, "daily", (), "daily", now_ms, once, news)

    def _to_log(self, about: str, alarm: dict[str, Any], number: int, now_ms: int) -> Wanted:
        return Wanted(LOCAL_LOG, about, (alarm["id"],), "", now_ms, f"{about}/{alarm['id']}/{number}/")

    def _routes_for(self, alarm: dict[str, Any]) -> Iterator[Route]:
        finding = alarm["finding"]
        for route in self._site.routes:
            itself = finding["rule"] == "monitor" and finding["aspect"] == f"route-{route.name}"
            if not itself and alarm["priority"] >= Priority[route.least_priority.upper()]:
                yield route

    def _join_told(
        self, connection: Connection, alarm: dict[str, Any], route: str, now_ms: int
    ) -> Sequence[dict[str, Any]]:
        """Let a further alarm of what was told, and still stands, go with the message that told it; what it goes with."""
        group, newest, clock = group_of(alarm), True, ClockSteps.of(connection)
        for message in told_messages(connection, route, groups_that_tell(alarm)):
            others = [row for row in message.alarms if row["id"] != alarm["id"]]
            own = message.group == group
            age_ms = now_ms - clock.now("messages", message.id, message.created_ms)
            soon = goes_with(alarm, others, age_ms) if own and newest else ()
            if beside := soon or says_the_same(alarm, others):
                _link(connection, message.id, alarm["id"])
                return beside
            newest = newest and not own
        return ()


def quiet_until(site: Site, route: Route, priority: int, due_ms: int) -> int:
    """When a message of a priority may leave by a route [ms]: at once, or at the end of its quiet hours."""
    quiet = route.quiet_hours
    if quiet is None or priority >= Priority[quiet.below.upper()]:
        return due_ms
    zone = site.site.zone
    today = from_ms(due_ms).astimezone(zone).date()
    for day in (today - timedelta(days=1), today):
        last = day if quiet.end > quiet.begin else day + timedelta(days=1)
        begin = to_ms(datetime.combine(day, quiet.begin, zone).astimezone(UTC))
        end = to_ms(datetime.combine(last, quiet.end, zone).astimezone(UTC))
        if begin <= due_ms < end:
            return end
    return due_ms


def drop(connection: Connection, message_id: int, now_ms: int, why: str) -> None:
    """Write down that a message is not to leave any more, and why."""
    values = {"message_id": message_id, "recipient": 0, "number": 0, "time_ms": now_ms, "error": why}
    connection.execute(tables.attempts.insert().values(outcome="dropped", **values))
    connection.execute(tables.waiting.delete().where(tables.waiting.c.message_id == message_id))


def _unsaid_over(connection: Connection, history: list[dict[str, Any]], now_ms: int) -> bool:
    """Drop what was to say that an alarm is over and has not left; whether there was such a message.

    Then nobody knows that it was over for a moment, and there is nothing new to tell.
    """
    unsaid = [m for m in history if m["about"] == "over" and m["waiting"] and not m["composed"]]
    for message in unsaid:
        drop(connection, message["id"], now_ms, "it stands again")
    return bool(unsaid)


def _later_news(
    message: Wanted, route: Route, history: list[dict[str, Any]], entered: dict[int, tuple[int, int]]
) -> tuple[News, ...]:
    """What a reminder (of its route's own count) or an escalation (after so many minutes) tells of each alarm."""
    reminded = Counter(
        m["alarm_id"] for m in history if m["route"] == route.name and m["about"] == "reminder"
    )
    is_reminder = message.about == "reminder"
    which = {i: reminded[i] + 1 if is_reminder else route.after_min for i in message.alarm_ids}
    return tuple(News(i, f"{message.about}/{entered[i][0]}/{which[i]}") for i in message.alarm_ids)


def _new(connection: Connection, wanted: list[Wanted]) -> list[Wanted]:
    if not wanted:
        return []
    query = sa.select(tables.messages.c.once).where(tables.messages.c.once.in_([w.once for w in wanted]))
    known = set(connection.execute(query).scalars())
    return [w for w in wanted if w.once not in known]


def _make(connection: Connection, wanted: Wanted, now_ms: int) -> None:
    found = _not_left(connection, wanted) if wanted.group else None
    if found is None:
        if not _new(connection, [wanted]):
            return
        values = {
            "route": wanted.route,
            "about": wanted.about,
            "created_ms": now_ms,
            "due_ms": wanted.due_ms,
            "once": wanted.once,
        }
        found = tables.inserted(connection, tables.messages, values)
        connection.execute(tables.waiting.insert().values(message_id=found))
        connection.execute(
            tables.groupings.insert().values(message_id=found, route=wanted.route, group_key=wanted.group)
        )
    for alarm_id in wanted.alarm_ids:
        _link(connection, found, alarm_id)
    keep(connection, found, wanted.news)


def _not_left(connection: Connection, wanted: Wanted) -> int | None:
    message, grouping = tables.messages.c, tables.groupings.c
    query = (
        sa.select(message.id)
        .join(tables.waiting, tables.waiting.c.message_id == message.id)
        .join(tables.groupings, grouping.message_id == message.id)
        .outerjoin(tables.texts, tables.texts.c.message_id == message.id)
        .where(grouping.route == wanted.route, grouping.group_key == wanted.group)
        .where(message.about == wanted.about, tables.texts.c.message_id.is_(None))
        .where(message.due_ms <= wanted.due_ms)
        .limit(1)
    )
    return connection.execute(query).scalar()


def _link(connection: Connection, message_id: int, alarm_id: int) -> None:
    link = tables.message_alarms
    known = sa.select(link.c.alarm_id).where(link.c.message_id == message_id, link.c.alarm_id == alarm_id)
    if connection.execute(known).first() is None:
        connection.execute(link.insert().values(message_id=message_id, alarm_id=alarm_id))
