"""When a fault of a simulated room first shows in its true air."""

from __future__ import annotations

import numpy as np

from sensors_sim.places import relative_humidity
from sensors_sim.scenario import ROOM_FAULTS, Fault
from sensors_sim.world import Span, World

SHOWS_K, SHOWS_PCT = 0.3, 2.0
"""A fault shows once the true air is so far from what it would have been."""


class Showing:
    """When each fault of a room first shows in its true air, beside the same room without it."""

    def __init__(self, world: World) -> None:
        self._world = world
        self._due = [f for f in world.faults if f.kind in ROOM_FAULTS]
        self._without: list[tuple[Fault, int, np.ndarray]] = []

    def before(self, length_s: float) -> None:
        """To be called before the world moves on by so much."""
        for fault in [f for f in self._due if f.start < self._world.time_s + length_s]:
            self._due.remove(fault)
            step = round(self._world.time_s / self._world.scenario.step)
            self._without.append((fault, step, self._world.without(fault, fault.end)))

    def after(self, span: Span) -> list[tuple[Fault, float]]:
        """The faults that showed in what the world did, and when."""
        shown = []
        for known in list(self._without):
            fault, first, without = known
            steps = np.round(span.times_s / self._world.scenario.step).astype(int) - first - 1
            there = steps < len(without)
            with_it, other = span.traces[fault.target][there], without[steps[there]]
            warmer = np.abs(with_it[:, 0] - other[:, 0]) >= SHOWS_K
            rh = [relative_humidity(trace[:, 0], trace[:, 1]) for trace in (with_it, other)]
            seen = np.flatnonzero(warmer | (np.abs(rh[0] - rh[1]) >= SHOWS_PCT))
            if len(seen):
                shown.append((fault, float(span.times_s[seen[0]])))
            if len(seen) or not there.all():
                self._without.remove(known)
        return shown
