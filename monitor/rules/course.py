"""The course of some quantities over the last hours, and whether they leave these further than they usually do."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from monitor.clock import TEN_MINUTES_MS
from monitor.rules.slots import GAP_MS
from monitor.rules.usual_changes import UsualChanges, Usually

HOUR_MS = 3_600_000
LASTING, GAP, BEFORE = 3, 3, 24
"""Slots that a change must last, slots left out before them, and slots of the hours that it is measured against."""
SWIFT, SWIFT_TIMES = 2, 2.5
"""Where a kind is urgent so many slots do, if all are beyond the hours before by so many times what is allowed."""
ALARMED_SHARE = 0.4
"""Of a change that was called unusual, and of what follows while it stands, at most this share of what was allowed is
learnt: what comes again and again becomes usual in time, what happened once does not hide the next."""
View = list[float]
"""The value of each quantity in a slot."""


@dataclass(frozen=True)
class Allowed:
    """What a change may be: ``times_usual`` the largest of the last ``usual_days`` at this time of day, and the margin
    of its quantity or ``range_share`` of that quantity's usual range over some hours, whichever is more."""

    times_usual: float
    margins: tuple[float, ...]
    range_share: float
    usual_days: int
    stands_h: float


class Course:
    """Follows quantities slot by slot; a change that lasts, and is further than usual, begins an event.

    What is kept is ``memory``, a dictionary fit for JSON.  An event is over when its quantity is back where it was in the
    hours before, or after ``stands_h``: by then it is no longer news.

    Parameters
    ----------
    memory : where the course, what is usual, and the event are kept
    kinds : the changes that are watched, as (side, quantity): side 1 up, -1 down
    allowed : how far a change may go
    urgent : places in ``kinds`` of those for which a large change need not last as long
    """

    def __init__(
        self,
        memory: dict[str, Any],
        kinds: Sequence[tuple[int, int]],
        allowed: Allowed,
        urgent: Collection[int] = (),
    ) -> None:
        self._memory, self._kinds, self._allowed, self._urgent = memory, kinds, allowed, urgent
        self._slots: list[list[float]] = memory.setdefault("course", [])
        self._usual = UsualChanges(
            memory.setdefault("usual", []), allowed.usual_days, len(allowed.margins), len(kinds)
        )

    def closed(self, start_ms: int, view: View) -> bool:
        """Take in a slot that is over; whether enough is known to say if something unusual goes on (see `event`)."""
        slots = self._slots
        if slots and start_ms <= slots[-1][0]:
            return False
        if slots and start_ms - slots[-1][0] > GAP_MS:
            slots.clear()
        slots.append([start_ms, *view])
        del slots[: -(LASTING + GAP + BEFORE + 1)]
        if len(slots) <= LASTING + GAP + BEFORE:
            return False
        lows, highs = _before(slots)
        changes = self._changes(LASTING, lows, highs)
        learnt = [max(change, 0.0) for change in changes]
        usual = self._usual.largest(start_ms)
        if usual is not None:
            allowed = self._allowed_now(usual)
            swift = self._changes(SWIFT, lows, highs)
            for kind in self._urgent:
                changes[kind] = max(changes[kind], swift[kind] / SWIFT_TIMES)
            self._follow(start_ms, changes, allowed, usual, (lows, highs))
            learnt = self._learnt(learnt, allowed)
        ranges = [high - low for low, high in zip(lows, highs, strict=True)]
        self._usual.learn(start_ms, learnt, ranges, view)
        return usual is not None

    @property
    def event(self) -> dict[str, Any] | None:
        """What unusual goes on: ``from_ms``, ``over`` (the kinds of change that began it, furthest first), ``before`` and
        ``now`` (each quantity's value before it, and its newest), and ``edge``, where it is over; None if nothing does."""
        return self._memory.get("event")

    def rewind(self, now_ms: int) -> None:
        """Forget what lies after now [ms]: the clock was set back."""
        self._slots[:] = [slot for slot in self._slots if slot[0] + TEN_MINUTES_MS <= now_ms]
        if self.event is not None:
            self.event["from_ms"] = min(self.event["from_ms"], now_ms)

    def _changes(self, lasting: int, lows: View, highs: View) -> list[float]:
        """How far the last slots all lie beyond the hours before, by kind; below zero where one does not."""
        newest = [slot[1:] for slot in self._slots[-lasting:]]
        return [
            min(v[q] - highs[q] if side > 0 else lows[q] - v[q] for v in newest) for side, q in self._kinds
        ]

    def _allowed_now(self, usual: Usually) -> list[float]:
        own = self._allowed
        margins = [max(m, own.range_share * r) for m, r in zip(own.margins, usual.ranges, strict=True)]
        return [
            usual.doubt * (own.times_usual * usual.changes[kind] + margins[quantity])
            for kind, (_, quantity) in enumerate(self._kinds)
        ]

    def _learnt(self, changes: list[float], allowed: list[float]) -> list[float]:
        unusual = self.event is not None
        return [
            min(change, ALARMED_SHARE * limit) if unusual or change > limit else change
            for change, limit in zip(changes, allowed, strict=True)
        ]

    def _follow(
        self,
        start_ms: int,
        changes: list[float],
        allowed: list[float],
        usual: Usually,
        before: tuple[View, View],
    ) -> None:
        """Begin an event, go on with it, or end it."""
        event, newest = self.event, self._slots[-1][1:]
        if event is not None:
            back = event["side"] * (newest[event["quantity"]] - event["edge"]) <= 0
            if back or start_ms - event["from_ms"] > self._allowed.stands_h * HOUR_MS:
                event = None
        elif over := self._over(changes, allowed, usual):
            side, quantity = self._kinds[over[0]]
            event = {
                "from_ms": int(self._slots[-LASTING][0]),
                "side": side,
                "quantity": quantity,
                "edge": before[0 if side < 0 else 1][quantity],
                "over": over,
                "before": [
                    median(column) for column in list(zip(*self._slots[: -LASTING - GAP], strict=True))[1:]
                ],
            }
        if event is not None:
            event["now"] = newest
        self._memory["event"] = event

    def _over(self, changes: list[float], allowed: list[float], usual: Usually) -> list[int]:
        """The kinds of change that are beyond what is allowed, the furthest first.

        A change back towards where the quantity was in the last days is none: it must end a margin beyond that.
        """
        newest, margins = self._slots[-1][1:], self._allowed.margins
        away = [side * (newest[q] - usual.levels[q]) > margins[q] for side, q in self._kinds]
        over = [kind for kind in range(len(changes)) if away[kind] and changes[kind] > allowed[kind]]
        return sorted(over, key=lambda kind: -changes[kind] / allowed[kind] if allowed[kind] > 0 else 0.0)


def _before(slots: list[list[float]]) -> tuple[View, View]:
    """Lowest and highest of each quantity in the hours before, single slots that stand out left out (medians of three)."""
    lows, highs = [], []
    for values in list(zip(*slots[: BEFORE + 2], strict=True))[1:]:
        smooth = [
            a + b + c - min(a, b, c) - max(a, b, c)
            for a, b, c in zip(values, values[1:], values[2:], strict=False)
        ]
        lows.append(min(smooth))
        highs.append(max(smooth))
    return lows, highs
