"""A standing alarm as its panel says it."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from dashboard.screens.alarms import alarm_panel
from monitor.clock import parse_rfc3339
from tests.dashboard import samples

LONDON = ZoneInfo("Europe/London")
NOW: datetime = parse_rfc3339("2026-01-12T09:00:00Z")


def panel_of(*messages: dict[str, Any]) -> str:
    """The panel's text after these messages."""
    alarm = samples.alarms("alarmed")["standing"][0]
    html = alarm_panel({**alarm, "messages": list(messages)}, LONDON, NOW)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def sent(route: str, at: str) -> dict[str, Any]:
    return {"route": route, "about": "raised", "state": "sent", "attempts": 1, "sent_at": at, "error": None}


def test_a_route_told_again_is_named_once_with_its_times() -> None:
    """Raised at 02:56, reminded at 06:56: one fact with two times; another route is a fact of its own."""
    panel = panel_of(
        sent("phone", "2026-01-12T02:56:10Z"),
        sent("mail", "2026-01-12T02:56:12Z"),
        sent("phone", "2026-01-12T06:56:10Z"),
    )
    assert "told phone 02:56, 06:56" in panel
    assert panel.count("told phone") == panel.count("told mail") == 1


def test_two_messages_of_one_minute_are_one_time() -> None:
    """What was told twice in a minute is no news the second time."""
    panel = panel_of(sent("phone", "2026-01-12T02:56:10Z"), sent("phone", "2026-01-12T02:56:50Z"))
    assert re.search(r"told phone 02:56 (?!,)", panel)


def test_who_was_not_told_is_said_with_the_reason() -> None:
    """A route that could not be reached stands beside those that were."""
    failed = {
        **sent("phone", "2026-01-12T02:56:10Z"),
        "state": "failed",
        "attempts": 5,
        "error": "no route to host",
    }
    panel = panel_of(failed, sent("mail", "2026-01-12T02:57:00Z"))
    assert "not told phone : tried 5 times, no route to host" in panel
    assert "told mail 02:57" in panel
