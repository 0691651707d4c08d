"""Carries what waits in the near store to InfluxDB, on a thread of its own, and brings here what came in elsewhere."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable

from monitor.errors import StoreAway, StoreError
from monitor.store.influx import BATCH, InfluxStore

logger = logging.getLogger(__name__)
IDLE_S = 0.5
GATHER_S = 2.0
LONGEST_PAUSE_S = 30.0


class Carrier:
    """Runs `InfluxStore.carry` again and again; while InfluxDB is away it tries with growing pauses and says so once.

    Where readings come in on other machines too, and ``gathers`` is set (this machine judges), it also runs
    `InfluxStore.gather`.
    """

    def __init__(self, store: InfluxStore, gathers: bool = False) -> None:
        self._store = store
        self._gathers = gathers and store.taken_in_elsewhere
        self._gather_due = 0.0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="carrier", daemon=True)
        self.trouble = ""
        """Why nothing is carried now; empty while all is well."""
        self.waiting = 0
        """How much waited when last counted."""

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Stop after the batch in hand; what waits is carried after the next start."""
        self._stop.set()
        self._thread.join(15)

    def _run(self) -> None:
        failures = 0
        self._attempt(self._store.near.try_again)
        while not self._stop.is_set():
            carried = self._attempt(self._store.carry)
            if self._gathers and time.monotonic() >= self._gather_due:
                gathered = self._attempt(self._store.gather)
                carried = None if gathered is None else carried
                self._gather_due = time.monotonic() + GATHER_S
            if carried is None:
                failures += 1
            else:
                failures = 0
                self._well()
            if (carried or 0) < BATCH:
                self._count()
                self._stop.wait(min(IDLE_S * 2**failures, LONGEST_PAUSE_S) if failures else IDLE_S)

    def _attempt(self, work: Callable[[], int | None]) -> int | None:
        """What some work came to; None where it failed, which is noted."""
        try:
            return work() or 0
        except StoreAway as error:
            self._ill(str(error))
        except StoreError as error:
            self._ill(f"the near store: {error}")
        except Exception as error:
            logger.exception("carrying failed; trying again")
            self._ill(f"{type(error).__name__}: {error}")
        return None

    def _count(self) -> None:
        try:
            self.waiting = self._store.waiting()
        except StoreError as error:
            self._ill(f"the near store: {error}")

    def _ill(self, why: str) -> None:
        if why != self.trouble:
            self.trouble = why
            logger.warning("%s; readings are kept here and carried over later", why)

    def _well(self) -> None:
        if self.trouble:
            self.trouble = ""
            logger.info("InfluxDB answers again; what waited is being carried over")
