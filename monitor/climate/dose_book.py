"""The dose book: what the air of every place has done, as running sums, so that the doses of any span are a difference.

A wheel's life is cut into pieces (one stay within one stage of age); the sums of a piece are those at its end less
those at its start, however long it lasted. Sums are made when first asked for and made again from the slot on that
a late reading touched.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from monitor.climate.air_book import AirBook, Key
from monitor.climate.running_sums import PLACE_SUMS, STAGE_SUMS, PlaceSums, StageSums
from monitor.clock import DAY_MS, TEN_MINUTES_MS
from monitor.site import Site, Stage, Style
from monitor.store.protocol import Store

Floats = NDArray[np.float64]
Stay = tuple[str, str, int, int]
"""Room, place, from [ms], to [ms]."""

COLUMNS = ("days", *PLACE_SUMS, *STAGE_SUMS, "reference_c", "kinetic_reference", "equivalent_days")
"""Columns of `DoseBook.sums`: all in days or per day's rate times days; see `monitor.climate.running_sums`."""
MOST_BYTES = 80_000_000
"""Air and sums kept at hand: of two years about 25 MB a place and stage, made again in a third of a second."""
NUMBER = {name: i for i, name in enumerate(COLUMNS)}


@dataclass(frozen=True)
class Piece:
    """A stay of a wheel within one stage of its age, [from_ms, to_ms); ``wheel`` and ``stay`` number them."""

    room: str
    place: str
    style: Style
    stage: Stage
    from_ms: int
    to_ms: int
    wheel: int = 0
    stay: int = 0


@dataclass
class DoseBook:
    """Doses of any wheel over any span, from the air records of a store.

    Threads may share one. `catch_up` first takes in what changed and lets go of the places asked for longest ago,
    until what is kept fits into ``most_bytes`` [bytes]; a place is read when it is first asked for.
    """

    site: Site
    store: Store
    air: AirBook = field(init=False)
    most_bytes: int = MOST_BYTES
    _places: dict[tuple[Key, float], PlaceSums] = field(default_factory=dict)
    _stages: dict[tuple[Key, float, str, str], StageSums] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.air = AirBook(self.store, when_asked=True)

    def catch_up(self) -> None:
        """Take in what air was written since; StoreAway where the store cannot be read."""
        while not self.air.catch_up():
            pass
        with self.air.lock:
            sizes = {key: self._size(key) for key in self.air.places}
            for key in list(self.air.places)[:-1]:
                if sum(sizes.values()) > self.most_bytes:
                    self._let_go(key)
                    del sizes[key]

    @property
    def size(self) -> int:
        """Memory that the air and the sums of all places take [bytes]."""
        with self.air.lock:
            return sum(self._size(key) for key in self.air.places)

    def _size(self, key: Key) -> int:
        places = sum(sums.size for of, sums in self._places.items() if of[0] == key)
        stages = sum(sums.size for of, sums in self._stages.items() if of[0] == key)
        return self.air.places[key].size + places + stages

    def _let_go(self, key: Key) -> None:
        self._places = {of: sums for of, sums in self._places.items() if of[0] != key}
        self._stages = {of: sums for of, sums in self._stages.items() if of[0] != key}
        self.air.let_go(key)

    def sums(self, pieces: Sequence[Piece]) -> Floats:
        """The sums of each piece, (pieces, `COLUMNS`); a piece whose place has no air at all takes its room's."""
        with self.air.lock:
            found = self._gather(pieces, [p.place for p in pieces])
            bare = [i for i, p in enumerate(pieces) if p.place and not found[i, NUMBER["known"]]]
            if bare:
                found[bare] = self._gather([pieces[i] for i in bare], [""] * len(bare))
            return found

    def doses(self, lives: Iterable[tuple[Style, int, Sequence[Stay]]]) -> Floats:
        """The sums of whole lives, (wheels, `COLUMNS`): of each its style, make date [ms] and stays."""
        pieces: list[Piece] = []
        wheels = 0
        for wheels, (style, made_ms, stays) in enumerate(lives, start=1):
            pieces += pieces_of(style, made_ms, stays, wheels - 1)
        total = np.zeros((wheels, len(COLUMNS)))
        if pieces:
            np.add.at(total, [p.wheel for p in pieces], self.sums(pieces))
        return total

    def air_of(self, stay: Stay) -> Key:
        """Whose air a stay has: the place's own, or the room's where the place has none in that time."""
        room, place, from_ms, to_ms = stay
        own = self.air.of(room, place)
        if own is not None:
            known = own.slice("temperature_c", from_ms // TEN_MINUTES_MS, -(-to_ms // TEN_MINUTES_MS))
            if not np.isnan(known).all():
                return room, place
        return room, ""

    def _gather(self, pieces: Sequence[Piece], places: Sequence[str]) -> Floats:
        found = np.zeros((len(pieces), len(COLUMNS)))
        groups: dict[tuple[str, str, str, str, str], list[int]] = defaultdict(list)
        for i, piece in enumerate(pieces):
            groups[piece.room, places[i], piece.place, piece.style.id, piece.stage.name].append(i)
        for (room, place, *_), rows in groups.items():
            first = pieces[rows[0]]
            start = np.array([pieces[i].from_ms for i in rows])
            end = np.array([pieces[i].to_ms for i in rows])
            found[rows, NUMBER["days"]] = (end - start) / DAY_MS
            speed = self._speed(room, first.place or place)
            of_place = self._of_place((room, place), speed)
            if of_place is None:
                continue
            of_stage = self._of_stage(of_place, ((room, place), speed), first.style, first.stage)
            middle = 1 + len(PLACE_SUMS)
            found[rows, 1:middle] = of_place.between(start, end)
            found[rows, middle : middle + len(STAGE_SUMS)] = of_stage.between(start, end)
            self._against_reference(found, rows, of_stage)
        return found

    def _against_reference(self, found: Floats, rows: list[int], stage: StageSums) -> None:
        known = found[rows, NUMBER["temperature_known"]]
        found[rows, NUMBER["reference_c"]] = known * stage.reference_c
        found[rows, NUMBER["kinetic_reference"]] = known * stage.kinetic_reference
        found[rows, NUMBER["equivalent_days"]] = found[rows, NUMBER["ripening"]] / stage.ripening_reference
        for name in ("drying", "drying_rh"):
            found[rows, NUMBER[name]] *= stage.drying_scale
        found[rows, NUMBER["drying_known"]] *= stage.drying_scale > 0.0

    def _speed(self, room: str, place: str) -> float:
        settings = self.site.room_by_id.get(room)
        return settings.air_speed_at(place) if settings else 0.1

    def _of_place(self, key: Key, speed: float) -> PlaceSums | None:
        of_air = self.air.of(*key)
        if of_air is None:
            return None
        if (key, speed) not in self._places:
            self._places[key, speed] = PlaceSums(of_air, speed, self.site.site.altitude_m)
        self._places[key, speed].catch_up()
        return self._places[key, speed]

    def _of_stage(self, sums: PlaceSums, of: tuple[Key, float], style: Style, stage: Stage) -> StageSums:
        key = (*of, style.id, stage.name)
        if key not in self._stages:
            self._stages[key] = StageSums(sums, style, stage)
        self._stages[key].catch_up()
        return self._stages[key]


def pieces_of(style: Style, made_ms: int, stays: Sequence[Stay], wheel: int = 0) -> list[Piece]:
    """The stays of a wheel cut where it passes from one stage of its style to the next."""
    starts = [made_ms + stage.from_day * DAY_MS for stage in style.stages[1:]]
    pieces = []
    for number, (room, place, from_ms, to_ms) in enumerate(stays):
        cuts = [from_ms, *(ms for ms in starts if from_ms < ms < to_ms), to_ms]
        for low, high in pairwise(cuts):
            if high > low:
                stage = style.stages[sum(ms <= low for ms in starts)]
                pieces.append(Piece(room, place, style, stage, low, high, wheel, number))
    return pieces
