"""Runs a scenario from start to end and keeps what is asked for: air at places, wheels' truth, the ledger."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sensors_sim.effects import RoomEffects
from sensors_sim.observer import Observer
from sensors_sim.outcomes import Outcomes
from sensors_sim.room import Room
from sensors_sim.scenario import Scenario
from sensors_sim.world import Span, World, joined

Array = NDArray[Any]
DAY_S = 86400.0


class Recorder:
    """A world with its wheels' outcomes and the person who keeps its ledger.

    ``mass_kg`` and ``rind_activity`` hold one row a day (midnight) and one column a wheel; NaN where a wheel
    is not there.
    """

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.world = World(scenario, on_wheels=self._on_wheels)
        self.outcomes = Outcomes(self.world.stock.wheels, scenario.seed)
        self.observer = Observer(scenario, self.world.stock, self.outcomes)
        self.effects = RoomEffects(self.world)
        self.mass_kg: list[Array] = []
        self.rind_activity: list[Array] = []
        self._activity = np.full(len(self.world.stock.wheels), np.nan)

    def days(self) -> Iterator[Span]:
        """Run, one span a day (the last may be shorter)."""
        per_day = round(DAY_S / self.scenario.step)
        left = round(self.scenario.length_s / self.scenario.step)
        per_hour = max(1, round(self.scenario.coupling / self.scenario.step))
        while left > 0:
            parts, today = [], min(per_day, left)
            for start in range(0, today, per_hour):
                steps = min(per_hour, today - start)
                self.effects.before(steps * self.scenario.step)
                parts.append(self.world.advance(steps))
                self.effects.after(parts[-1])
                self.observer.keep_up(self.world.time_s)
            left -= today
            self._keep_day()
            yield joined(parts)

    def _keep_day(self) -> None:
        there = np.array([place is not None for place in self.world.stock.places], dtype=bool)
        self.mass_kg.append(np.where(there, self.world.stock.mass_kg(), np.nan))
        self.rind_activity.append(np.where(there, self._activity, np.nan))

    def _on_wheels(
        self, time_s: float, span_s: float, room: Room, which: Array, drying: Array, activity: Array
    ) -> None:
        self._activity[which] = activity
        self.outcomes.update(time_s, span_s, which, drying, activity, room.air_c, room.rh_pct)
