"""Keeps the running twins of all wheels up to date with air and ledger, a little at each tick.

Work is done in slices and in this order: look what is new, carry the wheels on that are up to date, let others live
through again what a late reading, a corrected move or a lesson from weighings changed, then publish and keep. What
changed in the past is let settle first, so that a history being filled in is not lived through over and over.
"""

from __future__ import annotations

import logging
import time
from collections import defaultdict
from collections.abc import Callable, Iterable
from concurrent.futures import Future, ThreadPoolExecutor

from monitor import air as humid_air
from monitor.climate.air_book import AirBook, Key
from monitor.errors import MonitorError, PhysicsError
from monitor.records import RindNow
from monitor.rind.presets import RindParameters
from monitor.rind.twin import Twin
from monitor.site import Site
from monitor.store.protocol import Store
from monitor.twins import kept as keeping
from monitor.twins.hourly import HOUR_MS, HourlyAir
from monitor.twins.house import Arrival, Beside, House
from monitor.twins.learning import Learnt, Where, cases_of, learn, parameters_of, room_of
from monitor.twins.past import Past
from monitor.twins.rinds import Rinds
from monitor.wheels import Ledger
from monitor.wheels.life import Life, life_of

logger = logging.getLogger("monitor.twins")

SLICE_S = 0.05
LOOK_S = 30.0
DAYS_A_LOOK = 30
LIVES_A_SLICE = 50
GRACE_MS = 5 * 60_000
"""An hour is lived this long after its end, so that what is merely a little late does not have to be lived again."""
SETTLE_S, PATIENCE_S = 10.0, 600.0
"""A change of the past is taken up once none came for so long, or at the latest so long after the first."""
PAUSE_S = 15.0
LEARNT_ANEW = 0.02
"""A lesson that changes wrap or diffusivity by less than this share is not lived through again."""


class RunningTwins:
    """The twins of every wheel; call `work` often, read ``rinds``.

    Parameters
    ----------
    site, store, ledger : as opened
    clock : monotonic time [s]
    """

    def __init__(
        self, site: Site, store: Store, ledger: Ledger, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._site, self._store, self._ledger, self._clock = site, store, ledger, clock
        self._air = HourlyAir(AirBook(store))
        self._pressure = float(humid_air.pressure_at_altitude(site.site.altitude_m))
        self._lives: dict[str, Life] = {}
        self._revision, self._unread = 0, list[str]()
        self._live = House(site, self._air, self._lives, [])
        self._replays: list[House] = []
        self._past = Past(store, self._air)
        self._rewinds: dict[str, int] = {}
        self._pause_until = 0.0
        self._first_change_s = self._last_change_s = self._look_due = 0.0
        self._air_read = False
        self._learnt: dict[Where, Learnt] = keeping.learnt_read(store.document("rinds learnt"))
        self._taught: dict[Where, int] = {}
        self._lesson: tuple[Where, Future[Learnt]] | None = None
        self._teacher: ThreadPoolExecutor | None = None
        self._rinds = Rinds(site, self._lives, self._past, self._learnt_of)
        self._told_hour = -1

    @property
    def rinds(self) -> dict[str, RindNow]:
        """What each wheel's twin says now; a wheel that lives through its past again has what it said before."""
        return self._rinds.now

    @property
    def caught_up(self) -> bool:
        """Whether nothing is left to do but to wait for the next hour."""
        return (
            self._air_read
            and not (self._unread or self._rewinds or self._replays or self._lesson)
            and not self._past.unwritten
        )

    def tick(self, now_ms: int) -> None:
        """`work`, never raising: alarms must not wait for rinds. What goes wrong is logged, and tried again later."""
        if self._clock() < self._pause_until:
            return
        try:
            self.work(now_ms)
        except MonitorError as error:
            self._pause_until = self._clock() + PAUSE_S
            logger.warning("the running twins wait: %s", error)
        except Exception:
            self._pause_until = self._clock() + PAUSE_S
            logger.exception("the running twins failed; trying again")

    def work(self, now_ms: int, slice_s: float = SLICE_S) -> None:
        """Do what is due, for about so long; may raise StoreAway or LedgerError, and goes on at the next call."""
        until = self._clock() + slice_s
        if self._clock() >= self._look_due:
            self._look()
        if self._unread:
            self._read_lives()
        self._take_up_lesson()
        if self._rewinds and self._settled():
            self._rewind()
        target = (now_ms - GRACE_MS) // HOUR_MS
        while self._clock() < until and self._step(target):
            pass
        if not self._replays and not self._rewinds and self._live.hour >= target:
            self._finish(target)
        while self._clock() < until and self._past.write_one():
            pass

    def close(self) -> None:
        """Let go of the thread that learns."""
        if self._teacher is not None:
            self._teacher.shutdown(wait=False, cancel_futures=True)

    # ---- looking ---------------------------------------------------------------------------------------

    def _look(self) -> None:
        first = not self._air_read
        done = self._air.book.catch_up(DAYS_A_LOOK)
        self._look_due = self._clock() + (LOOK_S if done else 0.0)
        if not done:
            return
        names, self._revision = self._ledger.changed_wheels(self._revision)
        self._unread = list(dict.fromkeys([*self._unread, *names]))
        touched = self._air.refresh()
        self._air_read = True
        if not first:
            self._touch(touched)

    def _read_lives(self) -> None:
        names, self._unread = self._unread[:LIVES_A_SLICE], self._unread[LIVES_A_SLICE:]
        histories = self._ledger.histories(self._ledger.known(names))
        for name in names:
            life = life_of(name, histories[name]) if name in histories else None
            if life is None or life.style not in self._site.style_by_id:
                self._forget(name)
            else:
                self._learn_of(name, life)
        for house in (self._live, *self._replays):
            house.settle()
        if not self._unread:
            self._touch(self._past.touched_meanwhile())

    def _learn_of(self, name: str, life: Life) -> None:
        before = self._lives.get(name)
        self._lives[name] = life
        self._rinds.forget(name)
        for room, place, _, _ in life.stays:
            self._air.number(room, place)
        if before is None:
            unchanged = self._past.same_as_kept(name, life, self._parameters(life))
            self._change(name, self._past.newest(name) if unchanged else life.made_ms // HOUR_MS)
            return
        differs = before.differs_from(life)
        if differs is not None and differs // HOUR_MS < self._hour_of(name):
            self._change(name, differs // HOUR_MS)

    def _forget(self, name: str) -> None:
        self._lives.pop(name, None)
        self._rewinds.pop(name, None)
        self._rinds.forget(name)
        self._leave({name})
        self._past.forget(name)

    def _touch(self, touched: dict[Key, int]) -> None:
        """Let the wheels live again that lay where the air of an hour they lived through has changed."""
        for name, life in self._lives.items():
            hours = [
                max(touched[room, place], start // HOUR_MS)
                for room, place, start, end in life.stays
                if (room, place) in touched and (end is None or touched[room, place] <= end // HOUR_MS)
            ]
            if hours and min(hours) < self._hour_of(name):
                self._change(name, min(hours))

    def _change(self, name: str, hour: int) -> None:
        now = self._clock()
        if not self._rewinds:
            self._first_change_s = now
        self._last_change_s = now
        self._rewinds[name] = min(hour, self._rewinds.get(name, hour))

    def _settled(self) -> bool:
        now = self._clock()
        quiet = now - self._last_change_s >= SETTLE_S or now - self._first_change_s >= PATIENCE_S
        return self._air_read and not self._unread and quiet

    def _hour_of(self, name: str) -> int:
        for house in (self._live, *self._replays):
            if name in house.names:
                return house.hour
        return self._past.newest(name)

    # ---- living ----------------------------------------------------------------------------------------

    def _rewind(self) -> None:
        """Take wheels back to before what changed, to live on from there in a house of their own."""
        rewinds, self._rewinds = self._rewinds, {}
        self._leave(set(rewinds))
        arrivals, fresh = self._past.back_to(
            rewinds, lambda name: self._parameters(self._lives[name]), self._pressure
        )
        by_hour: dict[int, list[str]] = defaultdict(list)
        for name in fresh:
            by_hour[self._lives[name].made_ms // HOUR_MS].append(name)
        for hour, names in by_hour.items():
            arrival = self._made(hour, names)
            if arrival is not None:
                arrivals.append(arrival)
        if arrivals:
            self._replays.append(House(self._site, self._air, self._lives, arrivals))

    def _made(self, hour: int, names: list[str]) -> Arrival | None:
        parameters, sound = [], []
        for name in names:
            try:
                parameters.append(self._parameters(self._lives[name]))
                sound.append(name)
            except PhysicsError as error:
                logger.warning("wheel %s has no rind twin: %s", name, error)
        if not sound:
            return None
        self._past.begin(sound, hour)
        return Arrival(hour, sound, Twin(parameters, pressure_pa=self._pressure), Beside.fresh(len(sound)))

    def _step(self, target: int) -> bool:
        """Let one house live through one hour; False where none has to."""
        for house in (self._live, *self._replays):
            if house.next_hour < target:
                house.live()
                self._past.lived(house, target)
                if house.hour % 24 == 0:
                    self._retire(house)
                return True
        for house in list(self._replays):
            house.let_in()
            if (
                not house.waiting
                and house.hour == target
                and (not self._live.names or self._live.hour == target)
            ):
                arrival = house.copy_of(house.names)
                if arrival is not None:
                    self._live.welcome(arrival)
                self._replays.remove(house)
                self._told_hour = -1
        return False

    def _retire(self, house: House) -> None:
        """Let wheels that were sold or lost go, their rinds kept as they were."""
        gone = [
            name
            for name in house.names
            if (gone_ms := self._lives[name].gone_ms) is not None and gone_ms < house.hour * HOUR_MS
        ]
        arrival = house.copy_of(gone)
        if arrival is not None:
            self._past.retire(arrival)
            house.take(set(gone))

    def _leave(self, names: set[str]) -> None:
        for house in (self._live, *self._replays):
            house.take(names)
        self._replays = [house for house in self._replays if house.names or house.waiting]

    def _parameters(self, life: Life) -> RindParameters:
        return parameters_of(self._site.style_by_id[life.style], life, self._learnt_of(life))

    def _learnt_of(self, life: Life) -> Learnt:
        return self._learnt.get((life.style, room_of(life)), Learnt())

    # ---- telling ---------------------------------------------------------------------------------------

    def _finish(self, target: int) -> None:
        self._retire(self._live)
        if self._told_hour != target or self._rinds.stale:
            self._rinds.tell(self._live)
        if self._told_hour != target:
            if self._live.names or self._past.tracks:
                self._past.keep(self._live, self._lives, target)
            self._told_hour = target
        if self._lesson is None:
            self._teach()

    # ---- learning --------------------------------------------------------------------------------------

    def _teach(self) -> None:
        """Begin to learn from weighings that were not learnt from yet, one style and room at a time."""
        said = _weighings_by(self._lives.values())
        due = next((w for w, fingerprint in said.items() if self._taught.get(w) != fingerprint), None)
        if due is None:
            return
        self._taught[due] = said[due]
        group = [life for life in self._lives.values() if (life.style, room_of(life)) == due]
        cases = cases_of(self._site, self._air, group).get(due)
        if cases:
            self._teacher = self._teacher or ThreadPoolExecutor(1, "rind-lessons")
            self._lesson = due, self._teacher.submit(learn, cases)

    def _take_up_lesson(self) -> None:
        if self._lesson is None or not self._lesson[1].done():
            return
        (where, future), self._lesson = self._lesson, None
        try:
            learnt = future.result()
        except PhysicsError as error:
            logger.warning("the weighings of %s in %s teach nothing: %s", *where, error)
            return
        before = self._learnt.get(where, Learnt())
        changed = max(
            abs(learnt.wrap_factor / before.wrap_factor - 1.0),
            abs(learnt.diffusivity_factor / before.diffusivity_factor - 1.0),
        )
        for name, life in self._lives.items():
            if (life.style, room_of(life)) == where:
                self._rinds.forget(name)
                if changed > LEARNT_ANEW:
                    self._change(name, life.made_ms // HOUR_MS)
        self._learnt[where] = learnt
        self._store.put_document("rinds learnt", keeping.learnt_document(self._learnt))


def _weighings_by(lives: Iterable[Life]) -> dict[Where, int]:
    found: dict[Where, list[object]] = defaultdict(list)
    for life in lives:
        if life.weighings:
            found[life.style, room_of(life)].append((life.name, life.weighings))
    return {where: hash(tuple(sorted(said, key=repr))) for where, said in found.items()}
