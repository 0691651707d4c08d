"""Whole dairies out of the simulator, light enough for fifty: its rooms, wheels, hazards and observer at ten-minute steps.

Nothing of the monitor's own models is in here.  Each site is run once and its air is kept as a monitor would keep it;
over the same air stand two truths: outcomes that follow the air, and outcomes that do not (`Chance`).  Beside the
dairy's wheels lie others that nobody looks at and that the rooms do not feel (`Onlookers`): a make of one wheel every day,
so that what the dairy's rooms do to wheels in the long run is known better than from its own 200.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sensors_sim.observer import Observer
from sensors_sim.outcomes import DAY_S, Event, Outcomes
from sensors_sim.randomness import generator
from sensors_sim.room import Room
from sensors_sim.scenario import Batch, Scenario
from sensors_sim.scenario_file import build_scenario
from sensors_sim.wheels import Wheel, WheelStock
from sensors_sim.world import Span, World

Array = NDArray[Any]
STEP_S, COUPLING_S = 600.0, 7200.0
MAKES, WHEELS_A_MAKE, EVERY_DAYS = 40, 5, 6
READY_DAY = 200
DAYS = MAKES * EVERY_DAYS + READY_DAY + 10
SENSOR_BIAS_PCT, SENSOR_NOISE_PCT, SENSOR_BIAS_K, SENSOR_NOISE_K = 1.0, 0.4, 0.2, 0.05
SILENT_SHARE = 0.02
ROUTES = (
    (("cold-room", "middle"), ("cave", "mid-rack")),
    (("cold-room", "coil-end"), ("cave", "mid-rack")),
    (("cold-room", "middle"), ("cave", "mouth")),
    (("cold-room", "bottom"), ("cave", "low-rack")),
)
"""Where makes go: the second place after some weeks."""


def scenario_of(seed: int, makes: int = MAKES, days: float = DAYS) -> Scenario:
    """An invented dairy of cloth-bound wheels: a young room whose humidifier fails now and then, and a cave."""
    rng = generator(seed, "dairy")
    batches = [_batch(rng, 1 + EVERY_DAYS * number, WHEELS_A_MAKE) for number in range(makes)]
    return build_scenario(
        {
            "name": "dairy (invented)",
            "seed": seed,
            "days": days,
            "step": STEP_S,
            "coupling": COUPLING_S,
            "altitude_m": 200,
            "weather": {"season_amplitude_k": 6.0, "dew_point_depression_k": float(rng.uniform(4.0, 7.0))},
            "rooms": _rooms(rng),
            "styles": [
                {
                    "id": "thornwick",
                    "rind": "cloth-bound",
                    "diameter_m": 0.30,
                    "height_m": 0.25,
                    "mass_kg": 19.0,
                    "dry_share": 0.62,
                    "salt_share": 0.028,
                    "diffusivity_m2_s": 5e-11,
                    "cover_resistance_share": 0.87,
                    "ready_day": READY_DAY,
                }
            ],
            "batches": batches,
            "faults": _dry_spells(rng, days),
        },
        f"dairy {seed}",
    )


def _batch(rng: np.random.Generator, day: int, wheels: int) -> dict[str, Any]:
    (first, place), (second, later) = ROUTES[int(rng.integers(len(ROUTES)))]
    return {
        "style": "thornwick",
        "first_make": f"{day} d",
        "wheels": wheels,
        "bare_days": 3,
        "route": [[0, first, place], [int(rng.integers(25, 60)), second, later]],
    }


def _rooms(rng: np.random.Generator) -> list[dict[str, Any]]:
    set_pct = float(rng.uniform(83.0, 88.0))
    cold = {
        "id": "cold-room",
        "kind": "cold-room",
        "length_m": 7.0,
        "coil": {"setpoint_c": float(rng.uniform(11.0, 12.5)), "evaporating_below_setpoint_k": 11},
        "initial_rh_pct": set_pct,
        "humidifier": {"setpoint_rh_pct": set_pct, "output_kg_h": 1.8},
        "activity": {"washes_per_week": 0.1, "door_open": "30 s"},
        "places": [
            {"id": "middle", "height_m": 1.3, "air_speed_m_s": 0.12},
            {"id": "coil-end", "height_m": 1.6, "air_speed_m_s": 0.25, "near": "coil"},
            {"id": "bottom", "height_m": 0.4, "air_speed_m_s": 0.08},
        ],
    }
    cave = {
        "id": "cave",
        "kind": "cave",
        "length_m": 14.0,
        "width_m": 5.0,
        "envelope": {
            "ground_c": float(rng.uniform(11.0, 13.0)),
            "wetted_share": 0.03,
            "water_activity": float(rng.uniform(0.92, 0.95)),
            "air_changes_per_h": float(rng.uniform(0.04, 0.08)),
        },
        "activity": {"door_openings_per_day": 6, "washes_per_week": 0.05, "door_exchange_m3_h": 180},
        "places": [
            {"id": "mid-rack", "height_m": 1.3, "air_speed_m_s": 0.08},
            {"id": "mouth", "height_m": 1.3, "air_speed_m_s": 0.2, "near": "door"},
            {"id": "low-rack", "height_m": 0.6, "air_speed_m_s": 0.06, "near": "wall"},
        ],
    }
    return [cold, cave]


def _dry_spells(rng: np.random.Generator, days: float) -> list[dict[str, Any]]:
    """The humidifier stands empty for a week or three, a few times."""
    spells: list[dict[str, Any]] = []
    start = float(rng.uniform(5.0, 60.0))
    while start < days - 40.0:
        length = float(rng.uniform(7.0, 22.0))
        spells.append(
            {
                "kind": "humidifier dry",
                "target": "cold-room",
                "start": start * DAY_S,
                "end": (start + length) * DAY_S,
            }
        )
        start += length + float(rng.uniform(35.0, 110.0))
    return spells


class Counting(Outcomes):
    """Outcomes that follow the air, with the truth's own risk of a crack counted for every wheel."""

    def __init__(self, wheels: list[Wheel], seed: int) -> None:
        super().__init__(wheels, seed)
        self.crack_risk = np.zeros(len(wheels))

    def _crack(self, time_s: float, days: float, which: Array, drying: Array, activity: Array) -> None:
        self.crack_risk[which] += self.crack_chance(time_s, which, drying, activity) * days
        super()._crack(time_s, days, which, drying, activity)


class Onlookers:
    """Wheels in the same rooms that the rooms do not feel, a make of one wheel every day; only their risk is kept."""

    def __init__(self, scenario: Scenario, world: World, makes: int) -> None:
        rng = generator(scenario.seed, "onlookers")
        batches = tuple(Batch.model_validate(_batch(rng, day, 1)) for day in range(1, EVERY_DAYS * makes + 1))
        self._world = world
        self._stock = WheelStock(scenario.model_copy(update={"batches": batches}), world.stock.pressure_pa)
        self._met: dict[str, tuple[float, float, float]] = {}
        for room in world.rooms.values():
            room.take_exchange = self._overhear(room)  # type: ignore[method-assign]
        self.wheels = self._stock.wheels
        self.truth = Counting(self.wheels, scenario.seed)

    def _overhear(self, room: Room) -> Callable[[], tuple[float, float, float]]:
        take = room.take_exchange

        def taken() -> tuple[float, float, float]:
            self._met[room.settings.id] = take()
            return self._met[room.settings.id]

        return taken

    def keep_up(self, span_s: float) -> None:
        """Give them what the rooms' own wheels met in the span just past, and move them."""
        for name, room in self._world.rooms.items():
            if name in self._met:
                met = self._met.pop(name)
                seen = SimpleNamespace(
                    settings=room.settings, wheels=room.wheels, take_exchange=lambda met=met: met
                )
                which, drying, activity = self._stock.advance(seen, span_s)  # type: ignore[arg-type]
                if len(which):
                    self.truth.update(
                        self._world.time_s, span_s, which, drying, activity, room.air_c, room.rh_pct
                    )
        self._stock.arrange(self._world.time_s, self._world._place_air)


class Chance(Outcomes):
    """Outcomes that have nothing to do with the air: each make is prone to each fault in its own way, and that is all."""

    PER_DAY = 0.0016

    def __init__(self, wheels: list[Wheel], seed: int) -> None:
        super().__init__(wheels, seed)
        rng = generator(seed, "proneness")
        makes = sorted({wheel.make for wheel in wheels})
        number = np.searchsorted(makes, [wheel.make for wheel in wheels])
        self._prone = np.exp(rng.normal(-0.125, 0.5, (3, len(makes))))[:, number]

    def update(
        self,
        time_s: float,
        span_s: float,
        which: Array,
        drying: Array,
        activity: Array,
        air_c: float,
        rh_pct: float,
    ) -> None:
        days = span_s / DAY_S
        cracks, blue, mites = self.PER_DAY * self._prone[:, which] * days
        for index in which[self._rng.uniform(size=len(which)) < cracks]:
            self.cracks[index] = min(4.0, self.cracks[index] + 1.0)
            self.events.append(Event(time_s, self.wheels[index].id, "crack"))
        started = which[self._rng.uniform(size=len(which)) < blue]
        self.blue_mm[started] = np.maximum(self.blue_mm[started], 4.0)
        self.blue_mm[which] += np.where(self.blue_mm[which] > 0, 0.05 * days, 0.0)
        infested = which[self._rng.uniform(size=len(which)) < mites]
        self.mites[infested] = np.minimum(1.0, self.mites[infested] + 0.12)


@dataclass
class Simulated:
    """What a run leaves: the air as sensed by place, and for each truth its ledger rows and true states.

    ``true_steps`` holds, for each truth and each day asked for, what a perfect observer would write of every wheel;
    ``onlookers`` wheels that nobody looks at, and ``onlookers_risk`` the truth's own risk of a crack of each.
    """

    scenario: Scenario
    wheels: list[Wheel]
    start_ms: Array
    air: dict[tuple[str, str], tuple[Array, Array]]
    rows: dict[str, list[dict[str, Any]]]
    outcomes: dict[str, Outcomes]
    true_steps: dict[str, dict[float, list[dict[str, int]]]] = field(default_factory=dict)
    onlookers: list[Wheel] = field(default_factory=list)
    onlookers_risk: Array = field(default_factory=lambda: np.zeros(0))


def simulate(
    seed: int,
    makes: int = MAKES,
    days: float = DAYS,
    looks: tuple[float, ...] = (),
    with_onlookers: bool = False,
) -> Simulated:
    """Run a dairy to its end; ``looks``: days at which the true state is kept too."""
    scenario = scenario_of(seed, makes, days)
    truths: list[Counting] = []

    def on_wheels(
        time_s: float, span_s: float, room: Room, which: Array, drying: Array, activity: Array
    ) -> None:
        for outcomes in truths:
            outcomes.update(time_s, span_s, which, drying, activity, room.air_c, room.rh_pct)

    world = World(scenario, on_wheels=on_wheels)
    truth = Counting(world.stock.wheels, seed)
    truths.append(truth)
    observer = Observer(scenario, world.stock, truth)
    onlookers = Onlookers(scenario, world, makes) if with_onlookers else None
    steps: dict[float, list[dict[str, int]]] = {}
    spans: list[Span] = []
    for _ in range(int(scenario.length_s // COUPLING_S)):
        spans.append(world.advance(round(COUPLING_S / STEP_S)))
        observer.keep_up(world.time_s)
        if onlookers:
            onlookers.keep_up(COUPLING_S)
        for day in looks:
            if day not in steps and world.time_s >= day * DAY_S:
                steps[day] = _true_steps(truth)
    steps[days] = _true_steps(truth)
    times = np.concatenate([span.times_s for span in spans]) - STEP_S
    start_ms = np.round((times + scenario.start.timestamp()) * 1000).astype(np.int64) // 600_000 * 600_000
    rng = generator(seed, "sensors")
    air = {key: _sensed(rng, *_whole(spans, key)) for key in spans[0].temperature_c}
    run = Simulated(
        scenario, truth.wheels, start_ms, air, {"linked": observer.rows}, {"linked": truth}, {"linked": steps}
    )
    add_chance(run, seed)
    if onlookers:
        run.onlookers = onlookers.wheels
        run.onlookers_risk = 1.0 - np.exp(-onlookers.truth.crack_risk)
    return run


def add_chance(run: Simulated, seed: int) -> None:
    """Lay the truth that has nothing to do with the air over a run: a day at a time, weights as in any dairy."""
    truth = Chance(run.wheels, seed)
    scale = _Scale(run.wheels)
    observer = Observer(run.scenario, scale, truth)  # type: ignore[arg-type]
    nothing = np.zeros(0)
    for day in range(1, int(run.scenario.days) + 1):
        scale.time_s = day * DAY_S
        there = np.array([i for i, w in enumerate(run.wheels) if w.where(scale.time_s)], dtype=int)
        truth.update(scale.time_s, DAY_S, there, nothing, nothing, 11.0, 85.0)
        observer.keep_up(scale.time_s)
    run.rows["chance"], run.outcomes["chance"] = observer.rows, truth
    run.true_steps["chance"] = {run.scenario.days: _true_steps(truth)}


class _Scale:
    """Wheels that lose two hundredths of a per cent a day, for an observer to weigh."""

    def __init__(self, wheels: list[Wheel]) -> None:
        self.wheels, self.time_s = wheels, 0.0

    def mass_kg(self) -> Array:
        ages = np.array([(self.time_s - wheel.made_s) / DAY_S for wheel in self.wheels])
        return np.array([wheel.mass_kg for wheel in self.wheels]) * (1.0 - 2e-4 * np.maximum(ages, 0.0))


def _true_steps(truth: Outcomes) -> list[dict[str, int]]:
    return [truth.true_steps(index) for index in range(len(truth.wheels))]


def _whole(spans: list[Span], key: tuple[str, str]) -> tuple[Array, Array]:
    return (
        np.concatenate([span.temperature_c[key] for span in spans]),
        np.concatenate([span.rh_pct[key] for span in spans]),
    )


def _sensed(rng: np.random.Generator, t: Array, rh: Array) -> tuple[Array, Array]:
    """Air as a sensor with an error of its own says it, silent for some days."""
    t = t + rng.normal(0.0, SENSOR_BIAS_K) + rng.normal(0.0, SENSOR_NOISE_K, t.size)
    rh = np.clip(
        rh + rng.normal(0.0, SENSOR_BIAS_PCT) + rng.normal(0.0, SENSOR_NOISE_PCT, rh.size), 0.0, 100.0
    )
    silent = np.repeat(rng.uniform(size=t.size // 144 + 1) < SILENT_SHARE, 144)[: t.size]
    return np.where(silent, np.nan, t), np.where(silent, np.nan, rh)


def when(scenario: Scenario, at_s: float) -> Any:
    """A moment of a scenario as an aware datetime."""
    return scenario.start + timedelta(seconds=at_s)
