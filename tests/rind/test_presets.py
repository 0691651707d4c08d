"""Parameters of a wheel: defaults by rind, overrides, and what no wheel can be."""

from __future__ import annotations

import math

import pytest

from monitor.errors import PhysicsError
from monitor.rind.presets import PRESETS, wheel_parameters
from monitor.rind.twin import Twin


@pytest.mark.parametrize("rind", PRESETS)
def test_every_preset_says_where_its_values_come_from(rind: str) -> None:
    """A value without a word about its source is not a default."""
    assert len(PRESETS[rind].source) > 30
    assert PRESETS[rind].rind == rind


@pytest.mark.parametrize("rind", PRESETS)
def test_every_preset_ages_soundly(rind: str) -> None:
    """A month at 12 degC and 88 %: it loses something, and not more than a third."""
    twin = Twin([PRESETS[rind]])
    for _ in range(120):
        twin.advance(21_600.0, 12.0, 88.0, 0.2)
    assert 0.002 < twin.loss_fraction[0] < 0.33
    assert 0.85 < twin.rind_water_activity[0] < 1.0


def test_a_style_overrides_what_it_knows() -> None:
    """Size from the style's geometry, the rest from its rind_parameters."""
    wheel = wheel_parameters("washed", 0.30, 0.07, 5.2, {"moisture_fraction": 0.44, "exposed_fraction": 0.8})
    assert (wheel.diameter_m, wheel.moisture_fraction, wheel.exposed_fraction) == (0.30, 0.44, 0.8)
    assert wheel.wrap_resistance == PRESETS["washed"].wrap_resistance


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"height_m": 0.0}, "height_m"),
        ({"diameter_m": -0.3}, "diameter_m"),
        ({"mass_kg": math.nan}, "mass_kg"),
        ({"mass_kg": 60.0}, "kg/m3"),
        ({"salt_fraction": 0.15}, "saturation"),
        ({"salt_fraction": -0.01}, "salt_fraction"),
        ({"moisture_fraction": 37.0}, "moisture_fraction"),
        ({"wrap_resistance": math.inf}, "wrap_resistance"),
        ({"sorption": "guess"}, "sorption relation"),
        ({"sorption_constants": (math.nan, 1.0)}, "sorption_constants"),
        ({"sorption_constants": (0.128,)}, "sorption_constants"),
        ({"sorption_constants": (0.128, 0.0)}, "sorption_constants"),
        ({"sorption": "linear", "sorption_constants": (0.5, -1.0)}, "sorption_constants"),
        ({"edges": "round"}, "edges"),
        ({"height": 0.2}, "no rind parameter"),
        ({"mass_kg": "heavy"}, "mass_kg"),
    ],
)
def test_an_impossible_wheel_is_refused(change: dict[str, object], word: str) -> None:
    """The message names the value and its range."""
    with pytest.raises(PhysicsError, match=word):
        PRESETS["cloth-bound"].with_values(change)


def test_an_unknown_rind_names_the_known_ones() -> None:
    """Not a traceback but a list to choose from."""
    with pytest.raises(PhysicsError, match="cloth-bound"):
        wheel_parameters("waxed", 0.2, 0.1, 3.3)
