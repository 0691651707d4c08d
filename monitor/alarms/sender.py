"""The workers that send messages out of the outbox, one for each route, and try again until they are gone."""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.alarms import attempts, news
from monitor.alarms import journal as tables
from monitor.alarms.acknowledge_page import AcknowledgePage
from monitor.alarms.alarms import Alarms
from monitor.alarms.channels import Deliver, Recipient, address_fault, deliver, key_of, recipients_of
from monitor.alarms.compose import Composer, still_true
from monitor.alarms.news import Elsewhere
from monitor.alarms.outbox import LOCAL_LOG
from monitor.alarms.record import Alarm
from monitor.alarms.tokens import link_of
from monitor.alarms.words import Words, late, with_link
from monitor.clock import from_ms, now_ms, rfc3339
from monitor.errors import AlarmError
from monitor.site import Route, Site
from monitor.store import open_store
from monitor.store.protocol import Store

logger = logging.getLogger(__name__)

POLL_S, AGAIN_S = 0.1, 5.0
FIRST_WAIT_MS = 5_000
LONGEST_WAIT_MS = 600_000
LATE_MS = 15 * 60_000
"""A message that leaves so long [ms] after it was put into words says so."""
GIVE_UP_AFTER_MS = 24 * 3_600_000
CLOCK_BACK_MS = 60_000
"""A message made so much later [ms] than now was made before the clock was set back, and waits no longer."""
STOP_WITHIN_S = 30
FINAL = frozenset({"sent", "gave-up", "overtaken", "told"})


class Sender:
    """Sends each waiting message to each recipient of its route, once.

    An attempt is written down before it is made and its outcome after.  A message that was under way when the
    process died may or may not have left; it is sent again with the same key, since an alarm twice is better than
    never.  Each route has a worker of its own, so that one that hangs holds up nobody else.
    """

    def __init__(
        self,
        site: Site,
        alarms: Alarms,
        send: Deliver = deliver,
        clock: Callable[[], int] = now_ms,
        store: Callable[[], Store] | None = None,
        addresses: Callable[[Route], str] | None = None,
    ) -> None:
        self._site, self._alarms, self._send, self._clock = site, alarms, send, clock
        self._addresses = addresses or addresses_of
        self._composer = Composer(site, alarms, store or (lambda: open_store(site)))
        self._composing = threading.Lock()
        self._stop = threading.Event()
        self._threads: list[threading.Thread] = []
        self._complained: set[str] = set()
        self._page: AcknowledgePage | None = None

    def start(self) -> None:
        """Begin to work, in a thread for each route and one for the log, and serve the page that acknowledges."""
        for fault in address_faults(self._site):
            self._complain(fault)
        self._serve_page()
        for name in [LOCAL_LOG, *(route.name for route in self._site.routes)]:
            thread = threading.Thread(target=self._run, args=(name,), name=f"sender {name}", daemon=True)
            self._threads.append(thread)
            thread.start()

    def stop(self) -> None:
        """Finish the messages under way and end."""
        self._stop.set()
        for thread in self._threads:
            thread.join(STOP_WITHIN_S)
        if self._page is not None:
            self._page.stop()

    def _serve_page(self) -> None:
        if self._site.alarms.acknowledge is None:
            return
        try:
            self._page = AcknowledgePage(self._site, self._alarms)
            self._page.start()
        except AlarmError as error:
            # Alarms go out all the same; the dashboard and the command line still acknowledge.
            self._complain(f"no page for links that acknowledge: {error}")

    def _run(self, route: str) -> None:
        while not self._stop.is_set():
            try:
                self.send_waiting(route)
            except Exception:
                # A worker that ends would leave its route silent for good.
                logger.exception("messages by %s could not be worked on; trying again", route or "the log")
                self._stop.wait(AGAIN_S)
            self._stop.wait(POLL_S)

    def send_waiting(self, route: str | None = None) -> int:
        """Try every message that is due (of one route, or of all); how many were done with."""
        moment = self._clock()
        return sum(self._work_on(row, moment) for row in self._waiting(route, moment))

    def _waiting(self, route: str | None, moment_ms: int) -> list[dict[str, Any]]:
        message, known = tables.messages.c, [r.name for r in self._site.routes]
        query = sa.select(tables.messages).join(tables.waiting, tables.waiting.c.message_id == message.id)
        query = query.where(
            sa.or_(message.due_ms <= moment_ms, message.created_ms > moment_ms + CLOCK_BACK_MS)
        )
        if route == LOCAL_LOG:
            # Also what waits for a route that the site file no longer has.
            query = query.where(message.route.not_in(known))
        elif route is not None:
            query = query.where(message.route == route)
        with self._alarms.journal.reading() as connection:
            return [dict(row) for row in connection.execute(query.order_by(message.id)).mappings()]

    def _work_on(self, message: dict[str, Any], moment_ms: int) -> bool:
        journal = self._alarms.journal
        if message["route"] == LOCAL_LOG:
            words = self._words(message, moment_ms, always=True)
            assert isinstance(words, Words)
            self._write_log(message, words)
            attempts.note(journal, message["id"], 1, 1, "started", moment_ms)
            attempts.note(journal, message["id"], 1, 1, "sent", moment_ms)
            attempts.close(journal, message["id"], moment_ms)
            return True
        route = next((r for r in self._site.routes if r.name == message["route"]), None)
        fault = self._fault(route)
        if route is None or fault:
            return self._without_address(message, fault, moment_ms)
        words = self._words(message, moment_ms)
        if isinstance(words, str):
            attempts.drop(journal, message["id"], moment_ms, words)
            return True
        recipients = recipients_of(self._addresses(route))
        done = [self._try(message, route, recipient, words, moment_ms) for recipient in recipients]
        if all(done):
            attempts.close(journal, message["id"], moment_ms)
        return all(done)

    def _fault(self, route: Route | None) -> str:
        if route is None:
            return "the route is no longer in the site file"
        return address_fault(route, self._addresses(route))

    def _try(
        self, message: dict[str, Any], route: Route, recipient: Recipient, words: Words, moment_ms: int
    ) -> bool:
        journal = self._alarms.journal
        tried = attempts.of(journal, message["id"], recipient.number)
        if {a["outcome"] for a in tried} & FINAL:
            return True
        number = sum(a["outcome"] == "started" for a in tried)
        alarms = self._alarms.of_message(message["id"])
        elsewhere = self._elsewhere(message, recipient, alarms)
        if self._is_told(elsewhere, message, recipient, number + 1, moment_ms):
            return True
        last_ms = max((a["time_ms"] for a in tried), default=0)
        wait_ms = min(LONGEST_WAIT_MS, FIRST_WAIT_MS * 2 ** min(number - 1, 10)) if number else 0
        if last_ms <= moment_ms < last_ms + wait_ms:
            return False
        if number and alarms and not still_true(message["about"], alarms):
            why = "no longer true when it could be tried again"
            self._note(message, recipient, number + 1, "overtaken", why)
            return True
        if not self._begin(elsewhere, message, recipient, number + 1, moment_ms):
            return False
        thread = f"alarm {min(alarm.id for alarm in alarms)}" if alarms else message["about"]
        key = key_of(journal.name, message["id"], recipient, thread)
        why = self._send(recipient, with_link(words, self._link(message, moment_ms)), key, route.form)
        if not why:
            self._note(message, recipient, number + 1, "sent")
            return True
        gave_up = moment_ms - message["created_ms"] > GIVE_UP_AFTER_MS
        self._note(message, recipient, number + 1, "gave-up" if gave_up else "failed", why)
        self._complain(f"route {route.name} did not take a message ({why}); trying again")
        return gave_up

    def _elsewhere(
        self, message: dict[str, Any], recipient: Recipient, alarms: Sequence[Alarm]
    ) -> Callable[[Connection, int], Elsewhere]:
        """Asks what a recipient was told of a message's news by the other routes that reach the same person."""
        true_of = [a.id for a in still_true(message["about"], alarms) or alarms]
        others = {route.name: route for route in self._site.routes if route.name != message["route"]}
        with self._alarms.journal.reading() as connection:
            names = news.names_of(connection, message["id"], true_of)
            twins = news.twins_of(connection, message["id"], names, others) if others and names else []
        reached = {
            name: self._reached(others[name], recipient) for name in dict.fromkeys(t.route for t in twins)
        }
        twins = [twin for twin in twins if reached[twin.route]]
        if not twins:
            return lambda connection, moment_ms: Elsewhere()
        return lambda connection, moment_ms: news.elsewhere(connection, names, twins, reached, moment_ms)

    def _reached(self, route: Route, recipient: Recipient) -> set[int]:
        """The numbers by which a route reaches the same person."""
        if self._fault(route):
            return set()
        return {r.number for r in recipients_of(self._addresses(route)) if r.who == recipient.who}

    def _is_told(
        self,
        elsewhere: Callable[[Connection, int], Elsewhere],
        message: dict[str, Any],
        recipient: Recipient,
        number: int,
        moment_ms: int,
    ) -> bool:
        """Whether the recipient knows it all by another route, which is then written down."""
        with self._alarms.journal.reading() as connection:
            told_by = elsewhere(connection, moment_ms).told_by
        if told_by:
            self._note(message, recipient, number, "told", f"told by route {' and '.join(told_by)}")
        return bool(told_by)

    def _begin(
        self,
        elsewhere: Callable[[Connection, int], Elsewhere],
        message: dict[str, Any],
        recipient: Recipient,
        number: int,
        moment_ms: int,
    ) -> bool:
        """Write down that an attempt begins, unless another route is just telling the same person the same."""
        with self._alarms.journal.transaction() as connection:
            found = elsewhere(connection, moment_ms)
            if found.told_by or found.under_way:
                return False
            attempts.write(connection, message["id"], recipient.number, number, "started", moment_ms)
        return True

    def _note(
        self, message: dict[str, Any], recipient: Recipient, number: int, outcome: str, why: str | None = None
    ) -> None:
        journal = self._alarms.journal
        attempts.note(journal, message["id"], recipient.number, number, outcome, self._clock(), why)

    def _link(self, message: dict[str, Any], moment_ms: int) -> str:
        try:
            return link_of(self._site, message["id"], message["route"], moment_ms)
        except AlarmError as error:
            self._complain(str(error))
            return "(no link: see the monitor's log)"

    def _without_address(self, message: dict[str, Any], reason: str, moment_ms: int) -> bool:
        self._complain(f"route {message['route']}: {reason}; its messages wait")
        journal = self._alarms.journal
        if not attempts.of(journal, message["id"], 0):
            attempts.note(journal, message["id"], 0, 1, "failed", moment_ms, reason)
        if moment_ms - message["created_ms"] > GIVE_UP_AFTER_MS:
            attempts.note(journal, message["id"], 0, 2, "gave-up", moment_ms, reason)
            attempts.close(journal, message["id"], moment_ms)
        return False

    def _complain(self, text: str) -> None:
        if text not in self._complained:
            self._complained.add(text)
            logger.warning("%s", text)

    def _words(self, message: dict[str, Any], moment_ms: int, always: bool = False) -> Words | str:
        """The words kept of a message, or those it first leaves with; why it is not to leave at all."""
        text = tables.texts.c
        query = sa.select(tables.texts).where(text.message_id == message["id"])
        with self._alarms.journal.reading() as connection:
            kept = connection.execute(query).mappings().first()
        if kept is not None:
            same = Words(kept["title"], kept["line"], kept["text"], kept["html"])
            is_late = moment_ms - kept["composed_ms"] >= LATE_MS and not always
            return late(self._site, same, kept["composed_ms"]) if is_late else same
        with self._composing:
            words = self._composer.compose(message, moment_ms, always)
        if isinstance(words, str):
            return words
        values = {"title": words.title, "line": words.line, "text": words.text, "html": words.html}
        with self._alarms.journal.transaction() as connection:
            if connection.execute(query).first() is None:
                connection.execute(
                    tables.texts.insert().values(message_id=message["id"], composed_ms=moment_ms, **values)
                )
        return words

    def _write_log(self, message: dict[str, Any], words: Words) -> None:
        """Add the line to the local log, unless a crash came between the line and the note of it."""
        path: Path = self._site.data_folder / "messages.log"
        mark = f"[{message['id']}]"
        if path.exists() and any(
            line.split(" ", 2)[1:2] == [mark] for line in path.read_text("utf-8").splitlines()[-50:]
        ):
            return
        with path.open("a", encoding="utf-8") as stream:
            stream.write(f"{rfc3339(from_ms(message['created_ms']))} {mark} {words.line}\n")


def addresses_of(route: Route) -> str:
    """The addresses that the environment holds for a route, parted by spaces."""
    return os.environ.get(route.address_env, "")


def address_faults(site: Site) -> list[str]:
    """What is wrong with the addresses that the environment holds for a site's routes."""
    faults = [(route, address_fault(route, addresses_of(route))) for route in site.routes]
    return [f"route {route.name}: {fault}; its messages wait" for route, fault in faults if fault]
