"""Durable intake: take messages from the broker, store them, and only then acknowledge them.

One thread does it all: it empties the socket, commits what has gathered, acknowledges it, and begins again.  It never
waits for more messages, so a broker that holds only a few under way is not slowed, and a slow disk gathers larger
commits by itself.
"""

from __future__ import annotations

import logging
import random
import select
import socket
import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from paho.mqtt.client import MQTTMessage, MQTTProtocolVersion

from monitor.clock import now_ms, rfc3339
from monitor.errors import MonitorError, StoreError
from monitor.intake.connection import Connection
from monitor.intake.router import Router
from monitor.records import Reading, Reject
from monitor.site import Broker
from monitor.store.protocol import Store, Written

log = logging.getLogger(__name__)

GONE = b'{"running":false,"why":"the connection was lost"}'
STOPPED = b'{"running":false,"why":"stopped"}'
V5, V311 = MQTTProtocolVersion.MQTTv5, MQTTProtocolVersion.MQTTv311
_WINDOWS_OF_ROWS = 4
_CLOSED_UNANSWERED = 2
"""After so many connections closed without an answer, the other protocol version is tried."""


@dataclass
class Batch:
    """What has been taken from the broker and is not yet stored."""

    readings: list[Reading] = field(default_factory=list)
    rejects: list[Reject] = field(default_factory=list)
    messages: list[tuple[int, int]] = field(default_factory=list)
    first_arrived_ms: int | None = None
    size: int = 0


class Subscriber:
    """Carries messages from a broker into a store.

    ``worker`` sets apart several processes that share one subscription (``broker.share_name``).  ``on_stored`` is
    called with each batch of readings once they are durable, on the subscriber's thread.  What `tell` is given is
    published, retained, on the broker's ``health_topic``; the broker itself tells there when the connection is lost.
    """

    def __init__(
        self,
        broker: Broker,
        router: Router,
        store: Store,
        topics: Sequence[str] | None = None,
        on_stored: Callable[[Sequence[Reading]], None] | None = None,
        *,
        commit_rows: int = 1000,
        worker: str = "",
        backoff_s: tuple[float, float] = (0.5, 30.0),
    ) -> None:
        self._broker, self._router, self._store = broker, router, store
        filters = list(topics) if topics is not None else router.filters()
        self._filters = [f"$share/{broker.share_name}/{f}" for f in filters] if broker.share_name else filters
        self._client_id = f"{broker.client_id}-{worker}" if worker else broker.client_id
        self._on_stored = on_stored
        self._commit_rows = commit_rows
        self._most_held = 2 * commit_rows * _WINDOWS_OF_ROWS
        self._backoff_s = backoff_s
        self._protocol = V311 if broker.protocol == "3.1.1" else V5
        self._unanswered = 0
        self._thread: threading.Thread | None = None
        self._stopping = threading.Event()
        self._wake_in, self._wake_out = socket.socketpair()
        self._batch = Batch()
        self._connection: Connection | None = None
        self._store_retry_at, self._store_wait_s = 0.0, 0.0
        self._said = ""
        self._status = _Status()
        self._topic = (
            f"{broker.health_topic}/{worker}" if worker and broker.health_topic else broker.health_topic
        )
        self._told, self._to_tell = b"", b""

    def tell(self, health: bytes) -> None:
        """Say how the monitor is doing, to whoever listens on the broker, as soon as there is a connection."""
        self._to_tell = health

    def start(self) -> None:
        """Begin, on a thread of its own."""
        self._thread = threading.Thread(target=self._run, name="intake", daemon=True)
        self._thread.start()

    def stop(self, timeout_s: float = 10.0) -> None:
        """Store and acknowledge what is in hand, say goodbye, and end the thread."""
        self._stopping.set()
        self._wake_in.send(b"x")
        if self._thread is not None:
            self._thread.join(timeout_s)

    def health(self) -> dict[str, Any]:
        """How it is doing, as a JSON document."""
        connection = self._connection
        return self._status.document(
            connected=connection is not None and connection.ready,
            protocol="5" if self._protocol == V5 else "3.1.1",
            held=len(self._batch.messages),
        )

    # -- connecting ---------------------------------------------------------------------------------------------

    def _run(self) -> None:
        wait_s = self._backoff_s[0]
        while not self._stopping.is_set():
            connected = self._one_connection()
            if self._stopping.is_set():
                break
            wait_s = self._backoff_s[0] if connected else min(wait_s * 2, self._backoff_s[1])
            self._stopping.wait(wait_s * random.uniform(0.7, 1.3))
        self._wake_in.close()
        self._wake_out.close()

    def _one_connection(self) -> bool:
        """Connect and work until the connection ends; whether the broker had accepted it."""
        # What an earlier connection left unacknowledged, the broker sends again.
        self._batch = Batch()
        connection = None
        try:
            connection = self._connection = Connection(
                self._broker,
                self._filters,
                self._protocol,
                self._take,
                self._client_id,
                self._commit_rows * _WINDOWS_OF_ROWS,
                (self._topic, GONE) if self._topic else None,
            )
            self._told = b""
            connection.open()
            self._work(connection)
        except (OSError, ValueError, MonitorError) as error:
            self._say(f"the broker {self._broker.host}:{self._broker.port} cannot be reached: {error}")
        except Exception as error:  # a fault in the client library must not end the intake
            log.exception("intake: an unexpected fault; connecting again")
            self._status.error = f"{type(error).__name__}: {error}"
        finally:
            self._connection = None
            if connection is not None:
                connection.close()
        return self._settle(connection)

    def _settle(self, connection: Connection | None) -> bool:
        if connection is None:
            return False
        if connection.refusal:
            self._say(connection.refusal)
        if connection.answered:
            self._unanswered = 0
        elif connection.socket is None:
            self._unanswered += 1
        if connection.refused_version or self._unanswered >= _CLOSED_UNANSWERED:
            self._change_protocol()
        return connection.ready

    def _change_protocol(self) -> None:
        self._unanswered = 0
        if self._protocol == V5 and self._broker.share_name:
            self._say("the broker does not speak MQTT 5, which broker.share_name needs; leave share_name out")
            return
        self._protocol = V311 if self._protocol == V5 else V5

    def _say(self, message: str) -> None:
        """Log a trouble once, until things are well again."""
        self._status.error = message
        if message != self._said:
            log.warning("intake: %s; trying again with growing pauses", message)
            self._said = message

    # -- working ------------------------------------------------------------------------------------------------

    def _work(self, connection: Connection) -> None:
        poll = select.poll()
        poll.register(self._wake_out, select.POLLIN)
        poll.register(connection.socket, select.POLLIN)
        deadline = time.monotonic() + 10.0
        while not self._stopping.is_set():
            events = select.POLLIN | (select.POLLOUT if connection.wants_to_write else 0)
            poll.modify(connection.socket, events if self._has_room() else events & ~select.POLLIN)
            poll.poll(self._pause_ms(connection))
            if not self._exchange(connection):
                return
            if connection.refusal and not connection.ready:
                return
            if not connection.ready and time.monotonic() > deadline:
                raise TimeoutError("it does not answer")
            if connection.ready and not connection.refusal and self._said:
                log.info("intake: connected to the broker again")
                self._said = self._status.error = ""
            if connection.ready and self._topic and self._told != self._to_tell:
                self._told = self._to_tell
                connection.publish(self._topic, self._told, retain=True)
            if not self._commit(connection):
                return
        self._store_retry_at = 0.0
        self._commit(connection)
        if connection.ready and self._topic:
            connection.publish(self._topic, STOPPED, retain=True)

    def _has_room(self) -> bool:
        """Whether more may be taken: a store that is away must not fill the memory."""
        return self._batch.size < self._most_held

    def _pause_ms(self, connection: Connection) -> float:
        if _pending(connection.socket):
            return 0.0
        if self._batch.size:
            return max(0.0, min(500.0, (self._store_retry_at - time.monotonic()) * 1000))
        return 500.0

    def _exchange(self, connection: Connection) -> bool:
        """Write what waits and read until the socket is empty or a batch is full; False once it is gone."""
        if connection.wants_to_write and not connection.write():
            return False
        batch, room = self._batch, self._most_held if self._store_wait_s else self._commit_rows
        while batch.size < room:
            before = batch.size
            if not connection.read():
                return False
            if batch.size == before:  # the socket was empty, or the packet was no message: ask the poll again
                break
        return connection.keep_alive()

    def _take(self, message: MQTTMessage) -> None:
        arrived_ms = time.time_ns() // 1_000_000
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = repr(message._topic)[:300]
        readings, rejects = self._router.read(topic, bytes(message.payload), arrived_ms, message.retain)
        batch = self._batch
        batch.readings += readings
        batch.rejects += rejects
        batch.size += max(1, len(readings) + len(rejects))
        if message.qos:
            batch.messages.append((message.mid, message.qos))
        if batch.first_arrived_ms is None:
            batch.first_arrived_ms = arrived_ms
        self._status.messages += 1
        self._status.last_message_ms = arrived_ms

    def _commit(self, connection: Connection) -> bool:
        """Store what is in hand and acknowledge it; False once the connection is gone."""
        if not self._batch.size or time.monotonic() < self._store_retry_at:
            return True
        batch = self._batch
        try:
            written = self._store.write(batch.readings)
            self._store.reject(batch.rejects)
        except StoreError as error:
            self._hold(error)
            return True
        self._batch = Batch()
        self._store_wait_s = 0.0
        self._status.stored(batch, written)
        alive = connection.acknowledge(batch.messages)
        self._tell(batch.readings)
        return alive

    def _hold(self, error: StoreError) -> None:
        """The store is away: keep what is in hand, acknowledge nothing, try again later."""
        if not self._store_wait_s:
            log.warning("intake: %s; nothing is acknowledged until it is back", error)
        self._store_wait_s = min(max(self._store_wait_s * 2, 0.1), 5.0)
        self._store_retry_at = time.monotonic() + self._store_wait_s
        self._status.store_error = str(error)

    def _tell(self, readings: Sequence[Reading]) -> None:
        if self._on_stored is not None and readings:
            try:
                self._on_stored(readings)
            except Exception:  # what listens must not stop the intake
                log.exception("intake: a listener failed")


def _pending(sock: Any) -> int:
    """Bytes that TLS has already decrypted, which polling the socket does not show."""
    return int(sock.pending()) if hasattr(sock, "pending") else 0


@dataclass
class _Status:
    """Counters and last moments of the intake since it began."""

    messages: int = 0
    readings: int = 0
    already: int = 0
    differing: int = 0
    rejects: Counter[str] = field(default_factory=Counter)
    last_message_ms: int | None = None
    last_commit_ms: int | None = None
    lag_s: float | None = None
    error: str = ""
    store_error: str = ""

    def stored(self, batch: Batch, written: Written) -> None:
        self.readings += written.new
        self.already += written.already
        self.differing += written.differing
        for reject in batch.rejects:
            self.rejects[reject.reason] += 1
        self.last_commit_ms = now_ms()
        self.lag_s = (self.last_commit_ms - (batch.first_arrived_ms or self.last_commit_ms)) / 1000
        self.store_error = ""

    def document(self, connected: bool, protocol: str, held: int) -> dict[str, Any]:
        return {
            "connected": connected,
            "protocol": protocol,
            "error": self.error or None,
            "store_error": self.store_error or None,
            "messages": self.messages,
            "readings": self.readings,
            "already_stored": self.already,
            "differing": self.differing,
            "rejects": dict(self.rejects),
            "held_messages": held,
            "last_message_at": rfc3339(self.last_message_ms),
            "last_commit_at": rfc3339(self.last_commit_ms),
            "lag_s": self.lag_s,
        }
