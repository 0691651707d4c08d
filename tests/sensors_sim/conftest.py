"""A small scenario that every test may change: one room of each kind, four sensors, nine wheels, four days."""

from __future__ import annotations

import copy
from typing import Any

import pytest

SMALL: dict[str, Any] = {
    "name": "small",
    "seed": 11,
    "days": 4,
    "rooms": [
        {
            "id": "cave",
            "kind": "cave",
            "places": [{"id": "low", "height_m": 0.4}, {"id": "high", "height_m": 2.2}],
        },
        {
            "id": "cold",
            "kind": "cold-room",
            "coil": {"setpoint_c": 10.0},
            "humidifier": {"setpoint_rh_pct": 86},
            "places": [{"id": "coil-end", "near": "coil"}, {"id": "middle"}],
        },
        {
            "id": "cellar",
            "kind": "cellar",
            "humidifier": {"setpoint_rh_pct": 93},
            "places": [{"id": "middle"}],
        },
    ],
    "styles": [
        {"id": "hard", "rind": "cloth-bound", "diameter_m": 0.3, "height_m": 0.25, "mass_kg": 19.0},
        {
            "id": "washed",
            "rind": "washed",
            "diameter_m": 0.2,
            "height_m": 0.055,
            "mass_kg": 1.85,
            "dry_share": 0.52,
        },
    ],
    "batches": [
        {
            "style": "hard",
            "first_make": "-20 d",
            "wheels": 6,
            "bare_days": 3,
            "route": [[0, "cold", "middle"], [21, "cave", "high"]],
        },
        {"style": "washed", "first_make": "1 d", "wheels": 3, "route": [[0, "cellar", "middle"]]},
    ],
    "sensors": [
        {"id": "a", "room": "cave", "place": "low"},
        {"id": "b", "room": "cave", "place": "high"},
        {"id": "c", "room": "cold", "place": "middle"},
        {"id": "d", "room": "cellar", "place": "middle"},
    ],
}


@pytest.fixture
def small() -> dict[str, Any]:
    """Plain data of the small scenario, free to change."""
    return copy.deepcopy(SMALL)
