"""The worker that sends messages out of the outbox, and tries again until they are gone."""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import SQLAlchemyError

from monitor.alarms import journal as tables
from monitor.alarms.alarms import Alarms
from monitor.alarms.outbox import LOCAL_LOG
from monitor.alarms.record import alarm_from
from monitor.alarms.words import Words, words_of
from monitor.clock import from_ms, now_ms, rfc3339
from monitor.site import Site

logger = logging.getLogger(__name__)

POLL_S = 0.25
FIRST_WAIT_MS = 5_000
LONGEST_WAIT_MS = 600_000
GIVE_UP_AFTER_MS = 24 * 3_600_000
TIMEOUT_S = 10
Deliver = Callable[[str, Words], bool]


def deliver(address: str, words: Words) -> bool:
    """Send to one Apprise address; whether it was taken.  Never raises for a delivery that fails."""
    import apprise

    joined = "&" if "?" in address else "?"
    timed = address if "cto=" in address else f"{address}{joined}cto={TIMEOUT_S}&rto={TIMEOUT_S}"
    channel = apprise.Apprise()
    if not channel.add(timed):
        return False
    return bool(channel.notify(title=words.title, body=words.text, body_format=apprise.NotifyFormat.TEXT))


class Sender:
    """Sends each waiting message to each recipient of its route, once.

    An attempt is written down before it is made and its outcome after.  A message that was under way when the
    process died may or may not have left; it is sent again, since an alarm twice is better than never.
    """

    def __init__(
        self, site: Site, alarms: Alarms, send: Deliver = deliver, clock: Callable[[], int] = now_ms
    ) -> None:
        self._site, self._alarms, self._send, self._clock = site, alarms, send, clock
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._complained: set[str] = set()

    def start(self) -> None:
        """Begin to work in a thread."""
        self._thread = threading.Thread(target=self._run, name="sender", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Finish the message under way and end."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(TIMEOUT_S * 2)

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self.send_waiting()
            except (SQLAlchemyError, OSError):
                logger.exception("messages could not be worked on; trying again")
                self._stop.wait(5)
            self._stop.wait(POLL_S)

    def send_waiting(self) -> int:
        """Try every message that is due; how many were sent whole."""
        moment = self._clock()
        return sum(self._work_on(row, moment) for row in self._waiting(moment))

    def _waiting(self, moment_ms: int) -> list[dict[str, Any]]:
        columns = tables.messages.c
        query = (
            sa.select(tables.messages)
            .join(tables.waiting, tables.waiting.c.message_id == columns.id)
            .where(columns.due_ms <= moment_ms)
        )
        with self._alarms.journal.reading() as connection:
            return [dict(row) for row in connection.execute(query.order_by(columns.id)).mappings()]

    def _work_on(self, message: dict[str, Any], moment_ms: int) -> bool:
        words = self._words(message, moment_ms)
        if message["route"] == LOCAL_LOG:
            self._write_log(message, words)
            self._note(message["id"], 1, 1, "started", moment_ms)
            self._note(message["id"], 1, 1, "sent", moment_ms)
            self._note(message["id"], 0, 0, "closed", moment_ms)
            return True
        addresses = self._addresses(message["route"])
        if not addresses:
            return self._without_address(message, moment_ms)
        done = [
            self._try(message, number, address, words, moment_ms)
            for number, address in enumerate(addresses, 1)
        ]
        if all(done):
            self._note(message["id"], 0, 0, "closed", moment_ms)
        return all(done)

    def _try(
        self, message: dict[str, Any], recipient: int, address: str, words: Words, moment_ms: int
    ) -> bool:
        tried = self._tried(message["id"], recipient)
        outcomes = {a["outcome"] for a in tried}
        if outcomes & {"sent", "gave-up"}:
            return True
        number = sum(a["outcome"] == "started" for a in tried)
        last_ms = max((a["time_ms"] for a in tried), default=0)
        wait_ms = min(LONGEST_WAIT_MS, FIRST_WAIT_MS * 2 ** (number - 1)) if number else 0
        if moment_ms < last_ms + wait_ms:
            return False
        self._note(message["id"], recipient, number + 1, "started", moment_ms)
        if self._send(address, words):
            self._note(message["id"], recipient, number + 1, "sent", self._clock())
            return True
        gave_up = moment_ms - message["created_ms"] > GIVE_UP_AFTER_MS
        outcome = "gave-up" if gave_up else "failed"
        self._note(
            message["id"], recipient, number + 1, outcome, self._clock(), "the channel did not take it"
        )
        self._complain(f"route {message['route']} did not take a message; trying again")
        return gave_up

    def _without_address(self, message: dict[str, Any], moment_ms: int) -> bool:
        variable = next((r.address_env for r in self._site.routes if r.name == message["route"]), "")
        reason = (
            f"environment variable {variable} holds no address"
            if variable
            else "the route is no longer in the site file"
        )
        self._complain(f"route {message['route']}: {reason}; its messages wait")
        tried = self._tried(message["id"], 1)
        if not tried:
            self._note(message["id"], 1, 1, "failed", moment_ms, reason)
        if moment_ms - message["created_ms"] > GIVE_UP_AFTER_MS:
            self._note(message["id"], 1, 2, "gave-up", moment_ms, reason)
            self._note(message["id"], 0, 0, "closed", moment_ms)
        return False

    def _complain(self, text: str) -> None:
        if text not in self._complained:
            self._complained.add(text)
            logger.warning("%s", text)

    def _addresses(self, route: str) -> list[str]:
        settings = next((r for r in self._site.routes if r.name == route), None)
        return os.environ.get(settings.address_env, "").split() if settings else []

    def _words(self, message: dict[str, Any], moment_ms: int) -> Words:
        with self._alarms.journal.transaction() as connection:
            kept = (
                connection.execute(sa.select(tables.texts).where(tables.texts.c.message_id == message["id"]))
                .mappings()
                .first()
            )
            if kept is not None:
                return Words(kept["title"], kept["line"], kept["text"])
            alarm_id = connection.execute(
                sa.select(tables.message_alarms.c.alarm_id)
                .where(tables.message_alarms.c.message_id == message["id"])
                .limit(1)
            ).scalar_one()
            row = (
                connection.execute(sa.select(tables.alarms).where(tables.alarms.c.id == alarm_id))
                .mappings()
                .one()
            )
            words = words_of(self._site, alarm_from(row), message["about"])
            connection.execute(
                tables.texts.insert().values(
                    message_id=message["id"],
                    composed_ms=moment_ms,
                    title=words.title,
                    line=words.line,
                    text=words.text,
                    html="",
                )
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

    def _tried(self, message_id: int, recipient: int) -> list[dict[str, Any]]:
        columns = tables.attempts.c
        query = sa.select(tables.attempts).where(
            columns.message_id == message_id, columns.recipient == recipient
        )
        with self._alarms.journal.reading() as connection:
            return [dict(row) for row in connection.execute(query.order_by(columns.id)).mappings()]

    def _note(
        self,
        message_id: int,
        recipient: int,
        number: int,
        outcome: str,
        time_ms: int,
        error: str | None = None,
    ) -> None:
        row = {
            "message_id": message_id,
            "recipient": recipient,
            "number": number,
            "outcome": outcome,
            "time_ms": time_ms,
            "error": error,
        }
        with self._alarms.journal.transaction() as connection:
            known = sa.select(tables.attempts.c.id).filter_by(
                message_id=message_id, recipient=recipient, number=number, outcome=outcome
            )
            if connection.execute(known).first() is None:
                connection.execute(tables.attempts.insert().values(**row))
            if outcome == "closed":
                connection.execute(tables.waiting.delete().where(tables.waiting.c.message_id == message_id))
