"""The states of an alarm and what leads from one to the next (IEC 62682 and ISA-18.2; OPC UA part 9 for latching).

Pure functions: given a state and an event, the next state, or a refusal.  From memory of the standards and
checked against two implementers' documents; three points are choices and said so: an alarm that was shelved,
suppressed or out of service comes back unacknowledged or normal by its condition, never acknowledged; a
latched alarm is reset by a person after it has been acknowledged; and an alarm of which nobody is told, since it only
adds to what a person has answered, counts as answered with that (`ANSWERED`), by the same person.
"""

from __future__ import annotations

from enum import StrEnum

from monitor.errors import AlarmError


class State(StrEnum):
    """States of an alarm; `NORMAL` ends it."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned-unacknowledged"
    LATCHED = "latched"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed-by-design"
    OUT_OF_SERVICE = "out-of-service"


class Event(StrEnum):
    """What can happen to an alarm."""

    RAISE = "raise"
    RETURN = "return"
    ACKNOWLEDGE = "acknowledge"
    ANSWERED = "answered with another"
    RESET = "reset"
    REALARM = "re-alarm"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    SUPPRESS = "suppress"
    RELEASE = "release"
    REMOVE = "take out of service"
    RESTORE = "return to service"
    CHANGED = "changed"
    NOTE = "note"


QUIET = frozenset({State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE})
"""States in which an alarm makes no message."""
LIVE = frozenset({State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.RETURNED, State.LATCHED})

_PLAIN: dict[tuple[State, Event], State] = {
    (State.NORMAL, Event.RAISE): State.UNACKNOWLEDGED,
    (State.RETURNED, Event.RAISE): State.UNACKNOWLEDGED,
    (State.LATCHED, Event.RAISE): State.UNACKNOWLEDGED,
    (State.UNACKNOWLEDGED, Event.ACKNOWLEDGE): State.ACKNOWLEDGED,
    (State.UNACKNOWLEDGED, Event.ANSWERED): State.ACKNOWLEDGED,
    (State.RETURNED, Event.ACKNOWLEDGE): State.NORMAL,
    (State.LATCHED, Event.ACKNOWLEDGE): State.LATCHED,
    (State.LATCHED, Event.RESET): State.NORMAL,
    (State.UNACKNOWLEDGED, Event.RETURN): State.RETURNED,
    (State.ACKNOWLEDGED, Event.RETURN): State.NORMAL,
    (State.ACKNOWLEDGED, Event.REALARM): State.UNACKNOWLEDGED,
    (State.UNACKNOWLEDGED, Event.REALARM): State.UNACKNOWLEDGED,
    (State.SHELVED, Event.REMOVE): State.OUT_OF_SERVICE,
    (State.SUPPRESSED, Event.REMOVE): State.OUT_OF_SERVICE,
    (State.NORMAL, Event.SUPPRESS): State.SUPPRESSED,
    (State.NORMAL, Event.REMOVE): State.OUT_OF_SERVICE,
}
_OPENS: dict[Event, State] = {
    Event.SHELVE: State.SHELVED,
    Event.SUPPRESS: State.SUPPRESSED,
    Event.REMOVE: State.OUT_OF_SERVICE,
}
_RELEASES: dict[Event, State] = {
    Event.UNSHELVE: State.SHELVED,
    Event.RELEASE: State.SUPPRESSED,
    Event.RESTORE: State.OUT_OF_SERVICE,
}


def _refusal(state: State, event: Event) -> str:
    if event is Event.ACKNOWLEDGE and state is State.ACKNOWLEDGED:
        return "this alarm is acknowledged already"
    if event is Event.RESET:
        return f"this alarm is {state}; only one that is latched and acknowledged can be reset"
    if event is Event.UNSHELVE:
        return f"this alarm is {state} and not shelved"
    if event is Event.ACKNOWLEDGE and state in QUIET:
        return f"this alarm is {state} and waits for nobody; acknowledge it when it comes back"
    return f"an alarm that is {state} cannot be answered with {event}"


def next_state(
    state: State, event: Event, *, active: bool, latching: bool = False, acknowledged: bool = False
) -> State:
    """The state after an event.

    Parameters
    ----------
    active : whether the condition holds, after the event
    latching : whether the alarm waits for a person even after its condition has returned
    acknowledged : whether a person has acknowledged it since it was raised

    Raises
    ------
    AlarmError
        The event has no meaning in that state.
    """
    if event in (Event.CHANGED, Event.NOTE) or (state in QUIET and event in (Event.RAISE, Event.RETURN)):
        return state
    if event in _RELEASES and state is _RELEASES[event]:
        return State.UNACKNOWLEDGED if active else State.NORMAL
    if event in _OPENS and state in LIVE:
        return _OPENS[event]
    if event is Event.RETURN and latching and state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED):
        return State.LATCHED
    if event is Event.RESET and state is State.LATCHED and not acknowledged:
        raise AlarmError("this alarm is latched; acknowledge it first, then reset it")
    following = _PLAIN.get((state, event))
    if following is None:
        raise AlarmError(_refusal(state, event))
    return following
