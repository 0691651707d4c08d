"""Simulated rooms through the same code as real ones: readings, store, judged air records, rules, alarms, messages.

There is no broker between: the simulator's sensors write their readings as they send them.  Air records are made an hour
or a day at a time, and what is known of the sensors is told at the end of it, never before.
"""

from __future__ import annotations

import re
import tempfile
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import sqlalchemy as sa

from monitor.alarms import journal as tables
from monitor.alarms.alarms import Alarms
from monitor.alarms.journal import Journal
from monitor.alarms.lifecycle import State
from monitor.alarms.sender import Sender
from monitor.climate.air_records import AirKeeper
from monitor.climate.sensor_watch import SensorState, SensorWatch
from monitor.clock import to_ms
from monitor.intake.calibration import judging
from monitor.records import AirRecord, Contents, Reading
from monitor.rules.engine import Engine
from monitor.rules.finding import Finding
from monitor.rules.moment import Moment
from monitor.site import Site, check_text
from monitor.store import open_store
from sensors_sim.network import SensorNetwork
from sensors_sim.scenario import Fault, Room, Scenario, Sensor
from sensors_sim.scenario_file import read_scenario
from sensors_sim.scenario_rooms import Humidifier
from sensors_sim.sensors import Samples
from sensors_sim.world import World
from tests.system.fault_showing import Showing
from tests.system.simulated_contacts import contacts_in, contacts_of, in_site_file, readings_of

DEMO = Path(__file__).parents[2] / "demo_data"
SLOT_S = 600.0
HOUR_S, DAY_S = 3600.0, 86400.0
LOOK_S, STUCK_DUE_S = 1800.0, 5 * HOUR_S
"""How often the wheels' own temperature is looked at, and how soon a stuck sensor may be found [s]."""
TOLD_BY_STATE = ("sensor stuck", "sensor spiking", "sensor wet")
ACKNOWLEDGED_AFTER_MS = 15 * 60_000
SOLD_AFTER_DAYS = 40
SETTLED_S = 1800.0
NOWHERE = "json://simulated.invalid"
CAVE_MIST = Humidifier(setpoint_rh_pct=83.0, hysteresis_pct=3.0, output_kg_h=0.6)
KEPT_BANDS: dict[tuple[str, str], tuple[float, float]] = {
    ("aldermoss", "young"): (80.0, 96.5),
    ("aldermoss", "maturing"): (75.0, 98.0),
    ("fenlight", "maturing"): (74.0, 95.5),
}
"""Bands by style and stage [% RH] where they are not the demo's own: what its rooms keep 98 hours of 100 in a year in which
nothing is wrong, as `tests.system.kept_bands` computes it from the true air of seeds 1 and 2."""
TELLING = ("raised", "again", "worse", "escalated")


@dataclass(frozen=True)
class Tick:
    """What reached the rules in ten minutes, [s] from the start to their end.

    ``wheels_c`` is the rinds' true temperature by room, ``shown`` the faults (kind, target, start) that the true air of
    their room first showed in it, against the same room without them; no rule sees these.
    """

    end_s: float
    air: tuple[AirRecord, ...]
    readings: tuple[Reading, ...]
    sensors: dict[str, SensorState]
    wheels_c: dict[str, float]
    shown: tuple[tuple[str, str, float], ...] = ()


@dataclass
class Told:
    """What a run told: each condition with when it was raised [s from the start], and each message."""

    raised: list[tuple[float, Finding]] = field(default_factory=list)
    messages: list[tuple[float, str, tuple[Finding, ...]]] = field(default_factory=list)


def ordinary_year(
    seed: int,
    days: float,
    interval_s: float,
    faults: tuple[Fault, ...] = (),
    *,
    kept: bool = True,
    contacts: bool = False,
) -> Scenario:
    """The demo's rooms with weather, work, doors, washing and defrosts, but nothing wrong except ``faults``.

    The demo's cave has no means against dry winter air and is under its band for a third of the year.  Whoever keeps
    wheels in such a room sees to it: ``kept`` gives it a small mist maker.  ``contacts`` hangs a contact at each door and a
    float switch in each humidifier; all other sensors send what they send without them.
    """
    year = read_scenario(DEMO / "year.toml")
    sensors = tuple(s.model_copy(update={"interval": interval_s}) for s in year.sensors)
    weather = year.weather.model_copy(update={"spells": ()})
    rooms = tuple(_with_mist(room) if kept and room.kind == "cave" else room for room in year.rooms)
    if contacts:
        sensors += tuple(contacts_of(rooms, interval_s))
    changes = {"seed": seed, "days": days, "rooms": rooms, "sensors": sensors}
    return year.model_copy(update={**changes, "weather": weather, "faults": faults})


def _with_mist(cave: Room) -> Room:
    """A cave with a mist maker; its walls, air and work stay as they are, only caves of that kind may have none."""
    return cave.model_copy(update={"kind": "cellar", "humidifier": CAVE_MIST})


def site_of(interval_s: float, folder: Path, *, kept: bool = True, contacts: Sequence[Sensor] = ()) -> Site:
    """The demo's site with every rule as it comes, and one person to tell.

    ``kept``: with bands that these rooms can keep all year; the demo's own are for a year in which things go wrong.
    ``contacts``: those of the scenario that hang in the rooms.
    """
    text = (DEMO / "site.toml").read_text(encoding="utf-8")
    head, _, rest = text.partition("[rules.band]")
    _, _, rest = rest.partition("\n\n")
    route = '\n[[route]]\nname = "phone"\naddress_env = "MATURING_ROUTE_PHONE"\n'
    text = head + rest.replace("interval_s = 600", f"interval_s = {interval_s:g}")
    for (style, stage), (low, high) in KEPT_BANDS.items() if kept else ():
        own = rf'(id = "{style}".*?name = "{stage}".*?\nrh_pct = )\[[^]]*\]'
        text, count = re.subn(own, rf"\g<1>[{low}, {high}]", text, count=1, flags=re.DOTALL)
        assert count == 1, (style, stage)
    text += in_site_file(contacts)
    site, faults = check_text(text if "[[route]]" in text else text + route, folder / "site.toml")
    assert site is not None, faults
    return site


def style_bands() -> tuple[
    dict[tuple[str, str], tuple[float, float]], dict[tuple[str, str], tuple[float, float]]
]:
    """The demo's own bands by style and stage [% RH], and the days at which each stage begins and ends [d]."""
    with tempfile.TemporaryDirectory() as folder:
        styles = site_of(SLOT_S, Path(folder), kept=False).styles
    bands, lasts = {}, {}
    for style in styles:
        ends = [stage.from_day for stage in style.stages[1:]] + [float("inf")]
        for stage, end in zip(style.stages, ends, strict=True):
            bands[style.id, stage.name] = stage.rh_pct
            lasts[style.id, stage.name] = (float(stage.from_day), end)
    return bands, lasts


def sensed(scenario: Scenario) -> Iterator[Tick]:
    """Rooms, sensors, store and air records: what reaches the rules, tick by tick.

    How much of the past is made into air records at once: an hour while a sensor is at fault, a day in between.
    """
    with tempfile.TemporaryDirectory() as folder:
        yield from _Sensing(scenario, Path(folder)).ticks()


class _Sensing:
    def __init__(self, scenario: Scenario, folder: Path) -> None:
        self._scenario = scenario
        site = site_of(scenario.sensors[0].interval, folder, contacts=contacts_in(scenario))
        site.data_folder.mkdir(parents=True, exist_ok=True)
        self._start_ms = to_ms(scenario.start)
        self._world = World(scenario)
        self._network = SensorNetwork(scenario, self._world.faults)
        self._store, self._watch = open_store(site), SensorWatch(site)
        self._keeper = AirKeeper(site, self._store, judging(site, self._watch.judged))
        self._waiting: list[tuple[float, Reading]] = []
        self._wheels_c: dict[int, dict[str, float]] = {}
        self._showing = Showing(self._world)
        self._shown: dict[int, list[tuple[str, str, float]]] = defaultdict(list)

    def ticks(self) -> Iterator[Tick]:
        done, states = 0.0, dict[str, SensorState]()
        try:
            while done < self._scenario.length_s - 1e-6:
                batch_s = self._batch_s(done)
                arrived = self._advance(batch_s)
                records: dict[int, list[AirRecord]] = defaultdict(list)
                for record in self._keeper.update(1_000_000):
                    # What is made again of an earlier batch comes with the first tick of this one.
                    tick = int((record.start_ms - self._start_ms) / 1000 // SLOT_S)
                    records[max(tick, int(done // SLOT_S))].append(record)
                for tick in range(int(done // SLOT_S), int((done + batch_s) // SLOT_S)):
                    yield Tick(
                        (tick + 1) * SLOT_S,
                        tuple(records[tick]),
                        tuple(arrived[tick]),
                        states,
                        self._wheels_c.get(tick, {}),
                        tuple(self._shown.get(tick, ())),
                    )
                done += batch_s
                states = self._watch.states(self._start_ms + round(done * 1000))
        finally:
            self._store.close()

    def _batch_s(self, done: float) -> float:
        """A day; an hour while a sensor is at fault in a way that its state tells, and ten minutes where one is due."""
        batch_s = min(DAY_S, self._scenario.length_s - done)
        for fault in self._world.faults:
            if fault.kind not in TOLD_BY_STATE or done >= fault.end + HOUR_S:
                continue
            if fault.kind == "sensor stuck" and 0 <= done - fault.start - STUCK_DUE_S < HOUR_S:
                return SLOT_S
            batch_s = min(batch_s, max((fault.start - done) // HOUR_S, 1.0) * HOUR_S)
        return batch_s

    def _advance(self, batch_s: float) -> dict[int, list[Reading]]:
        """Move the world on; the readings that arrived, by tick, are in the store then."""
        look_s = min(LOOK_S, batch_s)
        for _ in range(round(batch_s / look_s)):
            self._showing.before(look_s)
            span = self._world.advance(round(look_s / self._scenario.step))
            for fault, at_s in self._showing.after(span):
                self._shown[int(at_s // SLOT_S)].append((fault.kind, fault.target, fault.start))
            warm = {name: room.wheels.temperature for name, room in self._world.rooms.items() if room.wheels}
            self._wheels_c[round(self._world.time_s / SLOT_S) - 1] = warm
            for samples in self._network.messages(span):
                self._waiting.extend(self._readings(samples))
            for states in self._network.states(span):
                said = readings_of(states, self._start_ms)
                self._waiting.extend((self._held_s(sent_s), reading) for sent_s, reading in said)
        now_s = self._world.time_s
        come = sorted((w for w in self._waiting if w[0] <= now_s), key=lambda w: w[0])
        self._waiting = [w for w in self._waiting if w[0] > now_s]
        arrived: dict[int, list[Reading]] = defaultdict(list)
        for sent_s, reading in come:
            arrived[int(min(sent_s, now_s - 1.0) // SLOT_S)].append(reading)
        self._store.write([reading for _, reading in come])
        return arrived

    def _readings(self, samples: Samples) -> Iterator[tuple[float, Reading]]:
        stamps = self._start_ms + np.round(samples.stamp_s * 1000).astype(np.int64)
        columns = {
            "temperature": samples.temperature_c,
            "humidity": samples.humidity_pct,
            "battery_voltage": samples.battery_v,
        }
        for index, sent_s in enumerate(samples.send_s.tolist()):
            held = self._held_s(sent_s)
            for quantity, values in columns.items():
                if not np.isnan(values[index]):
                    yield held, Reading(samples.sensor, quantity, int(stamps[index]), float(values[index]))

    def _held_s(self, sent_s: float) -> float:
        """When a message arrives [s]: at once, or when the broker is back."""
        down = (f for f in self._world.faults if f.kind == "broker down")
        return next((f.end for f in down if f.start <= sent_s < f.end), sent_s)


def judged(scenario: Scenario, ticks: Iterable[Tick], *, kept: bool = True, contacts: bool = True) -> Told:
    """Rules, alarms and messages over what reached them; somebody acknowledges after a quarter of an hour.

    Without ``contacts`` those that the scenario has are not there for the rules: from the air alone.
    """
    heard = contacts_in(scenario) if contacts else ()
    deaf = {s.id for s in contacts_in(scenario)} - {s.id for s in heard}
    with tempfile.TemporaryDirectory() as folder:
        site = site_of(scenario.sensors[0].interval, Path(folder), kept=kept, contacts=heard)
        return _Judging(scenario, site).told(_without(deaf, tick) for tick in ticks)


def _without(deaf: set[str], tick: Tick) -> Tick:
    return replace(tick, readings=tuple(r for r in tick.readings if r.sensor not in deaf)) if deaf else tick


class _Judging:
    def __init__(self, scenario: Scenario, site: Site) -> None:
        self._scenario, self._site = scenario, site
        self._start_ms = to_ms(scenario.start)
        self._engine, self._alarms = Engine(site), Alarms(Journal("sqlite://"), site)
        self._now_ms = self._start_ms
        self._sender = Sender(
            site, self._alarms, lambda *_: "", lambda: self._now_ms, addresses=lambda _: NOWHERE
        )
        self._told, self._last_seen = Told(), dict[str, int]()
        self._quiet_intervals = site.rules.silence.intervals

    def told(self, ticks: Iterable[Tick]) -> Told:
        known: set[str] = set()
        lying: tuple[Contents, ...] = ()
        changed_s = -DAY_S
        for tick in (piece for whole in ticks for piece in self._pieces(whole)):
            if not lying or tick.end_s % HOUR_S < SLOT_S:
                lying = tuple(contents(self._scenario, self._site, tick.end_s))
            findings = self._findings(tick, lying)
            keys = {f.key for f in findings}
            self._told.raised += [(tick.end_s, f) for f in findings if f.key not in known]
            if keys != known:
                changed_s = tick.end_s
            known = keys
            # Between changes nothing is due but what the clock asks for, which can wait for the hour.
            if tick.end_s - changed_s <= SETTLED_S or (keys and tick.end_s % HOUR_S < SLOT_S):
                self._alarms.update(findings, self._now_ms)
                self._acknowledge()
                self._sender.send_waiting("phone")
        self._close()
        return self._told

    def _pieces(self, tick: Tick) -> Iterator[Tick]:
        """A tick, parted where a sensor has been quiet for its time: live, the rules look four times a second."""
        left, begin_ms = tick.readings, self._now_ms
        for sensor in self._site.sensors:
            due_ms = (
                self._last_seen.get(sensor.id, 0)
                + round(self._quiet_intervals * sensor.interval_s * 1000)
                + 1
            )
            heard = any(r.sensor == sensor.id and r.time_ms <= due_ms for r in left)
            if begin_ms < due_ms < self._start_ms + round(tick.end_s * 1000) and not heard:
                now = tuple(r for r in left if r.time_ms <= due_ms)
                left = tuple(r for r in left if r.time_ms > due_ms)
                yield Tick((due_ms - self._start_ms) / 1000, (), now, tick.sensors, {})
                break
        yield replace(tick, readings=left)

    def _findings(self, tick: Tick, lying: tuple[Contents, ...]) -> list[Finding]:
        self._now_ms = self._start_ms + round(tick.end_s * 1000)
        for reading in tick.readings:
            self._last_seen[reading.sensor] = max(reading.time_ms, self._last_seen.get(reading.sensor, 0))
        moment = Moment(
            self._now_ms,
            self._site,
            tick.air,
            lying,
            self._last_seen,
            readings=tick.readings,
            sensors=tick.sensors,
        )
        return self._engine.update(moment)

    def _acknowledge(self) -> None:
        for alarm in self._alarms.standing():
            waits = alarm.state in (State.UNACKNOWLEDGED, State.RETURNED)
            if waits and self._now_ms - alarm.changed_ms >= ACKNOWLEDGED_AFTER_MS:
                self._alarms.acknowledge(alarm.id, "Nora", now_ms=self._now_ms)

    def _close(self) -> None:
        message, link = tables.messages.c, tables.message_alarms.c
        left = sa.select(tables.texts.c.message_id)
        query = sa.select(message.id, message.about, message.created_ms).where(
            message.route == "phone", message.id.in_(left)
        )
        with self._alarms.journal.reading() as connection:
            rows = list(connection.execute(query.order_by(message.id)))
            links = list(connection.execute(sa.select(link.message_id, link.alarm_id)))
        findings = {a: self._alarms.alarm(a).finding for a in {a for _, a in links}}
        for row in rows:
            about = tuple(findings[a] for m, a in links if m == row.id)
            self._told.messages.append(((row.created_ms - self._start_ms) / 1000, row.about, about))
        self._alarms.close()


def contents(scenario: Scenario, site: Site, at_s: float) -> Iterator[Contents]:
    """What is in the rooms, by the scenario's own makes and moves."""
    ready = {style.id: style.ready_day for style in scenario.styles}
    groups: dict[tuple[str, str, str, str], list[str]] = defaultdict(list)
    for number, batch in enumerate(scenario.batches):
        for make in range(batch.makes):
            age = (at_s - batch.first_make_s - make * batch.every) / DAY_S
            if not 0 <= age < ready[batch.style] + SOLD_AFTER_DAYS:
                continue
            _, room, place = [leg for leg in batch.route if leg[0] <= age][-1]
            stage = site.style_by_id[batch.style].stage_at(age).name
            wheels = [f"{batch.style}-{number}{make:02}-{i}" for i in range(batch.wheels)]
            groups[room, place, batch.style, stage] += wheels
    for (room, place, style, stage), wheels in sorted(groups.items()):
        yield Contents(room, place, style, stage, tuple(wheels))
