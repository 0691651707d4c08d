"""Entry for a whole make, place or shelf at once, with what differs for some of its wheels; all of it or nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from monitor.errors import LedgerError
from monitor.wheels.ledger import Ledger, new_batch


def wheels_of(
    ledger: Ledger,
    *,
    make: str | None = None,
    room: str | None = None,
    place: str | None = None,
    shelf: str | None = None,
) -> list[str]:
    """Names of the wheels of a make, a room, a place or a shelf that are there now, in order.

    Raises
    ------
    LedgerError
        Nothing is named, or there is no wheel.
    """
    if make is None and room is None:
        raise LedgerError("name a make, or a room with its place and shelf")
    found = ledger.wheels(make=make, room=room, place=place)
    names = [wheel.name for wheel in found if shelf is None or wheel.shelf == shelf]
    if not names:
        said = ", ".join(
            f"{k} {v!r}" for k, v in (("make", make), ("room", room), ("place", place), ("shelf", shelf)) if v
        )
        raise LedgerError(f"no wheel is there now: {said}")
    return names


def enter_many(
    ledger: Ledger,
    kind: str,
    wheels: Sequence[str],
    at: datetime | None,
    author: str,
    said: Mapping[str, Any],
    but: Mapping[str, Mapping[str, Any] | None] | None = None,
    *,
    sure: bool = False,
) -> list[int]:
    """Write one entry of a kind about each wheel, saying the same of all but a few.

    Parameters
    ----------
    wheels : as `wheels_of` gives them
    said : what is said of every wheel
    but : by wheel, what is said of it instead or besides; None where nothing is to be entered for it

    Returns
    -------
    list of int : the numbers of the entries, one batch that `Ledger.undo` takes back together.

    Raises
    ------
    LedgerError
        One of them is refused, or ``but`` names a wheel that is not among them; nothing was written.
    """
    but = but or {}
    strangers = sorted(set(but) - set(wheels))
    if strangers:
        raise LedgerError(f"{', '.join(strangers)}: not among the wheels of this entry")
    moment, batch = at or ledger.present(), new_batch()
    drafts = [
        ledger.draft(
            kind, moment, author, {**said, **(but.get(name) or {})}, wheel=name, batch=batch, sure=sure
        )
        for name in dict.fromkeys(wheels)
        if not (name in but and but[name] is None)
    ]
    return ledger.write(drafts)
