"""What the ledger refuses: entries that cannot be true of a wheel, and what it asks about: those that hardly can."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from monitor.clock import from_ms, to_ms
from monitor.errors import LedgerError
from monitor.site import Site
from monitor.wheels.entries import Details, MakeDetails, MoveDetails
from monitor.wheels.lines import Line, Track

WRONG_FACTOR = 3.0
"""A weighing this many times heavier or lighter than expected is refused outright (a slipped digit, lb for kg x3)."""
ODD_GAIN, ODD_LOSS = 1.03, 0.60
"""A weighing above or below these shares of the one before is asked about."""
MOST_AHEAD = timedelta(days=1)
AFTER_GONE = frozenset({"note", "sale", "loss"})
"""What may still be said of a wheel that is gone (a second sale has a refusal of its own)."""


def day(at_ms: int) -> str:
    """A time as a short date for a sentence."""
    return f"{from_ms(at_ms):%Y-%m-%d %H:%M}Z"


def checked_time(at: datetime, now: datetime) -> int:
    """The time of an entry [ms].

    Raises
    ------
    LedgerError
        It has no time zone, lies before 1970, or more than a day ahead.
    """
    if at.tzinfo is None:
        raise LedgerError(f"the time {at.isoformat()} has no time zone; give one, for example a trailing Z")
    at_ms = to_ms(at)
    if at_ms < 0:
        raise LedgerError(f"the time {at.isoformat()} is before 1970")
    if at > now + MOST_AHEAD:
        raise LedgerError(f"the time {day(at_ms)} lies ahead; the ledger keeps what has happened")
    return at_ms


def check_against_site(details: Details, site: Site) -> None:
    """Refuse a style, room or place that the site file does not have."""
    if isinstance(details, MakeDetails) and details.style not in site.style_by_id:
        known = ", ".join(site.style_by_id) or "none"
        raise LedgerError(f"no style is called {details.style!r}; the site file has {known}")
    if isinstance(details, MoveDetails):
        room = site.room_by_id.get(details.room)
        if room is None:
            raise LedgerError(
                f"no room is called {details.room!r}; the site file has {', '.join(site.room_by_id)}"
            )
        if details.place not in {place.id for place in room.places}:
            known = ", ".join(place.id for place in room.places)
            raise LedgerError(f"room {room.id} has no place {details.place!r}; it has {known}")


def faults(track: Track, site: Site) -> Iterator[tuple[Line, str, bool]]:
    """What cannot be true of a wheel's standing lines: the line to blame, the words, and whether it is only doubtful.

    Run over the whole wheel after the new lines are laid in, so that back-dated entries, corrections and
    lines taken back are held to the same rules as plain ones.
    """
    make = track.make_line
    if make is None:
        for line in track.own[:1]:
            yield line, f"{track.name!r}: its make {track.make!r} was taken back", False
        return
    for line in track.own:
        if line.at_ms < make.at_ms:
            blamed = line if line.new else make
            yield (
                blamed,
                f"{track.name!r}: {line.kind} on {day(line.at_ms)} is before its make date {day(make.at_ms)}",
                False,
            )
    yield from _gone_faults(track)
    yield from _mass_faults(track, make, site)


def _gone_faults(track: Track) -> Iterator[tuple[Line, str, bool]]:
    gone = track.gone
    if gone is None:
        return
    how = "was sold" if gone.kind == "sale" else "is gone"
    for line in track.own:
        if line is gone:
            continue
        if line.kind in ("sale", "loss"):
            yield line, f"{track.name!r} {how} already, on {day(gone.at_ms)}", False
        elif line.at_ms > gone.at_ms and line.kind not in AFTER_GONE:
            blamed = line if line.new else gone
            yield (
                blamed,
                f"{track.name!r} {how} on {day(gone.at_ms)}; {line.kind} on {day(line.at_ms)} is refused",
                False,
            )


def _mass_faults(track: Track, make: Line, site: Site) -> Iterator[tuple[Line, str, bool]]:
    said = make.said()
    style = site.style_by_id.get(said["style"])
    before = said.get("mass_kg") or (style.geometry.mass_kg if style else None)
    weighed = bool(said.get("mass_kg"))
    for line in track.own:
        if line.kind != "weighing":
            continue
        mass = line.said()["mass_kg"]
        if line.new and before:
            yield from _mass_fault(track, line, mass, before, weighed)
        before, weighed = mass, True


def _mass_fault(
    track: Track, line: Line, mass: float, before: float, weighed: bool
) -> Iterator[tuple[Line, str, bool]]:
    against = f"{mass:g} kg against {before:g} kg " + ("before" if weighed else "for its style")
    if not 1 / WRONG_FACTOR < mass / before < WRONG_FACTOR:
        yield line, f"{track.name!r}: weighing of {against}: check the digit and the unit (kg)", False
    elif weighed and not line.sure and not ODD_LOSS <= mass / before <= ODD_GAIN:
        yield line, f"{track.name!r}: weighing of {against}: weigh again, or say that you are sure", True
