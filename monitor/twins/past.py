"""What the running twins were before: the course of each wheel's loss, rinds to go back to, and what is kept on disk."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from monitor.climate.air_book import Key
from monitor.clock import DAY_MS
from monitor.errors import StoreDamaged
from monitor.rind.presets import RindParameters
from monitor.rind.twin import Twin
from monitor.rind.twin_state import TwinState
from monitor.store.protocol import Store
from monitor.twins import kept as keeping
from monitor.twins.hourly import HOUR_MS, HourlyAir
from monitor.twins.house import Arrival, Beside, House
from monitor.twins.kept import Kept
from monitor.wheels.life import Life

TRACK_HOURS = 7 * 24
RECENT_HOURS = 8 * 24
OLD_EVERY_HOURS, OLD_HOURS = 28 * 24, 182 * 24
"""Rinds to go back to: every day's of the last week, and every fourth week's of the last half year."""
WATCHED_HOURS = 48
"""So far back a late reading that came while nothing ran is told by comparing hours, before that by days."""


class Past:
    """See the module's text; all of it belongs to one `RunningTwins`."""

    def __init__(self, store: Store, air: HourlyAir) -> None:
        self._store, self._air = store, air
        self.tracks: dict[str, list[tuple[int, float, float]]] = {}
        self._before: list[Arrival] = []
        self._kept: dict[str, Kept] = {}
        self._retired: dict[str, Kept] = {}
        self.unwritten: list[tuple[str, Any]] = []
        self._index = store.document("twins") or {}
        for number in range(keeping.SHELVES):
            try:
                self._kept.update(keeping.shelf_read(store.document(f"twins/{number}")))
            except StoreDamaged:
                continue
        self.tracks = {name: list(kept.track) for name, kept in self._kept.items()}

    # ---- as kept by an earlier run ---------------------------------------------------------------------

    def same_as_kept(self, name: str, life: Life, parameters: RindParameters) -> bool:
        """Whether a wheel's kept rind is still that of its life and of what is known of its style."""
        kept = self._kept.get(name)
        return (
            kept is not None
            and kept.signature == life.signature(kept.hour * HOUR_MS)
            and abs(kept.wrap_resistance - parameters.wrap_resistance) <= 1e-9 * parameters.wrap_resistance
            and abs(kept.diffusivity_m2_s - parameters.diffusivity_m2_s) <= 1e-9 * parameters.diffusivity_m2_s
        )

    def newest(self, name: str) -> int:
        """The hour up to which a wheel has lived when it is in no house."""
        kept = self._retired.get(name) or self._kept.get(name)
        return kept.hour if kept is not None else -1

    def touched_meanwhile(self) -> dict[Key, int]:
        """The earliest hour of each place that changed between the last keeping and this run; told once."""
        index, self._index = self._index, {}
        touched: dict[Key, int] = {}
        try:
            hour, seen, revision = int(index["hour"]), dict(index["air"]), int(index["air_revision"])
        except (KeyError, TypeError, ValueError):
            return touched
        watched = hour - WATCHED_HOURS
        for day in self._store.air_days(revision, 1_000_000):
            first = day.day * DAY_MS // HOUR_MS
            if first < watched:
                key = (day.room, day.place)
                touched[key] = min(first, touched.get(key, first))
        for name, fingerprint in self._air.fingerprint(watched, hour).items():
            room, _, place = name.partition("/")
            if name in seen and seen[name] != fingerprint:
                touched[room, place] = min(watched, touched.get((room, place), watched))
        return touched

    # ---- while living ----------------------------------------------------------------------------------

    def begin(self, names: list[str], hour: int) -> None:
        """Note that wheels begin."""
        for name in names:
            self.tracks[name] = [(hour, 0.0, 0.0)]

    def lived(self, house: House, target: int) -> None:
        """Note what has to be remembered of an hour that was just lived."""
        if house.twin is None:
            return
        if house.hour % TRACK_HOURS == 0:
            loss, unseen = house.twin.loss_kg, house.twin.state.unseen_kg
            for name, a, b in zip(house.names, loss.tolist(), unseen.tolist(), strict=True):
                self.tracks[name].append((house.hour, a, b))
        age = target - house.hour
        daily, old = house.hour % 24 == 0, house.hour % OLD_EVERY_HOURS == 0
        if (daily and age <= RECENT_HOURS) or (old and age <= OLD_HOURS):
            copy = house.copy_of(house.names)
            if copy is not None:
                self._before.append(copy)
            self._before = [
                a
                for a in self._before
                if target - a.hour <= RECENT_HOURS
                or (a.hour % OLD_EVERY_HOURS == 0 and target - a.hour <= OLD_HOURS)
            ]

    def back_to(
        self, rewinds: dict[str, int], parameters: Callable[[str], RindParameters], pressure_pa: float
    ) -> tuple[list[Arrival], list[str]]:
        """The newest rinds from before the hours to go back to, and the names of those that begin anew.

        ``parameters`` gives a wheel's rind by its name.
        """
        self._take_kept(rewinds, parameters, pressure_pa)
        best: dict[str, Arrival] = {}
        for arrival in self._before:
            for name in arrival.names:
                if arrival.hour <= rewinds.get(name, -1) and (
                    name not in best or best[name].hour < arrival.hour
                ):
                    best[name] = arrival
        by_arrival: dict[int, list[str]] = defaultdict(list)
        for name, arrival in best.items():
            by_arrival[id(arrival)].append(name)
        found = [_copy(a, by_arrival[id(a)]) for a in self._before if id(a) in by_arrival]
        for arrival in self._before:
            arrival.without({n for n, hour in rewinds.items() if arrival.hour > hour})
        self._before = [a for a in self._before if a.names]
        for name in rewinds:
            self._retired.pop(name, None)
            if name in best:
                self.tracks[name] = [row for row in self.tracks.get(name, []) if row[0] <= best[name].hour]
        return found, [name for name in rewinds if name not in best]

    def retire(self, arrival: Arrival) -> None:
        """Keep the rinds of wheels that are gone as they were last."""
        for i, name in enumerate(arrival.names):
            self._retired[name] = self._kept_of(arrival, i, name, "gone")

    def forget(self, name: str) -> None:
        """A wheel that is no longer in the ledger."""
        for held in (self._kept, self._retired, self.tracks):
            held.pop(name, None)
        for arrival in self._before:
            arrival.without({name})

    # ---- keeping ---------------------------------------------------------------------------------------

    def keep(self, house: House, lives: dict[str, Life], target: int) -> None:
        """Make ready what is to be written; `write_one` writes it, the index last."""
        copy = house.copy_of(house.names)
        shelves: dict[str, list[Kept]] = {f"twins/{n}": [] for n in range(keeping.SHELVES)}
        for name, kept in self._retired.items():
            if name in lives:
                kept = replace(kept, signature=lives[name].signature(kept.hour * HOUR_MS))
            shelves[keeping.shelf_of(name)].append(kept)
        for i, name in enumerate(copy.names if copy is not None else []):
            assert copy is not None
            signature = lives[name].signature(copy.hour * HOUR_MS)
            shelves[keeping.shelf_of(name)].append(self._kept_of(copy, i, name, signature))
        self.unwritten = [(name, keeping.shelf_document(kept)) for name, kept in shelves.items() if kept]
        index = {
            "hour": target,
            "air": self._air.fingerprint(target - WATCHED_HOURS, target),
            "air_revision": self._air.book.revision,
        }
        self.unwritten.append(("twins", index))

    def write_one(self) -> bool:
        """Write one document of what is to be kept; False where nothing is left."""
        if not self.unwritten:
            return False
        self._store.put_document(*self.unwritten[0])
        del self.unwritten[0]
        return True

    def _kept_of(self, arrival: Arrival, i: int, name: str, signature: str) -> Kept:
        parameters = arrival.twin.parameters[i]
        track = list(self.tracks.get(name, []))
        loss, unseen = float(arrival.twin.loss_kg[i]), float(arrival.twin.state.unseen_kg[i])
        if not track or track[-1][0] < arrival.hour:
            track.append((arrival.hour, loss, unseen))
        return Kept(
            name,
            arrival.hour,
            arrival.twin.state.selected([i]),
            arrival.beside.selected([i]),
            parameters.wrap_resistance,
            parameters.diffusivity_m2_s,
            signature,
            track,
        )

    def _take_kept(
        self, rewinds: dict[str, int], parameters: Callable[[str], RindParameters], pressure_pa: float
    ) -> None:
        """Put what an earlier run kept among the rinds to go back to, as far as it is from before the hours asked."""
        by_hour: dict[int, list[Kept]] = defaultdict(list)
        for name, hour in rewinds.items():
            kept = self._kept.pop(name, None)
            if kept is not None and kept.hour <= hour:
                by_hour[kept.hour].append(kept)
        for hour, group in by_hour.items():
            twin = Twin([parameters(kept.name) for kept in group], pressure_pa=pressure_pa)
            twin.state = TwinState.joined([kept.state for kept in group])
            beside = Beside.joined([kept.beside for kept in group])
            self._before.append(Arrival(hour, [kept.name for kept in group], twin, beside))


def _copy(arrival: Arrival, names: list[str]) -> Arrival:
    numbers = {name: i for i, name in enumerate(arrival.names)}
    index = [numbers[name] for name in names]
    return Arrival(arrival.hour, list(names), arrival.twin.selected(index), arrival.beside.selected(index))
