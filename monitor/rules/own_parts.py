"""The monitor's own parts: a part that does not do its work is a finding like any other, since nobody else would see it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from monitor.rules.finding import Finding, Priority

MINUTE_MS = 60_000


@dataclass(frozen=True)
class Words:
    """What is said of a part that is not well."""

    what: str
    effect: str
    check_first: str
    priority: Priority
    after_ms: int


WORDS: dict[str, Words] = {
    "broker": Words(
        "The monitor has no connection to the broker",
        "no reading comes in; sensors that keep theirs send them later",
        "Does the broker run, and does this machine reach it? See: maturing-room health SITE.toml",
        Priority.HIGH,
        2 * MINUTE_MS,
    ),
    "store": Words(
        "Readings cannot be written",
        "the broker keeps them meanwhile; nothing acknowledged is lost, but nobody watches the air",
        "Is the disk full or broken? See: maturing-room verify SITE.toml",
        Priority.CRITICAL,
        MINUTE_MS // 2,
    ),
    "judge": Words(
        "The monitor cannot judge the air",
        "readings are kept as they come, but nobody watches the air",
        "Read the monitor's log; is the disk full or broken? See: maturing-room verify SITE.toml",
        Priority.CRITICAL,
        MINUTE_MS,
    ),
    "start": Words(
        "The monitor cannot start",
        "no reading is taken in (the broker keeps them), and nobody watches the air",
        "Is the disk there, full or broken? Read the monitor's log. See: maturing-room verify SITE.toml",
        Priority.CRITICAL,
        3 * MINUTE_MS,
    ),
    "spool": Words(
        "InfluxDB does not take readings",
        "they are kept on this machine and carried over later",
        "Does InfluxDB run, and is the token still right? See: maturing-room health SITE.toml",
        Priority.LOW,
        15 * MINUTE_MS,
    ),
    "disk": Words(
        "The disk that holds the readings is nearly full",
        "once it is full no reading is kept any more",
        "Make room on the disk, or move the store's folder to a larger one",
        Priority.HIGH,
        0,
    ),
    "clock": Words(
        "This machine's clock was set, or is wrong",
        "times of readings and alarms near now are in doubt",
        "Is the time service (NTP) running, and the clock right?",
        Priority.LOW,
        0,
    ),
}
"""The words for each part (`monitor.health.PartsHealth`); delays and priorities are common practice, no source.  The
channel is told by the alarms themselves, on the other routes."""


def part_findings(parts: Mapping[str, Mapping[str, Any]], now_ms: int) -> Iterator[Finding]:
    """A finding for each part that has not been well for long enough.

    Parameters
    ----------
    parts : by name, each ``{"ok": bool, "since_ms": int, "detail": str}``
    """
    for name, state in sorted(parts.items()):
        words = WORDS.get(name)
        if words is None or state["ok"] or now_ms - state["since_ms"] < words.after_ms:
            continue
        detail = str(state["detail"])
        yield Finding(
            rule="monitor",
            room="",
            aspect=f"part-{name}",
            since_ms=min(state["since_ms"], now_ms),
            seen_ms=now_ms,
            what=f"{words.what} ({detail[:200]})",
            short=words.what,
            effect=words.effect,
            check_first=words.check_first,
            priority=words.priority,
        )
