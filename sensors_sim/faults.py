"""What goes wrong and when: the scripted faults of a scenario and those drawn by its seed."""

from __future__ import annotations

import numpy as np

from sensors_sim.randomness import generator
from sensors_sim.scenario import ROOM_FAULTS, Fault, Scenario

DEFAULT_SIZE = {"thermostat moved": 3.0, "door ajar": 0.3, "clock jump": 3600.0, "sensor drifting": -0.3}
"""K above the old setpoint; share of full open; seconds ahead; %RH per day."""
MONTH_S = 30.4 * 86400.0


def all_faults(scenario: Scenario, speed: float = 1.0) -> list[Fault]:
    """Scripted and drawn faults, in simulated seconds from the start.

    ``speed`` turns faults stated in real seconds after launch into simulated ones.
    """
    scripted = [_simulated(fault, speed) for fault in scenario.faults]
    return sorted([*scripted, *_drawn(scenario)], key=lambda fault: (fault.start, fault.kind, fault.target))


def size_of(fault: Fault) -> float:
    """The fault's own measure, or the usual one for its kind."""
    return fault.size if fault.size is not None else DEFAULT_SIZE.get(fault.kind, 1.0)


def _simulated(fault: Fault, speed: float) -> Fault:
    if fault.clock == "simulated":
        return fault
    return fault.model_copy(
        update={"start": fault.start * speed, "end": fault.end * speed, "clock": "simulated"}
    )


def _drawn(scenario: Scenario) -> list[Fault]:
    wish, rng = scenario.random_faults, generator(scenario.seed, "random faults")
    result: list[Fault] = []
    for _ in range(int(rng.poisson(wish.per_month * scenario.length_s / MONTH_S)) if wish.per_month else 0):
        choices = [(kind, target) for kind in wish.kinds for target in _targets(scenario, kind)]
        start = float(rng.uniform(0.0, scenario.length_s))
        length = float(rng.uniform(0.1, 1.0) * wish.longest)
        if not choices:
            continue
        kind, target = choices[int(rng.integers(len(choices)))]
        others = [s.id for s in scenario.sensors if s.id != target and s.measures == "air"]
        other = others[int(rng.integers(len(others)))] if kind == "sensors swapped" and others else ""
        end = min(start + length, scenario.length_s)
        result.append(Fault(kind=kind, target=target, other=other, start=start, end=max(end, start + 1.0)))
    return result


def _targets(scenario: Scenario, kind: str) -> list[str]:
    if kind == "broker down":
        return [""]
    if kind not in ROOM_FAULTS:
        return [sensor.id for sensor in scenario.sensors if sensor.measures == "air"]
    with_coil = [r.id for r in scenario.rooms if r.coil]
    with_mist = [r.id for r in scenario.rooms if r.humidifier]
    return {"humidifier dry": with_mist, "door ajar": [r.id for r in scenario.rooms]}.get(kind, with_coil)


def active_steps(
    faults: list[Fault], room: str, start_s: float, steps: int, dt: float
) -> list[dict[str, float]]:
    """For each step, the room faults that are active in it with their sizes."""
    here = [
        f
        for f in faults
        if f.target == room and f.kind in ROOM_FAULTS and f.start < start_s + steps * dt and f.end > start_s
    ]
    if not here:
        nothing: dict[str, float] = {}
        return [nothing] * steps
    times = start_s + dt * np.arange(steps)
    return [{f.kind: size_of(f) for f in here if f.start <= t < f.end} for t in times.tolist()]
