"""Who is signed in: a token for each browser, kept in memory, that ends; and wrong tries that slow down."""

from __future__ import annotations

import hashlib
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

from dashboard.people import Person

FREE_TRIES = 3
LONGEST_WAIT_S = 900.0
FORGET_TRIES_AFTER_S = 3600.0
MOST_KEPT = 10_000


@dataclass(frozen=True)
class Signed:
    """A sign-in: who, and when it ends [s of the clock]."""

    person: Person
    began: float
    ends: float


@dataclass(frozen=True)
class _Tries:
    wrong: int
    last: float


class Sessions:
    """The sign-ins of one server, safe to use from many threads.  Tokens are kept as digests only."""

    def __init__(self, idle_s: float, longest_s: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._idle_s, self._longest_s, self._clock = idle_s, longest_s, clock
        self._signed: dict[str, Signed] = {}
        self._tries: dict[str, _Tries] = {}
        self._lock = threading.Lock()
        self.one_try = threading.Lock()
        """Held while a password is tried: tries at once would slip past each other's pause, and each takes memory."""

    def begin(self, person: Person, token: str | None = None) -> str:
        """Sign a person in; the token their browser keeps (the one given, where a sign-in is renewed)."""
        token = token or secrets.token_urlsafe(32)
        with self._lock:
            self._drop_ended()
            self._signed[_digest(token)] = self._from_now(person)
        return token

    def who(self, token: str | None) -> Person | None:
        """The person of a token, whose sign-in this keeps alive; None where there is none, or it has ended."""
        if not token:
            return None
        key, moment = _digest(token), self._clock()
        with self._lock:
            signed = self._signed.get(key)
            if signed is None or moment >= signed.ends:
                return None
            ends = min(moment + self._idle_s, signed.began + self._longest_s)
            self._signed[key] = replace(signed, ends=ends)
            return signed.person

    def ended(self, token: str | None) -> bool:
        """Whether a token once was good and no longer is."""
        with self._lock:
            signed = self._signed.get(_digest(token)) if token else None
            return signed is not None and self._clock() >= signed.ends

    def end(self, token: str | None) -> None:
        """Sign a browser out."""
        if token:
            with self._lock:
                self._signed.pop(_digest(token), None)

    def wait_s(self, *who: str) -> float:
        """How long a next try for any of these (a name, an address) has to wait [s]; 0 where it need not."""
        moment = self._clock()
        with self._lock:
            return max((_wait(self._tries.get(key), moment) for key in who), default=0.0)

    def tried(self, right: bool, *who: str) -> None:
        """Note a try for each of these: a right one clears them, a wrong one makes the next wait longer."""
        moment = self._clock()
        with self._lock:
            if len(self._tries) > MOST_KEPT:
                self._tries = {k: t for k, t in self._tries.items() if moment - t.last < FORGET_TRIES_AFTER_S}
            for key in who:
                before = self._tries.pop(key, None)
                if not right:
                    old = before is None or moment - before.last > FORGET_TRIES_AFTER_S
                    self._tries[key] = _Tries(1 if old or before is None else before.wrong + 1, moment)

    def _from_now(self, person: Person) -> Signed:
        moment = self._clock()
        return Signed(person, moment, moment + min(self._idle_s, self._longest_s))

    def _drop_ended(self) -> None:
        if len(self._signed) > MOST_KEPT:
            moment = self._clock()
            self._signed = {k: s for k, s in self._signed.items() if moment < s.ends}


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def _wait(tries: _Tries | None, moment: float) -> float:
    if tries is None or tries.wrong < FREE_TRIES:
        return 0.0
    pause = min(LONGEST_WAIT_S, 2.0 ** (tries.wrong - FREE_TRIES + 1))
    return max(0.0, tries.last + pause - moment)
