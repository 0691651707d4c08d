"""Each fault does what its name says, in the direction that the trade expects."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sensors_sim.network import SensorNetwork
from sensors_sim.scenario import ROOM_FAULTS, SENSOR_FAULTS
from sensors_sim.scenario_file import build_scenario
from sensors_sim.sensors import Samples
from sensors_sim.world import Span, World

HOUR = 3600.0


def run(data: dict[str, Any], days: float = 2.0) -> tuple[Span, dict[str, Samples], World]:
    scenario = build_scenario({**data, "days": max(days, data["days"])})
    world = World(scenario)
    network = SensorNetwork(scenario, world.faults)
    span = world.advance(round(days * 1440))
    return span, {s.sensor: s for s in network.messages(span)}, world


def with_fault(data: dict[str, Any], kind: str, target: str, **keys: Any) -> dict[str, Any]:
    fault = {"kind": kind, "target": target, "start": "1 d", "end": "1 d 12 h", **keys}
    return {**data, "faults": [*data.get("faults", []), fault]}


def during(samples: Samples) -> np.ndarray:
    return (samples.send_s >= 86400.0) & (samples.send_s < 86400.0 + 12 * HOUR)


@pytest.mark.parametrize(
    ("kind", "column", "sign"),
    [
        ("humidifier dry", "humidity", -1),
        ("compressor stopped", "temperature", 1),
        ("coil iced", "temperature", 1),
        ("thermostat moved", "temperature", 1),
        ("door ajar", "temperature", 1),
        ("fan stopped", "temperature", 1),
    ],
)
def test_a_fault_of_the_room_moves_its_air_the_right_way(
    small: dict[str, Any], kind: str, column: str, sign: int
) -> None:
    """A dry humidifier dries; whatever takes cooling away warms; so does a door to a warmer corridor."""
    small["rooms"][1]["coil"]["setpoint_c"] = 6.0
    clean, _, _ = run(small)
    ill, _, _ = run(with_fault(small, kind, "cold", **({"size": 1.0} if kind == "door ajar" else {})))
    values = "temperature_c" if column == "temperature" else "rh_pct"
    change = getattr(ill, values)[("cold", "middle")] - getattr(clean, values)[("cold", "middle")]
    assert np.abs(change[:1440]).max() == 0.0, "nothing differs before the fault"
    assert sign * change[1440 + 60 : 1440 + 720].mean() > 0.15


def test_every_kind_of_fault_is_tested_here(small: dict[str, Any]) -> None:
    """The list of kinds in the scenario and the tests of this file agree."""
    text = Path(__file__).read_text("utf-8")
    assert all(f'"{kind}"' in text for kind in (*ROOM_FAULTS, *SENSOR_FAULTS))


def test_a_stuck_sensor_repeats_one_value(small: dict[str, Any]) -> None:
    """Not even noise remains."""
    _, sent, _ = run(with_fault(small, "sensor stuck", "c"))
    assert len(set(sent["c"].temperature_c[during(sent["c"])])) == 1
    assert len(set(sent["c"].temperature_c[~during(sent["c"])])) > 20


def test_a_stuck_sensor_stays_stuck_across_the_spans_of_a_live_run(small: dict[str, Any]) -> None:
    """What it holds is remembered from one advance to the next."""
    scenario = build_scenario(with_fault(small, "sensor stuck", "c", start=600, end=6000))
    world = World(scenario)
    network, values = SensorNetwork(scenario, world.faults), []
    for _ in range(90):
        sent = network.messages_of("c", world.advance(1))
        values += sent.temperature_c[(sent.send_s > 660) & (sent.send_s < 6000)].tolist()
    assert len(values) > 60
    assert len(set(values)) == 1


def test_a_spiking_sensor_jumps_far_and_back(small: dict[str, Any]) -> None:
    """Some of its values are impossible for a maturing room, most are as before."""
    _, sent, _ = run(with_fault(small, "sensor spiking", "c"))
    ill = sent["c"].temperature_c[during(sent["c"])]
    assert ((ill > 25) | (ill < 0)).mean() == pytest.approx(0.05, abs=0.04)
    assert np.median(ill) == pytest.approx(10.0, abs=1.5)


def test_a_silent_sensor_sends_nothing(small: dict[str, Any]) -> None:
    """And speaks again afterwards."""
    _, sent, _ = run(with_fault(small, "sensor silent", "c"))
    assert during(sent["c"]).sum() <= 2, "only a late message from before may come"
    assert sent["c"].send_s[-1] > 86400 + 12 * HOUR


def test_a_wet_sensor_reads_saturation_and_dries_slowly(small: dict[str, Any]) -> None:
    """100 % while wet, and high for hours after."""
    clean, sent, _ = run(with_fault(small, "sensor wet", "c", end="1 d 3 h"))
    c = sent["c"]
    assert c.humidity_pct[(c.send_s > 86460) & (c.send_s < 86400 + 3 * HOUR)].min() > 99.0
    later = (c.send_s > 86400 + 4 * HOUR) & (c.send_s < 86400 + 5 * HOUR)
    truth = clean.rh_pct[("cold", "middle")][1440 + 240 : 1440 + 300].mean()
    assert c.humidity_pct[later].mean() > truth + 2.0


def test_swapped_sensors_tell_each_others_place(small: dict[str, Any]) -> None:
    """A cave's air arrives under the cellar's name."""
    clean, sent, _ = run(with_fault(small, "sensors swapped", "a", other="d"))
    a, d = sent["a"], sent["d"]
    settled = (d.send_s > 86400 + 2 * HOUR) & (d.send_s < 86400 + 11 * HOUR)
    there = clean.temperature_c[("cave", "low")][1440 + 120 : 1440 + 660].mean()
    assert d.temperature_c[settled].mean() == pytest.approx(there, abs=0.05)
    back = a.send_s > 86400 + 14 * HOUR
    assert a.temperature_c[back].mean() == pytest.approx(there, abs=0.3)


def test_a_clock_that_jumps_states_other_times_than_it_sends(small: dict[str, Any]) -> None:
    """An hour ahead, unless the scenario says otherwise."""
    _, sent, _ = run(with_fault(small, "clock jump", "c"))
    ahead = (sent["c"].stamp_s - sent["c"].send_s)[during(sent["c"])]
    assert np.median(ahead) == pytest.approx(3600.0)


def test_a_drifting_sensor_leaves_the_truth_little_by_little(small: dict[str, Any]) -> None:
    """Three percent a day down, until exchanged."""
    clean, _, _ = run(small)
    _, sent, _ = run(with_fault(small, "sensor drifting", "c", size=-6.0))
    c = sent["c"]
    last = (c.send_s > 86400 + 11 * HOUR) & (c.send_s < 86400 + 12 * HOUR)
    truth = clean.rh_pct[("cold", "middle")][1440 + 660 : 1440 + 720].mean()
    assert c.humidity_pct[last].mean() - truth == pytest.approx(-2.9, abs=0.8)


def test_a_fault_in_real_seconds_follows_the_speed(small: dict[str, Any]) -> None:
    """Thirty real seconds after launch are ten simulated minutes at speed 20."""
    small["faults"] = [{"kind": "door ajar", "target": "cave", "start": 30, "end": 60, "clock": "wall"}]
    world = World(build_scenario(small), speed=20.0)
    assert (world.faults[0].start, world.faults[0].end) == (600.0, 1200.0)


def test_random_faults_come_from_the_seed(small: dict[str, Any]) -> None:
    """Same seed, same faults; another seed, others; all inside the span."""
    small["random_faults"] = {"per_month": 60, "kinds": [*ROOM_FAULTS, *SENSOR_FAULTS, "broker down"]}
    first = World(build_scenario(small)).faults
    assert first == World(build_scenario(small)).faults
    assert first != World(build_scenario({**small, "seed": 12})).faults
    assert len(first) > 3
    assert all(0 <= f.start < f.end <= 4 * 86400 for f in first)
