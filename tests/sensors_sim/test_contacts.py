"""Simulated contacts: they tell true moments, at changes and at intervals, and leave every other sensor as it was."""

from __future__ import annotations

import gzip
import itertools
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sensors_sim.activity import planner_of
from sensors_sim.contacts import ContactModel, States
from sensors_sim.errors import ScenarioError
from sensors_sim.faults import all_faults
from sensors_sim.make import make_files
from sensors_sim.messages import senml_state
from sensors_sim.network import SensorNetwork
from sensors_sim.scenario import Scenario
from sensors_sim.scenario_file import build_scenario
from sensors_sim.world import World

HOUR, DAY = 3600.0, 86400.0
CONTACTS = [
    {"id": "cold-door", "room": "cold", "place": "middle", "measures": "door_open", "interval": "10 min"},
    {"id": "cold-tank", "room": "cold", "place": "middle", "measures": "water_low", "interval": "10 min"},
]
PERFECT = {"lost_share": 0, "late_share": 0, "duplicate_share": 0, "dropouts_per_week": 0}


def scenario_of(small: dict[str, Any], *faults: dict[str, Any], **radio: Any) -> Scenario:
    contacts = [{**c, **PERFECT, **radio} for c in CONTACTS]
    return build_scenario({**small, "sensors": [*small["sensors"], *contacts], "faults": list(faults)})


def said(scenario: Scenario, sensor: str, until_s: float = 2 * DAY, pieces: int = 1) -> States:
    """What a contact sends until a time, asked for in one piece or in several."""
    settings = next(s for s in scenario.sensors if s.id == sensor)
    model = ContactModel(settings, scenario, all_faults(scenario))
    parts = [model.respond(until_s * (n + 1) / pieces) for n in range(pieces)]
    together = {n: np.concatenate([getattr(p, n) for p in parts]) for n in ("stamp_s", "send_s", "is_on")}
    return States(sensor, "", settings.measures, **together, retained=False)


def changes(states: States) -> list[tuple[float, bool]]:
    pairs = list(zip(states.stamp_s.tolist(), states.is_on.tolist(), strict=True))
    return [b for a, b in itertools.pairwise([(0.0, False), *pairs]) if a[1] != b[1]]


def test_a_door_says_so_when_it_is_opened_and_when_it_is_shut(small: dict[str, Any]) -> None:
    """Every opening of the day's plan, to the second and not to the end of a step; its state again each ten minutes."""
    scenario = scenario_of(small)
    states = said(scenario, "cold-door")
    room = next(r for r in scenario.rooms if r.id == "cold")
    edges = [t for opening in planner_of(scenario, room).openings(0.0, 2 * DAY) for t in opening]
    heard = [t for t, _ in changes(states)]
    assert len(heard) >= 8
    assert set(heard) <= set(edges)
    assert any(t % 60.0 for t in heard)
    assert set(np.arange(0.0, 2 * DAY + 1, 600.0)) <= set(states.stamp_s.tolist())


def test_a_door_ajar_and_a_dry_humidifier_are_told(small: dict[str, Any]) -> None:
    """From the fault's start to its end, at night when nobody works."""
    span = {"target": "cold", "start": "1 d 1 h 30 s", "end": "1 d 3 h"}
    scenario = scenario_of(small, {"kind": "door ajar", **span}, {"kind": "humidifier dry", **span})
    begin, end = DAY + HOUR + 30.0, DAY + 3 * HOUR
    assert changes(said(scenario, "cold-tank")) == [(begin, True), (end, False)]
    at_night = [c for c in changes(said(scenario, "cold-door")) if DAY <= c[0] < DAY + 6 * HOUR]
    assert at_night == [(begin, True), (end, False)]


def test_asked_piece_by_piece_it_says_the_same(small: dict[str, Any]) -> None:
    """A live run second by second and a year in one go use the same code."""
    scenario = scenario_of(small)
    one, many = said(scenario, "cold-door"), said(scenario, "cold-door", pieces=2 * 1440)
    assert one.stamp_s.tolist() == many.stamp_s.tolist()
    assert one.is_on.tolist() == many.is_on.tolist()


def test_a_stuck_contact_repeats_what_it_said(small: dict[str, Any]) -> None:
    """Stuck shut for a day: no opening is told, its intervals go on; a silent one says nothing."""
    stuck = {"kind": "sensor stuck", "target": "cold-door", "start": "2 h", "end": "1 d 2 h"}
    states = said(scenario_of(small, stuck), "cold-door", DAY)
    assert not states.is_on.any()
    assert len(states) == 145
    silent = {**stuck, "kind": "sensor silent"}
    heard = said(scenario_of(small, silent), "cold-door", DAY).send_s
    assert heard.max() < 2 * HOUR


def test_contacts_change_nothing_else(small: dict[str, Any], tmp_path: Path) -> None:
    """The files of all other sensors, the ledger and the truth are the same to the byte, drawn faults among them."""
    small["random_faults"] = {
        "per_month": 60,
        "kinds": ["sensor spiking", "sensors swapped", "sensor silent"],
    }
    make_files(build_scenario(small), tmp_path / "without", show_progress=False)
    make_files(scenario_of(small), tmp_path / "with", show_progress=False)
    names = sorted(p.relative_to(tmp_path / "without") for p in (tmp_path / "without").rglob("*.*"))
    for name in names:
        assert (tmp_path / "with" / name).read_bytes() == (tmp_path / "without" / name).read_bytes(), name
    text = gzip.decompress((tmp_path / "with/readings/cold-door.csv.gz").read_bytes()).decode()
    assert text.splitlines()[0] == "stamp_ms,sent_ms,door_open"
    assert {line[-1] for line in text.splitlines()[1:]} == {"0", "1"}


def test_its_radio_is_as_bad_as_any(small: dict[str, Any]) -> None:
    """Losses, doubles and late messages, the same for the same seed."""
    bad = {"lost_share": 0.2, "late_share": 0.2, "duplicate_share": 0.2}
    one, two = (said(scenario_of(small, **bad), "cold-door") for _ in range(2))
    assert one.send_s.tolist() == two.send_s.tolist()
    assert len(set(one.stamp_s.tolist())) < len(one)
    assert (one.send_s - one.stamp_s).max() > 600.0
    whole = said(scenario_of(small), "cold-door")
    assert len(set(one.stamp_s.tolist())) < 0.9 * len(whole)


def test_the_network_keeps_them_apart_from_sensors_of_air(small: dict[str, Any]) -> None:
    """What measures air sends air; contacts send states, over a span of the world."""
    scenario = scenario_of(small)
    world = World(scenario)
    network = SensorNetwork(scenario, world.faults)
    span = world.advance(60)
    assert [s.sensor for s in network.messages(span)] == ["a", "b", "c", "d"]
    assert [s.sensor for s in network.states(span)] == ["cold-door", "cold-tank"]


def test_a_message_of_a_contact_is_senml() -> None:
    """A boolean value with the contact's own time (RFC 8428)."""
    (record,) = json.loads(senml_state("cave-door", 1772366000.25, "door_open", True))
    assert record == {"bn": "urn:dev:id:cave-door:", "bt": 1772366000.25, "n": "door_open", "vb": True}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"room": "cave", "place": "low", "measures": "water_low"}, "room cave has no humidifier"),
        ({"measures": "window_open"}, "measures"),
    ],
)
def test_a_contact_that_cannot_be_is_refused(
    small: dict[str, Any], change: dict[str, str], words: str
) -> None:
    """A float switch needs a tank."""
    with pytest.raises(ScenarioError, match=words):
        build_scenario({**small, "sensors": [*small["sensors"], {**CONTACTS[0], **change}]})


def test_a_contact_cannot_drift(small: dict[str, Any]) -> None:
    """Faults of measured values are none of a contact's."""
    fault = {"kind": "sensor drifting", "target": "cold-door", "start": "1 h", "end": "2 h"}
    with pytest.raises(ScenarioError, match="a contact can be sensor stuck, sensor silent, clock jump"):
        scenario_of(small, fault)
