"""The alarms of a site: findings in, transitions into the journal, messages into the outbox."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.alarms import journal as tables
from monitor.alarms.journal import Journal, changes_of
from monitor.alarms.lifecycle import Event, State, next_state
from monitor.alarms.record import Alarm, alarm_from, finding_data
from monitor.clock import now_ms as clock_now_ms
from monitor.errors import AlarmError
from monitor.rules.finding import Finding, Priority
from monitor.site import Route, Site

LOCAL_LOG = ""
LONGEST_NOTE = 10_000
LONGEST_PERSON = 300
CHANGED_APART_MS = 600_000
"""A standing alarm whose words change is written again at most so often; a change of wheels or priority at once."""


def open_alarms(site: Site) -> Alarms:
    """The alarms of a site, with its journal opened.

    Raises
    ------
    AlarmError
        The journal cannot be opened.
    """
    return Alarms(Journal.for_site(site), site.routes)


class Alarms:
    """Follows findings as alarms.

    Every change is one transaction that first reads the alarm as it stands, then writes the transition, the
    alarm, and the messages that the change makes.  So the service, the page and the command line may act at
    once, and a crash leaves all of a change or nothing.
    """

    def __init__(self, journal: Journal, routes: Sequence[Route] = ()) -> None:
        self.journal = journal
        self._routes = tuple(routes)

    def update(self, findings: Iterable[Finding], now_ms: int) -> None:
        """Raise what is new, bring up to date what stands, and let return what no longer holds."""
        held = {f.key: f for f in findings}
        with self.journal.reading() as connection:
            if not list(self._due(connection, held, now_ms)):
                return
        with self.journal.transaction() as connection:
            for row, event, finding in list(self._due(connection, held, now_ms)):
                self._step(connection, row, event, now_ms, finding=finding)

    def acknowledge(self, alarm_id: int, person: str, note: str = "", now_ms: int | None = None) -> Alarm:
        """A person has seen it.

        Raises
        ------
        AlarmError
            There is no such alarm standing, it is acknowledged already, or no name is given.
        """
        return self._by_person(alarm_id, Event.ACKNOWLEDGE, person, note, now_ms)

    def reset(self, alarm_id: int, person: str, note: str = "", now_ms: int | None = None) -> Alarm:
        """Let a latched alarm end."""
        return self._by_person(alarm_id, Event.RESET, person, note, now_ms)

    def shelve(
        self, alarm_id: int, person: str, until_ms: int, note: str = "", now_ms: int | None = None
    ) -> Alarm:
        """Put an alarm aside until a moment; it comes back by itself."""
        moment = clock_now_ms() if now_ms is None else now_ms
        if until_ms <= moment:
            raise AlarmError("an alarm is shelved until a moment to come; give a later one")
        return self._by_person(alarm_id, Event.SHELVE, person, note, moment, until_ms)

    def unshelve(self, alarm_id: int, person: str, note: str = "", now_ms: int | None = None) -> Alarm:
        """Bring a shelved alarm back before its time."""
        return self._by_person(alarm_id, Event.UNSHELVE, person, note, now_ms)

    def standing(self) -> list[Alarm]:
        """Every alarm that has not ended, the most pressing and oldest first."""
        query = sa.select(tables.alarms).where(tables.alarms.c.ended_ms.is_(None))
        return self._read(query.order_by(tables.alarms.c.priority.desc(), tables.alarms.c.raised_ms))

    def recent(self, limit: int = 50) -> list[Alarm]:
        """The alarms that ended last, newest first."""
        query = sa.select(tables.alarms).where(tables.alarms.c.ended_ms.is_not(None))
        return self._read(query.order_by(tables.alarms.c.ended_ms.desc()).limit(limit))

    def alarm(self, alarm_id: int) -> Alarm:
        """One alarm by its number.

        Raises
        ------
        AlarmError
            There is none.
        """
        found = self._read(sa.select(tables.alarms).where(tables.alarms.c.id == alarm_id))
        if not found:
            raise AlarmError(f"there is no alarm {alarm_id}; see them with: maturing-room alarms SITE.toml")
        return found[0]

    def history(self, alarm_id: int) -> list[dict[str, Any]]:
        """Every transition of an alarm, oldest first."""
        columns = tables.transitions.c
        query = sa.select(tables.transitions).where(columns.alarm_id == alarm_id).order_by(columns.id)
        with self.journal.reading() as connection:
            return [dict(row) for row in connection.execute(query).mappings()]

    def close(self) -> None:
        """Let go of the journal; closing twice does no harm."""
        self.journal.close()

    def _read(self, query: Any) -> list[Alarm]:
        with self.journal.reading() as connection:
            return [alarm_from(row) for row in connection.execute(query).mappings()]

    def _due(
        self, connection: Connection, held: dict[str, Finding], now_ms: int
    ) -> Iterable[tuple[dict[str, Any] | None, Event, Finding | None]]:
        """The steps that findings and the clock ask for, against the alarms as they stand."""
        query = sa.select(tables.alarms).where(tables.alarms.c.ended_ms.is_(None))
        rows = {row["key"]: dict(row) for row in connection.execute(query).mappings()}
        for key, row in rows.items():
            finding = held.get(key)
            if row["state"] == State.SHELVED and row["until_ms"] is not None and row["until_ms"] <= now_ms:
                yield row, Event.UNSHELVE, finding
            elif finding is None and row["active"]:
                yield row, Event.RETURN, None
            elif finding is not None and not row["active"]:
                yield row, Event.RAISE, finding
            elif finding is not None and _worth_writing(row, finding, now_ms):
                yield row, Event.CHANGED, finding
        for key, finding in held.items():
            if key not in rows:
                yield None, Event.RAISE, finding

    def _by_person(
        self,
        alarm_id: int,
        event: Event,
        person: str,
        note: str,
        now_ms: int | None,
        until_ms: int | None = None,
    ) -> Alarm:
        name = _checked(person, LONGEST_PERSON, "name")
        if not name:
            raise AlarmError("say who you are, so that others know whom to ask")
        text = _checked(note, LONGEST_NOTE, "note")
        with self.journal.transaction() as connection:
            found = (
                connection.execute(sa.select(tables.alarms).where(tables.alarms.c.id == alarm_id))
                .mappings()
                .first()
            )
            if found is None or found["ended_ms"] is not None:
                raise AlarmError(f"there is no alarm {alarm_id} standing; it may be over by now")
            moment = clock_now_ms() if now_ms is None else now_ms
            self._step(connection, dict(found), event, moment, person=name, note=text, until_ms=until_ms)
        return self.alarm(alarm_id)

    def _step(
        self,
        connection: Connection,
        row: dict[str, Any] | None,
        event: Event,
        now_ms: int,
        *,
        finding: Finding | None = None,
        person: str | None = None,
        note: str | None = None,
        until_ms: int | None = None,
    ) -> None:
        before = State(row["state"]) if row else State.NORMAL
        active = self._active_after(row, event)
        latching = bool(row["latching"]) if row else False
        acknowledged = bool(row and row["acknowledged_ms"] is not None)
        after = next_state(before, event, active=active, latching=latching, acknowledged=acknowledged)
        step = {
            "alarm_id": row["id"] if row else _next_id(connection),
            "time_ms": now_ms,
            "event": str(event),
            "state_before": str(before),
            "state": str(after),
            "active": active,
            "person": person,
            "note": note or None,
            "until_ms": until_ms,
            "latching": latching,
            "finding": finding_data(finding) if finding else None,
        }
        number = _inserted(connection, tables.transitions, step)
        changes = changes_of(step, row or {})
        if row is None:
            connection.execute(tables.alarms.insert().values(id=step["alarm_id"], **changes))
        else:
            connection.execute(
                tables.alarms.update().where(tables.alarms.c.id == row["id"]).values(**changes)
            )
        self._make_messages(
            connection, {**(row or {}), **changes, "id": step["alarm_id"]}, before, after, event, number
        )

    @staticmethod
    def _active_after(row: dict[str, Any] | None, event: Event) -> bool:
        if event is Event.RAISE:
            return True
        return False if event is Event.RETURN else bool(row and row["active"])

    def _make_messages(
        self,
        connection: Connection,
        alarm: dict[str, Any],
        before: State,
        after: State,
        event: Event,
        number: int,
    ) -> None:
        about = ""
        if after is State.UNACKNOWLEDGED and event in (Event.RAISE, Event.UNSHELVE):
            about = "raised"
        elif event is Event.RETURN and before in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED):
            about = "over"
        for route in self._routes_for(alarm["priority"]) if about else ():
            message = {
                "route": route,
                "about": about,
                "created_ms": alarm["changed_ms"],
                "due_ms": alarm["changed_ms"],
                "once": f"{about}/{alarm['id']}/{number}/{route}",
            }
            made = _inserted(connection, tables.messages, message)
            connection.execute(tables.message_alarms.insert().values(message_id=made, alarm_id=alarm["id"]))

    def _routes_for(self, priority: int) -> list[str]:
        wanted = [r.name for r in self._routes if priority >= Priority[r.least_priority.upper()]]
        return [LOCAL_LOG, *wanted]


def _worth_writing(row: dict[str, Any], finding: Finding, now_ms: int) -> bool:
    old, new = row["finding"], finding_data(finding)
    if old["priority"] != new["priority"] or old["wheels"] != new["wheels"]:
        return True
    words = ("what", "effect", "check_first")
    changed = any(old.get(word) != new[word] for word in words)
    return changed and now_ms - row["changed_ms"] >= CHANGED_APART_MS


def _inserted(connection: Connection, table: sa.Table, row: dict[str, Any]) -> int:
    key = connection.execute(table.insert().values(**row)).inserted_primary_key
    assert key is not None
    return int(key[0])


def _next_id(connection: Connection) -> int:
    return (
        int(connection.execute(sa.select(sa.func.coalesce(sa.func.max(tables.alarms.c.id), 0))).scalar_one())
        + 1
    )


def _checked(text: str, longest: int, what: str) -> str:
    plain = str(text).replace("\x00", "").strip()
    if len(plain) > longest:
        raise AlarmError(f"the {what} has {len(plain)} characters; {longest} at most")
    return plain
