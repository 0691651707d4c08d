"""The service: takes in readings, keeps the air records, asks the rules, raises the alarms."""

from __future__ import annotations

import contextlib
import json
import logging
import os
import threading
import time
from collections.abc import Iterable
from dataclasses import asdict, replace
from typing import Any

from monitor.alarms import open_alarms
from monitor.alarms.sender import Sender
from monitor.alarms.unwatched import Unwatched
from monitor.climate.air_records import AirKeeper
from monitor.climate.sensor_watch import SensorState, SensorWatch
from monitor.clock import now_ms, rfc3339, steady_ms
from monitor.errors import AlarmError, LedgerError, MonitorError, StoreAway, StoreDamaged
from monitor.health import BEAT, BEAT_OF_INTAKE, PartsHealth, Reserve, TimesWatch
from monitor.intake.calibration import judging, lines_of, mark_touched
from monitor.intake.router import Router
from monitor.intake.subscriber import Subscriber
from monitor.records import CONTACTS, Reading
from monitor.rules.engine import Engine
from monitor.rules.finding import Finding
from monitor.rules.moment import Moment
from monitor.rules.own_parts import part_findings
from monitor.site import Site
from monitor.store import open_store
from monitor.store.carrier import Carrier
from monitor.store.influx import InfluxStore
from monitor.store.protocol import SeriesSummary
from monitor.store.upkeep import upkeep
from monitor.twins import RunningTwins
from monitor.wheels import open_ledger

logger = logging.getLogger("monitor.service")

PARTS = ("intake", "judge", "send")
TICK_S = 0.25
REST_S = 0.05
BEAT_S = 2.0
CHECKPOINT_S = 30.0
CONTENTS_S = 5.0
SENSORS_S = 10.0
LATELY_MS = 6 * 3_600_000
"""How old [ms] an air record may be for the rules, which speak of now; older ones are only kept."""
JUST_NOW_MS = 300_000
"""How old [ms] a single reading may be to speak of now after a start, where its sensor does not send less often."""
CHANGES_A_TICK = 5_000
START_AGAIN_S = 2.0
AIR_S = 0.25
"""How long [s] a tick works on air records before it sees to rules and alarms; the next goes on with the rest."""
SETTLE_MS = 5_000
"""After a start no message leaves for so long [ms]: what a filled-in past raises is often over at once."""


class Judge:
    """From changed readings to findings and alarms, a tick at a time.

    What it knows between ticks (delays that run, findings) is kept in the store, so that a restart goes on
    where it stopped.
    """

    def __init__(self, site: Site) -> None:
        self._site = site
        self._sensors, self._sensors_due = SensorWatch(site), 0.0
        self._sensor_states: dict[str, SensorState] = {}
        self._store, self._ledger, self._alarms = (
            open_store(site),
            open_ledger(site),
            open_alarms(site, steady_ms),
        )
        self._keeper, self._engine = (
            AirKeeper(site, self._store, judging(site, self._sensors.judged)),
            Engine(site),
        )
        self._alarms.settle_until(now_ms() + SETTLE_MS)
        mark_touched(site, self._store)
        if sensors := self._store.document("sensors"):
            self._sensors.restore(sensors)
        if state := self._store.document("rules"):
            self._engine.restore(state)
        self._twins = RunningTwins(site, self._store, self._ledger)
        self._contents = self._ledger.contents()
        self._contents_due = self._checkpoint_due = 0.0
        self._arrived, self._times, self._times_trouble = Arrivals(site), TimesWatch(), ""
        self._last_said: list[Finding] | None = None
        self._kept_keys: set[str] | None = None
        self._findings: list[Finding] | None = None

    def tick(self, parts: dict[str, Any]) -> None:
        """Bring everything up to date with what the store and the ledger hold now."""
        moment_ms, clock = now_ms(), time.monotonic()
        records = self._keeper.update(CHANGES_A_TICK, AIR_S)
        if clock >= self._contents_due:
            self._contents, self._contents_due = self._ledger.contents(), clock + CONTENTS_S
        series = self._store.series()
        last_seen = _last_seen(series)
        if clock >= self._sensors_due:
            self._look_at_sensors(moment_ms)
            self._sensors_due = clock + SENSORS_S
        readings, came_now = self._arrived.update(series, moment_ms)
        self._times_trouble = self._times.update(readings if came_now else (), moment_ms)
        lately = tuple(r for r in records if r.start_ms >= moment_ms - LATELY_MS)
        moment = Moment(
            moment_ms,
            self._site,
            lately,
            tuple(self._contents),
            last_seen,
            parts,
            readings=readings,
            rinds=self._twins.rinds,
            sensors=self._sensor_states,
        )
        findings = self._findings = self._engine.update(moment)
        self._keep_rules(findings, clock)
        self._alarms.update(findings, moment_ms)
        # When a finding was last seen changes with every tick and is no reason to write to the disk again.
        said = [replace(f, seen_ms=0) for f in findings]
        if said != self._last_said:
            self._store.put_document("findings", [asdict(f) for f in findings])
            self._last_said = said
        self._twins.tick(moment_ms)

    def tick_failed(self, parts: dict[str, Any]) -> None:
        """Where the air cannot be judged, raise what the monitor's own parts say; what was found before stands on."""
        moment_ms, found = now_ms(), self._findings
        if found is None:
            found = [alarm.finding for alarm in self._alarms.standing() if alarm.active]
        stands_on = [f for f in found if not f.aspect.startswith(("part-", "route-"))]
        self._alarms.update([*part_findings(parts, moment_ms), *stands_on], moment_ms)

    def told(self) -> dict[str, Any]:
        """What the last tick learned of the monitor's own parts: the routes of messages, and the clock."""
        told = {"sensor_times": {"trouble": self._times_trouble}}
        if self._site.routes:
            told["channel"] = {"trouble": "; ".join(self._alarms.failing_routes)}
        return told

    def _keep_rules(self, findings: list[Finding], clock: float) -> None:
        """Keep the rules' state now and then, and always before alarms follow a finding that is new or over.

        After a crash the rules then know at least what the alarms know, and no alarm ends because its rule forgot.
        """
        keys = {f.key for f in findings}
        if keys != self._kept_keys or clock >= self._checkpoint_due:
            self._store.put_document("rules", self._engine.state())
            self._store.put_document("sensors", self._sensors.state())
            self._kept_keys, self._checkpoint_due = keys, clock + CHECKPOINT_S

    def _look_at_sensors(self, moment_ms: int) -> None:
        batteries = {
            s.sensor: s.last_value for s in self._store.series() if s.quantity == "battery" and s.last_value
        }
        self._sensor_states = self._sensors.states(moment_ms, batteries)
        self._times.refused(self._store.rejects())

    def close(self) -> None:
        """Keep the rules' state and let go of the store, the ledger and the journal."""
        self._store.put_document("rules", self._engine.state())
        self._twins.close()
        for part in (self._alarms, self._ledger, self._store):
            part.close()


class Arrivals:
    """The newest reading of every series since the last look, on the line of its calibration.

    What is older in the same quarter of a second is left to the air records: who asks for single readings (gases, a
    plant that starts too often) asks what is so now.
    """

    def __init__(self, site: Site) -> None:
        self._lines = {
            (sensor.id, quantity): lines
            for sensor in site.sensors
            for quantity in sensor.quantities
            if (lines := lines_of(sensor, quantity))
        }
        self._lasts_ms = {s.id: max(JUST_NOW_MS, round(s.interval_s * 1000)) for s in site.sensors}
        self._seen: dict[tuple[str, str], int] = {}

    def update(self, series: Iterable[SeriesSummary], now_ms: int) -> tuple[tuple[Reading, ...], bool]:
        """The readings that are new, and whether it is known that they came just now.

        At the first look nobody knows when they came; then those of the last minutes are told, since what was kept
        just before the process died was perhaps not judged any more, and the state of every contact, which lasts.
        """
        new, is_first = [], not self._seen
        for held in series:
            key = (held.sensor, held.quantity)
            if held.last_ms > self._seen.get(key, -1):
                self._seen[key] = held.last_ms
                since_ms = now_ms - self._lasts_ms.get(held.sensor, JUST_NOW_MS)
                if not is_first or held.last_ms >= since_ms or held.quantity in CONTACTS:
                    new.append(held)
        return tuple(map(self._reading, new)), not is_first

    def _reading(self, held: SeriesSummary) -> Reading:
        value = held.last_value
        line = next(
            (
                x
                for x in self._lines.get((held.sensor, held.quantity), ())[::-1]
                if x.start_ms <= held.last_ms
            ),
            None,
        )
        value = line(value) if line is not None and value is not None else value
        return Reading(held.sensor, held.quantity, held.last_ms, value, held.last_flag, held.last_reason)


def _complain(error: Exception) -> None:
    if isinstance(error, StoreAway):
        logger.warning("the store is away (%s); trying again", error)
    else:
        logger.error("a tick failed; trying again", exc_info=error)


def _tell_of_failure(judge: Judge, states: dict[str, Any]) -> None:
    try:
        judge.tick_failed(states)
    except Exception:
        logger.exception("the alarms cannot be kept either; trying again")


def _last_seen(series: Iterable[SeriesSummary]) -> dict[str, int]:
    seen: dict[str, int] = {}
    for summary in series:
        seen[summary.sensor] = max(summary.last_ms, seen.get(summary.sensor, 0))
    return seen


def _carrier(store: Any, judges: bool) -> Carrier | None:
    """What carries readings on to a far store, where there is one."""
    return Carrier(store, gathers=judges) if isinstance(store, InfluxStore) else None


class Service:
    """Runs the parts of the monitor until it is told to stop.

    Parameters
    ----------
    site
        The settings.
    parts
        Which of ``intake`` (MQTT to store), ``judge`` (air records, rules, alarms) and ``send`` (messages out).
    worker
        This process's own name where several share the intake (``broker.share_name``), else empty.
    """

    def __init__(self, site: Site, parts: Iterable[str] = PARTS, worker: str = "") -> None:
        self._site, self._wanted, self._worker = site, tuple(parts), worker
        self._stop = threading.Event()
        self._unwatched, self._last_trouble = Unwatched(site, self._wanted), ""

    def stop(self) -> None:
        """Ask `run` to come to an end; from a signal, by way of `monitor.signals.on_stop`."""
        self._stop.set()

    def run(self) -> None:
        """Start the parts, keep them going, and stop them in order.

        A tick that fails is logged and tried again; nothing acknowledged is lost meanwhile, since readings are
        durable before they are acknowledged and their slots stay marked as changed.  A store that cannot be opened at
        the start is waited for, and after some minutes people are told so.
        """
        try:
            while not self._stop.is_set():
                try:
                    return self._run()
                except (StoreAway, StoreDamaged) as error:
                    self._wait(error)
                except (AlarmError, LedgerError) as error:
                    # At once it is a fault of the settings; after a store that was away it is the same trouble.
                    if not self._unwatched.waits:
                        raise
                    self._wait(error)
        finally:
            with contextlib.suppress(MonitorError, OSError):
                self._unwatched.hand_over()

    def _wait(self, error: MonitorError) -> None:
        if str(error) != self._last_trouble:
            what = "is away" if isinstance(error, StoreAway) else "or the journal cannot be used"
            logger.warning("the store %s (%s); starting again until it can be opened", what, error)
            self._last_trouble = str(error)
        self._unwatched.failed(str(error))
        self._stop.wait(START_AGAIN_S)

    def _opened_store(self) -> Any:
        try:
            self._site.data_folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            why = error.strerror or error
            raise StoreAway(f"the folder {self._site.data_folder} cannot be made: {why}") from error
        return open_store(self._site)

    def _run(self) -> None:
        with contextlib.ExitStack() as opened:
            store = self._opened_store()
            opened.callback(store.close)
            self._unwatched.hand_over()
            subscriber = self._intake(store)
            sender = Sender(self._site, open_alarms(self._site)) if "send" in self._wanted else None
            judge = Judge(self._site) if "judge" in self._wanted else None
            if judge is not None:
                opened.callback(judge.close)
            carrier = _carrier(store, judge is not None)
            self._unwatched.over()
            parts = [part for part in (subscriber, sender, carrier) if part is not None]
            for part in parts:
                part.start()
            for part in reversed(parts):
                opened.callback(part.stop)
            self._loop(store, subscriber, judge, carrier)

    def _intake(self, store: Any) -> Subscriber | None:
        if "intake" not in self._wanted:
            return None
        return Subscriber(
            self._site.broker,
            Router(self._site),
            store,
            commit_rows=self._site.store.commit_rows,
            worker=self._worker,
        )

    def _loop(
        self, store: Any, subscriber: Subscriber | None, judge: Judge | None, carrier: Carrier | None
    ) -> None:
        beat_due, failures, health = 0.0, 0, PartsHealth(self._site)
        states: dict[str, Any] = {}
        trouble = ""
        reserve = Reserve(self._site.data_folder)
        while not self._stop.is_set():
            begun = time.monotonic()
            parts: dict[str, Any] = {"intake": subscriber.health()} if subscriber else {}
            if carrier is not None:
                parts["spool"] = {"waiting": carrier.waiting, "trouble": carrier.trouble}
            if judge is not None:
                parts |= {**judge.told(), "judge": {"trouble": trouble}}
            try:
                states = health.update(parts)
                if judge is not None:
                    judge.tick(states)
                if time.monotonic() >= beat_due:
                    beat_due = time.monotonic() + BEAT_S
                    self._beat(store, subscriber, parts, states)
                    upkeep(self._site.store, store)
                    reserve.keep()
                failures, trouble = 0, ""
            except Exception as error:
                failures, trouble = failures + 1, str(error) or type(error).__name__
                _complain(error)
                if isinstance(error, StoreAway):
                    reserve.give_up()
                if judge is not None:
                    _tell_of_failure(judge, states)
            # A long tick is followed by a short rest, so that what happened meanwhile is not kept waiting.
            rest_s = max(REST_S, TICK_S - (time.monotonic() - begun))
            self._stop.wait(TICK_S * min(2**failures, 64) if failures else rest_s)

    def _beat(
        self, store: Any, subscriber: Subscriber | None, parts: dict[str, Any], states: dict[str, Any]
    ) -> None:
        """Tell that the monitor lives and how its parts do: in the store, and on the broker."""
        document = {"at_ms": now_ms(), "pid": os.getpid(), "parts": parts, "states": states}
        store.put_document(BEAT if "judge" in self._wanted else BEAT_OF_INTAKE, document)
        if subscriber is not None:
            well = all(state["ok"] for state in states.values())
            told = {"running": True, "well": well, "at": rfc3339(now_ms()), "parts": states}
            subscriber.tell(json.dumps(told).encode())
