"""Where pages get their documents: asked of `monitor` once for all open pages, kept a moment, never dressed up as fresh.

A question that fails keeps the last good answer beside the reason, so that a page can show what was true
then and say that it is old.
"""

from __future__ import annotations

import importlib
import logging
import os
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from typing import Any, Protocol

from dashboard.language import say
from dashboard.people import ROLES
from dashboard.signing import Door, Reader, door_of
from monitor.climate.contact_spans import contact_spans
from monitor.climate.course import room_course
from monitor.clock import now, parse_rfc3339
from monitor.errors import MonitorError, UnknownWheel
from monitor.records import CONTACTS
from monitor.site import Site, load, rule_settings
from monitor.wheels.bulk import enter_many
from monitor.wheels.photos import keep_photo, photo_path

Document = dict[str, Any]
log = logging.getLogger(__name__)
MOST_KEPT = 12
"""Documents kept beside those that every page asks for; a wheel's review takes some megabytes."""
DRAWN_FOR_S = 10.0
"""What is drawn from an older document says how old it is [s], and is drawn anew each time."""


class Answers(Protocol):
    """What a source asks at least: documents of monitor/docs/json.md for a site.  Others are asked for by name."""

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


@cache
def source_of(path: str, address: str | None) -> Source:
    """The documents of a site whose pages are served at an address, opened once a process.

    MATURING_ANSWERS names a module that answers instead of the monitor: for drawing sample documents.

    Raises
    ------
    MonitorError
        The site file has faults, or nobody could sign in.
    """
    site = load(path)
    answers: Any = importlib.import_module(os.environ.get("MATURING_ANSWERS", "monitor.answers"))
    return Source(site, answers, door_of(site, address))


class Source:
    """The documents of one site, shared by every open page; safe to use from many threads."""

    def __init__(self, site: Site, answers: Answers, door: Door | None = None) -> None:
        self.site = site
        self.door = door
        self._answers = answers
        self._kept: OrderedDict[str, _Kept] = OrderedDict()
        self._drawn: dict[str, tuple[Document | None, list[str]]] = {}
        self._lock = threading.Lock()

    # -- reading ----------------------------------------------------------------------------------------

    def rooms(self) -> Answer:
        return self._ask("rooms", 3.0, lambda: self._answers.rooms_document(self.site))

    def alarms(self) -> Answer:
        return self._ask("alarms", 1.0, lambda: self._answers.alarms_document(self.site))

    def wheels(self) -> Answer:
        return self._ask("wheels", 5.0, lambda: self._answers.wheels_document(self.site))

    def review(self, wheel: str) -> Answer:
        return self._ask(f"review {wheel}", 5.0, lambda: self._answers.review_document(self.site, wheel))

    def course(self, room: str, place: str, days: int) -> Answer:
        """The air of a place (empty: of the whole room) over the last so many days."""

        def question() -> Document:
            end = now()
            return room_course(self.parts.store, room, place, end - timedelta(days=days), end)

        return self._ask(f"course {room} {place} {days}", 30.0, question)

    def contacts(self, room: str, days: int) -> Answer:
        """When the contacts of a room said that a door stood open or a tank was low, over the last so many days."""
        placed = [s for s in self.site.sensors if s.room == room]
        silence = rule_settings(self.site, self.site.room_by_id[room], "silence")
        switches = [
            (s.id, q, silence.longest_s(s.interval_s)) for s in placed for q in s.quantities if q in CONTACTS
        ]

        def question() -> Document:
            end = now()
            found = (
                contact_spans(self.parts.store, switches, end - timedelta(days=days), end) if switches else []
            )
            return {"contacts": found}

        return self._ask(f"contacts {room} {days}", 30.0, question)

    def offered(self, name: str, *about: Any, keep_s: float = 10.0) -> Answer:
        """A document that `monitor.answers` may offer under the name ``NAME_document``; a fault where it does not."""
        question = getattr(self._answers, f"{name}_document", None)
        if question is None:
            return Answer(None, say("This monitor does not offer that."))
        return self._ask(f"{name} {about}", keep_s, lambda: question(self.site, *about))

    def next_to_grade(self) -> Answer:
        """The wheels that deserve attention, the most deserving first."""
        return self.offered("next_to_grade", keep_s=15.0)

    def offers(self, name: str) -> bool:
        """Whether `monitor.answers` has such a document."""
        return hasattr(self._answers, f"{name}_document")

    @property
    def parts(self) -> Any:
        """The opened parts of the site: its store, its ledger, its alarms."""
        return self._answers.parts(self.site)

    def photo(self, name: str) -> bytes:
        """A kept photo, as JPEG.

        Raises
        ------
        LedgerError
            There is no such photo.
        """
        return photo_path(self._photos, name).read_bytes()

    def drawn(self, answer: Answer, language: str, draw: Callable[[], list[str]]) -> list[str]:
        """What is drawn from a fresh document in a language, drawn once for all pages that show it."""
        kept = self._drawn.get(language)
        if kept is None or kept[0] is not answer.document or answer.age_s() > DRAWN_FOR_S:
            kept = (answer.document, draw())
            self._drawn[language] = kept
        return kept[1]

    # -- writing ----------------------------------------------------------------------------------------

    def reader(self) -> Reader | None:
        """Who reads the page being drawn, and may write; None where nobody has signed in."""
        return self.door.reader() if self.door else Reader("", ROLES[-1])

    def author(self, typed: str = "", role: str = "record") -> str:
        """The name that stands beside what is now written: whoever signed in, else the name typed.

        Raises
        ------
        SignInError
            Nobody is named or signed in, or their role does not cover it.
        """
        return (self.reader() or Reader("", "look", ended=True)).author(typed, role)

    def acknowledge(self, alarm: int, person: str, note: str) -> None:
        """Acknowledge an alarm.

        Raises
        ------
        MonitorError
            Nobody is named, their role does not cover it, or the alarm journal refuses.
        """
        self.alarm_step("acknowledge", person, alarm, note=note.strip())

    def alarm_step(self, step: str, person: str, *about: Any, **said: Any) -> None:
        """Do something to the alarms that their journal knows by name: ``shelve``, ``add_note``, ``plan_work`` ...

        Raises
        ------
        MonitorError
            As `acknowledge`.
        """
        getattr(self.parts.alarms, step)(*about, person=self.author(person), **said)
        self.forget()

    def enter(
        self, kind: str, wheels: str | list[str], person: str, said: Document, sure: bool = False
    ) -> list[int]:
        """Write an entry about a wheel, or about each of several at once, into the ledger; the entries' numbers.

        Raises
        ------
        MonitorError
            Nobody is named, their role does not cover it, or the ledger refuses all of it; `LedgerDoubt` where
            being ``sure`` would let it pass.
        """
        written = self.parts.ledger.enter(kind, wheels, None, self.author(person), said, sure=sure)
        self.forget()
        return list(written)

    def weigh(self, masses: dict[str, float], person: str, note: str = "", sure: bool = False) -> list[int]:
        """Enter the masses [kg] of several wheels at once, all of them or none; the entries' numbers.

        Raises
        ------
        MonitorError
            As `enter`.
        """
        said = {wheel: {"mass_kg": mass, "note": note} for wheel, mass in masses.items()}
        written = enter_many(
            self.parts.ledger, "weighing", list(masses), None, self.author(person), {}, said, sure=sure
        )
        self.forget()
        return list(written)

    def take_back(self, entries: list[int], person: str) -> None:
        """Take entries back that were just written; they stay in the ledger, marked."""
        self.parts.ledger.undo(entries, author=self.author(person))
        self.forget()

    def keep_photo(self, content: bytes, person: str) -> str:
        """Keep a photo; the name by which an entry names it.

        Raises
        ------
        MonitorError
            It is too large or no picture, or the reader may not record.
        """
        self.author(person)
        return keep_photo(self._photos, content)

    @property
    def _photos(self) -> Any:
        return self.site.data_folder / "photos"

    def forget(self) -> None:
        """Ask anew next time: something was written."""
        with self._lock:
            for kept in self._kept.values():
                kept.asked_at = float("-inf")

    # -- keeping ----------------------------------------------------------------------------------------

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
        words = say(
            "The answer could not be made ({error}). Its trace is in the dashboard's log.",
            error=type(error).__name__,
        )
        return Answer(before.document, words)
