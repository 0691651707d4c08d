"""The alarms of a site: findings in, transitions into the journal, messages into the outbox."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.alarms import clock_steps, planned
from monitor.alarms import journal as tables
from monitor.alarms.channels_health import failing_routes
from monitor.alarms.clock_steps import ClockWatch
from monitor.alarms.company import as_answered, may_get_worse
from monitor.alarms.journal import Journal
from monitor.alarms.lifecycle import Event, State
from monitor.alarms.outbox import Outbox
from monitor.alarms.planned import Work
from monitor.alarms.record import Alarm, alarm_from
from monitor.alarms.steps import Step, by_key, due_steps, standing_rows, take
from monitor.alarms.told import as_raised
from monitor.clock import now_ms as clock_now_ms
from monitor.errors import AlarmError
from monitor.rules.finding import Finding, Priority
from monitor.site import Site

LONGEST_NOTE = 10_000
LONGEST_PERSON = 300
CHANNELS_EVERY_MS = 5_000


def open_alarms(site: Site, passed: Callable[[], int] | None = None) -> Alarms:
    """The alarms of a site, with its journal opened; ``passed`` as for `Alarms`.

    Raises
    ------
    AlarmError
        The journal cannot be opened.
    """
    return Alarms(Journal.for_site(site), site, passed)


class Alarms:
    """Follows findings as alarms.

    Every change is one transaction that first reads the alarm as it stands, then writes the transition, the
    alarm, and the messages that the change makes.  So the service, the page and the command line may act at
    once, and a crash leaves all of a change or nothing.

    Parameters
    ----------
    passed : a clock [ms] that only runs on, by which it is noticed that the other was set, either way
    """

    def __init__(self, journal: Journal, site: Site, passed: Callable[[], int] | None = None) -> None:
        self.journal, self._site = journal, site
        self._clock = ClockWatch(passed)
        self._outbox = Outbox(site)
        self._settled_ms = 0
        self._channels: tuple[int | None, list[Finding]] = (None, [])

    @property
    def failing_routes(self) -> list[str]:
        """What is said of each route whose messages did not get out when it was last looked at."""
        return [finding.short or finding.what for finding in self._channels[1]]

    def settle_until(self, time_ms: int) -> None:
        """Let no message leave before a time [ms]: what a filled-in past raises is often over at once."""
        self._settled_ms = time_ms

    def update(self, findings: Iterable[Finding], now_ms: int) -> None:
        """Raise what is new, bring up to date what stands, let return what no longer holds, remind and escalate."""
        self._look_at_clock(now_ms)
        told = [self._ranked(finding) for finding in findings]
        with self.journal.reading() as connection:
            held = by_key([*told, *self._failing(connection, now_ms)])
            if not self._steps(connection, held, now_ms) and not self._outbox.due(connection, now_ms):
                return
        with self.journal.transaction() as connection:
            for step in self._steps(connection, held, now_ms):
                take(connection, self._site, step, (now_ms, max(now_ms, self._settled_ms)))
            self._outbox.write(connection, self._outbox.due(connection, now_ms), now_ms)

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

    def take_out(self, alarm_id: int, person: str, note: str = "", now_ms: int | None = None) -> Alarm:
        """Take an alarm out of service, without an end, while what it watches is being mended."""
        return self._by_person(alarm_id, Event.REMOVE, person, note, now_ms)

    def put_back(self, alarm_id: int, person: str, note: str = "", now_ms: int | None = None) -> Alarm:
        """Put an alarm back into service; it stands again where its condition holds."""
        return self._by_person(alarm_id, Event.RESTORE, person, note, now_ms)

    def add_note(self, alarm_id: int, person: str, note: str, now_ms: int | None = None) -> Alarm:
        """Write a note to an alarm, standing or over.

        Raises
        ------
        AlarmError
            There is no such alarm, the note is empty or too long, or no name is given.
        """
        if not _checked(note, LONGEST_NOTE, "note"):
            raise AlarmError("the note is empty; write what you found or did")
        return self._by_person(alarm_id, Event.NOTE, person, note, now_ms)

    def plan_work(
        self,
        room: str,
        kind: str,
        until_ms: int,
        person: str,
        note: str = "",
        from_ms: int | None = None,
        now_ms: int | None = None,
    ) -> int:
        """Enter planned work (``washing``, ``loading``, ``defrost``, ``calibration``); its number.

        Raises
        ------
        AlarmError
            Room or kind are unknown, it ends too early or lasts too long, or no name is given.
        """
        moment = clock_now_ms() if now_ms is None else now_ms
        begin = moment if from_ms is None else from_ms
        text = _checked(note, LONGEST_NOTE, "note")
        work = Work(None, room, kind, begin, until_ms, _named(person), text)
        with self.journal.transaction() as connection:
            return planned.enter_work(connection, self._site, work, moment)

    def end_work(self, work_id: int, person: str, now_ms: int | None = None) -> None:
        """Say that planned work is over; what stands then alarms.

        Raises
        ------
        AlarmError
            There is no such work to end, or no name is given.
        """
        moment = clock_now_ms() if now_ms is None else now_ms
        with self.journal.transaction() as connection:
            planned.end_work(connection, work_id, _named(person), moment)

    def works(self, from_ms: int, until_ms: int) -> list[Work]:
        """All planned work in a span [ms], entered or from the site file."""
        with self.journal.reading() as connection:
            return planned.planned(self._site, connection, from_ms, until_ms)

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

    def of_message(self, message_id: int) -> list[Alarm]:
        """The alarms that a message tells of, the most pressing and oldest first."""
        linked = sa.select(tables.message_alarms.c.alarm_id).where(
            tables.message_alarms.c.message_id == message_id
        )
        query = sa.select(tables.alarms).where(tables.alarms.c.id.in_(linked))
        return self._read(
            query.order_by(tables.alarms.c.priority.desc(), tables.alarms.c.since_ms, tables.alarms.c.id)
        )

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

    def _look_at_clock(self, now_ms: int) -> None:
        def newest() -> int | None:
            with self.journal.reading() as connection:
                return clock_steps.newest_ms(connection)

        if by_ms := self._clock.look(now_ms, newest):
            with self.journal.transaction() as connection:
                clock_steps.enter(connection, now_ms, by_ms)
        self._clock.keep(now_ms)

    def _ranked(self, finding: Finding) -> Finding:
        """A finding with the priority that the site file gives its rule, where it gives one."""
        own = self._site.alarms.priorities.get(finding.rule)
        return finding if own is None else replace(finding, priority=Priority[own.upper()])

    def _failing(self, connection: Connection, now_ms: int) -> list[Finding]:
        asked_ms, found = self._channels
        if asked_ms is None or abs(now_ms - asked_ms) >= CHANNELS_EVERY_MS:
            found = [self._ranked(f) for f in failing_routes(connection, self._site, now_ms)]
            self._channels = (now_ms, found)
        return found

    def _steps(self, connection: Connection, held: dict[str, Finding], now_ms: int) -> list[Step]:
        rows = standing_rows(connection)
        works = planned.planned(self._site, connection, now_ms, now_ms + 1) if rows or held else []
        answered = [row for row in rows if row["state"] == State.ACKNOWLEDGED]
        worse = [row for row in answered if may_get_worse(row["finding"])]
        first = as_raised(connection, [row["id"] for row in answered]) if worse else {}
        known = {row["id"]: as_answered(row, rows, first) for row in worse}
        raised = {number: finding for number, finding in known.items() if finding is not None}
        return list(due_steps(self._site, rows, works, held, now_ms, raised))

    def _by_person(
        self,
        alarm_id: int,
        event: Event,
        person: str,
        note: str,
        now_ms: int | None,
        until_ms: int | None = None,
    ) -> Alarm:
        name = _named(person)
        text = _checked(note, LONGEST_NOTE, "note")
        query = sa.select(tables.alarms).where(tables.alarms.c.id == alarm_id)
        with self.journal.transaction() as connection:
            found = connection.execute(query).mappings().first()
            if found is None or (found["ended_ms"] is not None and event is not Event.NOTE):
                raise AlarmError(f"there is no alarm {alarm_id} standing; it may be over by now")
            moment = clock_now_ms() if now_ms is None else now_ms
            step = Step(dict(found), event, person=name, note=text, until_ms=until_ms)
            take(connection, self._site, step, (moment, moment))
        return self.alarm(alarm_id)


def _named(person: str) -> str:
    name = _checked(person, LONGEST_PERSON, "name")
    if not name:
        raise AlarmError("say who you are, so that others know whom to ask")
    return name


def _checked(text: str, longest: int, what: str) -> str:
    plain = str(text).replace("\x00", "").strip()
    if len(plain) > longest:
        raise AlarmError(f"the {what} has {len(plain)} characters; {longest} at most")
    return plain
