"""What the ledger holds, read back: wheels, entries, where each wheel has been, and who has changed since."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select

from monitor.clock import DAY_MS, now, to_ms
from monitor.errors import LedgerError, UnknownWheel
from monitor.records import Contents
from monitor.site import Site
from monitor.wheels import writing
from monitor.wheels.book import Book
from monitor.wheels.database import Database
from monitor.wheels.entries import Entry
from monitor.wheels.lines import Line, Track, Wheel, corrected_by
from monitor.wheels.schema import entries as entries_table
from monitor.wheels.schema import makes as makes_table
from monitor.wheels.schema import wheels as wheels_table


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where a wheel has been: (room, place, from_ms, to_ms) of each stay, the last ``to_ms`` None while it is there."""

    name: str
    style: str
    made_ms: int
    stays: tuple[tuple[str, str, int, int | None], ...]


class LedgerReading:
    """The reading half of `monitor.wheels.Ledger`."""

    def __init__(self, site: Site, database: Database, clock: Callable[[], datetime] = now) -> None:
        self.site = site
        self.database = database
        self._clock = clock
        self._book = Book(database)

    def wheels(
        self,
        style: str | None = None,
        room: str | None = None,
        at: datetime | None = None,
        *,
        place: str | None = None,
        make: str | None = None,
        gone: bool = False,
    ) -> list[Wheel]:
        """Wheels as they stand at a moment (now), in order of name; ``gone=True`` lists those sold or lost too."""
        at_ms = to_ms(at or self._clock())
        found = [wheel for wheel in self._book.wheels(at_ms) if gone or wheel.gone_at is None]
        wanted = {"style": style, "room": room, "place": place, "make": make}
        for name, value in wanted.items():
            if value is not None:
                found = [wheel for wheel in found if getattr(wheel, name) == value]
        return sorted(found, key=lambda wheel: wheel.name)

    def wheel(self, name: str, at: datetime | None = None) -> Wheel:
        """One wheel as it stands at a moment (now).

        Raises
        ------
        UnknownWheel
            No wheel of that name is in the ledger, or it was not yet made then.
        """
        wheel = self._book.wheel(self._key(name), to_ms(at or self._clock()))
        if wheel is None:
            raise UnknownWheel(f"wheel {name!r} was not yet made then")
        return wheel

    def history(self, name: str) -> list[Entry]:
        """Every entry about a wheel and its make, in order of the time it speaks of, those that no longer
        stand among them (``effective`` tells)."""
        key = self._key(name)
        with self.database.reading() as connection:
            track = writing.tracks_of(connection, [key])[key]
        return _entries(track)

    def histories(self, names: Sequence[str]) -> dict[str, list[Entry]]:
        """`history` of many wheels in few queries."""
        keys = [self._key(name) for name in names]
        with self.database.reading() as connection:
            tracks = writing.tracks_of(connection, keys)
        return {track.name: _entries(track) for track in tracks.values()}

    def entry(self, entry_id: int) -> Entry:
        """One entry by its number.

        Raises
        ------
        LedgerError
            There is none.
        """
        columns = entries_table.c
        with self.database.reading() as connection:
            row = connection.execute(
                select(*columns, wheels_table.c.name.label("wheel"), makes_table.c.name.label("make"))
                .join(makes_table, makes_table.c.id == columns.make_id)
                .outerjoin(wheels_table, wheels_table.c.id == columns.wheel_id)
                .where(columns.id == entry_id)
            ).one_or_none()
            if row is None:
                raise LedgerError(f"there is no entry {entry_id}")
            same = (
                columns.wheel_id == row.wheel_id
                if row.wheel_id
                else (columns.make_id == row.make_id) & columns.wheel_id.is_(None)
            )
            related = connection.execute(select(columns.id, columns.corrects).where(same)).all()
        lines = [Line(r.id, "", 0, 0, "", 0, 0, "", r.corrects) for r in related]
        line = Line(
            row.id,
            row.kind,
            row.at_ms,
            row.recorded_ms,
            row.author,
            row.make_id,
            row.wheel_id,
            row.details,
            row.corrects,
            row.batch,
        )
        return _entry(line, row.wheel, row.make, corrected_by(lines))

    def newest_entries(self, limit: int = 50) -> list[Entry]:
        """The entries written last, newest first."""
        columns = entries_table.c
        with self.database.reading() as connection:
            ids = list(
                connection.execute(select(columns.id).order_by(columns.id.desc()).limit(limit)).scalars()
            )
        return [self.entry(entry_id) for entry_id in ids]

    def locations(self, name: str) -> list[tuple[str, str, int, int | None]]:
        """Where a wheel has been: (room, place, from_ms, to_ms), the last ``to_ms`` None while it is there."""
        return [
            (stay.room, stay.place, stay.from_ms, stay.to_ms)
            for stay in self._book.track(self._key(name)).stays
        ]

    def contents(self, at: datetime | None = None) -> list[Contents]:
        """What every place holds at a moment (now), by style and stage of age."""
        at_ms = to_ms(at or self._clock())
        groups: dict[tuple[str, str, str, str], list[str]] = {}
        for wheel in self._book.wheels(at_ms):
            style = self.site.style_by_id.get(wheel.style)
            if wheel.gone_at is None and wheel.room and wheel.place and style:
                stage = style.stage_at((at_ms - to_ms(wheel.made_at)) / DAY_MS).name
                groups.setdefault((wheel.room, wheel.place, wheel.style, stage), []).append(wheel.name)
        return [Contents(*key, wheels=tuple(sorted(names))) for key, names in sorted(groups.items())]

    def changed_wheels(self, after_revision: int = 0) -> tuple[list[str], int]:
        """Names of the wheels that entries after a revision speak of (those of a make, all its wheels), and the
        revision now."""
        with self.database.reading() as connection:
            revision = writing.newest(connection)
            if revision == after_revision:
                return [], revision
            keys = writing.wheels_since(connection, after_revision)
        return sorted({track.name for track in self._book.tracks(keys)}), revision

    def known(self, names: Sequence[str]) -> list[str]:
        """Those of some names that a standing wheel has."""
        return [name for name in names if self._book.key(name) is not None]

    def whereabouts(self, names: Sequence[str] | None = None) -> dict[str, Whereabouts]:
        """Style, make date and stays of many wheels at once (all unless named), gone ones among them."""
        keys = None if names is None else [self._key(name) for name in names]
        found: dict[str, Whereabouts] = {}
        for track in self._book.tracks(keys):
            make = track.make_line
            if make is not None:
                stays = tuple((s.room, s.place, s.from_ms, s.to_ms) for s in track.stays)
                found[track.name] = Whereabouts(track.name, make.said()["style"], make.at_ms, stays)
        return found

    def revision(self) -> int:
        """The number of the newest entry: grows with every write, so a reader can tell whether to look again."""
        with self.database.reading() as connection:
            return writing.newest(connection)

    def _key(self, name: str) -> int:
        key = self._book.key(name)
        if key is None:
            with self.database.reading() as connection:
                raise UnknownWheel(writing.unknown_words(connection, name))
        return key


def _entries(track: Track) -> list[Entry]:
    gone = {**corrected_by(track.make_lines), **corrected_by(track.own_lines)}
    made = [_entry(line, None, track.make, gone) for line in track.make_lines]
    own = [_entry(line, track.name, track.make, gone) for line in track.own_lines]
    return sorted(made + own, key=lambda entry: (entry.at_ms, entry.id))


def _entry(line: Line, wheel: str | None, make: str, gone: dict[int, int]) -> Entry:
    return Entry(
        line.id,
        line.kind,
        line.at_ms,
        line.recorded_ms,
        line.author,
        wheel,
        make,
        line.said(),
        line.corrects,
        gone.get(line.id),
        line.batch,
    )
