"""A ledger and air for running twins, and a clock that jumps so that nothing waits."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from monitor.clock import DAY_MS, TEN_MINUTES_MS, to_ms
from monitor.records import AirRecord
from monitor.store import Store, open_store
from monitor.twins import RunningTwins
from monitor.wheels import Ledger, open_ledger
from tests.wheels.samples import NOW, make_site

MADE = NOW - timedelta(days=8)
START = to_ms(MADE)


def day(number: float) -> datetime:
    """A moment by the wheels' age [d]."""
    return MADE + timedelta(days=number)


def make_ledger(folder: Path) -> Ledger:
    """Three wheels of 22 kg, made eight days ago, on the low rack since."""
    ledger = open_ledger(make_site(folder), clock=lambda: NOW)
    wheels = ["HF-01", "HF-02", "HF-03"]
    ledger.add_make("HF", "clothed", MADE, wheels, author="Nora", mass_kg=22, room="vault", place="low-rack")
    return ledger


class Clock:
    """A second passes at each look, so that slices end and changes settle by counting calls alone."""

    def __init__(self) -> None:
        self.at = 0.0

    def __call__(self) -> float:
        self.at += 0.005
        return self.at


def breathe(
    store: Store, place: str, from_day: float, to_day: float, temperature_c: float, rh_pct: float
) -> None:
    """Air with a small daily swing at a place of the vault between two days of the wheels' age."""
    first = (START + int(from_day * DAY_MS)) // TEN_MINUTES_MS
    last = (START + int(to_day * DAY_MS)) // TEN_MINUTES_MS
    slots = np.arange(first, last) * TEN_MINUTES_MS
    swing = np.sin(slots / DAY_MS * 2 * np.pi)
    store.write_air(
        [
            AirRecord(
                "vault", place, int(s), t, t - 0.1, t + 0.1, rh, rh - 1, rh + 1, 1.0, None, None, 0.3, 2.0
            )
            for s, t, rh in zip(
                slots.tolist(), (temperature_c + 0.2 * swing).tolist(), (rh_pct - swing).tolist(), strict=True
            )
        ]
    )


class Rooms:
    """A store, the sample ledger and the running twins of its three wheels."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.ledger: Ledger = make_ledger(folder)
        self.store = open_store(self.ledger.site)
        self.clock = Clock()
        self.now_ms = to_ms(NOW)
        self.begin()

    def begin(self) -> None:
        """Start the twins, as the service does after a restart."""
        self.twins = RunningTwins(self.ledger.site, self.store, self.ledger, self.clock)

    def settle(self, now_ms: int | None = None, most: int = 20_000) -> None:
        """Work until nothing is left to do."""
        self.now_ms = now_ms or self.now_ms
        self.clock.at += 1000.0
        self.twins.work(self.now_ms)
        for _ in range(most):
            self.clock.at += 1.0
            self.twins.work(self.now_ms)
            if self.twins.caught_up:
                return
            if self.twins._lesson is not None:
                self.twins._lesson[1].exception(timeout=60)
        raise AssertionError("the twins never caught up")
