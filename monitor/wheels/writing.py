"""Lays new lines into the ledger: resolves names, checks the whole result, writes all or nothing."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import msgspec
from sqlalchemy import Connection, and_, func, insert, or_, select

from monitor.clock import now_ms
from monitor.errors import LedgerDoubt, LedgerError, UnknownWheel
from monitor.site import Site
from monitor.wheels import checks
from monitor.wheels.entries import Details
from monitor.wheels.lines import Line, Track, corrected_by
from monitor.wheels.schema import entries, makes, wheels

CHUNK = 500
"""Names or keys in one query; databases bound the number of parameters."""


@dataclass(frozen=True)
class Draft:
    """An entry to be written.  Exactly one of ``wheel`` and ``make`` names what it is about."""

    kind: str
    at_ms: int
    author: str
    details: Details
    wheel: str | None = None
    make: str | None = None
    corrects: int | None = None
    batch: str = ""
    row: int | None = None
    sure: bool = False


@dataclass(frozen=True)
class NewMake:
    """A make to be added, with the names of its wheels."""

    name: str
    wheels: tuple[str, ...]
    row: int | None = None


@dataclass
class Fault:
    """Why a draft is refused, the row it came from, and whether it is only doubtful."""

    row: int | None
    message: str
    doubt: bool = False


class Refused(LedgerError):
    """One or more drafts are refused; ``faults`` lists each."""

    def __init__(self, faults: list[Fault]) -> None:
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        super().__init__(faults[0].message + more)
        self.faults = faults


@dataclass
class _Names:
    """Names already in the ledger, and keys by name (only of makes that stand)."""

    wheels: dict[str, tuple[int, int]] = field(default_factory=dict)
    makes: dict[str, int] = field(default_factory=dict)


def record(
    connection: Connection, site: Site, new_makes: Sequence[NewMake], drafts: Sequence[Draft]
) -> list[int]:
    """Write makes and drafts, or refuse them all; the caller holds the write lock.  Returns the entries' numbers.

    Raises
    ------
    UnknownWheel
        A draft names a wheel or make that is not there.
    LedgerDoubt
        Nothing is wrong for certain, but something hardly can be right.
    Refused
        Anything else: ``faults`` lists every one.
    """
    names = _find_names(connection, new_makes, drafts)
    _refuse(_name_faults(names, new_makes))
    _add_makes(connection, names, new_makes)
    _refuse(_unknown(connection, names, drafts))
    lines = _as_lines(connection, names, drafts)
    tracks = tracks_of(connection, _wheels_touched(connection, lines))
    _lay_in(tracks, lines)
    if any(line.corrects is not None for line in lines):
        _refuse([f for line in lines if line.corrects for f in _stale(tracks, line)])
    _refuse(_fault_list(tracks, site))
    _insert(connection, entries, [_row(line) for line in lines])
    return [line.id for line in lines]


def _refuse(faults: list[Fault]) -> None:
    if not faults:
        return
    for fault in faults:
        if fault.row is not None and not fault.message.startswith("row "):
            fault.message = f"row {fault.row}: {fault.message}"
    certain = [fault for fault in faults if not fault.doubt]
    if not certain:
        raise LedgerDoubt(faults[0].message, list(faults))
    raise Refused(faults)


def _find_names(connection: Connection, new_makes: Sequence[NewMake], drafts: Sequence[Draft]) -> _Names:
    wheel_names = {d.wheel for d in drafts if d.wheel} | {w for make in new_makes for w in make.wheels}
    make_names = {d.make for d in drafts if d.make} | {make.name for make in new_makes}
    names = _Names()
    for chunk in _chunks(sorted(make_names)):
        found = connection.execute(select(makes.c.name, makes.c.id).where(makes.c.name.in_(chunk))).all()
        names.makes.update({name: key for name, key in found if _make_stands(connection, key)})
    stands: dict[int, bool] = {}
    for chunk in _chunks(sorted(wheel_names)):
        query = select(wheels.c.name, wheels.c.id, wheels.c.make_id).where(wheels.c.name.in_(chunk))
        for name, key, make_key in connection.execute(query).all():
            if stands.setdefault(make_key, _make_stands(connection, make_key)):
                names.wheels[name] = (key, make_key)
    return names


def _make_stands(connection: Connection, make_key: int) -> bool:
    lines = _make_lines(connection, [make_key])
    gone = corrected_by(lines)
    return any(line.kind == "make" and line.id not in gone for line in lines)


def _name_faults(names: _Names, new_makes: Sequence[NewMake]) -> list[Fault]:
    faults, seen = [], set()
    for make in new_makes:
        if make.name in names.makes:
            faults.append(Fault(make.row, f"there is a make called {make.name!r} already"))
        for wheel in make.wheels:
            if wheel in names.wheels or wheel in seen:
                faults.append(
                    Fault(
                        make.row, f"there is a wheel called {wheel!r} already; each needs a name of its own"
                    )
                )
            seen.add(wheel)
    return faults


def _add_makes(connection: Connection, names: _Names, new_makes: Sequence[NewMake]) -> None:
    make_key = _next_key(connection, makes)
    wheel_key = _next_key(connection, wheels)
    make_rows, wheel_rows = [], []
    for make in new_makes:
        make_rows.append({"id": make_key, "name": make.name})
        names.makes[make.name] = make_key
        for wheel in make.wheels:
            wheel_rows.append({"id": wheel_key, "name": wheel, "make_id": make_key})
            names.wheels[wheel] = (wheel_key, make_key)
            wheel_key += 1
        make_key += 1
    _insert(connection, makes, make_rows)
    _insert(connection, wheels, wheel_rows)


def _unknown(connection: Connection, names: _Names, drafts: Sequence[Draft]) -> list[Fault]:
    faults = []
    for draft in drafts:
        if draft.wheel is not None and draft.wheel not in names.wheels:
            faults.append(Fault(draft.row, unknown_words(connection, draft.wheel)))
        elif draft.make is not None and draft.make not in names.makes:
            faults.append(Fault(draft.row, f"no make is called {draft.make!r}"))
    if len(faults) == 1 and faults[0].row is None:
        raise UnknownWheel(faults[0].message)
    return faults


def unknown_words(connection: Connection, name: str) -> str:
    """That no wheel has this name, with the nearest names there are."""
    known = connection.execute(select(wheels.c.name).limit(20_000)).scalars().all()
    near = difflib.get_close_matches(name[:60], known, n=3)
    hint = f"; did you mean {' or '.join(repr(n) for n in near)}?" if near else ""
    return f"no wheel is called {name!r}{hint}"


def _as_lines(connection: Connection, names: _Names, drafts: Sequence[Draft]) -> list[Line]:
    first, recorded = _next_key(connection, entries), now_ms()
    lines = []
    for number, draft in enumerate(drafts, start=first):
        wheel_key, make_key = (
            names.wheels[draft.wheel] if draft.wheel else (None, names.makes[draft.make or ""])
        )
        details = msgspec.json.encode(draft.details.stored()).decode()
        lines.append(
            Line(
                number,
                draft.kind,
                draft.at_ms,
                recorded,
                draft.author,
                make_key,
                wheel_key,
                details,
                draft.corrects,
                draft.batch,
                draft.row,
                True,
                draft.sure,
            )
        )
    return lines


def _wheels_touched(connection: Connection, lines: Iterable[Line]) -> list[int]:
    touched = {line.wheel_id for line in lines if line.wheel_id is not None}
    for chunk in _chunks(sorted({line.make_id for line in lines if line.wheel_id is None})):
        touched.update(connection.execute(select(wheels.c.id).where(wheels.c.make_id.in_(chunk))).scalars())
    return sorted(touched)


def _lay_in(tracks: dict[int, Track], lines: Iterable[Line]) -> None:
    by_make: dict[int, list[Track]] = {}
    for track in tracks.values():
        by_make.setdefault(track.make_id, []).append(track)
    for line in lines:
        if line.wheel_id is not None:
            tracks[line.wheel_id].own_lines.append(line)
        else:
            for track in by_make.get(line.make_id, ()):
                track.make_lines.append(line)


def _stale(tracks: dict[int, Track], line: Line) -> list[Fault]:
    """A correction of what somebody else has corrected meanwhile would overwrite unseen; it is refused."""
    for track in tracks.values():
        lines = track.own_lines if line.wheel_id is not None else track.make_lines
        if line.wheel_id in (None, track.wheel_id) and any(other.id == line.corrects for other in lines):
            earlier = corrected_by(other for other in lines if not other.new).get(line.corrects or 0)
            if earlier is None:
                return []
            by = next(other for other in lines if other.id == earlier)
            how = "taken back" if by.kind == "undo" else "corrected"
            return [
                Fault(
                    line.row,
                    f"entry {line.corrects} was {how} by {by.author!r} (entry {by.id}); look again first",
                )
            ]
    return [Fault(line.row, f"entry {line.corrects} is not of this wheel")]


def _fault_list(tracks: dict[int, Track], site: Site) -> list[Fault]:
    faults: list[Fault] = []
    for track in tracks.values():
        faults.extend(Fault(line.row, words, doubt) for line, words, doubt in checks.faults(track, site))
    return sorted(faults, key=lambda fault: fault.row or 0)


def tracks_of(connection: Connection, wheel_keys: Sequence[int]) -> dict[int, Track]:
    """The tracks of wheels by key, with every line of theirs and of their makes."""
    tracks: dict[int, Track] = {}
    for chunk in _chunks(wheel_keys):
        query = (
            select(wheels.c.id, wheels.c.make_id, wheels.c.name, makes.c.name.label("make"))
            .join(makes, makes.c.id == wheels.c.make_id)
            .where(wheels.c.id.in_(chunk))
        )
        for key, make_key, name, make in connection.execute(query):
            tracks[key] = Track(key, make_key, name, make)
        for line in _lines(connection, entries.c.wheel_id.in_(chunk)):
            tracks[line.wheel_id or 0].own_lines.append(line)
    by_make: dict[int, list[Line]] = {}
    for line in _make_lines(connection, sorted({track.make_id for track in tracks.values()})):
        by_make.setdefault(line.make_id, []).append(line)
    for track in tracks.values():
        track.make_lines = list(by_make.get(track.make_id, ()))
    return tracks


def _make_lines(connection: Connection, make_keys: Sequence[int]) -> list[Line]:
    lines: list[Line] = []
    for chunk in _chunks(make_keys):
        lines += _lines(connection, and_(entries.c.make_id.in_(chunk), entries.c.wheel_id.is_(None)))
    return lines


def lines_since(connection: Connection, after_id: int, kinds: Sequence[str]) -> list[Line]:
    """Lines after a number: those of the given kinds and every correction or taking back."""
    return _lines(
        connection,
        and_(entries.c.id > after_id, or_(entries.c.kind.in_(kinds), entries.c.corrects.is_not(None))),
    )


def wheels_since(connection: Connection, after_id: int) -> list[int]:
    """Keys of the wheels that lines after a number speak of."""
    columns = entries.c
    query = select(columns.wheel_id, columns.make_id).where(columns.id > after_id).distinct()
    rows = connection.execute(query).all()
    keys = {row.wheel_id for row in rows if row.wheel_id is not None}
    for chunk in _chunks(sorted({row.make_id for row in rows if row.wheel_id is None})):
        keys.update(connection.execute(select(wheels.c.id).where(wheels.c.make_id.in_(chunk))).scalars())
    return sorted(keys)


def newest(connection: Connection) -> int:
    """The number of the newest line, 0 where there is none."""
    return connection.execute(select(func.coalesce(func.max(entries.c.id), 0))).scalar_one()


def _lines(connection: Connection, condition: Any) -> list[Line]:
    columns = entries.c
    query = (
        select(
            columns.id,
            columns.kind,
            columns.at_ms,
            columns.recorded_ms,
            columns.author,
            columns.make_id,
            columns.wheel_id,
            columns.details,
            columns.corrects,
            columns.batch,
        )
        .where(condition)
        .order_by(columns.id)
    )
    return [_line(row) for row in connection.execute(query)]


def _line(row: Any) -> Line:
    return Line(*row)


def _row(line: Line) -> dict[str, Any]:
    return {
        "id": line.id,
        "kind": line.kind,
        "at_ms": line.at_ms,
        "recorded_ms": line.recorded_ms,
        "author": line.author,
        "make_id": line.make_id,
        "wheel_id": line.wheel_id,
        "details": line.details,
        "corrects": line.corrects,
        "batch": line.batch,
    }


def _insert(connection: Connection, table: Any, rows: list[dict[str, Any]]) -> None:
    if rows:
        connection.execute(insert(table), rows)


def _next_key(connection: Connection, table: Any) -> int:
    return connection.execute(select(func.coalesce(func.max(table.c.id), 0))).scalar_one() + 1


def _chunks(keys: Sequence[Any]) -> Iterable[Sequence[Any]]:
    for start in range(0, len(keys), CHUNK):
        yield keys[start : start + CHUNK]
