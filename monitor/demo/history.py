"""Fills a new demo with its invented year: the ledger and the last weeks at once, the months before meanwhile."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from datetime import datetime

import click

from demo_data import DemoYear, SensorYear, load
from monitor.clock import DAY_MS, now, to_ms
from monitor.records import Flag, Reading
from monitor.site import Site
from monitor.store import open_store
from monitor.store.protocol import Store
from monitor.wheels import open_ledger

LATELY_DAYS = 10
CHUNK_DAYS = 30


class History:
    """The invented year of a demo, carried into its store and ledger.

    `begin` writes what the pages need at once; `carry_on` writes the months before it in a thread, newest first, so
    that the page can be opened meanwhile.  A demo whose ledger has wheels already is left as it is.
    """

    def __init__(self, site: Site) -> None:
        self._site = site
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._year: DemoYear | None = None
        self._from_ms = 0

    def begin(self, moment: datetime | None = None) -> None:
        """Write the ledger and the air of the last days."""
        ledger = open_ledger(self._site)
        try:
            if ledger.wheels(gone=True):
                click.echo("Going on with what the folder holds.")
                return
            self._year = load(moment or now())
            ledger.load(self._year.ledger, sure=True)
            wheels = len(ledger.wheels(gone=True))
        finally:
            ledger.close()
        self._from_ms = to_ms(moment or now()) - LATELY_DAYS * DAY_MS
        store = open_store(self._site)
        _write(store, self._year, self._from_ms, self._from_ms + (LATELY_DAYS + 1) * DAY_MS)
        store.close()
        click.echo(f"An invented year: {wheels} wheels; its air is filled in from today backwards.")

    def carry_on(self) -> None:
        """Write the months before, in the background."""
        if self._year is not None:
            self._thread = threading.Thread(target=self._carry_on, name="history", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """Stop writing; what is written stays."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(10)

    def _carry_on(self) -> None:
        assert self._year is not None
        first_ms = min(int(year.time_ms[0]) for year in self._year.readings.values())
        store = open_store(self._site)
        end_ms = self._from_ms
        while end_ms > first_ms and not self._stop.is_set():
            _write(store, self._year, end_ms - CHUNK_DAYS * DAY_MS, end_ms, self._stop)
            end_ms -= CHUNK_DAYS * DAY_MS
        store.close()


def _write(
    store: Store, year: DemoYear, start_ms: int, end_ms: int, stop: threading.Event | None = None
) -> None:
    for sensor, values in year.readings.items():
        if stop is not None and stop.wait(0.05):
            return
        store.write(list(_readings(sensor, values, start_ms, end_ms)))


def _readings(sensor: str, year: SensorYear, start_ms: int, end_ms: int) -> Iterator[Reading]:
    inside = (year.time_ms >= start_ms) & (year.time_ms < end_ms)
    times = year.time_ms[inside].tolist()
    for quantity, values in (("temperature", year.temperature_c), ("humidity", year.rh_pct)):
        for time_ms, value in zip(times, values[inside].tolist(), strict=True):
            yield Reading(sensor, quantity, time_ms, value, Flag.NOT_EVALUATED)
