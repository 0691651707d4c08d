"""A scenario says what it is, or which key is wrong."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from demo_data import LIVE_SCENARIO, YEAR_SCENARIO
from sensors_sim.errors import ScenarioError
from sensors_sim.scenario import duration_s, signed_duration_s
from sensors_sim.scenario_file import build_scenario, read_scenario

SCENARIOS = Path(__file__).parents[2] / "sensors_sim" / "scenarios"


@pytest.mark.parametrize(
    "path", [*sorted(SCENARIOS.glob("*.toml")), YEAR_SCENARIO, LIVE_SCENARIO], ids=lambda p: p.name
)
def test_every_scenario_in_the_project_can_be_run(path: Path) -> None:
    """The files shipped are valid."""
    assert read_scenario(path).rooms


def put(data: dict[str, Any], path: tuple[Any, ...], value: Any) -> None:
    for part in path[:-1]:
        data = data[part]
    data[path[-1]] = value


@pytest.mark.parametrize(
    ("path", "value", "key"),
    [
        (("wibble",), 1, "wibble: unknown key"),
        (("rooms", 0, "hieght_m"), 2.0, "rooms[0].hieght_m: unknown key"),
        (("rooms", 0, "length_m"), -3, "rooms[0].length_m"),
        (("rooms", 0, "kind"), "barn", "rooms[0].kind"),
        (("rooms", 0, "coil"), {}, "coil"),
        (("rooms", 1, "coil"), None, "coil: a cold room needs one"),
        (("rooms", 0, "places", 0, "height_m"), 9.0, "places low: height_m"),
        (("rooms", 0, "places", 0, "near"), "coil", "places low: near"),
        (("rooms", 0, "envelope"), {"layers_m": []}, "rooms[0].envelope.layers_m"),
        (("rooms", 0, "envelope"), {"layers_m": [0.0]}, "rooms[0].envelope.layers_m"),
        (("days",), float("nan"), "days"),
        (("seed",), -1, "seed"),
        (("start",), "2026-01-01T00:00:00", "start: has no time zone"),
        (("sensors", 1, "place"), "attic", "sensors[1].place: no place 'attic'"),
        (("sensors", 1, "id"), "a", "sensors[1].id: 'a' is used twice"),
        (("sensors", 0, "interval"), "soon", "sensors[0].interval"),
        (("batches", 0, "style"), "blue", "batches[0].style: no style 'blue'"),
        (("batches", 0, "route"), [[3, "cave", "low"]], "batches[0].route"),
    ],
)
def test_a_fault_in_a_scenario_is_named_by_its_key(
    small: dict[str, Any], path: tuple[Any, ...], value: Any, key: str
) -> None:
    """Impossible rooms, unknown keys, names that do not exist: the message says where."""
    put(small, path, value)
    with pytest.raises(ScenarioError) as caught:
        build_scenario(small)
    assert key in str(caught.value)


@pytest.mark.parametrize(
    ("fault", "key"),
    [
        (
            {"kind": "coil iced", "target": "cold", "start": "1 d", "end": "9 d"},
            "faults[0].end: 777600 s lies outside",
        ),
        (
            {"kind": "coil iced", "target": "cave", "start": 0, "end": 9},
            "faults[0].target: room cave has no coil",
        ),
        ({"kind": "humidifier dry", "target": "cave", "start": 0, "end": 9}, "has no humidifier"),
        ({"kind": "sensor stuck", "target": "z", "start": 0, "end": 9}, "faults[0].target: no sensor 'z'"),
        ({"kind": "sensors swapped", "target": "a", "start": 0, "end": 9}, "faults[0].other"),
        ({"kind": "door ajar", "target": "cave", "start": 9, "end": 3}, "end: must come after start"),
        ({"kind": "earthquake", "target": "cave", "start": 0, "end": 9}, "faults[0].kind"),
    ],
)
def test_a_fault_that_cannot_happen_is_refused(
    small: dict[str, Any], fault: dict[str, Any], key: str
) -> None:
    """A fault outside its span, without its plant, or of no known kind."""
    small["faults"] = [fault]
    with pytest.raises(ScenarioError, match=None) as caught:
        build_scenario(small)
    assert key in str(caught.value)


def test_a_file_that_is_not_toml_or_not_there_is_refused_by_name(tmp_path: Path) -> None:
    """The message begins with the file."""
    broken = tmp_path / "broken.toml"
    broken.write_text("rooms = [", encoding="utf-8")
    for path in (broken, tmp_path / "missing.toml"):
        with pytest.raises(ScenarioError, match=path.name):
            read_scenario(path)


def test_durations_are_read_as_people_write_them() -> None:
    """Seconds, or days, hours, minutes and seconds in a row; a sign where a make lies before the start."""
    assert duration_s("12 d 6 h") == 12 * 86400 + 6 * 3600
    assert duration_s("90 s") == 90.0
    assert duration_s(30) == 30
    assert signed_duration_s("-20 d") == -20 * 86400
    for nonsense in ("", "soon", "3 weeks", "1 h later"):
        with pytest.raises(ValueError, match="duration"):
            duration_s(nonsense)
