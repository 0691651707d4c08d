"""From a route's Apprise addresses to recipients, and a message to one of them.

Apprise reads the addresses and carries everything but mail.  Mail is composed and handed over here, since a mail that
is sent again must keep its Message-ID, and text, HTML and picture are to stay one message.
"""

from __future__ import annotations

import hashlib
import logging
import threading
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from monitor.alarms.mail import send_mail
from monitor.alarms.words import LONGEST_LINE, Words
from monitor.errors import AlarmError
from monitor.site import Route

TIMEOUT_S, LONGEST_S = 10, 60.0
"""How long [s] a channel may be silent, and may take in all."""
SHORT_CHANNEL = 2 * LONGEST_LINE
"""A channel that takes no more characters than this gets the one-line form."""


@dataclass(frozen=True)
class Key:
    """What tells a message apart for ever: it stays the same when the message is sent again.

    ``thread`` is shared by all messages about one alarm.
    """

    message: str
    thread: str


@dataclass(frozen=True)
class Recipient:
    """One person or machine that an address reaches; ``number`` stays the same whatever stands around it.

    ``who`` is the same for all addresses that reach the same mailbox or number, by whatever server.
    """

    address: str
    target: int | None = None
    number: int = 1
    who: str = ""


Deliver = Callable[[Recipient, Words, Key, str], str]
"""Sends words to a recipient in a form (``auto``, ``line``, ``text`` or ``html``); why it failed, or nothing."""


def opened(address: str) -> Any:
    """The Apprise channel of an address.

    Raises
    ------
    AlarmError
        It is of no known kind, or something in it is missing; the text names no secret.
    """
    import apprise

    joined = "&" if "?" in address else "?"
    timed = address if "cto=" in address else f"{address}{joined}cto={TIMEOUT_S}&rto={TIMEOUT_S}"
    scheme, there, _ = address.partition("://")
    if not there:
        raise AlarmError("an address begins with its kind, for example mailtos:// or json://")
    if scheme.lower() not in _schemes():
        raise AlarmError(f"no kind of address is called {scheme[:20]!r}; see the Apprise list of services")
    channel = apprise.Apprise.instantiate(timed, suppress_exceptions=True)
    if channel is None:
        raise AlarmError(
            f"an address of kind {scheme[:20]!r} lacks something or cannot be read; look it over"
        )
    return channel


def _schemes() -> set[str]:
    import apprise

    return {str(name) for name in apprise.plugins.N_MGR.schemas()}


def recipients_of(addresses: str) -> list[Recipient]:
    """Everyone that a route's addresses (parted by spaces) reach, each once.

    Raises
    ------
    AlarmError
        See `opened`.
    """
    found: dict[int, Recipient] = {}
    for address in addresses.split():
        channel = opened(address)
        targets = list(getattr(channel, "targets", None) or [])
        # A refusal by one of several targets must not send the message to the others again.
        for target in range(len(targets)) if len(targets) > 1 else [None]:
            who = str(targets[target]) if target is not None else _identity(channel, address, targets)
            kind = address.partition(":")[0]
            number = zlib.crc32(f"{kind}|{who}".encode()) & 0x7FFFFFFF or 1
            same = (
                f"mail|{targets[target or 0][1].lower()}"
                if targets and _is_mail(channel)
                else f"{kind}|{who}"
            )
            found.setdefault(number, Recipient(address, target, number, same))
    return list(found.values())


def _identity(channel: Any, address: str, targets: list[Any]) -> str:
    # A mailbox stays the same mailbox when the password to the mail server changes.
    return str(targets[0]) if targets and _is_mail(channel) else address


def _is_mail(channel: Any) -> bool:
    from apprise.plugins.email import NotifyEmail

    return type(channel) is NotifyEmail and getattr(channel, "pgp_mode", None) != "encrypt"


def deliver(recipient: Recipient, words: Words, key: Key, form: str = "auto") -> str:
    """Send to one recipient; why it failed, or nothing.  Never raises, and never takes longer than `LONGEST_S`.

    What answers a byte at a time is left to itself after that; where it takes the message after all, its key is the same.
    """
    said: list[str] = []
    thread = threading.Thread(
        target=lambda: said.append(_delivered(recipient, words, key, form)), daemon=True
    )
    thread.start()
    thread.join(LONGEST_S)
    return said[0] if said else f"the channel did not finish within {LONGEST_S:g} s"


def _delivered(recipient: Recipient, words: Words, key: Key, form: str) -> str:
    try:
        channel = opened(recipient.address)
        if recipient.target is not None:
            channel.targets = [channel.targets[recipient.target]]
        if _is_mail(channel):
            return send_mail(channel, words, key.message, key.thread, form, TIMEOUT_S)
        return _notified(channel, recipient.address, words, key, form)
    except AlarmError as error:
        return str(error)
    except Exception as error:
        # Channels are many and by many hands; what one raises may hold its address.
        return f"the channel broke down ({type(error).__name__})"


def _notified(channel: Any, address: str, words: Words, key: Key, form: str) -> str:
    import apprise

    if isinstance(getattr(channel, "headers", None), dict):
        channel.headers["Idempotency-Key"] = key.message
    short = form == "line" or (form == "auto" and channel.body_maxlen <= SHORT_CHANNEL)
    rich = form == "html" and bool(words.html)
    body = words.line if short else words.html if rich else words.text
    format_ = apprise.NotifyFormat.HTML if rich else apprise.NotifyFormat.TEXT
    with _Said() as said:
        taken = channel.notify(
            title="" if short else words.title, body=body, body_format=format_, notify_type="info"
        )
    return "" if taken else said.reason(address)


def key_of(journal: str, message_id: int, recipient: Recipient, thread: str) -> Key:
    """The key of a message to a recipient: no other message of any monitor has it."""
    digest = hashlib.sha256(f"{journal}/{message_id}/{recipient.number}".encode()).hexdigest()[:32]
    about = hashlib.sha256(f"{journal}/{thread}/{recipient.number}".encode()).hexdigest()[:32]
    return Key(digest, about)


def address_fault(route: Route, addresses: str) -> str:
    """What is wrong with the addresses a route's environment variable holds; empty where nothing is."""
    if not addresses.split():
        return f"environment variable {route.address_env} holds no address"
    try:
        recipients_of(addresses)
    except AlarmError as error:
        return f"environment variable {route.address_env}: {error}"
    return ""


class _Said(logging.Handler):
    """What Apprise logs in this thread, which is all it says about a failure."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self._thread, self._lines = threading.get_ident(), list[str]()

    def emit(self, record: logging.LogRecord) -> None:
        if record.thread == self._thread:
            self._lines.append(record.getMessage())

    def __enter__(self) -> _Said:
        logging.getLogger("apprise").addHandler(self)
        return self

    def __exit__(self, *_: object) -> None:
        logging.getLogger("apprise").removeHandler(self)

    def reason(self, address: str) -> str:
        """The last line without anything of the address."""
        text = self._lines[-1] if self._lines else "the channel did not take it"
        for part in (
            address.replace("?", "/").replace("&", "/").replace("@", "/").replace("=", "/").split("/")
        ):
            if len(part) >= 4 and not part.endswith(":"):
                text = text.replace(part, "...")
        return " ".join(text.split())[:200]
