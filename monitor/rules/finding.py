"""What a rule says about a room, place, wheel or sensor at a moment."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum


class Priority(IntEnum):
    """How soon a person is needed, by consequence and time to respond."""

    LOW = 1
    MEDIUM = 2
    HIGH = 3
    CRITICAL = 4


@dataclass(frozen=True)
class Finding:
    """One condition that holds now.

    ``key`` (rule and subject) is the same from one update to the next while the condition lasts, so an alarm can
    follow it.  ``aspect`` tells conditions of one rule and subject apart, for example ``humidity-low``.
    Times are epoch milliseconds.  ``numbers`` has the unit in each key, for example ``rh_pct``; ranges are
    ``[low, high]``.  ``short`` is what and effect for a message of one line; ``effect`` says in words what it does to which wheels; ``check_first`` is one line of advice.
    ``cause`` names what several findings share, so that one message tells of all.
    """

    rule: str
    room: str
    since_ms: int
    seen_ms: int
    what: str
    check_first: str
    priority: Priority = Priority.MEDIUM
    place: str = ""
    sensor: str = ""
    style: str = ""
    wheel: str = ""
    aspect: str = ""
    short: str = ""
    effect: str = ""
    wheels: tuple[str, ...] = ()
    certainty: float | None = None
    cause: str = ""
    numbers: dict[str, object] = field(default_factory=dict)

    @property
    def key(self) -> str:
        return "/".join((self.rule, self.room, self.place, self.sensor, self.style, self.wheel, self.aspect))
