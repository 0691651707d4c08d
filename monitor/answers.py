"""The questions a person asks (is each room all right? what stands? what has this wheel been through?), answered.

The documents are described in ``monitor/docs/json.md``; the command line prints them and the dashboard draws them.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from weakref import WeakKeyDictionary

import pandas as pd

from monitor import alarms as alarming
from monitor.alarms import Alarms, open_alarms
from monitor.clock import DAY_MS, now, now_ms, rfc3339, to_ms
from monitor.health import BEAT, BEAT_LATE_AFTER_S, health_document, sensor_heard
from monitor.records import CONTACTS, GOOD_FLAGS, AirRecord, Contents
from monitor.review import review_wheel
from monitor.review.next_to_grade import next_to_grade_document as make_next_to_grade
from monitor.review.what_if import what_if
from monitor.rules.finding import Finding, Priority
from monitor.rules.paces import paces
from monitor.site import Room, Sensor, Site, is_contact_only
from monitor.store import open_store
from monitor.store.protocol import SeriesSummary, Store
from monitor.wheels import Ledger, open_ledger

VERSION = 1
CAUTIONS = (
    "This tool informs; local food-safety rules and licensed practice decide.",
    "Carbon dioxide and ammonia can gather in closed rooms: air before going in, and follow local limits.",
)


@dataclass(frozen=True)
class Parts:
    """The opened parts of a site that answers are read from."""

    store: Store
    ledger: Ledger
    alarms: Alarms


_trails: WeakKeyDictionary[Store, dict[str, tuple[tuple[int, int], list[dict[str, Any]]]]] = (
    WeakKeyDictionary()
)
_opened: dict[tuple[Path, str, Path], Parts] = {}
_lock = threading.Lock()


def parts(site: Site) -> Parts:
    """The site's store, ledger and alarms, opened once a process."""
    key = (site.path.resolve(), site.store.kind, site.data_folder)
    with _lock:
        if key not in _opened:
            _opened[key] = Parts(open_store(site), open_ledger(site), open_alarms(site))
        return _opened[key]


def monitor_document(site: Site) -> dict[str, Any]:
    """The ``health`` document: how the monitor itself is doing."""
    return health_document(site, parts(site).store)


def alarms_document(site: Site) -> dict[str, Any]:
    """The ``alarms`` document: what stands, and what stood lately."""
    return alarming.alarms_document(site, parts(site).alarms, now_ms())


def alarm_history_document(site: Site, alarm: int) -> dict[str, Any]:
    """The ``alarm-history`` document: one alarm and all that happened to it.

    Raises
    ------
    AlarmError
        There is no such alarm.
    """
    return alarming.alarm_history_document(site, parts(site).alarms, alarm)


def alarm_statistics_document(site: Site, days: float = 30.0) -> dict[str, Any]:
    """The ``alarm-statistics`` document: how well the alarms did over the last days."""
    return alarming.statistics_document(site, parts(site).alarms, now_ms(), days)


def planned_work_document(site: Site, days_ahead: int = 14) -> dict[str, Any]:
    """The ``planned-work`` document: work under way and of the coming days."""
    return alarming.planned_work_document(site, parts(site).alarms, now_ms(), days_ahead)


def review_document(site: Site, wheel: str) -> dict[str, Any]:
    """The ``review`` document of one wheel.

    Raises
    ------
    UnknownWheel
        No wheel of that name is in the ledger.
    """
    opened = parts(site)
    return review_wheel(site, opened.store, opened.ledger, wheel)


def what_if_document(
    site: Site, wheel: str, days: int, held: tuple[float, float] | None = None
) -> dict[str, Any]:
    """The ``what-if`` document of one wheel: how it would go on, ``held`` [degC, %] supposed besides.

    Raises
    ------
    LedgerError
        There is no such wheel, or the span or the climate is out of range.
    """
    opened = parts(site)
    return what_if(site, opened.store, opened.ledger, [wheel], days=days, held=held)


def next_to_grade_document(site: Site) -> dict[str, Any]:
    """The ``next-to-grade`` document: which wheels deserve attention now, and why, their air among the reasons."""
    from monitor.link.kept import studied
    from monitor.link.life import lives_of
    from monitor.review.next_to_grade_air import reasons_of

    opened, moment = parts(site), now()
    made = studied(site, opened.store, opened.ledger, moment, as_it_stands=False)
    further = reasons_of(lives_of(opened.ledger, moment), made.exposures, made.link, moment)
    return make_next_to_grade(site, opened.ledger, moment, further=further)


def link_document(site: Site) -> dict[str, Any]:
    """The ``evidence`` document: what the dairy's own wheels say of air and rind.

    The statistics libraries are loaded on the first call.
    """
    from monitor.link.document import evidence_document
    from monitor.link.kept import studied

    opened = parts(site)
    return evidence_document(site, studied(site, opened.store, opened.ledger, now()))


def rooms_document(site: Site, at_ms: int | None = None) -> dict[str, Any]:
    """The ``rooms`` document: every room now, with what stands there and what could not be read."""
    opened, moment = parts(site), now_ms() if at_ms is None else at_ms
    present = _Now(site, opened, moment)
    return {
        "version": VERSION,
        "at": rfc3339(moment),
        "site": {
            "name": site.site.name,
            "time_zone": site.site.time_zone,
            "display_unit": site.site.display_unit,
        },
        "monitor": _monitor(opened.store, moment),
        "rooms": [present.room(room) for room in site.rooms],
        "rejects": _rejects(opened.store),
        "cautions": list(CAUTIONS),
    }


def _monitor(store: Store, at_ms: int) -> dict[str, Any]:
    beat = store.document(BEAT) or {}
    age_s = (at_ms - beat["at_ms"]) / 1000 if "at_ms" in beat else None
    return {
        "running": age_s is not None and age_s < BEAT_LATE_AFTER_S,
        "last_beat_at": rfc3339(beat.get("at_ms")),
        "age_s": age_s,
        "parts": beat.get("parts", {}),
    }


def _rejects(store: Store, shown: int = 20) -> dict[str, Any]:
    by_reason = store.reject_counts()
    newest = [
        {
            "at": rfc3339(r.time_ms),
            "topic": r.topic[:200],
            "reason": r.reason,
            "payload": r.payload[:120].decode("utf-8", "replace"),
        }
        for r in store.rejects(shown)
    ]
    return {"total": sum(by_reason.values()), "by_reason": by_reason, "newest": newest}


class _Now:
    """What is known of a site at one moment, read once and shared by all its rooms."""

    def __init__(self, site: Site, opened: Parts, at_ms: int) -> None:
        self._site, self._store, self._at_ms = site, opened.store, at_ms
        self._air = {(r.room, r.place): r for r in opened.store.latest_air()}
        self._contents = opened.ledger.contents()
        self._series: dict[str, list[SeriesSummary]] = {}
        for summary in opened.store.series():
            self._series.setdefault(summary.sensor, []).append(summary)
        self._findings = [Finding(**f) for f in opened.store.document("findings") or []]

    def room(self, room: Room) -> dict[str, Any]:
        """The part of the document about one room."""
        record = self._air.get((room.id, ""))
        contents = [c for c in self._contents if c.room == room.id]
        findings = sorted(
            (f for f in self._findings if f.room == room.id), key=lambda f: (-f.priority, f.since_ms)
        )
        placed = [s for s in self._site.sensors if s.room == room.id]
        sensors = [self._sensor(room, s) for s in placed]
        # A contact at the door says nothing of the air: who hears from it alone does not know the room.
        of_air = [heard for heard, s in zip(sensors, placed, strict=True) if not is_contact_only(s)]
        stale = all(s["silent"] for s in of_air)
        wheels = sum(len(c.wheels) for c in contents)
        state = state_of(findings, stale, wheels)
        seen = [s["last_seen_at"] for s in of_air if s["last_seen_at"]]
        ages = [s["age_s"] for s in of_air if s["age_s"] is not None]
        return {
            "id": room.id,
            "name": room.name,
            "kind": room.kind,
            "state": state,
            "sentence": sentence_of(state, findings, wheels),
            "check_first": findings[0].check_first if findings else None,
            **_air_values(record),
            "reading_at": max(seen, default=None),
            "reading_age_s": min(ages, default=None),
            "stale": stale,
            **self._paces(room, record, contents),
            "wheels": wheels,
            "bands": self._bands(contents),
            "trail": self._trail(room),
            "places": [self._place(room, place.id, place.name or place.id) for place in room.places],
            "sensors": sensors,
            "contacts": [self._contact(s, q) for s in placed for q in s.quantities if q in CONTACTS],
            "findings": [finding_document(f) for f in findings],
        }

    def _paces(self, room: Room, record: AirRecord | None, contents: list[Contents]) -> dict[str, Any]:
        found = paces(self._site, room, record, contents) if record and contents else {}
        return {f"{name}_pace": ranged(found.get(name)) for name in ("drying", "mould")}

    def _bands(self, contents: list[Contents]) -> list[dict[str, Any]]:
        counts: dict[tuple[str, str], int] = {}
        for c in contents:
            counts[c.style, c.stage] = counts.get((c.style, c.stage), 0) + len(c.wheels)
        bands = []
        for (style_id, stage_name), count in sorted(counts.items()):
            style = self._site.style_by_id.get(style_id)
            stage = next((s for s in style.stages if s.name == stage_name), None) if style else None
            if style and stage:
                bands.append(
                    {
                        "style": style_id,
                        "style_name": style.name,
                        "stage": stage_name,
                        "wheels": count,
                        "temperature_c": list(stage.temperature_c),
                        "rh_pct": list(stage.rh_pct),
                    }
                )
        return bands

    def _trail(self, room: Room) -> list[dict[str, Any]]:
        """The last 24 hours, read anew with each new record and otherwise once a minute: pages ask far oftener."""
        newest = self._air.get((room.id, ""))
        stamp = (newest.start_ms if newest else 0, self._at_ms // 60_000)
        kept = _trails.setdefault(self._store, {})
        if room.id not in kept or kept[room.id][0] != stamp:
            kept[room.id] = (stamp, self._read_trail(room))
        return kept[room.id][1]

    def _read_trail(self, room: Room) -> list[dict[str, Any]]:
        frame = self._store.read_air(room.id, "", self._at_ms - DAY_MS, self._at_ms + 1)
        frame = frame.dropna(subset=["temperature_c", "rh_pct"])
        times = pd.DatetimeIndex(frame.index).as_unit("ms").asi8
        return [
            {"at": rfc3339(int(t)), "temperature_c": round(float(a), 3), "rh_pct": round(float(b), 3)}
            for t, a, b in zip(times, frame["temperature_c"], frame["rh_pct"], strict=True)
        ]

    def _place(self, room: Room, place: str, name: str) -> dict[str, Any]:
        record = self._air.get((room.id, place))
        return {
            "id": place,
            "name": name,
            "temperature_c": record.temperature_c if record else None,
            "rh_pct": record.rh_pct if record else None,
            "coverage": record.coverage if record else None,
            "reading_at": rfc3339(record.start_ms) if record else None,
        }

    def _sensor(self, room: Room, sensor: Sensor) -> dict[str, Any]:
        heard = sensor_heard(self._site, sensor, self._series.get(sensor.id, []), self._at_ms)
        return {"id": sensor.id, "place": sensor.place, **heard}

    def _contact(self, sensor: Sensor, quantity: str) -> dict[str, Any]:
        """A contact's state, and since when where it is on."""
        held = next((s for s in self._series.get(sensor.id, []) if s.quantity == quantity), None)
        known = held if held is not None and held.last_flag in GOOD_FLAGS else None
        on = None if known is None or known.last_value is None else known.last_value == 1.0
        run = self._store.run_before(sensor.id, quantity, known.last_ms + 1, DAY_MS) if known and on else None
        since_ms = run.since_ms if run else known.last_ms if known and on else None
        return {"sensor": sensor.id, "quantity": quantity, "on": on, "since_at": rfc3339(since_ms)}


def state_of(findings: list[Finding], stale: bool, wheels: int) -> str:
    """A room's state in one word (see ``json.md``)."""
    if stale:
        return "no-reading"
    if any(f.priority >= Priority.HIGH for f in findings):
        return "now"
    if findings:
        return "needs-you"
    return "as-intended" if wheels else "no-wheels"


def sentence_of(state: str, findings: list[Finding], wheels: int) -> str:
    """A room in one sentence: what is happening to which wheels."""
    if findings:
        first = findings[0]
        text = (
            f"{first.what.rstrip('.')}. {first.effect.rstrip('.')}."
            if first.effect
            else f"{first.what.rstrip('.')}."
        )
        return text + (f" {len(findings) - 1} more to see." if len(findings) > 1 else "")
    counted = f"{wheels} wheel{'' if wheels == 1 else 's'}"
    return {
        "no-reading": f"No fresh reading; what {counted} feel is not known.",
        "no-wheels": "No wheels here; nothing to judge the air by.",
    }.get(state, f"As intended for {counted}.")


def finding_document(finding: Finding) -> dict[str, Any]:
    """A finding as it stands in the documents."""
    return {
        "rule": finding.rule,
        "what": finding.what,
        "since_at": rfc3339(finding.since_ms),
        "effect": finding.effect,
        "check_first": finding.check_first,
        "priority": Priority(finding.priority).name.lower(),
        "place": finding.place,
        "sensor": finding.sensor,
        "wheels": list(finding.wheels),
        "numbers": finding.numbers,
    }


def ranged(value: tuple[float, float, float] | None) -> dict[str, float] | None:
    """(value, low, high) as the documents write a value with its doubt."""
    if value is None:
        return None
    return {"value": round(value[0], 4), "low": round(value[1], 4), "high": round(value[2], 4)}


def _air_values(record: AirRecord | None) -> dict[str, float | None]:
    names = (
        "temperature_c",
        "temperature_sigma_k",
        "rh_pct",
        "rh_sigma_pct",
        "dew_point_c",
        "vapour_pressure_deficit_pa",
    )
    return {name: getattr(record, name) if record else None for name in names}


def wheels_document(site: Site) -> dict[str, Any]:
    """The ``wheels`` document: every wheel still here, where it is, and its age."""
    ledger, moment = parts(site).ledger, now_ms()
    rows = [
        {
            "name": wheel.name,
            "make": wheel.make,
            "style": wheel.style,
            "room": wheel.room,
            "place": wheel.place,
            "shelf": wheel.shelf,
            "made_at": rfc3339(wheel.made_at),
            "age_days": (moment - to_ms(wheel.made_at)) // DAY_MS,
        }
        for wheel in ledger.wheels()
    ]
    return {"version": VERSION, "at": rfc3339(moment), "wheels": rows}
