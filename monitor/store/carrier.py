"""Carries what waits in the near store to InfluxDB, on a thread of its own."""

from __future__ import annotations

import logging
import threading

from monitor.errors import StoreAway, StoreError
from monitor.store.influx import BATCH, InfluxStore

logger = logging.getLogger(__name__)
IDLE_S = 0.5
LONGEST_PAUSE_S = 30.0


class Carrier:
    """Runs `InfluxStore.carry` again and again; while InfluxDB is away it tries with growing pauses and says so once."""

    def __init__(self, store: InfluxStore) -> None:
        self._store = store
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
        while not self._stop.is_set():
            carried = 0
            try:
                carried = self._store.carry()
                self._well()
                failures = 0
            except StoreAway as error:
                failures += 1
                self._ill(str(error))
            except StoreError as error:
                failures += 1
                self._ill(f"the near store: {error}")
            except Exception as error:
                failures += 1
                logger.exception("carrying failed; trying again")
                self._ill(f"{type(error).__name__}: {error}")
            if carried < BATCH:
                self._count()
                self._stop.wait(min(IDLE_S * 2**failures, LONGEST_PAUSE_S) if failures else IDLE_S)

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
