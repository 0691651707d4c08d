"""Where every wheel is: a compact picture of the ledger kept in memory and brought up to date line by line.

Rules ask for the contents of all rooms at every air record; this answers without reading the whole ledger.
Only lines that place, count or end a wheel are held (turnings, weighings and inspections are not).
"""

from __future__ import annotations

import threading
from collections.abc import Sequence

from sqlalchemy import select

from monitor.wheels.database import Database
from monitor.wheels.lines import Line, Track, Wheel, wheel_of
from monitor.wheels.schema import makes, wheels
from monitor.wheels.writing import lines_since, newest

HELD_KINDS = ("make", "move", "sale", "loss", "ironing", "grading", "promise")
_COMPUTED = ("make_line", "own", "gone", "stays")


class Book:
    """Tracks of all wheels, current as of the newest line each time it is asked."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._lock = threading.Lock()
        self._seen = 0
        self._wheel_key = 0
        self._tracks: dict[int, Track] = {}
        self._by_make: dict[int, list[Track]] = {}
        self._names: dict[str, list[int]] = {}

    def wheels(self, at_ms: int) -> list[Wheel]:
        """Every wheel made by then, as it stood then."""
        with self._lock:
            self._catch_up()
            found = [wheel_of(track, at_ms) for track in self._tracks.values()]
        return [wheel for wheel in found if wheel is not None]

    def wheel(self, key: int, at_ms: int) -> Wheel | None:
        """One wheel by key, as it stood then."""
        return wheel_of(self.track(key), at_ms)

    def track(self, key: int) -> Track:
        """The track of a wheel by key (of held kinds only)."""
        with self._lock:
            self._catch_up()
            return self._tracks[key]

    def tracks(self, keys: Sequence[int] | None = None) -> list[Track]:
        """Tracks of many wheels by key (of held kinds only), all unless named."""
        with self._lock:
            self._catch_up()
            return list(self._tracks.values()) if keys is None else [self._tracks[key] for key in keys]

    def key(self, name: str) -> int | None:
        """The key of the wheel that has a name now; None where no standing make has one."""
        with self._lock:
            self._catch_up()
            for key in reversed(self._names.get(name, [])):
                if self._tracks[key].make_line is not None:
                    return key
        return None

    def _catch_up(self) -> None:
        with self._database.reading() as connection:
            last = newest(connection)
            if last == self._seen:
                return
            query = (
                select(wheels.c.id, wheels.c.make_id, wheels.c.name, makes.c.name.label("make"))
                .join(makes, makes.c.id == wheels.c.make_id)
                .where(wheels.c.id > self._wheel_key)
                .order_by(wheels.c.id)
            )
            added = connection.execute(query).all()
            lines = lines_since(connection, self._seen, HELD_KINDS)
        for key, make_key, name, make in added:
            self._add(Track(key, make_key, name, make))
        for line in lines:
            self._lay_in(line)
        self._seen = last

    def _add(self, track: Track) -> None:
        self._tracks[track.wheel_id] = track
        self._by_make.setdefault(track.make_id, []).append(track)
        self._names.setdefault(track.name, []).append(track.wheel_id)
        self._wheel_key = track.wheel_id

    def _lay_in(self, line: Line) -> None:
        if line.wheel_id is not None:
            touched = [self._tracks[line.wheel_id]]
            touched[0].own_lines.append(line)
        else:
            touched = self._by_make.get(line.make_id, [])
            for track in touched:
                track.make_lines.append(line)
        for track in touched:
            for name in _COMPUTED:
                track.__dict__.pop(name, None)
