"""How the monitor itself is doing: each of its parts, since when, and why."""

from __future__ import annotations

import contextlib
import logging
import os
import shutil
import time
from collections import deque
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from monitor.clock import now_ms, rfc3339
from monitor.errors import StoreError
from monitor.intake.measurement import AHEAD_REASON, MOST_AHEAD_MS
from monitor.records import Flag, Reading, Reject
from monitor.rules.finding import Finding
from monitor.site import Sensor, Site, rule_settings
from monitor.site.calibration_dates import first_due_at
from monitor.store.protocol import SeriesSummary, Store

logger = logging.getLogger("monitor.health")
BEAT, BEAT_OF_INTAKE = "beat", "beat of intake"
"""Documents that the running monitor renews; the second by processes that do nothing but take readings in."""
BEAT_LATE_AFTER_S = 15.0
RATE_OVER_S = 60.0
CLOCK_JUMP_S = 60.0
CLOCK_TROUBLE_S = 600.0
CLOCK_AHEAD_S, CLOCK_BEHIND_S, LEAST_CLOCKS = 60.0, 900.0, 3
"""So far must so many sensors all be off for this machine's clock to be in doubt; common practice, no source.  Being late has
other causes (a slow network), being ahead has none."""
MEGABYTE = 1_000_000
RESERVE_BYTES = 4 * MEGABYTE


class PartsHealth:
    """The monitor's own parts as the rules see them: whether each does its work, and since when.

    Parts are ``broker``, ``store``, ``spool`` (where there is one), ``disk``, ``clock``, ``channel`` and ``judge``.
    """

    def __init__(self, site: Site) -> None:
        self._site = site
        self._states: dict[str, dict[str, Any]] = {}
        self._rate = Rate()
        self._clock = ClockWatch()

    def update(self, parts: dict[str, Any]) -> dict[str, dict[str, Any]]:
        """The parts by name, each ``{"ok", "since_ms", "detail"}``; ``parts`` is what each says of itself."""
        intake = parts.get("intake")
        if intake is not None:
            intake["messages_per_s"] = self._rate.update(intake["messages"])
            trouble = intake["error"] or "no connection to the broker"
            self._note("broker", bool(intake["connected"]), "connected" if intake["connected"] else trouble)
            self._note("store", not intake["store_error"], intake["store_error"] or "writing")
        spool = parts.get("spool")
        if spool is not None:
            detail = spool["trouble"] or f"{spool['waiting']} wait to be carried"
            self._note("spool", not spool["trouble"], detail)
        channel = parts.get("channel")
        if channel is not None:
            self._note("channel", not channel["trouble"], channel["trouble"] or "sending")
        judge = parts.get("judge")
        if judge is not None:
            self._note("judge", not judge["trouble"], judge["trouble"] or "judging")
        disk = parts["disk"] = disk_state(self._site)
        self._note(
            "disk", disk["enough"], f"{disk['free_bytes'] / 1e6:,.0f} MB left in {self._site.data_folder}"
        )
        jumped = self._clock.update() or parts.get("sensor_times", {}).get("trouble", "")
        self._note("clock", not jumped, jumped or "steady")
        return self._states

    def _note(self, name: str, ok: bool, detail: str) -> None:
        known = self._states.get(name)
        if known is None or known["ok"] != ok:
            self._states[name] = {"ok": ok, "since_ms": now_ms(), "detail": detail}
            logger.log(logging.INFO if ok else logging.WARNING, "%s: %s", name, detail)
        else:
            known["detail"] = detail


class Rate:
    """How fast a counter grows, over about the last minute [1/s]; None until two looks are apart."""

    def __init__(self, over_s: float = RATE_OVER_S) -> None:
        self._over_s = over_s
        self._seen: deque[tuple[float, int]] = deque()

    def update(self, count: int, at_s: float | None = None) -> float | None:
        """Take in the counter as it stands now."""
        now_s = time.monotonic() if at_s is None else at_s
        if not self._seen or now_s - self._seen[-1][0] >= 1.0:
            self._seen.append((now_s, count))
        while len(self._seen) > 2 and now_s - self._seen[1][0] > self._over_s:
            self._seen.popleft()
        first_s, first = self._seen[0]
        return (count - first) / (now_s - first_s) if now_s - first_s >= 1.0 else None


class ClockWatch:
    """Notices when this machine's clock is set, by comparing it with a clock that only ever runs on."""

    def __init__(self) -> None:
        self._offset_s: float | None = None
        self._said, self._until_s = "", 0.0

    def update(self, wall_s: float | None = None, steady_s: float | None = None) -> str:
        """What is wrong with the clock, for ten minutes after it was set; empty where nothing is."""
        wall = time.time() if wall_s is None else wall_s
        steady = time.monotonic() if steady_s is None else steady_s
        offset = wall - steady
        moved = 0.0 if self._offset_s is None else offset - self._offset_s
        self._offset_s = offset
        if abs(moved) >= CLOCK_JUMP_S:
            way = "forward" if moved > 0 else "back"
            self._said = (
                f"this machine's clock was set {way} by {abs(moved):,.0f} s; times near here are in doubt"
            )
            self._until_s = steady + CLOCK_TROUBLE_S
        return self._said if steady < self._until_s else ""


class TimesWatch:
    """Compares this machine's clock with the times that sensors state: one may be wrong, all of them hardly.

    Only the newest reading of each sensor counts, and the nearest to now of the last while: what was held back for a
    while comes in a burst that reaches to now.
    """

    def __init__(self) -> None:
        self._nearest: dict[str, deque[tuple[float, int]]] = {}
        self._refused_ms: int | None = None

    def refused(self, rejects: Iterable[Reject], steady_s: float | None = None) -> None:
        """Take in the newest refused messages; those that state a time too far ahead are ahead by so much at least."""
        steady = time.monotonic() if steady_s is None else steady_s
        newest_ms = self._refused_ms or 0
        for reject in rejects:
            newest_ms = max(newest_ms, reject.time_ms)
            if (
                self._refused_ms is not None
                and reject.time_ms > self._refused_ms
                and reject.reason == AHEAD_REASON
            ):
                seen = self._nearest.setdefault(reject.sensor or reject.topic, deque(maxlen=50))
                seen.append((steady, MOST_AHEAD_MS))
        self._refused_ms = newest_ms

    def update(self, readings: Iterable[Reading], now_ms: int, steady_s: float | None = None) -> str:
        """What is wrong with the clock, as long as it is; ``readings`` are those that arrived since the last look."""
        steady = time.monotonic() if steady_s is None else steady_s
        for reading in readings:
            self._nearest.setdefault(reading.sensor, deque(maxlen=50)).append(
                (steady, reading.time_ms - now_ms)
            )
        for sensor, seen in list(self._nearest.items()):
            while seen and steady - seen[0][0] > CLOCK_TROUBLE_S:
                seen.popleft()
            if not seen:
                del self._nearest[sensor]
        off = [max(ms for _, ms in seen) / 1000 for seen in self._nearest.values()]
        if len(off) < LEAST_CLOCKS:
            return ""
        if min(off) > CLOCK_AHEAD_S:
            return f"all {len(off)} sensors heard from state times ahead of this machine's, by {min(off):,.0f} s or more"
        if max(off) < -CLOCK_BEHIND_S:
            return f"all {len(off)} sensors heard from state times behind this machine's, by {-max(off):,.0f} s or more"
        return ""


def disk_state(site: Site) -> dict[str, Any]:
    """What is left of the disk that holds the readings, and whether it is enough."""
    folder = site.data_folder
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    usage = shutil.disk_usage(folder)
    enough = usage.free >= site.store.least_free_mb * MEGABYTE
    return {"free_bytes": usage.free, "total_bytes": usage.total, "enough": enough}


class Reserve:
    """Some room on the disk that is given up when it is full, so that the alarm about that can still be kept."""

    def __init__(self, folder: Path, size: int = RESERVE_BYTES) -> None:
        self._path, self._size = folder / "reserve", size

    def keep(self) -> None:
        """Hold the room, where there is plenty besides."""
        if self._path.exists() or shutil.disk_usage(self._path.parent).free < 4 * self._size:
            return
        try:
            with self._path.open("wb") as file:
                os.posix_fallocate(file.fileno(), 0, self._size)
        except OSError:
            self.give_up()

    def give_up(self) -> None:
        """Let go of the room."""
        with contextlib.suppress(OSError):
            self._path.unlink(missing_ok=True)


def health_document(site: Site, store: Store, at_ms: int | None = None) -> dict[str, Any]:
    """The ``health`` document: how the monitor, its parts and every sensor's line are doing (see ``json.md``)."""
    moment = now_ms() if at_ms is None else at_ms
    beat, intake = store.document(BEAT) or {}, store.document(BEAT_OF_INTAKE) or {}
    age_s = (moment - beat["at_ms"]) / 1000 if "at_ms" in beat else None
    running = age_s is not None and age_s < BEAT_LATE_AFTER_S
    told = {**(intake.get("parts") or {}), **(beat.get("parts") or {})}
    states = {
        name: {"ok": state["ok"], "since_at": rfc3339(state["since_ms"]), "detail": state["detail"]}
        for name, state in {**(intake.get("states") or {}), **(beat.get("states") or {})}.items()
    }
    by_reason = store.reject_counts()
    return {
        "version": 1,
        "at": rfc3339(moment),
        "well": running and all(state["ok"] for state in states.values()),
        "running": running,
        "last_beat_at": rfc3339(beat.get("at_ms")),
        "parts": states,
        "intake": told.get("intake"),
        "spool": told.get("spool"),
        "disk": disk_state(site),
        "sensors": sensors_told(site, store, moment),
        "rejects": {"total": sum(by_reason.values()), "by_reason": by_reason},
    }


def sensors_told(site: Site, store: Store, at_ms: int) -> list[dict[str, Any]]:
    """Each sensor: when it was last heard from, what is wrong with it, how far it may have crept, when it is due."""
    held: dict[str, list[SeriesSummary]] = {}
    for summary in store.series():
        held.setdefault(summary.sensor, []).append(summary)
    findings = [Finding(**f) for f in store.document("findings") or []]
    creep = {(r.room, r.place): r.rh_creep_pct for r in store.latest_air()}
    return [
        {
            "id": sensor.id,
            "room": sensor.room,
            **sensor_heard(site, sensor, held.get(sensor.id, []), at_ms),
            "troubles": [
                {"what": f.what, "check_first": f.check_first, "since_at": rfc3339(f.since_ms)}
                for f in findings
                if f.sensor == sensor.id
            ],
            "creep_pct": creep.get((sensor.room, sensor.place)) if "humidity" in sensor.quantities else None,
            "calibration_due_at": rfc3339(first_due_at(sensor)),
        }
        for sensor in site.sensors
    ]


def sensor_heard(site: Site, sensor: Sensor, series: list[SeriesSummary], at_ms: int) -> dict[str, Any]:
    """When a sensor was last heard from, whether it is silent, its worst flag, and its battery."""
    held = [s for s in series if s.count]
    last_ms = max((s.last_ms for s in held), default=None)
    age_s = None if last_ms is None else max(0.0, (at_ms - last_ms) / 1000)
    worst = max(held, key=lambda s: (s.last_flag == Flag.FAIL, s.last_flag == Flag.SUSPECT), default=None)
    silence = rule_settings(site, site.room_by_id[sensor.room], "silence")
    return {
        "last_seen_at": rfc3339(last_ms),
        "age_s": age_s,
        "silent": age_s is None or age_s > silence.longest_s(sensor.interval_s),
        "flag": worst.last_flag if worst else int(Flag.MISSING),
        "reason": worst.last_reason if worst else "nothing heard from it yet",
        "battery_pct": next((s.last_value for s in held if s.quantity == "battery"), None),
    }


def health_of(site: Site) -> dict[str, Any]:
    """The ``health`` document of a site whose store this opens for the purpose.

    A store that cannot be opened is itself what is told.
    """
    from monitor.store import open_store

    try:
        store = open_store(site)
    except StoreError as error:
        state = {"ok": False, "since_at": None, "detail": str(error)}
        return {"version": 1, "at": rfc3339(now_ms()), "well": False, "running": False, "last_beat_at": None,
                "parts": {"store": state}, "intake": None, "spool": None, "disk": disk_state(site), "sensors": [],
                "rejects": {"total": 0, "by_reason": {}}}  # fmt: skip
    try:
        return health_document(site, store)
    finally:
        store.close()
