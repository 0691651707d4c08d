"""One wheel as the link sees it: where it lay, in what air, and every look that anybody took at it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from monitor.clock import to_ms
from monitor.wheels import Entry, Ledger

Stay = tuple[str, str, int, int]
"""Room, place, from [ms], to [ms]."""


@dataclass(frozen=True)
class Life:
    """A wheel's make, style and make date, its stays, and the entries that stand, in order of time.

    ``until_ms`` is the moment of the study, or when the wheel went [ms since 1970].
    """

    name: str
    make: str
    style: str
    made_ms: int
    until_ms: int
    stays: tuple[Stay, ...]
    entries: tuple[Entry, ...]
    gone: bool = False


def lives_of(ledger: Ledger, at: datetime) -> list[Life]:
    """Every wheel of a ledger that was made by then, those that are gone among them.

    Parameters
    ----------
    at : the moment of the study; what was entered about later times is left out
    """
    at_ms = to_ms(at)
    wheels = ledger.wheels(at=at, gone=True)
    histories = ledger.histories([wheel.name for wheel in wheels])
    lives = []
    for wheel in wheels:
        until_ms = to_ms(wheel.gone_at) if wheel.gone_at else at_ms
        entries = tuple(e for e in histories[wheel.name] if e.effective and e.at_ms <= at_ms)
        stays = stays_until(ledger.locations(wheel.name), until_ms)
        lives.append(
            Life(
                wheel.name,
                wheel.make,
                wheel.style,
                to_ms(wheel.made_at),
                until_ms,
                stays,
                entries,
                wheel.gone_at is not None,
            )
        )
    return lives


def stays_until(locations: Sequence[tuple[str, str, int, int | None]], until_ms: int) -> tuple[Stay, ...]:
    """Stays with an end each, none beyond ``until_ms`` [ms]."""
    ended = (
        (room, place, from_ms, until_ms if to is None else min(to, until_ms))
        for room, place, from_ms, to in locations
    )
    return tuple(stay for stay in ended if stay[3] > stay[2])
