"""The person who keeps the ledger: weighs, looks, irons and grades, misses some things and imagines others."""

from __future__ import annotations

import heapq
from typing import Any

import numpy as np

from sensors_sim.outcomes import Outcomes
from sensors_sim.randomness import generator
from sensors_sim.scenario import Scenario
from sensors_sim.wheels import WheelStock

DAY_S = 86400.0
FIRST_LOOK_DAYS, MORNING_S = 9.0, 8.5 * 3600.0
SEALED_SHARE = 0.88
AUTHORS = ("keeper", "second keeper")
PLACES_TO_IRON = ("side, middle", "side, upper third", "side, lower third")
AROMAS = {
    "cloth-bound": ("nutty", "earthy", "broth", "cellar", "caramel"),
    "natural": ("earthy", "mushroom", "buttery", "hay", "nutty"),
    "washed": ("meaty", "yeasty", "broth", "cellar", "fruity"),
}

Row = dict[str, Any]
"""One ledger entry: ``at_s`` [s from the start], ``kind``, ``author``, ``make``, ``wheel`` and its details."""


class Observer:
    """Keeps a ledger of a scenario's wheels as it runs; ``rows`` holds what was written."""

    def __init__(self, scenario: Scenario, stock: WheelStock, outcomes: Outcomes) -> None:
        self._habits, self._stock, self._outcomes = scenario.observer, stock, outcomes
        self._rng = generator(scenario.seed, "observer")
        self._last_s = scenario.length_s
        self.rows: list[Row] = []
        self._diary: list[tuple[float, int, str]] = []
        for index in range(len(stock.wheels)):
            self._plan(index)
        heapq.heapify(self._diary)

    def _plan(self, index: int) -> None:
        """Write everything that will be done to a wheel into the diary."""
        wheel, habits, rng = self._stock.wheels[index], self._habits, self._rng
        note = self._diary.append
        note((wheel.made_s, index, "make"))
        for number, leg in enumerate(wheel.route):
            if leg[0] < wheel.leaves_s:
                note((leg[0] + (1800.0 if number == 0 else 0.0), index, f"move {number}"))
        if wheel.style.rind == "cloth-bound":
            note((wheel.bare_until_s + 3600.0, index, "wrapping"))
        due_s = wheel.made_s + (wheel.style.ready_day + float(rng.uniform(0, 10))) * DAY_S
        judged_s = _workday(due_s) + float(rng.uniform(0, 3 * 3600.0))
        for moment in self._rounds(wheel.made_s, judged_s, FIRST_LOOK_DAYS, habits.inspect_every, 0.15):
            note((moment, index, "inspection"))
            if wheel.style.rind != "cloth-bound":
                note((moment + 900.0, index, "washing" if wheel.style.rind == "washed" else "brushing"))
        if rng.uniform() < habits.weighed_share:
            for moment in self._rounds(
                wheel.made_s, judged_s, habits.weigh_every / DAY_S, habits.weigh_every, 0.08
            ):
                note((moment + 600.0, index, "weighing"))
        note((judged_s, index, "judging"))
        note((wheel.leaves_s - 600.0, index, "leaving"))

    def _rounds(
        self, made_s: float, until_s: float, first_days: float, every_s: float, spread: float
    ) -> list[float]:
        result, moment = [], made_s + first_days * DAY_S
        while moment < until_s - DAY_S:
            result.append(_workday(moment) + float(self._rng.uniform(0, 2 * 3600.0)))
            moment += every_s * float(self._rng.uniform(1 - spread, 1 + spread))
        return result

    def keep_up(self, time_s: float) -> None:
        """Do everything that the diary has up to now; what would come after the scenario's end is left."""
        while self._diary and self._diary[0][0] <= min(time_s, self._last_s):
            moment, index, task = heapq.heappop(self._diary)
            if moment >= 0.0 or task in ("make",) or task.startswith("move"):
                getattr(self, "_do_" + task.split()[0])(moment, index, task)

    def _write(self, at_s: float, index: int, kind: str, **details: Any) -> None:
        wheel = self._stock.wheels[index]
        author = AUTHORS[0] if self._rng.uniform() < 0.7 else AUTHORS[1]
        self.rows.append(
            {
                "at_s": round(at_s),
                "kind": kind,
                "author": author,
                "make": wheel.make,
                "wheel": wheel.id,
                **details,
            }
        )

    def _do_make(self, at_s: float, index: int, _task: str) -> None:
        wheel = self._stock.wheels[index]
        self.rows.append(
            {
                "at_s": round(at_s),
                "kind": "make",
                "author": AUTHORS[0],
                "make": wheel.make,
                "wheel": wheel.id,
                "style": wheel.style.id,
            }
        )

    def _do_move(self, at_s: float, index: int, task: str) -> None:
        _, room, place = self._stock.wheels[index].route[int(task.split()[1])]
        self._write(at_s, index, "move", room=room, place=place)

    def _do_wrapping(self, at_s: float, index: int, _task: str) -> None:
        self._write(at_s, index, "wrapping", with_what="cloth and lard")

    def _do_washing(self, at_s: float, index: int, _task: str) -> None:
        self._outcomes.brush(index)
        self._write(at_s, index, "washing", with_what="brine")

    def _do_brushing(self, at_s: float, index: int, _task: str) -> None:
        self._outcomes.brush(index)
        self._write(at_s, index, "brushing")

    def _do_weighing(self, at_s: float, index: int, _task: str) -> None:
        step = self._habits.scale_step_kg
        true_kg = self._stock.mass_kg()[index] + self._rng.normal(0.0, 0.5 * step)
        self._write(at_s, index, "weighing", mass_kg=round(round(true_kg / step) * step, 4), sigma_kg=step)

    def _seen(self, index: int, misses: float = 1.0) -> dict[str, int]:
        """True steps as this observer sees them."""
        habits, seen = self._habits, {}
        for name, step in self._outcomes.true_steps(index).items():
            miss, false, shade = self._rng.uniform(size=3)
            if step == 0:
                step = 1 if false < habits.false_share else 0
            elif miss < habits.miss_share * misses / max(1.0, step - 1.0):
                step = 0
            elif shade < 0.25:
                step = max(1, step - 1)
            seen[name] = step
        return seen

    def _do_inspection(self, at_s: float, index: int, _task: str) -> None:
        wheel, seen = self._stock.wheels[index], self._seen(index)
        if np.isnan(self._outcomes.open_plug_s[index]):
            seen.pop("blue_at_plug")
        if wheel.style.rind == "cloth-bound":
            seen["cloth"] = int(seen["cracks"] >= 3)
        if wheel.style.rind != "washed":
            seen.pop("slip")
        age = (at_s - wheel.made_s) / DAY_S
        seen["rind_colour"] = int(np.clip(round(4 * age / (wheel.style.ready_day + 60)), 0, 4))
        self._write(at_s, index, "inspection", **seen)
        if wheel.style.rind == "cloth-bound" and seen["mites"] >= 2:
            self._do_brushing(at_s + 1200.0, index, "brushing")

    def _do_judging(self, at_s: float, index: int, _task: str) -> None:
        wheel, seen = self._stock.wheels[index], self._seen(index, misses=0.5)
        sealed = bool(self._rng.uniform() < SEALED_SHARE)
        notes = list(self._rng.choice(AROMAS[wheel.style.rind], size=2, replace=False))
        blue = max(seen["blue_under_cloth"], seen["blue_at_plug"])
        self._do_weighing(at_s - 300.0, index, "weighing")
        self._write(
            at_s,
            index,
            "ironing",
            where=str(self._rng.choice(PLACES_TO_IRON)),
            sealed="yes" if sealed else "no",
            back_of_iron=int(self._rng.integers(1, 4)),
            body=int(self._rng.integers(2, 4)),
            texture=int(self._rng.integers(0, 3)),
            blue_at_plug=blue,
            off_aroma=int(blue >= 3),
            aroma="; ".join(notes),
        )
        self._outcomes.iron(index, at_s, sealed)
        decision, reason = _decision(seen, blue, self._rng)
        self._write(at_s + 300.0, index, "grading", decision=decision, reason=reason)

    def _do_leaving(self, at_s: float, index: int, _task: str) -> None:
        self._write(at_s, index, "sale", mass_kg=round(float(self._stock.mass_kg()[index]), 2))


def _workday(moment_s: float) -> float:
    """The morning of the day that a moment falls in."""
    return float(np.floor(moment_s / DAY_S) * DAY_S + MORNING_S)


def _decision(seen: dict[str, int], blue: int, rng: np.random.Generator) -> tuple[str, str]:
    if blue >= 3 or seen["slip"] >= 4:
        return "not for sale", "blue through the paste" if blue >= 3 else "rind coming away"
    if blue >= 1 or seen["cracks"] >= 3 or seen["slip"] >= 2:
        return "sell soon", "blue begins" if blue >= 1 else "rind will not hold longer"
    if rng.uniform() < 0.2:
        return "hold back", "young for its age; look again"
    return "ready", "clean plug"
