"""What people do in a room, drawn day by day from the seed: doors, work, washing the floor."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sensors_sim.randomness import generator
from sensors_sim.scenario import Room, Scenario

DAY_S = 86400.0
WORK_FROM_S, WORK_TO_S = 6.5 * 3600.0, 17.0 * 3600.0


@dataclass(frozen=True)
class DayPlan:
    """For each step: share of it that the door stands open, people inside, water washed onto the floor [kg]."""

    door_share: list[float]
    people: list[float]
    wash_kg: list[float]

    @classmethod
    def quiet(cls, steps: int) -> DayPlan:
        """Nobody comes in."""
        return cls([0.0] * steps, [0.0] * steps, [0.0] * steps)


class ActivityPlanner:
    """Makes the plan of any span of a room's life; the same seed, room and day give the same day."""

    def __init__(self, seed: int, room: Room, start_of_day_s: float) -> None:
        self._seed, self._room, self._midnight_s = seed, room, start_of_day_s
        self._day = lru_cache(maxsize=16)(self._make_day)

    def plan(self, start_s: float, steps: int, dt: float) -> DayPlan:
        """The plan for ``steps`` steps of ``dt`` seconds from ``start_s`` after the scenario's start."""
        edges = start_s + dt * np.arange(steps + 1)
        door, people, wash = np.zeros(steps), np.zeros(steps), np.zeros(steps)
        first = int((edges[0] + self._midnight_s) // DAY_S)
        last = int((edges[-1] + self._midnight_s) // DAY_S)
        for day in range(first, last + 1):
            offset = day * DAY_S - self._midnight_s
            openings, work, washes = self._day(day)
            for begin, end in openings:
                door += _overlap(edges, offset + begin, offset + end) / dt
            for begin, end in work:
                people += self._room.activity.people * _overlap(edges, offset + begin, offset + end) / dt
            for moment in washes:
                index = int((offset + moment - edges[0]) // dt)
                if 0 <= index < steps:
                    wash[index] += self._room.activity.wash_kg_m2 * self._room.floor_m2
        return DayPlan(np.minimum(door, 1.0).tolist(), people.tolist(), wash.tolist())

    def openings(self, start_s: float, end_s: float) -> list[tuple[float, float]]:
        """When the door is opened and shut again [s from the start], for every opening that touches a span."""
        first, last = (int((t + self._midnight_s) // DAY_S) for t in (start_s - DAY_S, end_s))
        found = []
        for day in range(first, last + 1):
            offset = day * DAY_S - self._midnight_s
            found += [(offset + begin, offset + end) for begin, end in self._day(day)[0]]
        return [(begin, end) for begin, end in found if begin <= end_s and end >= start_s]

    def _make_day(self, day: int) -> tuple[list[tuple[float, float]], list[tuple[float, float]], list[float]]:
        habits, rng = self._room.activity, generator(self._seed, "activity", self._room.id, day)
        starts = np.sort(rng.uniform(WORK_FROM_S, WORK_TO_S, rng.poisson(habits.door_openings_per_day)))
        openings = [(float(s), float(s + habits.door_open * rng.uniform(0.4, 1.8))) for s in starts]
        work = []
        if habits.work_hours_per_day > 0 and habits.people > 0:
            hours = habits.work_hours_per_day * 3600.0
            begin = float(rng.uniform(WORK_FROM_S, max(WORK_FROM_S + 1.0, WORK_TO_S - hours)))
            work.append((begin, begin + hours))
        washes = rng.uniform(WORK_TO_S - 3600.0, WORK_TO_S, rng.poisson(habits.washes_per_week / 7.0))
        return openings, work, [float(w) for w in washes]


def planner_of(scenario: Scenario, room: Room) -> ActivityPlanner:
    """The planner of a scenario's room."""
    start = scenario.start
    return ActivityPlanner(scenario.seed, room, start.hour * 3600.0 + start.minute * 60.0 + start.second)


def _overlap(edges: np.ndarray, begin: float, end: float) -> np.ndarray:
    """Seconds of each step that lie between ``begin`` and ``end``."""
    return np.clip(np.minimum(edges[1:], end) - np.maximum(edges[:-1], begin), 0.0, None)
