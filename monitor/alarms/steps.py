"""The steps that findings, planned work and the clock ask of alarms, and how a step is taken."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.alarms import journal as tables
from monitor.alarms.company import answered_ms, further_out
from monitor.alarms.journal import changes_of, inserted
from monitor.alarms.lifecycle import LIVE, QUIET, Event, State, next_state
from monitor.alarms.outbox import MINUTE_MS, Outbox
from monitor.alarms.planned import Work, covering
from monitor.alarms.record import finding_data, finding_from
from monitor.rules.finding import Finding, Priority
from monitor.site import Site

CHANGED_APART_MS = 600_000
"""A standing alarm whose words change is written again at most so often; a change of wheels or priority at once."""
_COMES_BACK = frozenset({Event.RAISE, Event.UNSHELVE, Event.RELEASE, Event.RESTORE})
_ENDS = frozenset({Event.RETURN, Event.UNSHELVE, Event.RELEASE, Event.RESTORE})


@dataclass(frozen=True)
class Step:
    """An event that is to happen to an alarm (``row``; None where the alarm is new)."""

    row: dict[str, Any] | None
    event: Event
    finding: Finding | None = None
    person: str | None = None
    note: str | None = None
    until_ms: int | None = None
    further_out: bool = False
    """Whether the air is further out by a step than it was when this was last told (`monitor.alarms.company`)."""


def due_steps(
    site: Site,
    standing: Sequence[dict[str, Any]],
    works: Sequence[Work],
    held: Mapping[str, Finding],
    now_ms: int,
    raised: Mapping[int, dict[str, Any]] | None = None,
) -> Iterator[Step]:
    """What findings (by key), planned work and the clock ask for, against the alarms that stand.

    ``raised`` has the findings (as data, by alarm) with which alarms were last raised, where they may get worse.
    """
    known = {row["key"]: row for row in standing}
    for key, row in known.items():
        is_forgotten = _is_forgotten(site, row, standing, now_ms)
        told = (raised or {}).get(row["id"])
        step = _of_standing(site, row, works, held.get(key), now_ms, told, is_forgotten)
        if step is not None:
            yield step
    for key, finding in held.items():
        if key not in known:
            work = covering(works, finding, now_ms)
            yield Step(
                None,
                Event.SUPPRESS if work else Event.RAISE,
                finding,
                until_ms=work.until_ms if work else None,
            )


def _of_standing(
    site: Site,
    row: dict[str, Any],
    works: Sequence[Work],
    finding: Finding | None,
    now_ms: int,
    raised: dict[str, Any] | None,
    is_forgotten: bool,
) -> Step | None:
    state, active = State(row["state"]), bool(row["active"])
    work = covering(works, finding or finding_from(row["finding"]), now_ms)
    if finding is None and active:
        gone = bool(row["finding"]["room"]) and row["finding"]["room"] not in site.room_by_id
        return Step(row, Event.RETURN, note="its room is no longer in the site file" if gone else None)
    if state is State.SHELVED and finding is not None and work is None and _became_critical(row, finding):
        return Step(row, Event.UNSHELVE, finding, note="it became critical")
    if finding is not None and not active and (work is None or state in QUIET):
        return Step(row, Event.RAISE, finding)
    if state is State.SUPPRESSED and work is None:
        return Step(row, Event.RELEASE, finding)
    if state is State.SHELVED and work is None and row["until_ms"] is not None and row["until_ms"] <= now_ms:
        return Step(row, Event.UNSHELVE, finding)
    if finding is None or not active:
        return None
    if work is not None and state in LIVE:
        return Step(row, Event.SUPPRESS, finding, until_ms=work.until_ms)
    if state is State.ACKNOWLEDGED:
        further = raised is not None and further_out(finding_data(finding), [raised])
        if further or finding.priority > row["priority"] or is_forgotten:
            return Step(row, Event.REALARM, finding, further_out=further)
    return Step(row, Event.CHANGED, finding) if _worth_writing(row, finding, now_ms) else None


def _became_critical(row: dict[str, Any], finding: Finding) -> bool:
    """What a person put aside was less than this."""
    return bool(finding.priority >= Priority.CRITICAL > row["priority"])


def _is_forgotten(site: Site, row: dict[str, Any], standing: Sequence[dict[str, Any]], now_ms: int) -> bool:
    """Whether an alarm was answered so long ago that it alarms again, and so was all that says the same of the air."""
    after_min = getattr(site.alarms.realarm_min, Priority(row["priority"]).name.lower())
    if after_min is None or row["state"] != State.ACKNOWLEDGED:
        return False
    return bool(now_ms - answered_ms(row, standing) >= after_min * MINUTE_MS)


def _worth_writing(row: dict[str, Any], finding: Finding, now_ms: int) -> bool:
    old, new = row["finding"], finding_data(finding)
    if old["priority"] != new["priority"] or old["wheels"] != new["wheels"]:
        return True
    words = ("what", "effect", "check_first")
    changed = any(old.get(word) != new[word] for word in words)
    return changed and abs(now_ms - row["changed_ms"]) >= CHANGED_APART_MS


def take(connection: Connection, site: Site, step: Step, moments: tuple[int, int]) -> int:
    """Write a step, the alarm as it is after it, and the messages it makes; the alarm's number.

    ``moments`` are now, and the earliest time that a message may leave [ms].

    Raises
    ------
    AlarmError
        The event has no meaning in the alarm's state.
    """
    now_ms, row, event = moments[0], step.row, step.event
    before = State(row["state"]) if row else State.NORMAL
    holds = row is None or event is Event.RAISE or step.finding is not None or bool(row["active"])
    active = event is not Event.RETURN and holds
    latching = bool(row["latching"]) if row else _latches(site, step.finding)
    acknowledged = bool(row and row["acknowledged_ms"] is not None)
    after = next_state(before, event, active=active, latching=latching, acknowledged=acknowledged)
    written = {
        "alarm_id": row["id"] if row else _next_id(connection),
        "time_ms": now_ms,
        "event": str(event),
        "state_before": str(before),
        "state": str(after),
        "active": active,
        "person": step.person,
        "note": step.note or None,
        "until_ms": step.until_ms,
        "latching": latching,
        "finding": finding_data(step.finding) if step.finding else None,
    }
    number = inserted(connection, tables.transitions, written)
    changes = changes_of(written, row or {})
    alarm = {**(row or {}), **changes, "id": written["alarm_id"]}
    if row is None:
        connection.execute(tables.alarms.insert().values(id=alarm["id"], **changes))
    else:
        connection.execute(tables.alarms.update().where(tables.alarms.c.id == row["id"]).values(**changes))
    about = _about(step, before, after)
    if about == "over" or (after in QUIET and before in LIVE):
        Outbox(site).over(connection, alarm, number, now_ms)
    elif about:
        other = Outbox(site).raised(connection, alarm, about, number, moments, _is_worse(step))
        if other is not None:
            note = f"goes with alarm {other['id']}, which was answered"
            take(
                connection,
                site,
                Step(alarm, Event.ANSWERED, person=other["acknowledged_by"], note=note),
                moments,
            )
    return int(alarm["id"])


def _about(step: Step, before: State, after: State) -> str:
    """What a step tells people: nothing, or what its message is about."""
    worse = _is_worse(step)
    if after is State.UNACKNOWLEDGED:
        if step.event in _COMES_BACK:
            return "raised"
        if step.event is Event.REALARM:
            return "worse" if worse else "again"
    if after in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED) and step.event is Event.CHANGED and worse:
        return "worse"
    ended = after in (State.NORMAL, State.RETURNED, State.LATCHED)
    return "over" if ended and step.event in _ENDS and before is not State.NORMAL else ""


def _is_worse(step: Step) -> bool:
    more_pressing = step.row and step.finding and step.finding.priority > step.row["priority"]
    return bool(more_pressing or step.further_out)


def _latches(site: Site, finding: Finding | None) -> bool:
    style = site.style_by_id.get(finding.style) if finding else None
    return bool(style and finding and finding.rule in style.latching_rules)


def _next_id(connection: Connection) -> int:
    newest = sa.select(sa.func.coalesce(sa.func.max(tables.alarms.c.id), 0))
    return int(connection.execute(newest).scalar_one()) + 1


def standing_rows(connection: Connection) -> list[dict[str, Any]]:
    """The rows of all alarms that have not ended."""
    query = sa.select(tables.alarms).where(tables.alarms.c.ended_ms.is_(None)).order_by(tables.alarms.c.id)
    return [dict(row) for row in connection.execute(query).mappings()]


def by_key(findings: Iterable[Finding]) -> dict[str, Finding]:
    """Findings by key; the most pressing of several with one key."""
    held: dict[str, Finding] = {}
    for finding in findings:
        if finding.key not in held or finding.priority > held[finding.key].priority:
            held[finding.key] = finding
    return held
