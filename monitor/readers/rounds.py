"""Reads every sensor in its own interval and hands what it said to the outbox."""

from __future__ import annotations

import logging
import threading
import time
from collections import deque
from collections.abc import Sequence

import msgspec

from monitor.clock import now_ms
from monitor.errors import ReaderAway, StoreError
from monitor.readers.base import Reader
from monitor.readers.outbox import Outbox
from monitor.records import QUANTITIES
from monitor.site import Sensor

logger = logging.getLogger(__name__)
SENML_UNITS = {
    "degC": "Cel",
    "%RH": "%RH",
    "m/s": "m/s",
    "Pa": "Pa",
    "ppm": "ppm",
    "V": "V",
    "%": "%",
    "": "/",
}
"""The canonical units by their symbols in RFC 8428 table 12.1 and RFC 8798."""
HELD_IN_MEMORY = 10_000
"""Messages a sensor holds while the disk takes none."""


def senml_pack(sensor: Sensor, values: dict[str, float], time_ms: int) -> bytes:
    """Values of one moment as a SenML pack (RFC 8428) with the sensor's name and the time as base."""
    records: list[dict[str, object]] = [
        {
            "n": quantity,
            "u": SENML_UNITS[QUANTITIES[quantity].unit],
            "v": round(value, 6),
        }
        for quantity, value in values.items()
    ]
    records[0] = {"bn": f"urn:dev:id:{sensor.id}:", "bt": time_ms / 1000, **records[0]}
    return msgspec.json.encode(records)


class Round:
    """One sensor, read again and again on a thread of its own, so that a slow line holds up nobody else."""

    def __init__(self, reader: Reader, outbox: Outbox, stop: threading.Event) -> None:
        self._reader, self._outbox, self._stop = reader, outbox, stop
        self._held: deque[bytes] = deque(maxlen=HELD_IN_MEMORY)
        self._trouble = ""
        self.thread = threading.Thread(target=self._run, name=f"read-{reader.sensor.id}", daemon=True)

    def _run(self) -> None:
        interval = self._reader.sensor.interval_s
        due = time.monotonic()
        while not self._stop.wait(max(0.0, due - time.monotonic())):
            self.take()
            missed = int(max(0.0, time.monotonic() - due) // interval)
            due += interval * (missed + 1)
        self._reader.close()

    def take(self) -> None:
        """Read once and hand over; whatever goes wrong is said once and tried again next time."""
        try:
            values = self._reader.read()
            if values:
                self._held.append(senml_pack(self._reader.sensor, values, now_ms()))
            self._well()
        except ReaderAway as error:
            self._ill(str(error))
        except Exception as error:
            self._ill(f"sensor {self._reader.sensor.id}: {type(error).__name__}: {error}")
        self._hand_over()

    def _hand_over(self) -> None:
        try:
            while self._held:
                self._outbox.put(self._reader.sensor.full_topic, self._held[0])
                self._held.popleft()
        except StoreError as error:
            logger.warning("%s; %d messages held in memory", error, len(self._held))

    def _ill(self, what: str) -> None:
        if what != self._trouble:
            self._trouble = what
            logger.warning("%s", what)

    def _well(self) -> None:
        if self._trouble:
            self._trouble = ""
            logger.info("sensor %s: answers again", self._reader.sensor.id)


def start_rounds(readers: Sequence[Reader], outbox: Outbox, stop: threading.Event) -> list[Round]:
    """Start reading; it goes on until ``stop`` is set."""
    rounds = [Round(reader, outbox, stop) for reader in readers]
    for turn in rounds:
        turn.thread.start()
    return rounds
