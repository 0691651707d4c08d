"""Channels that keep failing: told as an alarm on the other routes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.alarms import journal as tables
from monitor.alarms.clock_steps import ClockSteps
from monitor.rules.finding import Finding, Priority
from monitor.site import Route, Site

FAILING_AFTER_MS = 120_000
"""A route is failing once a message has waited so long [ms] after it was first refused; common practice, no source."""


def failing_routes(connection: Connection, site: Site, now_ms: int) -> Iterator[Finding]:
    """A finding about each route whose messages do not get out."""
    for route in site.routes:
        since = _failing_since(connection, route.name)
        if since is None:
            continue
        begun_ms = ClockSteps.of(connection).now("attempts", since["id"], since["time_ms"])
        if now_ms - begun_ms >= FAILING_AFTER_MS:
            yield _finding(route, since, now_ms)


def _failing_since(connection: Connection, route: str) -> dict[str, Any] | None:
    """The first refusal of the oldest message that still waits, or the newest attempt where that gave up."""
    attempt, message = tables.attempts.c, tables.messages.c
    of_route = sa.select(tables.attempts).join(tables.messages, message.id == attempt.message_id)
    of_route = of_route.where(message.route == route)
    waits = of_route.join(tables.waiting, tables.waiting.c.message_id == message.id)
    queries = (
        waits.where(attempt.outcome == "failed").order_by(attempt.id),
        of_route.where(attempt.outcome.in_(("sent", "gave-up"))).order_by(attempt.id.desc()),
    )
    for query in queries:
        found = connection.execute(query.limit(1)).mappings().first()
        if found is not None and found["outcome"] != "sent":
            return dict(found)
    return None


def _finding(route: Route, since: dict[str, Any], now_ms: int) -> Finding:
    reason = since["error"] or "the channel did not take them"
    return Finding(
        rule="monitor",
        room="",
        aspect=f"route-{route.name}",
        since_ms=since["time_ms"],
        seen_ms=now_ms,
        what=f"Messages by route {route.name} do not get out: {reason}",
        short=f"messages by route {route.name} do not get out",
        check_first=f"Is the network up, and the address in {route.address_env} still right? "
        f"Try: maturing-room test-message SITE.toml {route.name}",
        priority=Priority.HIGH,
        effect=f"{route.person or 'who is'} on this route is not told",
    )
