"""On-delay, off-delay and deadband for one condition, as a small streaming class."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Evidence:
    """What a rule saw of one condition at a time [ms].

    ``out`` says that the limit is passed; ``clear`` that the value is back past the limit by its deadband.
    Between the two neither holds, and a standing condition stands on.  ``well_clear`` that it is back so far that no
    off-delay is needed.  ``facts`` must be fit for JSON.
    """

    key: str
    time_ms: int
    out: bool
    clear: bool
    facts: dict[str, Any] = field(default_factory=dict)
    well_clear: bool = False


@dataclass
class Watch:
    """Follows one condition through its delays.

    On-delay: the limit must be passed for the whole delay.  Off-delay: a standing condition holds through
    returns shorter than the delay.  Deadband: only ``clear`` ends it (meanings as in IEC 62541-9, annex B.1.5).
    A condition that is back within ``back_within_ms`` of its end `comes_back`: it then stands until it has been gone for
    as long, so that what returns day after day is told once and not every day.
    Time is the evidence's own; where evidence stops, nothing changes.
    """

    on_delay_ms: int = 0
    off_delay_ms: int = 0
    back_within_ms: int = 0
    since_ms: int | None = None
    clear_since_ms: int | None = None
    seen_ms: int = 0
    on: bool = False
    ended_ms: int | None = None
    comes_back: bool = False
    facts: dict[str, Any] = field(default_factory=dict)

    def update(self, evidence: Evidence) -> None:
        """Take in evidence; older than the newest is ignored, unless a clock was set back (see `rewind`)."""
        if evidence.time_ms < self.seen_ms:
            return
        self.seen_ms = evidence.time_ms
        if evidence.out:
            self._out(evidence)
        elif self.on and evidence.clear:
            self._clearing(evidence)
        elif not self.on:
            self.since_ms = None
        # A value that is back within its limit says nothing of the condition that still stands out its off-delay.
        if evidence.facts and (self.on or evidence.out):
            self.facts = evidence.facts

    def _out(self, evidence: Evidence) -> None:
        self.clear_since_ms = None
        if self.since_ms is None:
            self.since_ms = evidence.time_ms
        if not self.on and evidence.time_ms - self.since_ms >= self.on_delay_ms:
            self.on = True
            self.comes_back = (
                self.ended_ms is not None and self.since_ms - self.ended_ms < self.back_within_ms
            )

    def _clearing(self, evidence: Evidence) -> None:
        if self.clear_since_ms is None:
            self.clear_since_ms = evidence.time_ms
        off_delay_ms = 0 if evidence.well_clear else self.off_delay_ms
        gone_for = max(off_delay_ms, self.back_within_ms if self.comes_back else 0)
        if evidence.time_ms - self.clear_since_ms >= gone_for:
            self.ended_ms = self.clear_since_ms
            self.on, self.since_ms, self.clear_since_ms = False, None, None

    def rewind(self, now_ms: int) -> None:
        """Forget times after now [ms]: the clock was set back."""
        self.seen_ms = min(self.seen_ms, now_ms)
        self.since_ms = None if self.since_ms is None else min(self.since_ms, now_ms)
        self.clear_since_ms = None if self.clear_since_ms is None else min(self.clear_since_ms, now_ms)
        self.ended_ms = None if self.ended_ms is None else min(self.ended_ms, now_ms)

    def state(self) -> dict[str, Any]:
        """All but the delays, which come from the settings, fit for JSON."""
        return {
            "on": self.on,
            "since_ms": self.since_ms,
            "clear_since_ms": self.clear_since_ms,
            "seen_ms": self.seen_ms,
            "ended_ms": self.ended_ms,
            "comes_back": self.comes_back,
            "facts": self.facts,
        }

    @classmethod
    def restored(cls, state: dict[str, Any]) -> Watch:
        """A watch from its `state`."""
        return cls(
            on=bool(state["on"]),
            since_ms=state["since_ms"],
            clear_since_ms=state["clear_since_ms"],
            seen_ms=int(state["seen_ms"]),
            ended_ms=state.get("ended_ms"),
            comes_back=bool(state.get("comes_back")),
            facts=dict(state["facts"]),
        )
