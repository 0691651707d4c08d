"""History through the same rules and alarms as live: what would have alarmed, and what with other settings."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import numpy as np
import pandas as pd
import sqlalchemy as sa

from monitor.alarms import journal as tables
from monitor.alarms.alarms import Alarms
from monitor.alarms.journal import Journal
from monitor.alarms.lifecycle import State
from monitor.alarms.outbox import MINUTE_MS
from monitor.alarms.sender import Sender
from monitor.alarms.statistics import statistics_document
from monitor.climate.air_records import to_records
from monitor.clock import DAY_MS, TEN_MINUTES_MS, from_ms, rfc3339
from monitor.records import CONTACTS, AirRecord, Contents, Reading
from monitor.rules.engine import Engine
from monitor.rules.finding import Priority
from monitor.rules.moment import Moment
from monitor.site import Site
from monitor.store.protocol import Store
from monitor.wheels import Ledger

VERSION = 1
WARM_UP_MS = 8 * DAY_MS
"""Some rules know only after a week what is usual at a place."""
CONTENTS_EVERY_MS = 6 * 3_600_000
MONTH_MS = 30 * DAY_MS
NOWHERE = "json://replay.invalid"
Progress = Callable[[range], Iterable[int]]


def replayed(
    site: Site,
    store: Store,
    ledger: Ledger,
    from_ms_: int,
    until_ms: int,
    acknowledge_after_min: float = 15.0,
    progress: Progress = iter,
) -> dict[str, Any]:
    """What would have alarmed in a span [ms], with a site's settings, and how well the alarms would have done.

    The rules see the air records as they stand now, ten minutes at a time, beginning eight days early so that
    their delays run and they know what is usual; the journal is kept in memory, and nothing is sent.  Somebody acknowledges every alarm so many
    minutes after it was raised.  Rules that ask the wheels' twins, single readings other than a
    contact's, or the monitor's own parts see none.

    Returns
    -------
    dict : ``raised``, a list of what was raised, when, and for how long, and ``statistics``
    """
    history = _History(site, store, from_ms_ - WARM_UP_MS, until_ms)
    engine, alarms = Engine(site), Alarms(Journal("sqlite://"), site)
    clock = [from_ms_]
    sender = Sender(site, alarms, lambda *_: "", lambda: clock[0], addresses=lambda _: NOWHERE)
    contents: tuple[Contents, ...] = ()
    contents_due = 0
    for slot in progress(range(from_ms_ - WARM_UP_MS, until_ms, TEN_MINUTES_MS)):
        now = clock[0] = slot + TEN_MINUTES_MS
        if now >= contents_due:
            contents, contents_due = tuple(ledger.contents(from_ms(now))), now + CONTENTS_EVERY_MS
        readings = history.states(slot)
        moment = Moment(now, site, history.air(slot), contents, history.last_seen(now), readings=readings)
        findings = engine.update(moment)
        if slot >= from_ms_:
            alarms.update(findings, now)
            _acknowledge(alarms, now, acknowledge_after_min)
            for route in site.routes:
                sender.send_waiting(route.name)
    days = max((until_ms - from_ms_) / DAY_MS, 0.01)
    result = {
        "raised": _raised(site, alarms, until_ms),
        "statistics": statistics_document(site, alarms, until_ms, days),
    }
    alarms.close()
    return result


def side_by_side(site: Site, as_is: dict[str, Any], changed: dict[str, Any] | None) -> dict[str, Any]:
    """The ``try-alarms`` document: both replays, and their raises matched by condition and time."""
    rows = [{"key": r["key"], "as_is": r, "changed": None} for r in as_is["raised"]]
    for other in changed["raised"] if changed else ():
        match = next((r for r in rows if r["changed"] is None and _same(r["as_is"], other)), None)
        if match is not None:
            match["changed"] = other
        else:
            rows.append({"key": other["key"], "as_is": None, "changed": other})
    rows.sort(key=lambda r: str((r["as_is"] or r["changed"])["raised_at"]))
    return {
        "version": VERSION,
        "site": site.site.name,
        "as_is": as_is["statistics"],
        "changed": changed["statistics"] if changed else None,
        "rows": rows,
    }


def _same(one: dict[str, Any] | None, other: dict[str, Any]) -> bool:
    if one is None or one["key"] != other["key"]:
        return False
    ends = [str(r["over_at"] or "9") for r in (one, other)]
    return str(one["raised_at"]) <= ends[1] and str(other["raised_at"]) <= ends[0]


class _History:
    """Air records and contacts' states by slot, and when each sensor was heard, out of a store."""

    def __init__(self, site: Site, store: Store, from_ms_: int, until_ms: int) -> None:
        self._air: dict[int, list[AirRecord]] = defaultdict(list)
        places = {(s.room, s.place) for s in site.sensors} | {(s.room, "") for s in site.sensors}
        for room, place in sorted(places):
            frame = store.read_air(room, place, from_ms_, until_ms)
            frame = frame.set_axis(pd.DatetimeIndex(frame.index).as_unit("ms").asi8)
            for record in to_records(room, place, frame):
                self._air[record.start_ms].append(record)
        self._states: dict[int, list[Reading]] = defaultdict(list)
        for sensor, quantity in ((s, q) for s in site.sensors for q in s.quantities if q in CONTACTS):
            frame = store.read(sensor.id, quantity, from_ms_, until_ms)
            times = pd.DatetimeIndex(frame.index).as_unit("ms").asi8.tolist()
            for at, value, flag in zip(times, frame["value"], frame["flag"], strict=True):
                known = Reading(sensor.id, quantity, at, None if pd.isna(value) else float(value), int(flag))
                self._states[at - at % TEN_MINUTES_MS].append(known)
        self._heard = {s.id: _times(store, s.id, s.quantities[0], from_ms_, until_ms) for s in site.sensors}

    def air(self, slot_ms: int) -> tuple[AirRecord, ...]:
        return tuple(self._air.get(slot_ms, ()))

    def states(self, slot_ms: int) -> tuple[Reading, ...]:
        """What contacts said in a slot."""
        return tuple(self._states.get(slot_ms, ()))

    def last_seen(self, now_ms: int) -> dict[str, int]:
        seen = {}
        for sensor, times in self._heard.items():
            index = int(np.searchsorted(times, now_ms, side="right"))
            if index:
                seen[sensor] = int(times[index - 1])
        return seen


def _times(store: Store, sensor: str, quantity: str, from_ms_: int, until_ms: int) -> np.ndarray:
    parts = [
        pd.DatetimeIndex(store.read(sensor, quantity, at, min(at + MONTH_MS, until_ms)).index)
        .as_unit("ms")
        .asi8
        for at in range(from_ms_, until_ms, MONTH_MS)
    ]
    return np.concatenate(parts) if parts else np.array([], dtype=np.int64)


def _acknowledge(alarms: Alarms, now_ms: int, after_min: float) -> None:
    for alarm in alarms.standing():
        waits = alarm.state in (State.UNACKNOWLEDGED, State.RETURNED)
        if waits and now_ms - alarm.changed_ms >= after_min * MINUTE_MS:
            alarms.acknowledge(alarm.id, "replay", now_ms=now_ms)


def _raised(site: Site, alarms: Alarms, until_ms: int) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    open_rows: dict[int, dict[str, Any]] = {}
    for step in _steps(alarms):
        if step["state"] == State.UNACKNOWLEDGED and step["event"] in ("raise", "release"):
            room = site.room_by_id.get(step["now"]["room"])
            open_rows[step["alarm_id"]] = {
                "key": step["key"],
                "rule": step["now"]["rule"],
                "room": step["now"]["room"],
                "room_name": room.name if room else step["now"]["room"],
                "priority": Priority(step["priority"]).name.lower(),
                "what": (step["finding"] or step["now"])["what"],
                "effect": (step["finding"] or step["now"])["effect"],
                "raised_at": rfc3339(step["time_ms"]),
                "over_at": None,
                "lasted_min": round((until_ms - step["time_ms"]) / MINUTE_MS, 1),
                "_from": step["time_ms"],
            }
            rows.append(open_rows[step["alarm_id"]])
        elif step["event"] == "return" and (row := open_rows.pop(step["alarm_id"], None)):
            row["over_at"] = rfc3339(step["time_ms"])
            row["lasted_min"] = round((step["time_ms"] - row["_from"]) / MINUTE_MS, 1)
    for row in rows:
        del row["_from"]
    return rows


def _steps(alarms: Alarms) -> Iterator[dict[str, Any]]:
    step, alarm = tables.transitions.c, tables.alarms.c
    query = sa.select(tables.transitions, alarm.key, alarm.priority, alarm.finding.label("now")).join(
        tables.alarms, alarm.id == step.alarm_id
    )
    with alarms.journal.reading() as connection:
        yield from [dict(row) for row in connection.execute(query.order_by(step.id)).mappings()]
