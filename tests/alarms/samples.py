"""A site and findings for tests of the alarms."""

from __future__ import annotations

from pathlib import Path

from monitor.alarms import Alarms, open_alarms
from monitor.clock import parse_rfc3339, to_ms
from monitor.rules.finding import Finding, Priority
from monitor.site import Site, check_text
from tests.test_site import GOOD

START = to_ms(parse_rfc3339("2026-03-01T03:04:00Z"))
MINUTE = 60_000


def make_site(folder: Path) -> Site:
    site, faults = check_text(GOOD, folder / "site.toml")
    assert site is not None, faults
    return site


def make_alarms(folder: Path) -> Alarms:
    return open_alarms(make_site(folder))


def dry(priority: Priority = Priority.MEDIUM, wheels: int = 41, **more: object) -> Finding:
    """Air too dry for cloth-bound wheels in the vault."""
    given = {
        "rule": "band",
        "room": "vault",
        "style": "clothed",
        "aspect": "humidity-low",
        "since_ms": START,
        "seen_ms": START,
        "what": "Humidity 74.2 % at Low rack, under the 80-88 % that Clothed hard wants",
        "effect": f"{wheels} cloth-bound wheels drying at 2.3 times their intended pace",
        "check_first": "Has the humidifier water, is the door shut?",
        "priority": priority,
        "wheels": tuple(f"clothed-{n:02}" for n in range(wheels)),
        "numbers": {"rh_pct": 74.2},
    }
    return Finding(**{**given, **more})  # type: ignore[arg-type]
