"""Planned work (washing, loading, defrost, calibration): what it keeps quiet by design, and until when."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.alarms import journal as tables
from monitor.clock import DAY_MS, from_ms, to_ms
from monitor.errors import AlarmError
from monitor.rules.finding import Finding, Priority
from monitor.site import PlannedWork, Site
from monitor.site.alarm_settings import WEEKDAYS

KINDS = ("washing", "loading", "defrost", "calibration")
LONGEST_WORK_MS = 14 * DAY_MS
NEVER_QUIET = ("monitor", "gas")
"""Beginnings of the names of rules that no work keeps quiet: people's safety, and the monitor itself."""


@dataclass(frozen=True)
class Work:
    """Planned work in a room; ``id`` is None where the site file plans it."""

    id: int | None
    room: str
    kind: str
    from_ms: int
    until_ms: int
    person: str
    note: str

    def covers(self, finding: Finding, now_ms: int) -> bool:
        """Whether this work keeps a finding quiet at a moment.

        Washing, loading and defrost disturb the air, so what sensors say about themselves still counts; a
        calibration disturbs the sensors too.  What is critical is never kept quiet.
        """
        if not self.from_ms <= now_ms < self.until_ms or finding.room != self.room:
            return False
        if finding.priority >= Priority.CRITICAL or finding.rule.startswith(NEVER_QUIET):
            return False
        return self.kind == "calibration" or not finding.sensor


def planned(
    site: Site, connection: Connection, from_ms: int, until_ms: int, history: bool = False
) -> list[Work]:
    """All work in a span [ms], entered or from the site file, in order of its beginning.

    Work that a person has ended is left out, even where the clock was set back since, unless ``history`` is asked for.
    """
    entered = [w for w, ended in _entered(connection, from_ms, until_ms) if history or not ended]
    works = [*entered, *recurring(site, from_ms, until_ms)]
    return sorted(works, key=lambda w: (w.from_ms, w.room, w.kind))


def recurring(site: Site, from_ms: int, until_ms: int) -> Iterator[Work]:
    """Work that the site file plans, in a span [ms]."""
    for rule in site.planned_work:
        day = from_ms - 2 * DAY_MS
        while day < until_ms + DAY_MS:
            work = _on_day(site, rule, from_ms_local(site, day))
            if work is not None and work.until_ms > from_ms and work.from_ms < until_ms:
                yield work
            day += DAY_MS


def from_ms_local(site: Site, time_ms: int) -> datetime:
    """A moment in the site's own time."""
    return from_ms(time_ms).astimezone(site.site.zone)


def _on_day(site: Site, rule: PlannedWork, day: datetime) -> Work | None:
    if WEEKDAYS[day.weekday()] not in rule.days:
        return None
    last = day.date() if rule.end > rule.begin else day.date() + timedelta(days=1)
    # Where the clock is set back an hour comes twice: work begins with the first and ends with the second.
    begin = datetime.combine(day.date(), rule.begin, site.site.zone).replace(fold=0).astimezone(UTC)
    end = datetime.combine(last, rule.end, site.site.zone).replace(fold=1).astimezone(UTC)
    if end <= begin:
        return None
    return Work(None, rule.room, rule.kind, to_ms(begin), to_ms(end), "site file", rule.note)


def _entered(connection: Connection, from_ms: int, until_ms: int) -> Iterator[tuple[Work, bool]]:
    """Work that people entered, and whether somebody has ended it."""
    begun, ends = tables.planned_work.c, tables.planned_ends.c
    query = (
        sa.select(tables.planned_work, ends.time_ms)
        .outerjoin(tables.planned_ends, ends.work_id == begun.id)
        .where(begun.until_ms > from_ms, begun.from_ms < until_ms)
    )
    for row in connection.execute(query).mappings():
        end = row["until_ms"] if row["time_ms"] is None else min(row["until_ms"], row["time_ms"])
        if end > from_ms and end > row["from_ms"]:
            work = Work(row["id"], row["room"], row["kind"], row["from_ms"], end, row["person"], row["note"])
            yield work, row["time_ms"] is not None


def covering(works: Iterable[Work], finding: Finding, now_ms: int) -> Work | None:
    """The work that keeps a finding quiet now, the longest of several."""
    return max((w for w in works if w.covers(finding, now_ms)), key=lambda w: w.until_ms, default=None)


def enter_work(
    connection: Connection,
    site: Site,
    work: Work,
    now_ms: int,
) -> int:
    """Write down planned work; its number.

    Raises
    ------
    AlarmError
        Room or kind are unknown, it ends before it begins or is over, or it lasts over two weeks.
    """
    if work.room not in site.room_by_id:
        raise AlarmError(f"there is no room {work.room!r}; there are: {', '.join(site.room_by_id)}")
    if work.kind not in KINDS:
        raise AlarmError(f"work is one of {', '.join(KINDS)}, not {work.kind!r}")
    if work.until_ms <= max(work.from_ms, now_ms):
        raise AlarmError("planned work ends after it begins, and in time to come; give a later end")
    if work.until_ms - work.from_ms > LONGEST_WORK_MS:
        raise AlarmError("planned work lasts two weeks at most; give an earlier end, and plan it again then")
    values = {
        "room": work.room,
        "kind": work.kind,
        "from_ms": work.from_ms,
        "until_ms": work.until_ms,
        "person": work.person,
        "note": work.note,
        "created_ms": now_ms,
    }
    return tables.inserted(connection, tables.planned_work, values)


def end_work(connection: Connection, work_id: int, person: str, now_ms: int) -> None:
    """Write down that planned work is over before its planned end.

    Raises
    ------
    AlarmError
        There is no such work, or it is over.
    """
    if not any(w.id == work_id and not ended for w, ended in _entered(connection, now_ms, 2**62)):
        raise AlarmError(f"there is no planned work {work_id} to end; it may be over by now")
    connection.execute(tables.planned_ends.insert().values(work_id=work_id, time_ms=now_ms, person=person))
