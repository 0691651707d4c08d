"""An alarm as it stands in the journal, and the finding it follows as plain data."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from monitor.alarms.lifecycle import QUIET, State
from monitor.rules.finding import Finding, Priority


@dataclass(frozen=True)
class Alarm:
    """One alarm: a row of the journal's table ``alarms``.  Times are epoch milliseconds."""

    id: int
    key: str
    state: State
    active: bool
    latching: bool
    priority: Priority
    since_ms: int
    raised_ms: int
    acknowledged_ms: int | None
    acknowledged_by: str | None
    note: str | None
    returned_ms: int | None
    ended_ms: int | None
    until_ms: int | None
    changed_ms: int
    finding: Finding

    @property
    def quiet(self) -> bool:
        """Whether it is shelved, suppressed or out of service."""
        return self.state in QUIET


def alarm_from(row: Any) -> Alarm:
    """An alarm from a row (a mapping) of the journal."""
    values = dict(row)
    values["state"] = State(values["state"])
    values["priority"] = Priority(values["priority"])
    values["finding"] = finding_from(values["finding"])
    return Alarm(**values)


def finding_data(finding: Finding) -> dict[str, Any]:
    """A finding as plain data fit for JSON, with its key."""
    return {
        **asdict(finding),
        "priority": int(finding.priority),
        "wheels": list(finding.wheels),
        "key": finding.key,
    }


def finding_from(data: dict[str, Any]) -> Finding:
    """A finding from its plain data; fields of other versions are passed over."""
    known = {name: data[name] for name in Finding.__dataclass_fields__ if name in data}
    known["priority"] = Priority(known["priority"])
    known["wheels"] = tuple(known["wheels"])
    return Finding(**known)
