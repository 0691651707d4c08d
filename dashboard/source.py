"""Where pages get their documents: asked of `monitor` once for all open pages, kept a moment, never dressed up as fresh.

A question that fails keeps the last good answer beside the reason, so that a page can show what was true
then and say that it is old.
"""

from __future__ import annotations

import logging
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Protocol

from monitor.climate.course import room_course
from monitor.clock import now, parse_rfc3339
from monitor.errors import AlarmError, LedgerError, MonitorError, UnknownWheel
from monitor.site import Site

Document = dict[str, Any]
log = logging.getLogger(__name__)
MOST_KEPT = 200


class Answers(Protocol):
    """What a source asks: the four documents of monitor/docs/json.md for a site."""

    def rooms_document(self, site: Site) -> Document: ...
    def alarms_document(self, site: Site) -> Document: ...
    def wheels_document(self, site: Site) -> Document: ...
    def review_document(self, site: Site, wheel: str) -> Document: ...
    def parts(self, site: Site) -> Any: ...


@dataclass(frozen=True)
class Answer:
    """The newest document there is (None where there never was one) and why there is no newer one."""

    document: Document | None
    fault: str = ""
    unknown: bool = False

    @property
    def at(self) -> datetime | None:
        """When the document was true."""
        stamp = (self.document or {}).get("at")
        return parse_rfc3339(stamp) if isinstance(stamp, str) else None

    def age_s(self) -> float:
        """Seconds since the document was true [s]; 0 where there is none."""
        return max(0.0, (now() - self.at).total_seconds()) if self.at else 0.0


@dataclass
class _Kept:
    answer: Answer
    asked_at: float
    lock: threading.Lock


class Source:
    """The documents of one site, shared by every open page; safe to use from many threads."""

    def __init__(self, site: Site, answers: Answers) -> None:
        self.site = site
        self._answers = answers
        self._kept: OrderedDict[str, _Kept] = OrderedDict()
        self._lock = threading.Lock()

    def rooms(self) -> Answer:
        return self._ask("rooms", 2.0, lambda: self._answers.rooms_document(self.site))

    def alarms(self) -> Answer:
        return self._ask("alarms", 1.0, lambda: self._answers.alarms_document(self.site))

    def wheels(self) -> Answer:
        return self._ask("wheels", 5.0, lambda: self._answers.wheels_document(self.site))

    def review(self, wheel: str) -> Answer:
        return self._ask(f"review {wheel}", 5.0, lambda: self._answers.review_document(self.site, wheel))

    def course(self, room: str, place: str, days: int) -> Answer:
        """The air of a place (empty: of the whole room) over the last so many days."""

        def question() -> Document:
            store = self._answers.parts(self.site).store
            end = now()
            return room_course(store, room, place, end - timedelta(days=days), end)

        return self._ask(f"course {room} {place} {days}", 30.0, question)

    def acknowledge(self, alarm: int, person: str, note: str) -> None:
        """Acknowledge an alarm.

        Raises
        ------
        AlarmError
            Nobody is named, or the alarm journal refuses.
        """
        if not person.strip():
            raise AlarmError("Write your name first: every entry has its author.")
        self._answers.parts(self.site).alarms.acknowledge(alarm, person.strip(), note.strip())
        self.forget()

    def enter(self, kind: str, wheel: str, person: str, said: Document, sure: bool = False) -> list[int]:
        """Write an entry about a wheel into the ledger; the numbers of the entries written.

        Raises
        ------
        LedgerError
            Nobody is named, or the ledger refuses; `LedgerDoubt` where being ``sure`` would let it pass.
        """
        if not person.strip():
            raise LedgerError("Write your name first: every entry has its author.")
        written = self._answers.parts(self.site).ledger.enter(
            kind, wheel, None, person.strip(), said, sure=sure
        )
        self.forget()
        return list(written)

    def take_back(self, entries: list[int], person: str) -> None:
        """Take entries back that were just written; they stay in the ledger, marked."""
        self._answers.parts(self.site).ledger.undo(entries, author=person.strip())
        self.forget()

    def forget(self) -> None:
        """Ask anew next time: something was written."""
        with self._lock:
            for kept in self._kept.values():
                kept.asked_at = float("-inf")

    def _ask(self, key: str, keep_s: float, question: Callable[[], Document]) -> Answer:
        kept = self._place(key)
        with kept.lock:
            if time.monotonic() - kept.asked_at >= keep_s:
                kept.answer = _answered(question, kept.answer)
                kept.asked_at = time.monotonic()
            return kept.answer

    def _place(self, key: str) -> _Kept:
        with self._lock:
            kept = self._kept.setdefault(key, _Kept(Answer(None), float("-inf"), threading.Lock()))
            self._kept.move_to_end(key)
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
            return kept


def _answered(question: Callable[[], Document], before: Answer) -> Answer:
    try:
        return Answer(question())
    except UnknownWheel as error:
        return Answer(None, str(error), unknown=True)
    except MonitorError as error:
        return Answer(before.document, str(error))
    except Exception as error:  # a page must say that it is blind, whatever the cause
        log.exception("a document could not be made")
        words = f"The answer could not be made ({type(error).__name__}). Its trace is in the dashboard's log."
        return Answer(before.document, words)
