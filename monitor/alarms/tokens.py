"""Signed, expiring tokens for the link that acknowledges a message: good for that one purpose."""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import os
from dataclasses import dataclass

from monitor.alarms.alarms import Alarms
from monitor.errors import AlarmError
from monitor.site import Site

PURPOSE = b"maturing-room acknowledge 1\0"
LEAST_SECRET = 16
LONGEST_TOKEN = 400


@dataclass(frozen=True)
class Pass:
    """What a token allows: to acknowledge the alarms of one message, as told by one route."""

    message_id: int
    route: str
    expires_ms: int


def secret_of(site: Site) -> bytes | None:
    """The secret that the environment holds for the acknowledge link; None where the site has no such link.

    Raises
    ------
    AlarmError
        The environment holds none, or one that is too short.
    """
    link = site.alarms.acknowledge
    if link is None:
        return None
    secret = os.environ.get(link.secret_env, "").encode()
    if len(secret) < LEAST_SECRET:
        what = "holds no secret" if not secret else f"holds a secret of under {LEAST_SECRET} characters"
        raise AlarmError(
            f"environment variable {link.secret_env} {what}; make one: python3 -c 'import secrets; "
            "print(secrets.token_urlsafe(32))'"
        )
    return secret


def make_token(secret: bytes, allowed: Pass) -> str:
    """A token fit for a web address."""
    body = f"{allowed.message_id}.{allowed.expires_ms}.{allowed.route}".encode()
    return f"{_text(body)}.{_text(_signature(secret, body))}"


def read_token(secret: bytes, token: str, now_ms: int) -> Pass:
    """What a token allows.

    Raises
    ------
    AlarmError
        It was not made here, was changed on the way, or is past its time.
    """
    try:
        if len(token) > LONGEST_TOKEN:
            raise ValueError("too long")
        body_text, _, signature = token.partition(".")
        body = _bytes(body_text)
        if not hmac.compare_digest(_bytes(signature), _signature(secret, body)):
            raise ValueError("another signature")
        message_id, expires_ms, route = body.decode().split(".", 2)
        allowed = Pass(int(message_id), route, int(expires_ms))
    except (ValueError, binascii.Error):
        raise AlarmError(
            "this link was not made by this monitor, or was cut on the way; open the newest message, or "
            "acknowledge on the monitor's own page"
        ) from None
    if now_ms >= allowed.expires_ms:
        raise AlarmError(
            "this link is too old; open the newest message, or acknowledge on the monitor's own page"
        )
    return allowed


def link_of(site: Site, message_id: int, route: str, now_ms: int) -> str:
    """The address that acknowledges a message told by a route; empty where the site has no such link.

    Raises
    ------
    AlarmError
        See `secret_of`.
    """
    secret, link = secret_of(site), site.alarms.acknowledge
    if secret is None or link is None:
        return ""
    token = make_token(secret, Pass(message_id, route, now_ms + round(link.hours * 3_600_000)))
    return f"{link.address.rstrip('/')}/acknowledge?token={token}"


def person_of(site: Site, route: str) -> str:
    """Who acknowledges by a link that came by a route."""
    found = next((r for r in site.routes if r.name == route), None)
    return found.person if found and found.person else f"route {route}"


def acknowledge_by(site: Site, alarms: Alarms, allowed: Pass, now_ms: int) -> tuple[int, int]:
    """Acknowledge what still waits of a token's message: how many were, how many were not waiting any more."""
    done = past = 0
    for alarm in alarms.of_message(allowed.message_id):
        try:
            alarms.acknowledge(alarm.id, person_of(site, allowed.route), "by the link in a message", now_ms)
            done += 1
        except AlarmError:
            past += 1
    return done, past


def _signature(secret: bytes, body: bytes) -> bytes:
    return hmac.new(secret, PURPOSE + body, hashlib.sha256).digest()


def _text(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


def _bytes(text: str) -> bytes:
    return base64.b64decode(text.encode("ascii") + b"=" * (-len(text) % 4), altchars=b"-_", validate=True)
