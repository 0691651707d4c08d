"""A message that only tests a route: to each recipient, with its outcome at once; nothing is kept."""

from __future__ import annotations

import secrets
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from monitor.alarms.channels import Deliver, address_fault, deliver, key_of, recipients_of
from monitor.alarms.sender import addresses_of
from monitor.alarms.words import CAUTION, LONGEST_TITLE, Context, Parts, composed, shortened
from monitor.clock import now_ms
from monitor.errors import AlarmError
from monitor.site import Site


@dataclass(frozen=True)
class Outcome:
    """Whether one recipient took the test message, and why not."""

    number: int
    kind: str
    reason: str

    @property
    def taken(self) -> bool:
        return not self.reason

    def __str__(self) -> str:
        return f"recipient {self.number} ({self.kind}): {'taken' if self.taken else self.reason}"


def send_test(site: Site, route_name: str, send: Deliver = deliver) -> Iterator[Outcome]:
    """Send the test message to every recipient of a route.

    Raises
    ------
    AlarmError
        There is no such route, or its address cannot be used.
    """
    route = next((r for r in site.routes if r.name == route_name), None)
    if route is None:
        known = ", ".join(r.name for r in site.routes) or "none; add a [[route]]"
        raise AlarmError(f"there is no route {route_name!r} in {site.path.name}; there are: {known}")
    addresses = addresses_of(route)
    if fault := address_fault(route, addresses):
        raise AlarmError(f"route {route_name}: {fault}")
    name = site.site.name
    parts = Parts(
        shortened(f"Test: {name}", LONGEST_TITLE),
        f"Test: {name}",
        f"Test of route {route_name}: messages from {name} arrive here.",
        name,
    )
    parts.paragraphs = [
        f"This is a test of route {route_name}. Nothing is wrong; alarms will arrive like this."
    ]
    parts.foot = CAUTION
    words = composed(parts, Context(now_ms()), asks=False)
    for number, recipient in enumerate(recipients_of(addresses), 1):
        key = key_of(secrets.token_hex(8), 0, recipient, "test")
        yield Outcome(number, recipient.address.partition("://")[0], send(recipient, words, key, route.form))


def tested_document(route_name: str, outcomes: Sequence[Outcome]) -> dict[str, Any]:
    """The ``test-message`` document: who on a route took the message, and why not (see ``json.md``)."""
    reached = [
        {"number": o.number, "kind": o.kind, "taken": o.taken, "reason": o.reason or None} for o in outcomes
    ]
    return {"version": 1, "route": route_name, "recipients": reached}
